//! Cubic splines and polynomials through displacements on a regular grid.

use crate::least_squares::Normal;

/// The index of the first of the four B-spline coefficients around a position in units of the
/// spacing, and their weights.
pub(super) fn taps(position: f64) -> (isize, [f64; 4]) {
    let floor = position.floor();
    let t = position - floor;
    let s = 1.0 - t;
    let weights = [
        s * s * s / 6.0,
        (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0,
        (4.0 - 6.0 * s * s + 3.0 * s * s * s) / 6.0,
        t * t * t / 6.0,
    ];
    (floor as isize - 1, weights)
}

/// Value number `index` of a sequence that continues in a straight line before its first and after
/// its last value.
pub(super) fn extended(index: isize, length: usize, value: impl Fn(usize) -> [f64; 2]) -> [f64; 2] {
    let last = length - 1;
    let (end, inner, steps) = match usize::try_from(index) {
        Ok(index) if index <= last => return value(index),
        Ok(index) => (last, last.saturating_sub(1), (index - last) as f64),
        Err(_) => (0, 1.min(last), index.unsigned_abs() as f64),
    };
    let (end, inner) = (value(end), value(inner));
    [0, 1].map(|k| end[k] + steps * (end[k] - inner[k]))
}

/// Replaces `length` values, `step` apart from `start` on, by the coefficients of the cubic spline
/// through them. Without curvature at its ends the first and last coefficients are the values
/// there; Thomas's algorithm finds those between from c(i-1) + 4 c(i) + c(i+1) = 6 v(i).
pub(super) fn interpolating(values: &mut [[f64; 2]], start: usize, step: usize, length: usize) {
    if length < 3 {
        return;
    }
    let at = |i: usize| start + i * step;
    let mut pivots = vec![1.0; length];
    for i in 1..length - 1 {
        let factor = if i == 1 { 1.0 } else { 1.0 / pivots[i - 1] };
        pivots[i] = if i == 1 { 4.0 } else { 4.0 - factor };
        let before = values[at(i - 1)];
        let value = &mut values[at(i)];
        *value = [0, 1].map(|k| 6.0 * value[k] - factor * before[k]);
    }
    for i in (1..length - 1).rev() {
        let after = values[at(i + 1)];
        let value = &mut values[at(i)];
        *value = [0, 1].map(|k| (value[k] - after[k]) / pivots[i]);
    }
}

/// The value in the middle of the second-order polynomial fitted to 5 x 5 vectors, of rows that
/// begin with those of `values`. The normal equations there are Σ v = 25 a + 50 (c + d), Σ x² v = 50
/// a + 170 c + 100 d and the same with y and d, so that a = Σ (27 - 5 (x² + y²)) v / 175.
fn among_all(values: &[[f64; 2]], columns: usize) -> [f64; 2] {
    let mut sum = [0.0; 2];
    for j in 0..5 {
        for (i, value) in values[j * columns..][..5].iter().enumerate() {
            let weight = 27.0 - 5.0 * ((i as f64 - 2.0).powi(2) + (j as f64 - 2.0).powi(2));
            sum = [sum[0] + weight * value[0], sum[1] + weight * value[1]];
        }
    }
    sum.map(|sum| sum / 175.0)
}

/// Replaces every vector by the value at its place of the second-order polynomial fitted to the up
/// to 5 x 5 vectors around it. A vector with too few around it stays as it is.
pub(super) fn regression(values: &[[f64; 2]], columns: usize, rows: usize) -> Vec<[f64; 2]> {
    let around = |centre: usize, length: usize| centre.saturating_sub(2)..(centre + 3).min(length);
    (0..rows * columns)
        .map(|n| {
            let (column, row) = (n % columns, n / columns);
            let (along_x, along_y) = (around(column, columns), around(row, rows));
            if [&along_x, &along_y].iter().all(|range| range.len() == 5) {
                return among_all(&values[along_y.start * columns + along_x.start..], columns);
            }
            [0, 1].map(|k| {
                let mut normal = Normal::new();
                for j in along_y.clone() {
                    for i in along_x.clone() {
                        let (x, y) = (i as f64 - column as f64, j as f64 - row as f64);
                        normal.add([1.0, x, y, x * x, x * y, y * y], values[j * columns + i][k], 1.0);
                    }
                }
                normal.solve().map_or(values[n][k], |[mean, ..]| mean)
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the fit by least squares, on values without pattern; tolerance as rounding of sums of
    /// 25 values of some 10 px.
    #[test]
    fn the_middle_of_all_neighbours_is_that_of_the_fit() {
        let values: Vec<[f64; 2]> = (0..35)
            .map(|n| [(n * n % 19) as f64 - 9.0, (1.3 * f64::from(n)).sin()])
            .collect();
        for start in 0..3 {
            let found = among_all(&values[start..], 7);
            for (k, found) in found.into_iter().enumerate() {
                let mut normal = Normal::new();
                for (n, value) in (0..25).map(|n| (n, values[start + n / 5 * 7 + n % 5])) {
                    let (x, y) = ((n % 5) as f64 - 2.0, (n / 5) as f64 - 2.0);
                    normal.add([1.0, x, y, x * x, x * y, y * y], value[k], 1.0);
                }
                let [expected, ..] = normal.solve().unwrap();
                assert!((found - expected).abs() < 1e-12, "{found}, {expected}");
            }
        }
    }
}
