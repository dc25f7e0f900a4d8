//! Variance of a mean over values that depend on their neighbours.

use multiversion::multiversion;

use super::GridValues;

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
/// let values = GridValues { columns: 2, reach: [0, 0], pairs: vec![vec![1.0, -1.0, -1.0, 1.0]] };
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

fn scatters_at_places(squares: &GridValues) -> bool {
    squares.position_sums().iter().any(|(_, n)| *n > FREE_OF_SQUARES)
}

/// The mean at each place as the values of a single pair.
fn over_places(values: &GridValues) -> GridValues {
    let means = values.position_sums().into_iter().map(|(sum, n)| sum / n);
    GridValues {
        pairs: vec![means.collect()],
        ..values.clone()
    }
}

/// How the mean of values that depend on their neighbours scatters by chance.
pub(super) struct MeanScatter {
    grid: [usize; 2],
    reach: [usize; 2],
    /// How many values there are, and how many of them tell how they scatter.
    count: usize,
    seen: usize,
    /// Pairs, and degrees of freedom that each place loses.
    pairs: f64,
    lost: f64,
    /// What chance adds to the mean at each place of each pair; no pair with fewer than two values.
    residuals: Vec<Vec<f64>>,
    /// What each of them adds to the squared sum.
    contributions: Vec<Vec<f64>>,
}

impl MeanScatter {
    /// Of the mean of these values.
    pub(super) fn of(values: &GridValues) -> MeanScatter {
        MeanScatter::with(values, FREE_OF_VALUES, Losses::ByChance)
    }

    /// The same if the values that there are were the same in every repetition.
    pub(super) fn as_seen(values: &GridValues) -> MeanScatter {
        MeanScatter::with(values, FREE_OF_VALUES, Losses::Fixed)
    }

    /// Of the mean of squared deviations from the mean at their own place, each times n/(n - 1) of
    /// its place: how the mean variance scatters. With fewer than three values at every place the
    /// squares of one place do not tell how they scatter; the places then do, and what varies over
    /// them counts as chance.
    pub(super) fn of_squares(squares: &GridValues) -> MeanScatter {
        match scatters_at_places(squares) {
            true => MeanScatter::with(squares, FREE_OF_SQUARES, Losses::Fixed),
            false => MeanScatter::as_seen(&over_places(squares)),
        }
    }

    /// Where every place loses `lost` degrees of freedom.
    fn with(values: &GridValues, lost: f64, losses: Losses) -> MeanScatter {
        let count = values.count();
        let size = values.pairs.first().map_or(0, Vec::len);
        let grid = [values.columns, size / values.columns.max(1)];
        let (residuals, seen) = match count < 2 {
            true => Default::default(),
            false => residuals(values, count, lost, losses),
        };
        let contributions = residuals
            .iter()
            .map(|residuals| contributions(residuals, grid, values.reach));
        MeanScatter {
            grid,
            reach: values.reach,
            count,
            seen,
            pairs: values.pairs.len() as f64,
            lost,
            contributions: contributions.collect(),
            residuals,
        }
    }

    /// Variance of the mean, in the values' unit squared; `NaN` with fewer than two values.
    pub(super) fn variance(&self) -> f64 {
        if self.seen == 0 {
            return f64::NAN;
        }
        let (mut same, mut all) = (0.0, 0.0);
        for (residuals, contributions) in self.residuals.iter().zip(&self.contributions) {
            same += residuals.iter().map(|r| r * r).sum::<f64>();
            all += contributions.iter().sum::<f64>();
        }
        // The positions left out are assumed to scatter as the others do.
        all.max(same) / self.seen as f64 / self.count as f64
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
        let (n, pairs) = (self.count as f64, self.pairs);
        let free = n - if pairs > 1.0 { self.lost * n / pairs } else { 1.0 };
        let size = self.grid[0] * self.grid[1];
        let mut scatter = vec![0.0; size];
        for pair in &self.residuals {
            for (scatter, residual) in scatter.iter_mut().zip(pair) {
                *scatter += residual * residual;
            }
        }
        let mean = scatter.iter().sum::<f64>() / size as f64;
        let even = squared_lags(self.grid, self.reach, |_, _| 1.0);
        let uneven = match mean > 0.0 {
            true => {
                let relative: Vec<f64> = scatter.iter().map(|v| v / mean).collect();
                scatter_over_lags(&relative, self.grid, self.reach)
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
        let (all, pairs) = (&self.contributions, self.contributions.len() as f64);
        if all.len() < 2 {
            return f64::INFINITY;
        }
        let (grid, reach) = (self.grid, self.reach);
        let blocks = [0, 1].map(|k| grid[k].div_ceil(reach[k] + 1));
        let block = |place: usize| {
            let [x, y] = [place % grid[0] / (reach[0] + 1), place / grid[0] / (reach[1] + 1)];
            y * blocks[0] + x
        };
        let mut of_blocks = vec![vec![0.0; all.len()]; blocks[0] * blocks[1]];
        for (pair, all) in all.iter().enumerate() {
            for (place, value) in all.iter().enumerate() {
                of_blocks[block(place)][pair] += value;
            }
        }
        let whole: f64 = all.iter().flatten().sum();
        let scatter = |values: &Vec<f64>| {
            let mean = values.iter().sum::<f64>() / pairs;
            values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() * pairs / (pairs - 1.0)
        };
        let variance: f64 = of_blocks.iter().map(scatter).sum();
        match variance > 0.0 {
            true => 2.0 * whole * whole / variance,
            false => f64::INFINITY,
        }
    }
}

/// What chance adds to the mean at each place of each pair, and how many of the `count` values tell
/// how they scatter. A place loses `lost` degrees of freedom.
///
/// With several pairs chance acts twice. Where there is a value v it departs from its place's mean
/// m; and whether there is one is chance as well: a place whose mean differs from that of all
/// values, M, moves it by coming and going. With I = 1 or 0 and the share p of pairs that have a
/// value, I (v - M) departs from its mean p (m - M) by I (v - m) + (I - p) (m - M), which is the
/// residual of a mean as a ratio of sums (Cochran 1977, Sampling Techniques, section 2.11).
fn residuals(values: &GridValues, count: usize, lost: f64, losses: Losses) -> (Vec<Vec<f64>>, usize) {
    let overall = values.mean();
    let pairs = values.pairs.len() as f64;
    let seen_in = |n: f64| if pairs > 1.0 { n > lost } else { n > 0.0 };
    let sums = values.position_sums();
    let residual = |(v, (sum, n)): (&f64, &(f64, f64))| {
        if *n == 0.0 {
            return 0.0;
        }
        if pairs == 1.0 {
            return (v - overall) * (count as f64 / (count as f64 - 1.0)).sqrt();
        }
        let (mean, there) = (sum / n, f64::from(u8::from(v.is_finite())));
        let comes_and_goes = match losses {
            Losses::ByChance => (there - n / pairs) * (mean - overall) * (pairs / (pairs - 1.0)).sqrt(),
            Losses::Fixed => 0.0,
        };
        // A position seen too seldom does not tell how its values scatter. They are left out of the
        // sum, but not of the count.
        match v.is_finite() && *n > lost {
            true => (v - mean) * (n / (n - lost)).sqrt() + comes_and_goes,
            false => comes_and_goes,
        }
    };
    let of_pair = |pair: &Vec<f64>| pair.iter().zip(&sums).map(residual).collect();
    let seen = sums.iter().map(|(_, n)| if seen_in(*n) { *n } else { 0.0 });
    (
        values.pairs.iter().map(of_pair).collect(),
        seen.sum::<f64>() as usize,
    )
}

/// Places whose sums are made side by side.
const LANES: usize = 16;

/// What each place adds to the squared sum of the residuals: each times the sum of those about it,
/// weighted by their lag.
fn contributions(residuals: &[f64], [columns, rows]: [usize; 2], [rx, ry]: [usize; 2]) -> Vec<f64> {
    let [far_x, far_y] = [(2 * rx).min(columns - 1), (2 * ry).min(rows - 1)];
    // Zeros all around stand for the places that are not there.
    let stride = columns.next_multiple_of(LANES) + 2 * far_x;
    let mut padded = vec![0.0; stride * (rows + 2 * far_y)];
    let start = |y: usize| (far_y + y) * stride + far_x;
    for (y, row) in residuals.chunks_exact(columns).enumerate() {
        padded[start(y)..][..columns].copy_from_slice(row);
    }
    let lags = lags([far_x, far_y], stride, |dx, dy| {
        lag_window(dx, rx) * lag_window(dy, ry)
    });
    let mut sums = vec![[0.0; LANES]; columns.div_ceil(LANES)];
    let mut contributions = Vec::with_capacity(residuals.len());
    for (y, row) in residuals.chunks_exact(columns).enumerate() {
        sum_about(&padded, start(y), &lags, &mut sums);
        contributions.extend(row.iter().zip(sums.as_flattened()).map(|(r, sum)| r * sum));
    }
    contributions
}

/// The weighted sums of the values about each place of a row that begins at `start`.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn sum_about(values: &[f64], start: usize, lags: &[(isize, f64)], sums: &mut [[f64; LANES]]) {
    for (chunk, sums) in sums.iter_mut().enumerate() {
        let here = start + chunk * LANES;
        let mut all = [0.0; LANES];
        for &(offset, weight) in lags {
            let near = &values[here.wrapping_add_signed(offset)..].as_chunks::<LANES>().0[0];
            for lane in 0..LANES {
                all[lane] += weight * near[lane];
            }
        }
        *sums = all;
    }
}

/// How much further every place at a lag is where rows are `stride` places long, and the weight of
/// the lag: those above first, from the farthest row on, at last those below.
fn lags(
    [far_x, far_y]: [usize; 2],
    stride: usize,
    weight: impl Fn(usize, usize) -> f64,
) -> Vec<(isize, f64)> {
    let [far_x, far_y] = [far_x, far_y].map(|far| far as isize);
    let mut lags = Vec::new();
    for dy in -far_y..=far_y {
        for dx in -far_x..=far_x {
            // Above, from right to left: the order is part of the sums' last digits.
            let dx = if dy < 0 { -dx } else { dx };
            let weight = weight(dx.unsigned_abs(), dy.unsigned_abs());
            lags.push((dy * stride as isize + dx, weight));
        }
    }
    lags
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

/// Weight of the covariance at a lag along one axis, up to twice the reach.
fn lag_window(lag: usize, reach: usize) -> f64 {
    match (lag, reach) {
        (l, r) if l <= r => 1.0,
        (l, r) => 1.0 - (l - r) as f64 / (r + 1) as f64,
    }
}

/// Variance of the mean of `a`, its covariance with the mean of `b`, and the variance of the
/// latter: the covariance is what var(a + b) has beyond var(a) + var(b).
pub(crate) fn covariance_of_means(a: &GridValues, b: &GridValues) -> [f64; 3] {
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
        let a = GridValues::of(
            3,
            [1, 0],
            &[&[1.0, 2.0, 4.0], &[2.0, 0.5, -1.0], &[0.0, 3.0, 2.0]],
        );
        let [aa, ab, bb] = covariance_of_means(&a, &a.map(|v| 2.0 * v + 7.0));
        assert!((ab - 2.0 * aa).abs() < 1e-12 && (bb - 4.0 * aa).abs() < 1e-12 && aa > 0.0);
    }

    /// Closed form: independent values of one pair lose one degree of freedom, of several pairs one
    /// per position; and with a reach of 1 along a row of four the squared weights of the lags 0, 1
    /// and 2 sum to 1 + 2 · 3/4 + 2 · (1/2)² · 2/4.
    #[test]
    fn freedom_by_hand() {
        let row = [1.0, 2.0, 3.0, 4.0];
        assert_eq!(
            MeanScatter::of(&GridValues::of(4, [0, 0], &[&row])).freedom(),
            3.0
        );
        assert_eq!(
            MeanScatter::of(&GridValues::of(4, [0, 0], &[&row, &row, &row])).freedom(),
            8.0
        );
        assert_eq!(
            MeanScatter::of(&GridValues::of(4, [1, 0], &[&row])).freedom(),
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
        let values = GridValues::of(2, [1, 0], &pairs);
        let expected = 4.0 / 3.0 * 4.0 / 9.0 / 36.0;
        assert!((variance_of_mean(&values) - expected).abs() < 1e-15);
        assert_eq!(MeanScatter::as_seen(&values).variance(), 0.0);
    }

    /// By hand: residuals 3, -1, -1, -1 of a single place have three degrees of freedom if normal.
    /// Their squares times 4/3 sum to 16 and scatter by 4 · 256/9: 2 · 16² over that, 4.5.
    #[test]
    fn a_heavy_tail_is_known_with_less_freedom() {
        let pairs: [&[f64]; 4] = [&[3.0], &[-1.0], &[-1.0], &[-1.0]];
        let freedom = MeanScatter::of(&GridValues::of(1, [0, 0], &pairs)).freedom();
        assert!(
            (freedom - 1.0 / (1.0 / 3.0 + 1.0 / 4.5)).abs() < 1e-12,
            "{freedom}"
        );
    }
}
