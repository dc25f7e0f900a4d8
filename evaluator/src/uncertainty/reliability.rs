//! Whether estimated uncertainties can be trusted: comparison with the errors that they estimate.

use crate::statistics::{
    Confidence, Estimate, GridValues, mean, quantiles, rank_correlation, root_mean_square,
    root_mean_square_ratio, share,
};

/// How good the estimated standard uncertainties of one component are.
#[derive(Debug, Clone, PartialEq)]
pub struct Reliability {
    /// Number of vectors with both an uncertainty and an error.
    pub vectors: usize,
    /// Fraction of vectors whose error is no larger than once, and than twice, its standard
    /// uncertainty: 68.3 % and 95.4 % if errors are normal and the uncertainty is right. Wilson's
    /// interval with the effective number of vectors.
    pub coverage: [Estimate; 2],
    /// Root mean square uncertainty over root mean square error: 1 if uncertainties are right on
    /// the whole.
    pub ratio: Estimate,
    /// Spearman's rank correlation of the uncertainty with the magnitude of the error: whether the
    /// estimator tells good vectors from bad ones. Below 1 even for perfect uncertainties, as
    /// errors are random. The interval is -1 to 1 with fewer than three pairs.
    pub rank_correlation: Estimate,
    /// The vectors in classes of rising uncertainty.
    pub curve: Vec<ReliabilityClass>,
}

/// Vectors of similar uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReliabilityClass {
    /// Number of vectors in the class.
    pub vectors: usize,
    /// Root mean square of their uncertainties, px.
    pub predicted_px: Estimate,
    /// Root mean square of their errors, px; equal to the former if uncertainties are right.
    pub actual_px: Estimate,
}

/// Compares the standard uncertainties with the errors of the same vectors, one list per pair, both
/// in px; vectors that lack either do not count. Errors should be the random part (without the
/// known bias) if the estimator claims to know only that.
///
/// The curve has up to `classes` classes with equal numbers of vectors; equal uncertainties stay in
/// one class.
///
/// # Panics
/// If the two differ in the number of pairs or of values per pair.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues};
/// use motefield_evaluator::uncertainty::reliability;
///
/// let values = |pair: [f64; 4]| GridValues::new(2, [0, 0], [pair]);
/// let (uncertainty, error) = (values([0.1; 4]), values([0.05, -0.08, 0.15, -0.02]));
/// let found = reliability(&uncertainty, &error, 2, Confidence::USUAL);
/// // Three of the four errors are within their uncertainty, all within twice.
/// assert_eq!((found.coverage[0].value, found.coverage[1].value), (0.75, 1.0));
/// ```
pub fn reliability(
    uncertainty: &GridValues,
    error: &GridValues,
    classes: usize,
    confidence: Confidence,
) -> Reliability {
    let sizes = |values: &GridValues| [values.pairs(), values.places()];
    assert_eq!(
        sizes(uncertainty),
        sizes(error),
        "as many uncertainties as errors"
    );
    let joint = |of: fn(f64, f64) -> f64| uncertainty.join(error, of);
    let errors = joint(|_, e| e);
    let by_errors = mean(&errors, confidence).1;
    let covered = |times: f64| {
        let within = uncertainty.join(error, move |u, e| f64::from(u8::from(e.abs() <= times * u)));
        // Without scatter the fraction does not show the dependence; the errors do.
        share(&within, by_errors, confidence)
    };
    Reliability {
        vectors: errors.count(),
        coverage: [covered(1.0), covered(2.0)],
        ratio: root_mean_square_ratio(&joint(|u, _| u * u), &joint(|_, e| e * e), confidence),
        rank_correlation: rank_correlation(&joint(|u, _| u), &joint(|_, e| e.abs()), confidence),
        curve: curve(&joint(|u, _| u), &errors, classes, confidence),
    }
}

fn curve(
    uncertainty: &GridValues,
    error: &GridValues,
    classes: usize,
    confidence: Confidence,
) -> Vec<ReliabilityClass> {
    let shares: Vec<f64> = (1..classes).map(|k| k as f64 / classes as f64).collect();
    let mut limits: Vec<f64> = quantiles(uncertainty, &shares, confidence)
        .iter()
        .map(|q| q.value)
        .collect();
    limits.dedup();
    let class = &|u: f64| limits.partition_point(|limit| *limit < u);
    let one = |number: usize| {
        let members = |of: fn(f64, f64) -> f64| {
            uncertainty.join(
                error,
                move |u, e| if class(u) == number { of(u, e) } else { f64::NAN },
            )
        };
        let errors = members(|_, e| e * e);
        ReliabilityClass {
            vectors: errors.count(),
            predicted_px: root_mean_square(&members(|u, _| u * u), confidence),
            actual_px: root_mean_square(&errors, confidence),
        }
    };
    (0..=limits.len())
        .map(one)
        .filter(|class| class.vectors > 0)
        .collect()
}
