//! Means over a picture of which some tiles were measured.
//!
//! The places of a picture belong to tiles, and the tiles to strata: those of one stratum are alike
//! in what errors depend on. Of the Nₕ tiles of stratum h, nₕ are measured, chosen at random
//! without replacement and the same in every pair. A tile of stratum h stands for wₕ = Nₕ/nₕ of
//! them, and with the sums Y and X of the values and of their number over a tile and all pairs, the
//! mean over the picture is estimated by the ratio
//!
//! R = Σ wₕ Y / Σ wₕ X
//!
//! (Cochran 1977, Sampling Techniques, sections 5.3 and 6.11; from memory), which is exact where
//! all places have the same value. Its variance follows from the residuals e = Y - R X of the
//! tiles. It has two parts, as each tile's sum is itself known from some pairs only (sampling in
//! two stages, Cochran, section 10.3; from memory):
//!
//! Var R · (Σ wₕ X)² = Σ Nₕ² (1 - fₕ) sₕ²/nₕ + Σ wₕ Σ v,
//!
//! with fₕ = nₕ/Nₕ, sₕ² the variance of e between the tiles of a stratum, which contains what
//! chance adds to them, and v the variance that chance, from pair to pair, gives the e of one tile.
//! More pairs make v smaller and leave the scatter between tiles. A tile is taken as one value, so
//! that neither the dependence of neighbouring windows nor its reach need be known.
//!
//! A stratum of two tiles knows its variance with one degree of freedom. Those of the sum are
//! Satterthwaite's, (Σ V)²/Σ V²/ν, but with the fourth powers of the true variances, of which V² is
//! ν + 2 over ν times too large a measure: (Σ V)²/Σ(V²/(ν + 2)) - 2 (it gives Σ ν for equal true
//! variances).

use super::intervals::reduced;
use super::{Confidence, Estimate, GridValues, chi_interval, fraction, student};

/// Which places of a grid were measured for which part of a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Tiles {
    /// Tile of each place of the grid; `None` for what is no place of the picture.
    tile: Vec<Option<usize>>,
    /// Stratum of each tile.
    stratum: Vec<usize>,
    /// Tiles of the whole picture in each stratum, and how many of them are measured.
    all: Vec<[f64; 2]>,
}

/// A mean over the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TileMean {
    pub(crate) value: f64,
    /// Its variance.
    pub(crate) variance: f64,
    /// Degrees of freedom with which that is known.
    pub(crate) freedom: f64,
}

/// Sums over a tile in one pair: of the values, and their number.
#[derive(Debug, Clone, Copy, Default)]
struct TileSum {
    values: f64,
    number: f64,
}

impl Tiles {
    /// Tiles by the tile of each place, the stratum of each tile, and how many tiles of the whole
    /// picture each stratum has.
    ///
    /// # Panics
    /// When a place names a tile, or a tile a stratum, that there is not.
    ///
    /// ```
    /// use motefield_evaluator::statistics::{Confidence, GridValues, Tiles};
    ///
    /// // Two tiles of two places each, of four in a stratum.
    /// let places = [0, 0, 1, 1].map(Some).to_vec();
    /// let tiles = Tiles::new(places, vec![0, 0], vec![4]);
    /// let values = GridValues::new(2, [0, 0], [[3.0, 3.0, 5.0, 5.0]]);
    /// assert_eq!(tiles.mean(&values, Confidence::USUAL).value, 4.0);
    /// ```
    pub fn new(tile: Vec<Option<usize>>, stratum: Vec<usize>, all: Vec<usize>) -> Tiles {
        let measured = |h: usize| stratum.iter().filter(|s| **s == h).count() as f64;
        let all: Vec<[f64; 2]> = (all.iter().enumerate())
            .map(|(h, n)| [*n as f64, measured(h)])
            .collect();
        assert!(stratum.iter().all(|h| *h < all.len()), "every stratum is counted");
        assert!(
            tile.iter().flatten().all(|t| *t < stratum.len()),
            "every tile has a stratum"
        );
        Tiles { tile, stratum, all }
    }

    /// Tiles that are measured.
    pub fn len(&self) -> usize {
        self.stratum.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.stratum.is_empty()
    }

    /// Strata of tiles.
    pub fn strata(&self) -> usize {
        self.all.len()
    }

    /// Tile of a place of the grid; `None` for what is no place of the picture.
    pub fn of_place(&self, k: usize) -> Option<usize> {
        self.tile[k]
    }

    /// Tiles of the picture that a tile stands for.
    pub(crate) fn weight(&self, tile: usize) -> f64 {
        let [all, measured] = self.all[self.stratum[tile]];
        all / measured
    }

    /// What each of these places counts in a mean over the picture, 1 on the average; 0 for places
    /// that do not count.
    pub fn weights(&self, counts: &[bool]) -> Vec<f64> {
        let one = |(tile, counts): (&Option<usize>, &bool)| match tile.filter(|_| *counts) {
            Some(tile) => self.weight(tile),
            None => 0.0,
        };
        let weights: Vec<f64> = self.tile.iter().zip(counts).map(one).collect();
        let number = weights.iter().filter(|w| **w > 0.0).count() as f64;
        let mean = weights.iter().sum::<f64>() / number;
        weights.into_iter().map(|w| w / mean).collect()
    }

    /// Mean over the picture with its interval by Student's t.
    pub fn mean(&self, values: &GridValues, confidence: Confidence) -> Estimate {
        self.of(values).estimate(confidence)
    }

    /// Root of the mean over the picture of `squares`, with the interval of
    /// [`root_mean_square`](super::root_mean_square).
    pub fn root_mean_square(&self, squares: &GridValues, confidence: Confidence) -> Estimate {
        self.of(squares).root(confidence)
    }

    /// Fraction of ones among zeros and ones, as [`share`](super::share) gives it: `otherwise` is
    /// the effective number where all are equal.
    pub fn share(&self, values: &GridValues, otherwise: f64, confidence: Confidence) -> Estimate {
        let mean = self.of(values);
        let p = mean.value;
        let trials = match p > 0.0 && p < 1.0 {
            true => self.trials(values, &mean, confidence),
            false => otherwise,
        };
        fraction(p, trials, confidence)
    }

    /// Independent zeros and ones whose share is known as well.
    fn trials(&self, values: &GridValues, mean: &TileMean, confidence: Confidence) -> f64 {
        let number = mean.value * (1.0 - mean.value) / mean.variance;
        match number.is_finite() {
            true => reduced(number.min(values.count() as f64), mean.freedom, confidence),
            false => 1.0,
        }
    }

    /// The values below which the `shares` of all places lie, with their intervals, as
    /// [`quantiles`](super::quantiles) gives them.
    pub fn quantiles(&self, values: &GridValues, shares: &[f64], confidence: Confidence) -> Vec<Estimate> {
        let mut sorted: Vec<(f64, f64)> = Vec::new();
        let weight = |(v, tile): (&f64, &Option<usize>)| v.is_finite().then_some((*v, self.weight((*tile)?)));
        values.walk(|_, pair| sorted.extend(pair.iter().zip(&self.tile).filter_map(weight)));
        sorted.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let one = |&share: &f64| {
            if sorted.is_empty() {
                return Estimate::unbounded(f64::NAN);
            }
            let value = weighted_quantile(&sorted, share);
            let beyond = values.map(move |v| f64::from(u8::from(v > value)));
            let trials = self.trials(&beyond, &self.of(&beyond), confidence);
            let ends = fraction(share, trials, confidence);
            let bounded = |share: f64| share.powf(trials) <= confidence.tail();
            Estimate {
                value,
                lo: match bounded(1.0 - share) {
                    true => weighted_quantile(&sorted, ends.lo),
                    false => f64::NEG_INFINITY,
                },
                hi: match bounded(share) {
                    true => weighted_quantile(&sorted, ends.hi),
                    false => f64::INFINITY,
                },
            }
        };
        shares.iter().map(one).collect()
    }

    /// A figure of all tiles with the interval that follows from those without one tile each: the
    /// jackknife over the tiles of every stratum (Wolter 2007, Introduction to Variance Estimation,
    /// section 4.5; from memory).
    pub fn jackknife(&self, value: f64, without: &[f64], confidence: Confidence) -> Estimate {
        let parts: Vec<[f64; 2]> = (self.all.iter().enumerate())
            .filter(|(_, [_, measured])| *measured > 1.0)
            .map(|(h, [all, n])| {
                let own = (self.stratum.iter().zip(without)).filter(|(s, _)| **s == h);
                let own: Vec<f64> = own.map(|(_, figure)| *figure).collect();
                let mean = own.iter().sum::<f64>() / n;
                let squares: f64 = own.iter().map(|figure| (figure - mean).powi(2)).sum();
                [(1.0 - n / all) * (n - 1.0) / n * squares, n - 1.0]
            })
            .collect();
        let (variance, freedom) = sum_of_variances(&parts);
        Estimate::symmetric(value, student(freedom, confidence) * variance.sqrt())
    }

    /// The mean of values whose changes between pairs are chance.
    pub(crate) fn of(&self, values: &GridValues) -> TileMean {
        self.of_changing(values, values, 1.0)
    }

    /// The mean of values, where chance changes from pair to pair as `changing` does, of which each
    /// place has lost so many degrees of freedom.
    pub(super) fn of_changing(&self, values: &GridValues, changing: &GridValues, lost: f64) -> TileMean {
        let sums = self.sums(values);
        let total = |of: fn(&TileSum) -> f64| -> f64 {
            let tile =
                |(t, pairs): (usize, &Vec<TileSum>)| self.weight(t) * pairs.iter().map(of).sum::<f64>();
            sums.iter().enumerate().map(tile).sum()
        };
        let number = total(|sum| sum.number);
        let value = total(|sum| sum.values) / number;
        let residuals = |sums: &[Vec<TileSum>], mean: f64| -> Vec<Vec<f64>> {
            let one = |sum: &TileSum| sum.values - mean * sum.number;
            sums.iter().map(|pairs| pairs.iter().map(one).collect()).collect()
        };
        let tiles: Vec<f64> = residuals(&sums, value).iter().map(|r| r.iter().sum()).collect();
        let changes = self.sums(changing);
        let mean = {
            let [v, n] = changes
                .iter()
                .flatten()
                .fold([0.0; 2], |[v, n], s| [v + s.values, n + s.number]);
            if n > 0.0 { v / n } else { 0.0 }
        };
        let chance: Vec<Option<f64>> = residuals(&changes, mean)
            .iter()
            .map(|pairs| variance_of_sum(pairs, lost))
            .collect();
        let mut parts = Vec::new();
        for (h, [all, n]) in self.all.iter().enumerate() {
            let own: Vec<usize> = (0..self.len()).filter(|t| self.stratum[*t] == h).collect();
            let known: Option<f64> = own.iter().map(|t| chance[*t]).sum();
            // Without chance told apart all tiles stand for tiles that could have been.
            let left = match known {
                Some(_) => 1.0 - n / all,
                None => 1.0,
            };
            if *n > 1.0 {
                let mean = own.iter().map(|t| tiles[*t]).sum::<f64>() / n;
                let squares: f64 = own.iter().map(|t| (tiles[*t] - mean).powi(2)).sum();
                parts.push([all * all * left * squares / (n - 1.0) / n, n - 1.0]);
            }
            if let Some(chance) = known {
                parts.push([all / n * chance, n * (values.pairs() as f64 - lost)]);
            }
        }
        let (variance, freedom) = sum_of_variances(&parts);
        TileMean {
            value,
            variance: variance / (number * number),
            freedom,
        }
    }

    /// Sums over each tile, pair by pair.
    fn sums(&self, values: &GridValues) -> Vec<Vec<TileSum>> {
        let mut sums = vec![vec![TileSum::default(); values.pairs()]; self.len()];
        values.walk(|p, pair| {
            for (v, tile) in pair.iter().zip(&self.tile) {
                if let Some(tile) = tile.filter(|_| v.is_finite()) {
                    sums[tile][p].values += v;
                    sums[tile][p].number += 1.0;
                }
            }
        });
        sums
    }
}

impl TileMean {
    pub(crate) fn estimate(&self, confidence: Confidence) -> Estimate {
        match self.variance.is_finite() {
            true => Estimate::symmetric(
                self.value,
                student(self.freedom, confidence) * self.variance.sqrt(),
            ),
            false => Estimate::unbounded(self.value),
        }
    }

    /// Degrees of freedom of a mean square that has this variance.
    pub(super) fn freedom_of_square(&self, number: f64, confidence: Confidence) -> f64 {
        match self.value > 0.0 && self.variance > 0.0 {
            true => reduced(
                (2.0 * self.value * self.value / self.variance).min(number),
                self.freedom,
                confidence,
            ),
            false => f64::INFINITY,
        }
    }

    fn root(&self, confidence: Confidence) -> Estimate {
        match (self.value, self.variance) {
            (0.0, _) => Estimate::exact(0.0),
            (square, variance) if square.is_finite() && variance.is_finite() => chi_interval(
                square.sqrt(),
                self.freedom_of_square(f64::INFINITY, confidence),
                confidence,
            ),
            (square, _) => Estimate {
                value: square.sqrt(),
                lo: 0.0,
                hi: f64::INFINITY,
            },
        }
    }
}

/// Variance of the sum of these values of independent pairs; `None` where it cannot be told.
fn variance_of_sum(pairs: &[f64], lost: f64) -> Option<f64> {
    let n = pairs.len() as f64;
    let mean = pairs.iter().sum::<f64>() / n;
    let squares: f64 = pairs.iter().map(|v| (v - mean).powi(2)).sum();
    (n > lost).then(|| n / (n - lost) * squares)
}

/// Sum of independent variances, each with its degrees of freedom, and those of the sum.
fn sum_of_variances(parts: &[[f64; 2]]) -> (f64, f64) {
    let sum: f64 = parts.iter().map(|[v, _]| v).sum();
    let fourth: f64 = parts.iter().map(|[v, freedom]| v * v / (freedom + 2.0)).sum();
    let most: f64 = parts
        .iter()
        .filter(|[v, _]| *v > 0.0)
        .map(|[_, freedom]| freedom)
        .sum();
    match (parts.is_empty(), sum > 0.0) {
        (true, _) => (f64::NAN, 1.0),
        (false, true) => (sum, (sum * sum / fourth - 2.0).clamp(1.0, most.max(1.0))),
        (false, false) => (sum, f64::INFINITY),
    }
}

/// The value below which this share of the weight of `sorted` values and weights lies.
fn weighted_quantile(sorted: &[(f64, f64)], share: f64) -> f64 {
    let all: f64 = sorted.iter().map(|(_, w)| w).sum();
    let mut below = 0.0;
    for (value, weight) in sorted {
        below += weight;
        if below >= share * all {
            return *value;
        }
    }
    sorted[sorted.len() - 1].0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(pairs: &[&[f64]]) -> GridValues<'static> {
        GridValues::new(1, [0, 0], pairs)
    }

    fn places(n: usize) -> Vec<Option<usize>> {
        (0..n).map(Some).collect()
    }

    /// By hand: of four tiles 1 and 3 are measured, of six 10 and 14: the mean is (4 2 + 6 12)/10
    /// and its variance, chance not told apart, (4² 2/2 + 6² 8/2)/10².
    #[test]
    fn two_strata_by_hand() {
        let tiles = Tiles::new(places(4), vec![0, 0, 1, 1], vec![4, 6]);
        let found = tiles.of(&values(&[&[1.0, 3.0, 10.0, 14.0]]));
        assert_eq!(found.value, 8.0);
        assert!((found.variance - 1.6).abs() < 1e-12);
    }

    /// What is the same everywhere is known exactly, however many values each tile has.
    #[test]
    fn a_constant_field_is_exact() {
        let tile = [0, 0, 0, 1, 2, 2, 3]
            .map(Some)
            .into_iter()
            .chain([None])
            .collect();
        let tiles = Tiles::new(tile, vec![0, 0, 1, 1], vec![9, 5]);
        let lost = f64::NAN;
        let pairs: [&[f64]; 2] = [
            &[0.7, 0.7, lost, 0.7, 0.7, 0.7, 0.7, 99.0],
            &[lost, 0.7, 0.7, 0.7, 0.7, lost, 0.7, 99.0],
        ];
        let found = tiles.of(&values(&pairs));
        assert!((found.value - 0.7).abs() < 1e-15 && found.variance < 1e-30);
        let weights = tiles.weights(&[true, true, false, true, true, true, true, false]);
        assert!((weights.iter().sum::<f64>() - 6.0).abs() < 1e-12);
        assert!((weights[0] / weights[4] - 9.0 / 5.0).abs() < 1e-12 && weights[7] == 0.0);
    }

    /// Closed form: a field that rises by one from tile to tile, twelve of them in strata of four
    /// and eight. Over all choices of two in each the mean is that of the field, 5.5, on the
    /// average, and the variance is on the average that of the means over all choices.
    #[test]
    fn a_gradient_is_unbiased_over_all_choices() {
        let strata: [Vec<f64>; 2] = [vec![0.0, 1.0, 2.0, 3.0], (4..12).map(f64::from).collect()];
        let pairs_of = |all: &[f64]| -> Vec<[f64; 2]> {
            let one = |i: usize| (i + 1..all.len()).map(move |j| (i, j));
            (0..all.len())
                .flat_map(one)
                .map(|(i, j)| [all[i], all[j]])
                .collect()
        };
        let (mut means, mut variances) = (Vec::new(), Vec::new());
        for [a, b] in pairs_of(&strata[0]) {
            for [c, d] in pairs_of(&strata[1]) {
                let tiles = Tiles::new(places(4), vec![0, 0, 1, 1], vec![4, 8]);
                // Chance has no part: both pairs are alike.
                let found = tiles.of(&values(&[&[a, b, c, d], &[a, b, c, d]]));
                means.push(found.value);
                variances.push(found.variance);
            }
        }
        let n = means.len() as f64;
        let mean = means.iter().sum::<f64>() / n;
        let true_variance = means.iter().map(|m| (m - 5.5).powi(2)).sum::<f64>() / n;
        let told = variances.iter().sum::<f64>() / n;
        assert!((mean - 5.5).abs() < 1e-12, "{mean}");
        assert!(
            (told / true_variance - 1.0).abs() < 1e-12,
            "{told} {true_variance}"
        );
    }

    /// Where every tile is measured only chance is left: of tile means 1 and 5 in one pair, 3 and 5
    /// in the other, the mean of all four values varies by (2²/2)/2 /2².
    #[test]
    fn of_all_tiles_chance_is_left() {
        let tiles = Tiles::new(places(2), vec![0, 0], vec![2]);
        let found = tiles.of(&values(&[&[1.0, 5.0], &[3.0, 5.0]]));
        assert_eq!(found.value, 3.5);
        assert!((found.variance - 0.25).abs() < 1e-12, "{}", found.variance);
    }

    /// Closed form: equal variances known with one degree of freedom each add their degrees, and
    /// one that outweighs the others leaves its own.
    #[test]
    fn freedom_of_sums() {
        // Squares of standard normal numbers have the mean square 3.
        let equal = sum_of_variances(&[[3.0_f64.sqrt(), 4.0]; 1]);
        assert!((equal.1 - 4.0).abs() < 1e-12);
        let one = sum_of_variances(&[[1.0, 3.0], [1e-9, 1.0], [1e-9, 50.0]]);
        assert!((one.1 - 3.0).abs() < 1e-6, "{one:?}");
        assert_eq!(sum_of_variances(&[[0.0, 3.0]]), (0.0, f64::INFINITY));
    }
}
