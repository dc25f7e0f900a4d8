//! Whether estimated uncertainties can be believed: held against the errors they claim to know.

use crate::statistics::{
    Confidence, Estimate, GridValues, chi_interval, lessened, mean, quantiles, rank_correlation,
    root_mean_square, share, variance_of_mean,
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
/// The ratio's interval: the square of its inverse is a ratio of means, q = Σe²/Σu², with the variance of the mean of
/// (e² - q u²) over ⟨u²⟩² (Cochran 1977, Sampling Techniques, section 2.11); the chi-squared law with the degrees of freedom 2q²/Var(q), as for a
/// standard deviation.
///
/// # Panics
/// If the two differ in the number of pairs or of values per pair.
pub fn reliability(
    uncertainty: &GridValues,
    error: &GridValues,
    classes: usize,
    confidence: Confidence,
) -> Reliability {
    let joint = |of: &dyn Fn(f64, f64) -> f64| both(uncertainty, error, of);
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
        ratio: ratio(&joint(&|u, _| u * u), &joint(&|_, e| e * e), confidence),
        rank_correlation: rank_correlation(&joint(&|u, _| u), &joint(&|_, e| e.abs()), confidence),
        curve: curve(&joint(&|u, _| u), &errors, classes, confidence),
    }
}

/// The values of `of`(a, b), `NaN` where either is.
fn both(a: &GridValues, b: &GridValues, of: &dyn Fn(f64, f64) -> f64) -> GridValues<'static> {
    assert_eq!(
        a.pairs.len(),
        b.pairs.len(),
        "as many pairs of uncertainties as of errors"
    );
    let pair = |(a, b): (&std::borrow::Cow<[f64]>, &std::borrow::Cow<[f64]>)| {
        assert_eq!(a.len(), b.len(), "as many uncertainties as errors");
        a.iter()
            .zip(b.iter())
            .map(|(a, b)| {
                if a.is_finite() && b.is_finite() {
                    of(*a, *b)
                } else {
                    f64::NAN
                }
            })
            .collect()
    };
    GridValues {
        columns: a.columns,
        reach: a.reach,
        pairs: a.pairs.iter().zip(&b.pairs).map(pair).collect(),
    }
}

/// Root of the mean of `above` over the mean of `below`, both squares.
fn ratio(above: &GridValues, below: &GridValues, confidence: Confidence) -> Estimate {
    let predicted = above.mean();
    let q = below.mean() / predicted;
    if !(q > 0.0 && q.is_finite()) {
        return Estimate {
            value: 1.0 / q.sqrt(),
            ..Estimate::unknown(0.0, f64::INFINITY)
        };
    }
    let scatter = both(above, below, &|u2, e2| e2 - q * u2);
    let variance = variance_of_mean(&scatter) / (predicted * predicted);
    if !variance.is_finite() {
        return Estimate {
            value: 1.0 / q.sqrt(),
            ..Estimate::unknown(0.0, f64::INFINITY)
        };
    }
    let inverse = chi_interval(
        q.sqrt(),
        lessened(
            (2.0 * q * q / variance).min(below.count() as f64),
            &scatter,
            confidence,
        ),
        confidence,
    );
    Estimate {
        value: 1.0 / inverse.value,
        lo: 1.0 / inverse.hi,
        hi: 1.0 / inverse.lo,
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
            both(uncertainty, error, &|u, e| {
                if class(u) == number { of(u, e) } else { f64::NAN }
            })
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
