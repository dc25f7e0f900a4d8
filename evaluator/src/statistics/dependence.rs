//! Variance of a mean over values that depend on their neighbours.

use super::GridValues;

/// Variance of the mean of all values.
///
/// What repeats from pair to pair at one grid position is a property of the flow, not chance; so with several
/// pairs the mean over the pairs is taken off at each position (and the loss of one degree of freedom in as many as
/// there are pairs made good). With one pair the mean over the grid is taken off instead, which counts the fixed pattern as
/// chance: wider, never narrower.
///
/// The covariances over the lags of the grid are summed with a flat-topped window: whole to the
/// `reach`, then falling to nothing at twice the reach (Politis and Romano 1995, J. Time Ser. Anal. 16, 67; memory). Never
/// less than for independent values.
pub fn variance_of_mean(values: &GridValues) -> f64 {
    let count = values.count();
    let Some(size) = values.pairs.first().map(|pair| pair.len()) else {
        return f64::NAN;
    };
    if count < 2 {
        return f64::NAN;
    }
    let pairs = values.pairs.len();
    let overall = values.mean();
    let centre: Vec<(f64, f64)> = (0..size)
        .map(|i| {
            let (sum, n) = values
                .pairs
                .iter()
                .map(|s| s[i])
                .filter(|v| v.is_finite())
                .fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
            match pairs {
                1 => (overall, (count as f64 / (count as f64 - 1.0)).sqrt()),
                // A position seen once says nothing of the scatter there; leave it out of the sum but not out of the count.
                _ if n < 2.0 => (f64::NAN, 0.0),
                _ => (sum / n, f64::sqrt(n / (n - 1.0))),
            }
        })
        .collect();
    let columns = values.columns;
    let rows = size / columns;
    let (mut same, mut all, mut seen) = (0.0, 0.0, 0usize);
    for pair in &values.pairs {
        let residual: Vec<f64> = pair
            .iter()
            .zip(&centre)
            .map(|(v, (mean, scale))| {
                if v.is_finite() && mean.is_finite() {
                    (v - mean) * scale
                } else {
                    f64::NAN
                }
            })
            .collect();
        seen += residual.iter().filter(|r| r.is_finite()).count();
        let clean: Vec<f64> = residual
            .iter()
            .map(|r| if r.is_finite() { *r } else { 0.0 })
            .collect();
        let [rx, ry] = values.reach;
        for dy in 0..=(2 * ry).min(rows - 1) {
            let limit = (2 * rx).min(columns - 1) as isize;
            // Each pair of positions once: half the plane of lags, and twice its sum.
            for dx in (if dy == 0 { 0 } else { -limit })..=limit {
                let weight = taper(dx.unsigned_abs(), rx) * taper(dy, ry);
                let mut sum = 0.0;
                for y in 0..rows - dy {
                    let (first, last) = ((-dx).max(0) as usize, columns - dx.max(0) as usize);
                    let here = &clean[y * columns + first..y * columns + last];
                    let start = ((y + dy) * columns + first).wrapping_add_signed(dx);
                    let there = &clean[start..start + here.len()];
                    sum += here.iter().zip(there).map(|(a, b)| a * b).sum::<f64>();
                }
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
    // The positions left out are taken to scatter as the others do.
    all.max(same) / seen as f64 / count as f64
}

/// Weight of the covariance at a lag, up to twice the reach.
fn taper(lag: usize, reach: usize) -> f64 {
    match (lag, reach) {
        (l, r) if l <= r => 1.0,
        (l, r) => 1.0 - (l - r) as f64 / (r + 1) as f64,
    }
}

/// How well [`variance_of_mean`] is itself known, in degrees of freedom: n (1 - 1/pairs) over the sum of the squared weights of the lags, each with
/// the share of places that have a neighbour at that lag (Priestley 1981, Spectral Analysis and Time Series, section 6.2: a sum of
/// weighted covariances; memory).
pub(super) fn freedom_of_variance(values: &GridValues) -> f64 {
    let size = values.pairs.first().map_or(0, |pair| pair.len());
    let along = |length: usize, reach: usize| -> f64 {
        (0..=(2 * reach).min(length.saturating_sub(1)))
            .map(|lag| {
                let sides = if lag == 0 { 1.0 } else { 2.0 };
                sides * taper(lag, reach).powi(2) * (1.0 - lag as f64 / length as f64)
            })
            .sum()
    };
    let (n, pairs) = (values.count() as f64, values.pairs.len() as f64);
    let lost = if pairs > 1.0 { n / pairs } else { 1.0 };
    let lags = along(values.columns, values.reach[0]) * along(size / values.columns.max(1), values.reach[1]);
    (n - lost) / lags
}
