//! Uncertainty by correlation statistics (Wieneke 2015, Meas. Sci. Technol. 26, 074002; formula
//! from memory).
//!
//! In two windows I₁, I₂ that match, the correlation is equal one pixel to the right and one to the
//! left, C₊ = C₋, except for noise. The difference of the two is the sum over the pixels of
//!
//! ΔC(x) = I₁(x) I₂(x + e) - I₁(x + e) I₂(x),
//!
//! which has mean zero; so the variance of the sum is that of its terms, of which neighbours
//! covary, as particle images are wider than a pixel:
//!
//! σ² = Σ_δ S(δ),  S(δ) = Σ_x ΔC(x) ΔC(x + δ),
//!
//! over the lags δ up to where S falls below 5 % of S(0), and at most 4 px. The three-point
//! Gaussian fit converts it to px: with C± = (C₊ + C₋)/2, half of the asymmetry σ added on one side
//! and subtracted on the other,
//!
//! σ_u = ½ [ln(C± + σ/2) - ln(C± - σ/2)] / [2 ln C₀ - ln(C± + σ/2) - ln(C± - σ/2)].

use std::ops::Range;

use multiversion::multiversion;

use super::Windows;

/// Greatest lag at which the terms are assumed to covary, px.
const FARTHEST_PX: usize = 4;

/// Fraction of S(0) below which the covariance counts as zero.
const SHARE: f64 = 0.05;

/// Standard uncertainty along x and y, px, of the window at `corner`; `NaN` without a clear peak.
pub(super) fn of(windows: &Windows, corner: [usize; 2]) -> [f64; 2] {
    let [first, second] = windows.tapered(corner);
    let size = windows.weights.each_ref().map(Vec::len);
    let centre: f64 = first.iter().zip(&second).map(|(a, b)| a * b).sum();
    [[1, 0], [0, 1]].map(|step| along(&first, &second, size, step, centre))
}

fn along(first: &[f64], second: &[f64], [width, height]: [usize; 2], step: [usize; 2], centre: f64) -> f64 {
    // The terms of the pixels that have a neighbour in the window.
    let mut terms = Terms::new([width - step[0], height - step[1]]);
    let mut side = 0.0;
    for y in 0..terms.rows {
        let here = y * width..y * width + terms.columns;
        let there = here.start + step[1] * width + step[0]..here.end + step[1] * width + step[0];
        let at = |range: &Range<usize>| first[range.clone()].iter().zip(&second[range.clone()]);
        for (term, (here, there)) in terms.row_mut(y).iter_mut().zip(at(&here).zip(at(&there))) {
            let (right, left) = (here.0 * there.1, there.0 * here.1);
            side += 0.5 * (right + left);
            *term = right - left;
        }
    }
    let deviation = terms.variance_of_sum().sqrt();
    let (high, low) = (side + 0.5 * deviation, side - 0.5 * deviation);
    if low > 0.0 && centre > side {
        0.5 * (high.ln() - low.ln()) / (2.0 * centre.ln() - high.ln() - low.ln())
    } else {
        f64::NAN
    }
}

/// Terms of mean zero on a grid.
struct Terms {
    columns: usize,
    rows: usize,
    /// Row by row, each with [`FARTHEST_PX`] zeros before and after it.
    padded: Vec<f64>,
}

impl Terms {
    fn new([columns, rows]: [usize; 2]) -> Self {
        let padded = vec![0.0; (columns + 2 * FARTHEST_PX) * rows];
        Self {
            columns,
            rows,
            padded,
        }
    }

    fn row_mut(&mut self, y: usize) -> &mut [f64] {
        let start = y * (self.columns + 2 * FARTHEST_PX) + FARTHEST_PX;
        &mut self.padded[start..start + self.columns]
    }

    /// The variance of their sum, from their own covariances.
    fn variance_of_sum(&self) -> f64 {
        let mut own = 0.0;
        let mut variance = 0.0;
        // Half of the lags, as S(-δ) = S(δ).
        for dy in 0..=FARTHEST_PX {
            let along_row = covariances(self, dy);
            if dy == 0 {
                own = along_row[FARTHEST_PX];
                variance = own;
            }
            let before = if dy == 0 { FARTHEST_PX + 1 } else { 0 };
            for s in &along_row[before..] {
                if s.abs() >= SHARE * own {
                    variance += 2.0 * s;
                }
            }
        }
        // Negative covariances can outweigh the others; below its own cutoff the sum is not known.
        variance.max(SHARE * own)
    }
}

/// Lags along a row that are summed side by side.
const LAGS: usize = 2 * FARTHEST_PX + 1;

/// S at a lag of `dy` rows and of -[`FARTHEST_PX`] to [`FARTHEST_PX`] columns. Each sum is made in
/// the same order as alone.
#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn covariances(terms: &Terms, dy: usize) -> [f64; LAGS] {
    let stride = terms.columns + 2 * FARTHEST_PX;
    let mut sums = [0.0; LAGS];
    let rows = terms.padded.chunks_exact(stride);
    for (here, there) in rows.clone().zip(rows.skip(dy)) {
        let mut of_row = [0.0; LAGS];
        let here = &here[FARTHEST_PX..FARTHEST_PX + terms.columns];
        for (term, near) in here.iter().zip(there.windows(LAGS)) {
            let near: &[f64; LAGS] = near.as_chunks().0.first().expect("as many as lags");
            for lag in 0..LAGS {
                of_row[lag] += term * near[lag];
            }
        }
        for lag in 0..LAGS {
            sums[lag] += of_row[lag];
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Slow plain reference: the sum over all pairs of terms at a lag, one lag after another, on
    /// grids wider and narrower than the lags reach.
    #[test]
    fn sums_side_by_side_are_those_of_each_lag_alone() {
        for [columns, rows] in [[31, 32], [9, 6], [3, 3], [32, 1]] {
            let mut terms = Terms::new([columns, rows]);
            let value = |x: usize, y: usize| (((13 * x + 29 * y + x * x * y) % 101) as f64 - 50.0) / 7.0;
            for y in 0..rows {
                for (x, term) in terms.row_mut(y).iter_mut().enumerate() {
                    *term = value(x, y);
                }
            }
            for dy in 0..=FARTHEST_PX {
                for (k, found) in covariances(&terms, dy).into_iter().enumerate() {
                    let mut sum = 0.0;
                    for y in 0..rows.saturating_sub(dy) {
                        let mut of_row = 0.0;
                        for x in 0..columns {
                            let there = (x + k).checked_sub(FARTHEST_PX).filter(|there| *there < columns);
                            of_row += there.map_or(0.0, |there| value(x, y) * value(there, y + dy));
                        }
                        sum += of_row;
                    }
                    assert_eq!(found, sum, "{columns} x {rows}, lag {k}, {dy}");
                }
            }
        }
    }
}
