//! Variance of a mean over values that depend on their neighbours.

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
    variance_with(values, FREE_OF_VALUES)
}

/// Degrees of freedom that values lose at each place to the mean there.
const FREE_OF_VALUES: f64 = 1.0;
/// Degrees of freedom that squared deviations from a place's own mean lose there: one to that mean,
/// one to their own. (The deviations r of n values correlate by -1/(n - 1), their squares by
/// 1/(n - 1)², so that for normal values n Σ(r² - mean r²)²/(n - 1)²/(n - 2) has the expectation
/// 2σ⁴ n/(n - 1), which is n times the variance of the variance.)
pub(super) const FREE_OF_SQUARES: f64 = 2.0;

/// [`variance_of_mean`] of squared deviations from the mean at their own place, each times
/// n/(n - 1) of its place: the variance of the mean variance. With fewer than three values at every
/// place the squares of one place do not tell how they scatter; the places then do, and what varies
/// over them counts as chance.
pub(super) fn variance_of_mean_square(squares: &GridValues) -> f64 {
    match scatters_at_places(squares) {
        true => variance_with(squares, FREE_OF_SQUARES),
        false => variance_of_mean(&over_places(squares)),
    }
}

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

/// Variance of the mean, where every place loses `lost` degrees of freedom.
fn variance_with(values: &GridValues, lost: f64) -> f64 {
    let count = values.count();
    let Some(size) = values.pairs.first().map(Vec::len) else {
        return f64::NAN;
    };
    if count < 2 {
        return f64::NAN;
    }
    let (residuals, seen) = residuals(values, count, lost);
    let (columns, rows) = (values.columns, size / values.columns);
    let [rx, ry] = values.reach;
    let (mut same, mut all) = (0.0, 0.0);
    for residuals in &residuals {
        for dy in 0..=(2 * ry).min(rows - 1) {
            let limit = (2 * rx).min(columns - 1) as isize;
            // Each pair of positions is counted once: half the plane of lags, and twice its sum.
            for dx in (if dy == 0 { 0 } else { -limit })..=limit {
                let weight = lag_window(dx.unsigned_abs(), rx) * lag_window(dy, ry);
                let sum = lagged_product(residuals, [columns, rows], dx, dy);
                if (dx, dy) == (0, 0) {
                    same += sum;
                    all += sum;
                } else {
                    all += 2.0 * weight * sum;
                }
            }
        }
    }
    if seen == 0 {
        return f64::NAN;
    }
    // The positions left out are assumed to scatter as the others do.
    all.max(same) / seen as f64 / count as f64
}

/// What chance adds to each of the `count` values, 0 where that is not known, pair by pair; and how
/// many are known. A place loses `lost` degrees of freedom.
fn residuals(values: &GridValues, count: usize, lost: f64) -> (Vec<Vec<f64>>, usize) {
    let overall = values.mean();
    let centre = |(sum, n): (f64, f64)| match values.pairs.len() {
        1 => (overall, (count as f64 / (count as f64 - 1.0)).sqrt()),
        // A position seen too seldom says nothing of the scatter there. It is left out of the sum,
        // but not of the count.
        _ if n <= lost => (f64::NAN, 0.0),
        _ => (sum / n, f64::sqrt(n / (n - lost))),
    };
    let centres: Vec<(f64, f64)> = values.position_sums().into_iter().map(centre).collect();
    let mut seen = 0;
    let mut residual = |(v, (mean, scale)): (&f64, &(f64, f64))| {
        if !(v.is_finite() && mean.is_finite()) {
            return 0.0;
        }
        let residual = (v - mean) * scale;
        if !residual.is_finite() {
            return 0.0;
        }
        seen += 1;
        residual
    };
    let residuals = values
        .pairs
        .iter()
        .map(|pair| pair.iter().zip(&centres).map(&mut residual).collect())
        .collect();
    (residuals, seen)
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

/// Degrees of freedom with which [`variance_of_mean`] is itself known.
///
/// With the variance v at each place, they are n (1 - 1/pairs) over the number of places, times
/// (Σ v)² over the sum of v v' w² over all pairs of places, w the weight of their lag (twice the
/// squared mean of a quadratic form over its variance, for independent normal values: Satterthwaite
/// 1946, Biometrics Bull. 2, 110; from memory). Where v is the same everywhere that is n (1 -
/// 1/pairs) over the sum of the squared weights of the lags, each times the fraction of places that
/// have a neighbour at that lag (Priestley 1981, Spectral Analysis and Time Series, section 6.2;
/// from memory), and it is never more: scatter that few places have is known by few.
pub(super) fn freedom_of_variance(values: &GridValues) -> f64 {
    freedom_with(values, FREE_OF_VALUES)
}

/// Degrees of freedom with which [`variance_of_mean_square`] is itself known.
pub(super) fn freedom_of_variance_of_square(squares: &GridValues) -> f64 {
    match scatters_at_places(squares) {
        true => freedom_with(squares, FREE_OF_SQUARES),
        false => freedom_of_variance(&over_places(squares)),
    }
}

fn freedom_with(values: &GridValues, lost: f64) -> f64 {
    let (n, pairs) = (values.count() as f64, values.pairs.len() as f64);
    let free = n - if pairs > 1.0 { lost * n / pairs } else { 1.0 };
    let size = values.pairs.first().map_or(0, Vec::len);
    let grid = [values.columns, size / values.columns.max(1)];
    let mut scatter = vec![0.0; size];
    if n >= 2.0 {
        for pair in residuals(values, values.count(), lost).0 {
            for (scatter, residual) in scatter.iter_mut().zip(pair) {
                *scatter += residual * residual;
            }
        }
    }
    let mean = scatter.iter().sum::<f64>() / size as f64;
    let even = squared_lags(grid, values.reach, |_, _| 1.0);
    let uneven = match mean > 0.0 {
        true => {
            let relative: Vec<f64> = scatter.iter().map(|v| v / mean).collect();
            scatter_over_lags(&relative, grid, values.reach)
        }
        false => even,
    };
    free / even.max(uneven)
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
    let along_x = squared_lags(grid, reach, |dx, dy| product(dx.max(beyond_x), dy));
    let along_y = squared_lags(grid, reach, |dx, dy| product(dx, dy.max(beyond_y)));
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
        assert_eq!(freedom_of_variance(&GridValues::of(4, [0, 0], &[&row])), 3.0);
        assert_eq!(
            freedom_of_variance(&GridValues::of(4, [0, 0], &[&row, &row, &row])),
            8.0
        );
        assert_eq!(
            freedom_of_variance(&GridValues::of(4, [1, 0], &[&row])),
            3.0 / 2.75
        );
    }
}
