//! Variance of a mean over values that depend on their neighbours.

use super::GridValues;
use super::grid_values::{MOST_HELD, Totals};
use super::neighbours::{Neighbours, lag_window};

/// Variance of the mean of all values, in their unit squared; `NaN` with fewer than two values.
///
/// What repeats from pair to pair at one grid position is a property of the flow, not chance. So
/// with several pairs the mean over the pairs is subtracted at each position, and the degree of
/// freedom that this costs is allowed for. With a single pair the mean over the grid is subtracted
/// instead, which counts the fixed pattern as chance: the interval is wider, never narrower.
///
/// The covariances over the lags of the grid are summed with a flat-topped lag window: 1 up to the
/// `reach` of the values, then falling to 0 at twice the reach (Politis and Romano 1995, J. Time
/// Ser. Anal. 16, 67; from memory). The result is never less than for independent values.
///
/// ```
/// use motefield_evaluator::statistics::{GridValues, variance_of_mean};
///
/// // Independent values ±1 of one pair: s²/n = (4/3)/4.
/// let values = GridValues::new(2, [0, 0], [[1.0, -1.0, -1.0, 1.0]]);
/// assert!((variance_of_mean(&values) - 1.0 / 3.0).abs() < 1e-12);
/// ```
pub fn variance_of_mean(values: &GridValues) -> f64 {
    MeanScatter::of(values).variance()
}

/// Why places of some pairs have no value.
#[derive(Clone, Copy, PartialEq)]
enum Losses {
    /// Another time it would be others.
    ByChance,
    /// It would always be these.
    Fixed,
}

/// Degrees of freedom that values lose at each place to the mean there.
const FREE_OF_VALUES: f64 = 1.0;
/// Degrees of freedom that squared deviations from a place's own mean lose there: one to that mean,
/// one to their own. (The deviations r of n values correlate by -1/(n - 1), their squares by
/// 1/(n - 1)², so that for normal values n Σ(r² - mean r²)²/(n - 1)²/(n - 2) has the expectation
/// 2σ⁴ n/(n - 1), which is n times the variance of the variance.)
pub(super) const FREE_OF_SQUARES: f64 = 2.0;

/// How the mean of values that depend on their neighbours scatters by chance.
pub(super) struct MeanScatter<'a> {
    values: GridValues<'a>,
    grid: [usize; 2],
    residuals: Residuals,
    /// How many values there are, and how many of them tell how they scatter.
    count: usize,
    seen: usize,
    sums: ResidualSums,
}

/// Sums over what chance adds to the mean at each place of each pair; of nothing with fewer than
/// two values.
#[derive(Default)]
struct ResidualSums {
    /// Sum of the squares, pair by pair.
    squares: f64,
    /// Sum of the contributions, pair by pair, and value by value.
    contributions: f64,
    whole: f64,
    /// Sum of the squares at each place.
    at_places: Vec<f64>,
    /// Sums of the contributions over each block of the grid: of all pairs, and pair after pair,
    /// `None` where those are too many to keep.
    blocks: Vec<f64>,
    of_pairs: Option<Vec<f64>>,
}

impl<'a> MeanScatter<'a> {
    /// Of the mean of these values.
    pub(super) fn of(values: &GridValues<'a>) -> MeanScatter<'a> {
        MeanScatter::with(values, values.totals(), FREE_OF_VALUES, Losses::ByChance)
    }

    /// The same if the values that there are were the same in every repetition.
    pub(super) fn as_seen(values: &GridValues<'a>) -> MeanScatter<'a> {
        MeanScatter::with(values, values.totals(), FREE_OF_VALUES, Losses::Fixed)
    }

    /// Of the mean of squared deviations from the mean at their own place, each times n/(n - 1) of
    /// its place: how the mean variance scatters. With fewer than three values at every place the
    /// squares of one place do not tell how they scatter; the places then do, and what varies over
    /// them counts as chance.
    pub(super) fn of_squares(squares: &GridValues<'a>, totals: Totals) -> MeanScatter<'a> {
        let places = &totals.at_places;
        if places.iter().any(|(_, n)| *n > FREE_OF_SQUARES) {
            return MeanScatter::with(squares, totals, FREE_OF_SQUARES, Losses::Fixed);
        }
        let means: Vec<f64> = places.iter().map(|(sum, n)| sum / n).collect();
        MeanScatter::as_seen(&GridValues::new(squares.columns, squares.reach, [means]))
    }

    /// Where every place loses `lost` degrees of freedom.
    fn with(values: &GridValues<'a>, totals: Totals, lost: f64, losses: Losses) -> MeanScatter<'a> {
        let residuals = Residuals {
            overall: totals.mean(),
            count: totals.count as f64,
            pairs: values.pairs() as f64,
            sums: totals.at_places,
            lost,
            losses,
        };
        let mut scatter = MeanScatter {
            grid: [values.columns, values.places() / values.columns.max(1)],
            values: values.clone(),
            count: totals.count,
            seen: 0,
            sums: ResidualSums::default(),
            residuals,
        };
        if totals.count >= 2 {
            scatter.seen = scatter.residuals.seen();
            scatter.sums = scatter.sum();
        }
        scatter
    }

    /// Calls `of` with what chance adds at each place of every pair, and what that contributes to
    /// its squared sum.
    fn walk(&self, mut of: impl FnMut(&[f64], &[f64])) {
        let mut neighbours = Neighbours::new(self.grid, self.values.reach);
        let [mut residuals, mut contributions] = [(); 2].map(|()| vec![0.0; self.values.places()]);
        self.values.walk(|_, pair| {
            self.residuals.of(pair, &mut residuals);
            neighbours.contributions(&residuals, &mut contributions);
            of(&residuals, &contributions);
        });
    }

    fn sum(&self) -> ResidualSums {
        let mut blocks = vec![0.0; self.blocks().iter().product()];
        let mut sums = ResidualSums {
            at_places: vec![0.0; self.values.places()],
            of_pairs: (self.values.pairs() * blocks.len() <= MOST_HELD).then(Vec::new),
            blocks: blocks.clone(),
            ..ResidualSums::default()
        };
        self.walk(|residuals, contributions| {
            let (mut squares, mut all) = (0.0, 0.0);
            let places = residuals.iter().zip(contributions).zip(&mut sums.at_places);
            for ((residual, contribution), at_place) in places {
                let square = residual * residual;
                squares += square;
                *at_place += square;
                all += contribution;
                sums.whole += contribution;
            }
            sums.squares += squares;
            sums.contributions += all;
            self.sum_blocks(contributions, &mut blocks);
            sums.blocks
                .iter_mut()
                .zip(&blocks)
                .for_each(|(sum, own)| *sum += own);
            if let Some(of_pairs) = &mut sums.of_pairs {
                of_pairs.extend_from_slice(&blocks);
            }
        });
        sums
    }

    /// Variance of the mean, in the values' unit squared; `NaN` with fewer than two values.
    pub(super) fn variance(&self) -> f64 {
        if self.seen == 0 {
            return f64::NAN;
        }
        // The positions left out are assumed to scatter as the others do.
        self.sums.contributions.max(self.sums.squares) / self.seen as f64 / self.count as f64
    }

    /// Number of values.
    pub(super) fn count(&self) -> f64 {
        self.count as f64
    }

    /// Mean of the values; `NaN` when there is none.
    pub(super) fn mean(&self) -> f64 {
        self.residuals.overall
    }

    /// Degrees of freedom with which the variance is itself known.
    ///
    /// With the variance v at each place, they are n (1 - 1/pairs) over the number of places, times
    /// (Σ v)² over the sum of v v' w² over all pairs of places, w the weight of their lag (twice the
    /// squared mean of a quadratic form over its variance, for independent normal values:
    /// Satterthwaite 1946, Biometrics Bull. 2, 110; from memory). Where v is the same everywhere
    /// that is n (1 - 1/pairs) over the sum of the squared weights of the lags, each times the
    /// fraction of places that have a neighbour at that lag (Priestley 1981, Spectral Analysis and
    /// Time Series, section 6.2; from memory), and it is never more: scatter that few places have is
    /// known by few.
    ///
    /// That holds for normal values. Squared errors have heavier tails, of which the scatter between
    /// the pairs tells: by it the squared sum of the residuals has degrees of freedom of its own.
    /// The variances of both causes are added, although the second holds the first as well: a few
    /// pairs show rarely how heavy a tail is.
    pub(super) fn freedom(&self) -> f64 {
        let Residuals { pairs, lost, .. } = self.residuals;
        let n = self.count as f64;
        let free = n - if pairs > 1.0 { lost * n / pairs } else { 1.0 };
        let (scatter, reach) = (&self.sums.at_places, self.values.reach);
        let mean = scatter.iter().sum::<f64>() / (self.grid[0] * self.grid[1]) as f64;
        let even = squared_lags(self.grid, reach, |_, _| 1.0);
        let uneven = match mean > 0.0 {
            true => {
                let relative: Vec<f64> = scatter.iter().map(|v| v / mean).collect();
                scatter_over_lags(&relative, self.grid, reach)
            }
            false => even,
        };
        let normal = free / even.max(uneven);
        1.0 / (1.0 / normal + 1.0 / self.freedom_between_pairs())
    }

    /// Degrees of freedom of the squared sum of the residuals by how it differs from pair to pair,
    /// block by block of the grid: twice its square over its variance. Infinite where no two pairs
    /// differ or there is one alone.
    fn freedom_between_pairs(&self) -> f64 {
        let pairs = self.residuals.pairs;
        if pairs < 2.0 || self.count < 2 {
            return f64::INFINITY;
        }
        let means: Vec<f64> = self.sums.blocks.iter().map(|sum| sum / pairs).collect();
        let mut squares = vec![0.0; means.len()];
        self.walk_blocks(|sums| {
            for ((square, mean), sum) in squares.iter_mut().zip(&means).zip(sums) {
                *square += (sum - mean).powi(2);
            }
        });
        let variance: f64 = squares.iter().map(|square| square * pairs / (pairs - 1.0)).sum();
        match variance > 0.0 {
            true => 2.0 * self.sums.whole * self.sums.whole / variance,
            false => f64::INFINITY,
        }
    }

    /// Blocks along x and y.
    fn blocks(&self) -> [usize; 2] {
        [0, 1].map(|k| self.grid[k].div_ceil(self.values.reach[k] + 1))
    }

    /// The sums of the contributions over the blocks.
    fn sum_blocks(&self, contributions: &[f64], sums: &mut [f64]) {
        sums.fill(0.0);
        let [rx, ry] = self.values.reach;
        let [along_x, _] = self.blocks();
        for (y, row) in contributions.chunks_exact(self.grid[0]).enumerate() {
            let sums = &mut sums[y / (ry + 1) * along_x..][..along_x];
            for (sum, some) in sums.iter_mut().zip(row.chunks(rx + 1)) {
                some.iter().for_each(|value| *sum += value);
            }
        }
    }

    /// Calls `of` with the sums of the contributions over the blocks in each pair.
    fn walk_blocks(&self, mut of: impl FnMut(&[f64])) {
        let mut sums = vec![0.0; self.sums.blocks.len()];
        if let Some(of_pairs) = &self.sums.of_pairs {
            return of_pairs.chunks_exact(sums.len()).for_each(of);
        }
        self.walk(|_, contributions| {
            self.sum_blocks(contributions, &mut sums);
            of(&sums);
        });
    }
}

/// What chance adds to the mean at each place of a pair. A place loses `lost` degrees of freedom.
///
/// With several pairs chance acts twice. Where there is a value v it departs from its place's mean
/// m; and whether there is one is chance as well: a place whose mean differs from that of all
/// values, M, moves it by coming and going. With I = 1 or 0 and the share p of pairs that have a
/// value, I (v - M) departs from its mean p (m - M) by I (v - m) + (I - p) (m - M), which is the
/// residual of a mean as a ratio of sums (Cochran 1977, Sampling Techniques, section 2.11).
struct Residuals {
    /// Mean and number of all values, and number of pairs.
    overall: f64,
    count: f64,
    pairs: f64,
    /// Sum and number of the values at each place.
    sums: Vec<(f64, f64)>,
    lost: f64,
    losses: Losses,
}

impl Residuals {
    /// How many of the values tell how they scatter.
    fn seen(&self) -> usize {
        let tells = |n: f64| if self.pairs > 1.0 { n > self.lost } else { n > 0.0 };
        let seen = self.sums.iter().map(|(_, n)| if tells(*n) { *n } else { 0.0 });
        seen.sum::<f64>() as usize
    }

    fn of(&self, pair: &[f64], residuals: &mut [f64]) {
        let one = |v: f64, (sum, n): (f64, f64)| {
            if n == 0.0 {
                return 0.0;
            }
            if self.pairs == 1.0 {
                return (v - self.overall) * (self.count / (self.count - 1.0)).sqrt();
            }
            let (mean, there) = (sum / n, f64::from(u8::from(v.is_finite())));
            let comes_and_goes = match self.losses {
                Losses::ByChance => {
                    let p = n / self.pairs;
                    (there - p) * (mean - self.overall) * (self.pairs / (self.pairs - 1.0)).sqrt()
                }
                Losses::Fixed => 0.0,
            };
            // A position seen too seldom does not tell how its values scatter. They are left out of
            // the sum, but not of the count.
            match v.is_finite() && n > self.lost {
                true => (v - mean) * (n / (n - self.lost)).sqrt() + comes_and_goes,
                false => comes_and_goes,
            }
        };
        for ((residual, v), sum) in residuals.iter_mut().zip(pair).zip(&self.sums) {
            *residual = one(*v, *sum);
        }
    }
}

/// Sum of the products of all values with those `dx` columns and `dy` rows further.
fn lagged_product(values: &[f64], [columns, rows]: [usize; 2], dx: isize, dy: usize) -> f64 {
    let (first, last) = ((-dx).max(0) as usize, columns - dx.max(0) as usize);
    let mut sum = 0.0;
    for y in 0..rows - dy {
        let here = &values[y * columns + first..y * columns + last];
        let start = ((y + dy) * columns + first).wrapping_add_signed(dx);
        let there = &values[start..start + here.len()];
        sum += here.iter().zip(there).map(|(a, b)| a * b).sum::<f64>();
    }
    sum
}

/// Variance of the mean of `a`, its covariance with the mean of `b`, and the variance of the
/// latter: the covariance is what var(a + b) has beyond var(a) + var(b).
pub(crate) fn covariance_of_means(a: &GridValues<'_>, b: &GridValues<'_>) -> [f64; 3] {
    let sum = a.join(b, |a, b| a + b);
    let (a, b, both) = (variance_of_mean(a), variance_of_mean(b), variance_of_mean(&sum));
    [a, 0.5 * (both - a - b), b]
}

/// Sum over the lags of the grid of their squared weight, times the fraction of places that have a
/// neighbour at that lag, times `of` the lag (along x, 0 or more on either side, and y).
fn squared_lags(grid: [usize; 2], reach: [usize; 2], of: impl Fn(usize, usize) -> f64) -> f64 {
    let lags = |k: usize| 0..=(2 * reach[k]).min(grid[k].saturating_sub(1));
    let part = |k: usize, lag: usize| {
        let sides = if lag == 0 { 1.0 } else { 2.0 };
        sides * lag_window(lag, reach[k]).powi(2) * (1.0 - lag as f64 / grid[k] as f64)
    };
    lags(1)
        .flat_map(|dy| lags(0).map(move |dx| (dx, dy)))
        .map(|(dx, dy)| part(0, dx) * part(1, dy) * of(dx, dy))
        .sum()
}

/// [`squared_lags`] with the mean product of the scatter at two places, whose mean is 1.
///
/// The scatter of a place is known with few degrees of freedom, and those within reach of it err
/// alike, so that their product would be far too large on the average. Places just beyond the reach
/// along x stand for them, or along y, as the scatter may vary along one of them: whichever says
/// that it is the less even.
fn scatter_over_lags(scatter: &[f64], grid: [usize; 2], reach: [usize; 2]) -> f64 {
    let product = |dx: usize, dy: usize| {
        if dx >= grid[0] || dy >= grid[1] {
            return 1.0;
        }
        let places = (grid[0] - dx) * (grid[1] - dy);
        lagged_product(scatter, grid, dx as isize, dy) / places as f64
    };
    let [beyond_x, beyond_y] = reach.map(|reach| reach + 1);
    let beyond = |dx: usize, dy: usize| dx >= beyond_x || dy >= beyond_y;
    // Each is asked for many times.
    let columns = 2 * beyond_x;
    let products: Vec<f64> = (0..2 * beyond_y)
        .flat_map(|dy| (0..columns).map(move |dx| (dx, dy)))
        .map(|(dx, dy)| if beyond(dx, dy) { product(dx, dy) } else { f64::NAN })
        .collect();
    let known = |dx: usize, dy: usize| products[dy * columns + dx];
    let along_x = squared_lags(grid, reach, |dx, dy| known(dx.max(beyond_x), dy));
    let along_y = squared_lags(grid, reach, |dx, dy| known(dx, dy.max(beyond_y)));
    along_x.max(along_y)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: the mean of b = 2 a + constant covaries with that of a twice as much as that of
    /// a varies, and varies four times as much.
    #[test]
    fn covariance_of_a_multiple() {
        let a = GridValues::new(3, [1, 0], [[1.0, 2.0, 4.0], [2.0, 0.5, -1.0], [0.0, 3.0, 2.0]]);
        let [aa, ab, bb] = covariance_of_means(&a, &a.map(|v| 2.0 * v + 7.0));
        assert!((ab - 2.0 * aa).abs() < 1e-12 && (bb - 4.0 * aa).abs() < 1e-12 && aa > 0.0);
    }

    /// Closed form: independent values of one pair lose one degree of freedom, of several pairs one
    /// per position; and with a reach of 1 along a row of four the squared weights of the lags 0, 1
    /// and 2 sum to 1 + 2 · 3/4 + 2 · (1/2)² · 2/4.
    #[test]
    fn freedom_by_hand() {
        let row = [1.0, 2.0, 3.0, 4.0];
        assert_eq!(MeanScatter::of(&GridValues::new(4, [0, 0], [row])).freedom(), 3.0);
        assert_eq!(
            MeanScatter::of(&GridValues::new(4, [0, 0], [row, row, row])).freedom(),
            8.0
        );
        assert_eq!(
            MeanScatter::of(&GridValues::new(4, [1, 0], [row])).freedom(),
            3.0 / 2.75
        );
    }

    /// By hand: of two places one is always 0, the other 1 in half of four pairs and nothing in the
    /// others. The sums of v - 1/3 over the pairs are 1/3 twice and -1/3 twice, so the ratio of
    /// sums has the variance (4/3) (4/9)/6² (Cochran 1977, section 2.11). Were the losses always
    /// the same, nothing would vary.
    #[test]
    fn a_place_that_comes_and_goes_moves_the_mean() {
        let no = f64::NAN;
        let pairs: [&[f64]; 4] = [&[0.0, 1.0], &[0.0, 1.0], &[0.0, no], &[0.0, no]];
        let values = GridValues::new(2, [1, 0], pairs);
        let expected = 4.0 / 3.0 * 4.0 / 9.0 / 36.0;
        assert!((variance_of_mean(&values) - expected).abs() < 1e-15);
        assert_eq!(MeanScatter::as_seen(&values).variance(), 0.0);
    }

    /// Sums over blocks that are not kept are made again, to the bit.
    #[test]
    fn freedom_needs_no_sums_of_every_pair() {
        let value = |k: usize| ((k * 7919 % 1009) as f64).sin();
        let pairs = (0..20).map(|pair| (0..35).map(|k| value(35 * pair + k)).collect::<Vec<f64>>());
        let values = GridValues::new(7, [1, 2], pairs);
        let mut scatter = MeanScatter::of(&values);
        let kept = scatter.freedom();
        assert_eq!(scatter.sums.of_pairs.take().unwrap().len(), 20 * 4 * 2);
        assert_eq!(scatter.freedom(), kept);
    }

    /// By hand: residuals 3, -1, -1, -1 of a single place have three degrees of freedom if normal.
    /// Their squares times 4/3 sum to 16 and scatter by 4 · 256/9: 2 · 16² over that, 4.5.
    #[test]
    fn a_heavy_tail_is_known_with_less_freedom() {
        let pairs: [&[f64]; 4] = [&[3.0], &[-1.0], &[-1.0], &[-1.0]];
        let freedom = MeanScatter::of(&GridValues::new(1, [0, 0], pairs)).freedom();
        assert!(
            (freedom - 1.0 / (1.0 / 3.0 + 1.0 / 4.5)).abs() < 1e-12,
            "{freedom}"
        );
    }
}
