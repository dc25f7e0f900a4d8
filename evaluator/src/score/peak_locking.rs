//! Peak locking: displacements attracted to whole (or half) pixels.

use std::f64::consts::TAU;

use super::{ErrorSample, VectorTruth};
use crate::statistics::{Estimate, covariance_of_means, limited_freedom, mean, p_value, share};

/// How far the measured displacements of one component are locked to whole pixels, compared with
/// the true ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PeakLocking {
    /// Degree of locking: mean of cos 2πd over the measured displacements d, px, minus that over
    /// the true ones. 0 without locking, 1 if every displacement is a whole number, negative if
    /// they are attracted to half pixels. A periodic error -A sin 2πd gives J₁(2πA), nearly πA.
    pub degree: Estimate,
    /// Probability of fractions as unlike the true ones without any locking; `NaN` if the scatter
    /// is unknown.
    pub p_value: f64,
    /// Length of the mean of exp 2πid over the true displacements: 0 for uniform fractions, 1 if
    /// all are the same. The figures above are meaningful only where this is small (below 0.1, for
    /// example): on fractions that are not uniform any random error σ lowers the measured length by
    /// a factor exp(-2π²σ²).
    pub truth: f64,
}

/// Compares the first circular moment of the measured displacements, the mean of exp 2πid, with
/// that of the true ones. Component 0 is x, 1 is y; outliers do not count. `truth` must be that of
/// the errors; its average over the windows is used, so that resolution does not matter.
///
/// Rayleigh's statistic of uniformity, for vectors that depend on each other: the difference of the
/// moments is squared and divided by its covariance as measured between pairs, and follows
/// Hotelling's T² law with the degrees of freedom ν of [`mean`]: p is (1 + T²/ν)^(-(ν-1)/2), for
/// many exp(-T²/2) as in Rayleigh's test (Mardia & Jupp 2000, Directional Statistics, section 6.3;
/// from memory). Assumes that the mean of the many vectors is normal.
///
/// # Panics
/// If `truth` has fewer vectors than the errors.
///
/// ```
/// use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, peak_locking};
/// use motefield_evaluator::statistics::Confidence;
///
/// // Eight displacements of 0, 1/8, ..., 7/8 px, all measured as whole pixels.
/// let truth_px: Vec<[f64; 2]> = (0..8).map(|k| [f64::from(k) / 8.0, 0.0]).collect();
/// let error = |t: &[f64; 2]| [t[0].round() - t[0], 0.0];
/// let errors = Errors {
///     point_px: truth_px.iter().map(error).collect(),
///     window_px: truth_px.iter().map(error).collect(),
///     detected: vec![true; 8],
/// };
/// let truth = VectorTruth { point_px: truth_px.clone(), window_px: truth_px };
/// let sample = ErrorSample {
///     columns: 8,
///     reach: [0, 0],
///     pairs: &[errors],
///     truths: Truths::Repeat,
///     part: None,
///     confidence: Confidence::USUAL,
/// };
/// assert!((peak_locking(&sample, &truth, 0).degree.value - 1.0).abs() < 1e-12);
/// ```
pub fn peak_locking(sample: &ErrorSample, truth: &VectorTruth, component: usize) -> PeakLocking {
    let excess = |of: fn(f64) -> f64| {
        let of_truth: Vec<f64> = truth.window_px.iter().map(|t| of(TAU * t[component])).collect();
        sample.values(move |errors, k| {
            let found = truth.window_px[k][component] + errors.window_px[k][component];
            of(TAU * found) - of_truth[k]
        })
    };
    let (cosines, sines) = (excess(f64::cos), excess(f64::sin));
    let (degree, effective) = mean(&cosines, sample.confidence);
    let (other, other_effective) = mean(&sines, sample.confidence);
    let own = |of: fn(f64) -> f64| {
        let all = sample.values(move |errors, k| {
            let found = errors.window_px[k][component];
            if found.is_finite() {
                of(TAU * truth.window_px[k][component])
            } else {
                f64::NAN
            }
        });
        all.mean()
    };
    PeakLocking {
        degree,
        p_value: p_value(
            [degree.value, other.value],
            covariance_of_means(&cosines, &sines),
            limited_freedom(&cosines, effective.min(other_effective) - 1.0),
        ),
        truth: own(f64::cos).hypot(own(f64::sin)),
    }
}

/// One class of fractional displacements.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FractionClass {
    /// Middle of the class: displacement minus the nearest whole number, px.
    pub middle_px: f64,
    /// Fraction of the measured displacements in it.
    pub measured: Estimate,
    /// Fraction of the true ones; for uniform fractions one over the number of classes.
    pub truth: f64,
}

/// Distribution of the fractional part of the displacements, measured and true, from -½ to ½ px in
/// `classes` classes of equal width. Component 0 is x, 1 is y. The intervals are Wilson's with the
/// effective number of vectors for each class.
///
/// # Panics
/// If `truth` has fewer vectors than the errors, or there are no classes.
pub fn fractions(
    sample: &ErrorSample,
    truth: &VectorTruth,
    component: usize,
    classes: usize,
) -> Vec<FractionClass> {
    let class = |displacement: f64| {
        let place = (displacement + 0.5 - (displacement + 0.5).floor()) * classes as f64;
        (place as usize).min(classes - 1)
    };
    let one = |number: usize| {
        let among = |displacement: f64| f64::from(u8::from(class(displacement) == number));
        let counted = |measured: f64| {
            sample.values(move |errors, k| {
                let (t, e) = (truth.window_px[k][component], errors.window_px[k][component]);
                if e.is_finite() {
                    among(t + measured * e)
                } else {
                    f64::NAN
                }
            })
        };
        FractionClass {
            middle_px: (number as f64 + 0.5) / classes as f64 - 0.5,
            measured: share(&counted(1.0), sample.pairs.number() as f64, sample.confidence),
            truth: counted(0.0).mean(),
        }
    };
    (0..classes).map(one).collect()
}
