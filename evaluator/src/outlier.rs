//! Outliers: vectors that disagree with their neighbours.

use multiversion::multiversion;

use crate::statistics;

/// The normalised residual of a value among its neighbours (Westerweel & Scarano 2005): |u -
/// median| / (median |uᵢ - median| + ε), with the medians over the neighbours without the value
/// itself; ε is in the unit of the values. `None` with fewer than three neighbours, too few to
/// outvote the value.
///
/// The neighbours are overwritten. All values must be finite.
///
/// ```
/// use motefield_evaluator::normalised_residual;
///
/// let mut neighbours = [1.0, 2.0, 3.0, 4.0, 5.0];
/// // Median 3; the median distance from it is 1.
/// assert_eq!(normalised_residual(6.0, &mut neighbours, 0.5), Some(2.0));
/// ```
pub fn normalised_residual(value: f64, neighbours: &mut [f64], epsilon: f64) -> Option<f64> {
    if neighbours.len() < 3 {
        return None;
    }
    let middle = median(neighbours);
    neighbours.iter_mut().for_each(|u| *u = (*u - middle).abs());
    Some((value - middle).abs() / (median(neighbours) + epsilon))
}

/// The middle one of the values, none of which is infinite, or the mean of the two in the middle.
fn median(values: &mut [f64]) -> f64 {
    let (count, half) = (values.len(), values.len() / 2);
    if count > 8 {
        return statistics::median(values);
    }
    let mut eight = [f64::INFINITY; 8];
    eight[..count].copy_from_slice(values);
    let sorted = sorted(eight);
    match count % 2 {
        1 => sorted[half],
        _ => 0.5 * (sorted[half - 1] + sorted[half]),
    }
}

/// Eight values, as many as a vector has neighbours, by rising size. Always the same pairs are put
/// in order, as no processor could foretell which way a branch goes.
#[inline(always)]
fn sorted([mut a, mut b, mut c, mut d, mut e, mut f, mut g, mut h]: [f64; 8]) -> [f64; 8] {
    let order = |a: f64, b: f64| (if b < a { b } else { a }, if b < a { a } else { b });
    (a, c) = order(a, c);
    (b, d) = order(b, d);
    (e, g) = order(e, g);
    (f, h) = order(f, h);
    (a, e) = order(a, e);
    (b, f) = order(b, f);
    (c, g) = order(c, g);
    (d, h) = order(d, h);
    (a, b) = order(a, b);
    (c, d) = order(c, d);
    (e, f) = order(e, f);
    (g, h) = order(g, h);
    (c, e) = order(c, e);
    (d, f) = order(d, f);
    (b, e) = order(b, e);
    (d, g) = order(d, g);
    (b, c) = order(b, c);
    (d, e) = order(d, e);
    (f, g) = order(f, g);
    [a, b, c, d, e, f, g, h]
}

/// A grid of displacements, some of which may serve as neighbours.
pub(crate) struct Neighbourhood<'a> {
    pub columns: usize,
    pub displacements: &'a [[f64; 2]],
    /// Which vectors may be used to judge or replace others.
    pub trusted: &'a [bool],
}

impl Neighbourhood<'_> {
    /// One component of the trusted vectors among the up to 8 around vector `n`.
    fn around(&self, n: usize, component: usize) -> ([f64; 8], usize) {
        let (columns, rows) = (self.columns, self.displacements.len() / self.columns);
        let (column, row) = (n % columns, n / columns);
        let mut values = [0.0; 8];
        let mut count = 0;
        for j in row.saturating_sub(1)..(row + 2).min(rows) {
            for i in column.saturating_sub(1)..(column + 2).min(columns) {
                let m = j * columns + i;
                if m != n && self.trusted[m] {
                    values[count] = self.displacements[m][component];
                    count += 1;
                }
            }
        }
        (values, count)
    }

    /// Normalised residual of `displacement` in the place of vector `n`: those of its two
    /// components added in quadrature. At a border the existing neighbours are used; `None` if
    /// fewer than three are trusted.
    pub fn residual(&self, n: usize, displacement: [f64; 2], epsilon_px: f64) -> Option<f64> {
        let component = |component: usize| {
            let (mut values, count) = self.around(n, component);
            normalised_residual(displacement[component], &mut values[..count], epsilon_px)
        };
        Some(length(component(0)?, component(1)?))
    }

    /// [`residual`](Neighbourhood::residual) of every vector in its own place.
    pub fn residuals(&self, epsilon_px: f64) -> Vec<Option<f64>> {
        let columns = self.columns;
        let parts = [0, 1].map(|k| self.displacements.iter().map(|d| d[k]).collect::<Vec<f64>>());
        let mut residuals = vec![None; self.displacements.len()];
        let mut of_row = [0, 1].map(|_| vec![0.0; columns.saturating_sub(2)]);
        for (row, residuals) in residuals.chunks_exact_mut(columns.max(1)).enumerate() {
            let start = row * columns;
            // Side by side where none of the neighbours is missing.
            let inside = row > 0 && start + 2 * columns <= self.trusted.len() && columns > 2;
            if inside {
                for (part, of_row) in parts.iter().zip(&mut of_row) {
                    let rows = [start - columns, start, start + columns].map(|at| &part[at..at + columns]);
                    residuals_of_row(rows, epsilon_px, of_row);
                }
            }
            let all = |column: usize| {
                let rows = [start - columns, start, start + columns];
                let known = |at: usize| self.trusted[at + column - 1..at + column + 2] == [true; 3];
                rows.iter().all(|at| known(*at))
            };
            for (column, residual) in residuals.iter_mut().enumerate() {
                *residual = match inside && column > 0 && column + 1 < columns && all(column) {
                    true => Some(length(of_row[0][column - 1], of_row[1][column - 1])),
                    false => self.residual(start + column, self.displacements[start + column], epsilon_px),
                };
            }
        }
        residuals
    }

    /// Median of the trusted neighbours by component; `None` if there are none.
    pub fn median(&self, n: usize) -> Option<[f64; 2]> {
        let component = |component: usize| {
            let (mut values, count) = self.around(n, component);
            (count > 0).then(|| median(&mut values[..count]))
        };
        Some([component(0)?, component(1)?])
    }
}

/// Length of a vector whose components are neither very large nor very small.
fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// [`normalised_residual`] of the values between the first and the last of a row among their eight
/// neighbours, which are in the rows above, here and below.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn residuals_of_row([above, here, below]: [&[f64]; 3], epsilon: f64, residuals: &mut [f64]) {
    let inner = residuals.len();
    let [a, b, c] = shifted(above, inner);
    let [d, value, e] = shifted(here, inner);
    let [f, g, h] = shifted(below, inner);
    for n in 0..inner {
        let neighbours = [a[n], b[n], c[n], d[n], e[n], f[n], g[n], h[n]];
        let middle = middle_of_eight(neighbours);
        let scatter = middle_of_eight(neighbours.map(|u| (u - middle).abs()));
        residuals[n] = (value[n] - middle).abs() / (scatter + epsilon);
    }
}

/// As many values of a row, from each of the first three on.
#[inline(always)]
fn shifted(row: &[f64], number: usize) -> [&[f64]; 3] {
    [&row[..number], &row[1..][..number], &row[2..][..number]]
}

#[inline(always)]
fn middle_of_eight(values: [f64; 8]) -> f64 {
    let sorted = sorted(values);
    0.5 * (sorted[3] + sorted[4])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Vectors whose neighbours are all there, judged side by side, are judged to the bit as each
    /// alone; so are those at borders and beside others that are not trusted.
    #[test]
    fn a_row_is_judged_as_its_vectors() {
        for columns in [0, 1, 2, 3, 7, 23] {
            let number = columns * 6;
            let displacements: Vec<[f64; 2]> = (0..number)
                .map(|n| [(n * n % 17) as f64 / 7.0, (1.7 * n as f64).sin()])
                .collect();
            let trusted: Vec<bool> = (0..number).map(|n| n % 29 != 18).collect();
            let all = Neighbourhood {
                columns,
                displacements: &displacements,
                trusted: &trusted,
            };
            for (n, residual) in all.residuals(0.1).into_iter().enumerate() {
                assert_eq!(residual, all.residual(n, displacements[n], 0.1), "{columns}, {n}");
            }
        }
    }
}
