//! Outliers: vectors that disagree with their neighbours.

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
        Some(component(0)?.hypot(component(1)?))
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
