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

use super::Windows;

/// Greatest lag at which the terms are assumed to covary, px.
const FARTHEST_PX: isize = 4;

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
    let (columns, rows) = (width - step[0], height - step[1]);
    let mut side = 0.0;
    let mut terms = Vec::with_capacity(columns * rows);
    for y in 0..rows {
        for x in 0..columns {
            let here = y * width + x;
            let there = here + step[1] * width + step[0];
            let (right, left) = (first[here] * second[there], first[there] * second[here]);
            side += 0.5 * (right + left);
            terms.push(right - left);
        }
    }
    let deviation = variance_of_sum(&terms, columns).sqrt();
    let (high, low) = (side + 0.5 * deviation, side - 0.5 * deviation);
    if low > 0.0 && centre > side {
        0.5 * (high.ln() - low.ln()) / (2.0 * centre.ln() - high.ln() - low.ln())
    } else {
        f64::NAN
    }
}

/// The variance of the sum of terms of mean zero on a grid of `columns`, from their own
/// covariances.
fn variance_of_sum(terms: &[f64], columns: usize) -> f64 {
    let rows = (terms.len() / columns) as isize;
    let covariance = |[dx, dy]: [isize; 2]| -> f64 {
        let mut sum = 0.0;
        for y in (-dy).max(0)..(rows - dy).min(rows) {
            let x = (-dx).max(0) as usize;
            let length = columns.saturating_sub(dx.unsigned_abs());
            let here = y as usize * columns + x;
            let there = (here as isize + dy * columns as isize + dx) as usize;
            sum += terms[here..here + length]
                .iter()
                .zip(&terms[there..there + length])
                .map(|(a, b)| a * b)
                .sum::<f64>();
        }
        sum
    };
    let own = covariance([0, 0]);
    let mut variance = own;
    // Half of the lags, as S(-δ) = S(δ).
    for dy in 0..=FARTHEST_PX {
        for dx in (if dy == 0 { 1 } else { -FARTHEST_PX })..=FARTHEST_PX {
            let s = covariance([dx, dy]);
            if s.abs() >= SHARE * own {
                variance += 2.0 * s;
            }
        }
    }
    // Negative covariances can outweigh the others; below its own cutoff the sum is not known.
    variance.max(SHARE * own)
}
