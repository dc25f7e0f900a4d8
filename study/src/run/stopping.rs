//! When a point is known well enough.

use motefield_evaluator::score::TotalError;

/// A point at which more vectors than this are lost, or that has none, is not worth more pairs.
const HOPELESS: f64 = 0.5;

fn hopeless(outliers: f64) -> bool {
    outliers.is_nan() || outliers > HOPELESS
}

/// How many measurements a point needs by the error of those `measured`, at most `most`: half the
/// total error's interval over its value falls with the square root of their number. As many as
/// there are when it is `precision`.
pub(super) fn needed(error: &TotalError, measured: usize, most: usize, precision: f64) -> usize {
    let width = error.total_px.relative_half_width();
    if measured >= most || width <= precision || hopeless(error.outliers) {
        return measured;
    }
    let more = (measured as f64 * (width / precision).powi(2))
        .ceil()
        .min(most as f64);
    (more as usize).clamp(measured + 1, most)
}

/// How many to measure next of those needed: at most double, as the first intervals are themselves
/// uncertain.
pub(super) fn next(needed: usize, measured: usize) -> usize {
    needed.min(2 * measured)
}

#[cfg(test)]
mod tests;
