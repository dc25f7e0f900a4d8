//! What repeats at a place and what changes from pair to pair: two variance components.
//!
//! An error e of pair p at place i is b + βᵢ + rᵢₚ: the same everywhere (b), the same in every pair
//! at this place (βᵢ, Σ nᵢ βᵢ = 0), and different in every pair (r, of mean 0 and variance σᵢ²).
//! The places are fixed, not drawn from more; at place i there are nᵢ values, N in all. With the
//! mean ēᵢ and the variance sᵢ² (over nᵢ - 1) at each place and the mean ē of all, the mean square
//! about ē is S² = B + I with
//!
//! B = Σ nᵢ (ēᵢ - ē)² / N,  I = Σ (nᵢ - 1) sᵢ² / N,
//!
//! whose expectations, whatever the dependence of places on each other, are
//!
//! E B = Σ nᵢ βᵢ²/N + Σ σᵢ²/N - Var ē,  E I = Σ (nᵢ - 1) σᵢ² / N.
//!
//! So L² = B - Σ sᵢ²/N + Var ē is an unbiased estimate of the mean square Σ nᵢ βᵢ²/N of what
//! repeats, and the rest R² = S² - L² = Σ nᵢ sᵢ²/N - Var ē is the mean square of what does not, up
//! to Var ē, which is what the mean itself takes off (one part in the effective number of values;
//! it goes here, where it is smallest, so that ē² + L² + R² is the mean square exactly). With equal
//! nᵢ = n and independent places these are the estimates of a one-way analysis of variance: R² is
//! the mean square within places, L² the one between, less that within, over n (Searle, Casella and
//! McCulloch 1992, Variance Components, chapters 2 to 4; from memory).
//!
//! An estimate L² below zero says that nothing repeats: L is 0 and R² is S², the likeliest
//! components that are not negative (Thompson 1962, Ann. Math. Stat. 33, 273; from memory).
//!
//! Intervals. Σ nᵢ sᵢ²/N is a mean of squares, so R has the interval of a standard deviation with
//! Satterthwaite's degrees of freedom, as [`root_mean_square`](super::root_mean_square). B and
//! Σ sᵢ²/N have such intervals too, and their difference has MOVER's (see
//! [`weighted_sum`]). The places being fixed, B varies by r alone:
//!
//! Var B = 4 Var(Σ nᵢ βᵢ r̄ᵢ/N) + 2 Σᵢⱼ cov(rᵢ, rⱼ)²/N²,
//!
//! for normal r. The first term is measured with ēᵢ - ē for βᵢ, which adds twice the second; the
//! second is (n - 1)/n² of the variance of Σ nᵢ sᵢ²/N, n = N over the number of places.

use super::dependence::{FREE_OF_SQUARES, MeanScatter};
use super::grid_values::Totals;
use super::intervals::reduced;
use super::tiles::{TileMean, Tiles};
use super::{Confidence, Estimate, GridValues, chi_interval, weighted_sum};

/// What repeats at a place and what changes from pair to pair, both as root mean square over the
/// values, in their unit. With the mean of the values, their squares add up to the mean square.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Scatter over the places of what each repeats in every pair.
    pub local: Estimate,
    /// Scatter from pair to pair at one place.
    pub random: Estimate,
}

/// The components of values on a grid; `None` unless some place has values of two pairs.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, local_and_random};
///
/// // Two places, 3 and 5 on the average, ±1 from pair to pair.
/// let pairs = vec![vec![2.0, 6.0], vec![4.0, 4.0], vec![4.0, 6.0], vec![2.0, 4.0]];
/// let values = GridValues::new(2, [0, 0], pairs);
/// let got = local_and_random(&values, Confidence::USUAL).unwrap();
/// // Within: 8/6. Between: 1 - (4/3)/4 and the variance of the mean, (4/3)/8.
/// assert!((got.local.value.powi(2) - (1.0 - 1.0 / 3.0 + 1.0 / 6.0)).abs() < 1e-12);
/// // Mean square about the mean 4: 2.
/// assert!((got.local.value.powi(2) + got.random.value.powi(2) - 2.0).abs() < 1e-12);
/// ```
pub fn local_and_random(values: &GridValues, confidence: Confidence) -> Option<Components> {
    let places = PairedPlaces::of(values)?;
    let within = places.within(values, confidence);
    let between = places.between(values, &within, confidence);
    // What the mean takes off, no more than if all places of a pair erred alike.
    let pairs = values.pairs() as f64;
    let of_mean = MeanScatter::as_seen(values).variance().min(within.mean / pairs);
    let square = weighted_sum(&[(1.0, between), (-1.0, within.at_places)]);
    let up = |v: f64| (v + of_mean).max(0.0).sqrt();
    let local = square.map_rising(up);
    let random = (places.mean_square - local.value.powi(2)).max(0.0).sqrt();
    Some(Components {
        local,
        random: match random > 0.0 {
            true => chi_interval(random, within.freedom, confidence),
            false => Estimate::exact(0.0),
        },
    })
}

/// The components over a picture of which some tiles were measured; `None` unless some place has
/// values of two pairs.
///
/// The means over the places are then those of [`Tiles`], and so are their variances, which hold
/// what differs between tiles as well: of L² at once, place by place, since what a place repeats
/// and how much it scatters go together.
pub fn local_and_random_of_tiles(
    values: &GridValues,
    tiles: &Tiles,
    confidence: Confidence,
) -> Option<Components> {
    let bias = tiles.of(values);
    let places = PairedPlaces::about(values, values.totals(), bias.value)?;
    let squares = places.squares(values);
    let within = tiles.of_changing(&squares, &squares, FREE_OF_SQUARES);
    let about = |v: f64| (v - bias.value).powi(2);
    let mean_square = tiles.of(&values.map(about)).value;
    // (ēᵢ - ē)² - sᵢ²/nᵢ, whose mean over the picture is L² but for what the mean takes off.
    let repeated = places.map(values, |v, mean, n| match n > 1.0 {
        true => about(mean) - (v - mean).powi(2) / (n - 1.0),
        false => f64::NAN,
    });
    let changing = places.map(values, |v, mean, _| 2.0 * (mean - bias.value) * (v - mean));
    let found = tiles.of_changing(&repeated, &changing, 1.0);
    let between = places.map(values, |_, mean, _| about(mean));
    let between = tiles.of(&between).value;
    let up = |v: f64| (v + bias.variance).max(0.0).sqrt();
    // Between the law of a sum of squares, where most of it is repeated, and none below zero.
    let spread = TileMean {
        value: between,
        ..found
    };
    let freedom = spread.freedom_of_square(values.count() as f64, confidence);
    let of_between = squared_interval(between, freedom, confidence);
    let local = Estimate {
        value: found.value,
        lo: found.value - (between - of_between.lo),
        // From zero on where less than nothing seems to be repeated: then nothing is the likeliest.
        hi: found.value.max(-bias.variance) + (of_between.hi - between),
    }
    .map_rising(up);
    let random = (mean_square - local.value.powi(2)).max(0.0).sqrt();
    let freedom = within.freedom_of_square(places.number - places.seen, confidence);
    Some(Components {
        local,
        random: match random > 0.0 {
            true => chi_interval(random, freedom, confidence),
            false => Estimate::exact(0.0),
        },
    })
}

/// Means and numbers at the places.
struct PairedPlaces {
    /// Mean and number of the values at each place.
    means: Vec<(f64, f64)>,
    mean: f64,
    /// Number of values, and of places that have any.
    number: f64,
    seen: f64,
    /// Mean square about the mean of all.
    mean_square: f64,
}

/// How much values differ at one place.
struct Within {
    /// Σ nᵢ sᵢ²/N.
    mean: f64,
    /// Its variance.
    variance: f64,
    /// Degrees of freedom with which it is known.
    freedom: f64,
    /// Σ sᵢ²/N, with its interval.
    at_places: Estimate,
}

impl PairedPlaces {
    /// `None` unless some place has two values.
    fn of(values: &GridValues) -> Option<PairedPlaces> {
        let totals = values.totals();
        let mean = totals.mean();
        PairedPlaces::about(values, totals, mean)
    }

    /// The same about a mean that is known.
    fn about(values: &GridValues, totals: Totals, mean: f64) -> Option<PairedPlaces> {
        let sums = totals.at_places;
        sums.iter().any(|(_, n)| *n > 1.0).then(|| PairedPlaces {
            seen: sums.iter().filter(|(_, n)| *n > 0.0).count() as f64,
            means: sums.into_iter().map(|(sum, n)| (sum / n, n)).collect(),
            mean,
            number: totals.count as f64,
            mean_square: values.map(|v| (v - mean).powi(2)).mean(),
        })
    }

    /// The values with `of` of the mean and the number at their place.
    fn map<'b>(
        &'b self,
        values: &GridValues<'b>,
        of: impl Fn(f64, f64, f64) -> f64 + Send + Sync + 'b,
    ) -> GridValues<'b> {
        values.map_pairs(move |pair| {
            for (v, (mean, n)) in pair.iter_mut().zip(&self.means) {
                *v = of(*v, *mean, *n);
            }
        })
    }

    /// Squares whose mean over the places seen twice is Σ nᵢ sᵢ²/Σ nᵢ there; places seen once are
    /// assumed to scatter as the others do.
    fn squares<'b>(&'b self, values: &GridValues<'b>) -> GridValues<'b> {
        self.map(values, |v, mean, n| match n > 1.0 {
            true => (v - mean).powi(2) * n / (n - 1.0),
            false => f64::NAN,
        })
    }

    fn within(&self, values: &GridValues, confidence: Confidence) -> Within {
        let squares = self.squares(values);
        let totals = squares.totals();
        let mean = totals.mean();
        let at_place = |(sum, n): (f64, f64)| match n {
            n if n > 1.0 => sum / n,
            n if n > 0.0 => mean,
            _ => 0.0,
        };
        let places = totals.at_places.iter().zip(&self.means);
        let sum: f64 = places.map(|((sum, _), (_, n))| at_place((*sum, *n))).sum();
        let scatter = MeanScatter::of_squares(&squares, totals);
        let variance = scatter.variance();
        let number = (2.0 * mean * mean / variance).min(self.number - self.seen);
        let freedom = match mean > 0.0 {
            true => reduced(number, scatter.freedom(), confidence),
            false => f64::INFINITY,
        };
        Within {
            mean,
            variance,
            freedom,
            at_places: squared_interval(sum / self.number, freedom, confidence),
        }
    }

    /// Σ nᵢ (ēᵢ - ē)²/N, with its interval.
    fn between(&self, values: &GridValues, within: &Within, confidence: Confidence) -> Estimate {
        let square = |(mean, n): &(f64, f64)| match *n > 0.0 {
            true => n * (mean - self.mean).powi(2),
            false => 0.0,
        };
        let between = self.means.iter().map(square).sum::<f64>() / self.number;
        let products = self.map(values, |v, mean, _| v * (mean - self.mean));
        let n = self.number / self.seen;
        let of_noise = (n - 1.0) / (n * n) * within.variance;
        let scatter = MeanScatter::as_seen(&products);
        let variance = (4.0 * scatter.variance() - of_noise).max(of_noise);
        let number = (2.0 * between * between / variance).min(self.number);
        let freedom = match variance > 0.0 {
            true => reduced(number, scatter.freedom(), confidence),
            false => f64::INFINITY,
        };
        squared_interval(between, freedom, confidence)
    }
}

/// The interval of a mean square, 0 or more, known with these degrees of freedom.
fn squared_interval(square: f64, freedom: f64, confidence: Confidence) -> Estimate {
    if !(square > 0.0 && freedom.is_finite()) {
        return Estimate::exact(square);
    }
    chi_interval(square.sqrt(), freedom, confidence).map_rising(|root| root * root)
}
