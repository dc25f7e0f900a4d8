//! Spatial response: how much of a wave of known length is measured.

use super::{ErrorSample, Errors, VectorTruth};
use crate::statistics::{Estimate, mean};

/// Response at which a tenth of the amplitude is lost.
pub const MINUS_10_PERCENT: f64 = 0.9;
/// Response at which half the energy is lost: 1/√2.
pub const MINUS_3_DB: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Measured over true amplitude of one component (0 is x, 1 is y): the slope of the least-squares
/// line of measured against true displacement at the positions of the vectors, over all vectors
/// that are not outliers. In a flow of one wavelength it is the regression on the known sine; in
/// others it is an average over their waves. `NaN` where the true displacement is the same
/// everywhere.
///
/// The interval is that of the mean of the line's residuals times the wave, with their dependence
/// between vectors as in [`mean`]: the variance of the slope whatever the dependence and inequality
/// of the scatter (White 1980, Econometrica 48, 817).
///
/// # Panics
/// If `truth` has fewer vectors than the errors.
///
/// ```
/// use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, amplitude_ratio};
/// use motefield_evaluator::statistics::Confidence;
///
/// // Three quarters of a wave of 1 px are measured.
/// let wave: Vec<[f64; 2]> = (0..16).map(|k| [f64::sin(0.4 * f64::from(k)), 0.0]).collect();
/// let lost: Vec<[f64; 2]> = wave.iter().map(|w| [-0.25 * w[0], 0.0]).collect();
/// let errors = Errors { point_px: lost.clone(), window_px: lost, detected: vec![true; 16] };
/// let truth = VectorTruth { point_px: wave.clone(), window_px: wave };
/// let sample = ErrorSample {
///     columns: 16,
///     reach: [0, 0],
///     pairs: &[errors],
///     truths: Truths::Repeat,
///     part: None,
///     confidence: Confidence::USUAL,
/// };
/// assert!((amplitude_ratio(&sample, &truth, 0).value - 0.75).abs() < 1e-12);
/// ```
pub fn amplitude_ratio(sample: &ErrorSample, truth: &VectorTruth, component: usize) -> Estimate {
    let error = sample.values(move |errors, k| errors.point_px[k][component]);
    let wave = sample.values(move |errors, k| match errors.point_px[k][component].is_finite() {
        true => truth.point_px[k][component],
        false => f64::NAN,
    });
    let (error_mean, wave_mean) = (error.mean(), wave.mean());
    let square = wave.map(move |t| (t - wave_mean).powi(2)).mean();
    let product = move |errors: &Errors, k: usize| {
        (errors.point_px[k][component] - error_mean) * (truth.point_px[k][component] - wave_mean)
    };
    let slope = sample.values(product).mean() / square;
    let ratios = sample.values(move |errors, k| {
        let t = truth.point_px[k][component] - wave_mean;
        1.0 + slope + (errors.point_px[k][component] - error_mean - slope * t) * t / square
    });
    mean(&ratios, sample.confidence).0
}

/// Where a response falls below a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Crossing {
    /// Before the first point: the response is below the level from the start.
    Below,
    /// At this D/λ. An end of the interval outside the points is 0 or infinite.
    At(Estimate),
    /// After the last point, or nowhere.
    Beyond,
}

/// The first D/λ at which the response falls below `level`. The `points` are pairs of D/λ (window
/// over wavelength), in rising order, and the response there.
///
/// Between points the response is assumed to be linear in (D/λ)², as that of a symmetric window is
/// an even function. For a moving average and points 0.1 apart the crossing is found to within
/// 0.002 D/λ. The ends of the interval are the crossings of the lower and upper ends of the
/// responses: conservative, as these need not all be off to the same side.
///
/// ```
/// use motefield_evaluator::score::{Crossing, MINUS_3_DB, crossing};
/// use motefield_evaluator::statistics::Estimate;
///
/// let response = |d: f64| (d, Estimate::exact(1.0 - d * d));
/// let points = [0.2, 0.4, 0.6, 0.8].map(response);
/// let Crossing::At(place) = crossing(&points, MINUS_3_DB) else { panic!() };
/// assert!((place.value - (1.0 - MINUS_3_DB).sqrt()).abs() < 1e-12);
/// ```
pub fn crossing(points: &[(f64, Estimate)], level: f64) -> Crossing {
    let fall = |of: fn(&Estimate) -> f64| {
        let at = |k: usize| (points[k].0, of(&points[k].1));
        let first = (0..points.len()).find(|&k| at(k).1 < level)?;
        if first == 0 {
            return Some(0.0);
        }
        let ((x0, above), (x1, below)) = (at(first - 1), at(first));
        // An open end, or an unknown value before it, leaves everything between the two points
        // possible.
        let share = match (above - level) / (above - below) {
            s if s.is_finite() => s,
            _ => 1.0,
        };
        Some((x0 * x0 + share * (x1 * x1 - x0 * x0)).sqrt())
    };
    match fall(|e| e.value) {
        None => Crossing::Beyond,
        Some(0.0) => Crossing::Below,
        Some(value) => Crossing::At(Estimate {
            value,
            lo: fall(|e| e.lo).unwrap_or(value),
            hi: fall(|e| e.hi).unwrap_or(f64::INFINITY),
        }),
    }
}
