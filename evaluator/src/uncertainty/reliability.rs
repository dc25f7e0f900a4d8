//! Whether estimated uncertainties can be believed: held against the errors they claim to know.

use crate::statistics::{
    Confidence, Estimate, GridValues, mean, quantiles, rank_correlation, root_mean_square,
    root_mean_square_ratio, share,
};

/// What the estimated standard uncertainties of one component are worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Reliability {
    /// Vectors with both an uncertainty and an error.
    pub vectors: usize,
    /// Share of vectors whose error is no longer than once, and than twice, its standard uncertainty: 68.3 % and 95.4 % if errors are normal
    /// and the uncertainty is right. Wilson's interval with the effective number of vectors.
    pub coverage: [Estimate; 2],
    /// Root mean square uncertainty over root mean square error: 1 if uncertainties are right on the whole.
    pub ratio: Estimate,
    /// Spearman's rank correlation of the uncertainty with the error's magnitude: whether the estimator tells good vectors from bad ones. Not 1
    /// even for perfect uncertainties, for errors are chance. Unknown with fewer than five pairs.
    pub rank_correlation: Estimate,
    /// The vectors in classes of rising uncertainty.
    pub curve: Vec<ReliabilityClass>,
}

/// Vectors of similar uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReliabilityClass {
    /// Vectors in the class.
    pub vectors: usize,
    /// Root mean square of their uncertainties, px.
    pub predicted_px: Estimate,
    /// Root mean square of their errors, px; equal to the former if uncertainties are right.
    pub actual_px: Estimate,
}

/// Holds the standard uncertainties against the errors of the same vectors, one list per pair; vectors that lack either do not count.
/// Errors should be the random part (without the known bias) if that is all the estimator claims to know.
///
/// The curve has up to `classes` classes with equal numbers of vectors; equal uncertainties stay in one class.
///
/// # Panics
/// If the two differ in the number of pairs or of values per pair.
pub fn reliability(
    uncertainty: &GridValues,
    error: &GridValues,
    classes: usize,
    confidence: Confidence,
) -> Reliability {
    let sizes = |values: &GridValues| values.pairs.iter().map(Vec::len).collect::<Vec<_>>();
    assert_eq!(
        sizes(uncertainty),
        sizes(error),
        "as many uncertainties as errors"
    );
    let joint = |of: &dyn Fn(f64, f64) -> f64| uncertainty.join(error, of);
    let indicator = |yes: bool| f64::from(u8::from(yes));
    let errors = joint(&|_, e| e);
    let by_errors = mean(&errors, confidence).1;
    let covered = |times: f64| {
        let within = joint(&|u, e| indicator(e.abs() <= times * u));
        // Without scatter the share does not tell the dependence; the errors do.
        share(&within, by_errors, confidence)
    };
    Reliability {
        vectors: errors.count(),
        coverage: [covered(1.0), covered(2.0)],
        ratio: root_mean_square_ratio(&joint(&|u, _| u * u), &joint(&|_, e| e * e), confidence),
        rank_correlation: rank_correlation(&joint(&|u, _| u), &joint(&|_, e| e.abs()), confidence),
        curve: curve(&joint(&|u, _| u), &errors, classes, confidence),
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
    let class = |u: f64| limits.partition_point(|limit| *limit < u);
    let one = |number: usize| {
        let members = |of: fn(f64, f64) -> f64| {
            uncertainty.join(error, |u, e| if class(u) == number { of(u, e) } else { f64::NAN })
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
