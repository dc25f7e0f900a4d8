//! Intervals of means, standard deviations and fractions.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

use super::dependence::MeanScatter;
use super::{Confidence, Estimate, GridValues};

/// Mean with its interval by Student's t, and the effective number of values: as many independent
/// ones would have this variance of the mean.
///
/// The degrees of freedom are those of the effective number, or those with which the variance of
/// the mean is known if they are fewer.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, mean};
///
/// let values = GridValues::new(2, [0, 0], [[1.0, 2.0, 4.0, 5.0]]);
/// let (mean, effective) = mean(&values, Confidence::USUAL);
/// assert_eq!((mean.value, effective), (3.0, 4.0));
/// // t = 3.182 for three degrees of freedom, times s/√n = √(10/3)/2.
/// assert!((mean.hi - 3.0 - 2.905).abs() < 1e-3);
/// ```
pub fn mean(values: &GridValues, confidence: Confidence) -> (Estimate, f64) {
    mean_by(values, &MeanScatter::of(values), confidence)
}

/// The same with how the mean scatters.
fn mean_by(values: &GridValues, scatter: &MeanScatter, confidence: Confidence) -> (Estimate, f64) {
    let (n, value, variance) = (scatter.count(), scatter.mean(), scatter.variance());
    if n < 2.0 || !variance.is_finite() {
        return (Estimate::unbounded(value), n.min(1.0));
    }
    let mut squares = 0.0;
    values.walk_known(|v| squares += (v - value).powi(2));
    let spread = squares / (n - 1.0);
    let effective = if variance > 0.0 {
        (spread / variance).clamp(1.0, n)
    } else {
        n
    };
    let half = student((effective - 1.0).min(scatter.freedom()), confidence) * variance.sqrt();
    (Estimate::symmetric(value, half), effective)
}

/// Mean of independent values, one per pair, with its interval by Student's t; unknown (`NaN`) with
/// fewer than two values.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, mean_of_independent};
///
/// let mean = mean_of_independent(&[1.0, 2.0, 4.0, 5.0], Confidence::USUAL);
/// assert_eq!(mean.value, 3.0);
/// assert!((mean.hi - 3.0 - 2.905).abs() < 1e-3);
/// ```
pub fn mean_of_independent(values: &[f64], confidence: Confidence) -> Estimate {
    let n = values.len() as f64;
    let value = values.iter().sum::<f64>() / n;
    let variance = values.iter().map(|v| (v - value).powi(2)).sum::<f64>() / (n - 1.0) / n;
    Estimate::symmetric(value, student(n - 1.0, confidence) * variance.sqrt())
}

/// Square root of the mean of `squares` (squared deviations, each at least zero) with its interval.
///
/// If the deviations were independent and normal, n s²/σ² would follow the chi-squared law with n
/// degrees of freedom. Here the number of degrees of freedom is the one that gives the measured
/// variance of the mean square, ν = 2 s⁴/Var(s²) (Satterthwaite 1946, Biometrics Bull. 2, 110): it
/// accounts for both the dependence and the tails of the errors, and may exceed n where most of the
/// error repeats at its place, as that part is not chance. That variance comes from a sample too,
/// for which the number is reduced.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, root_mean_square};
///
/// let errors = GridValues::new(2, [0, 0], [[3.0, -4.0, 4.0, -3.0]]);
/// let rms = root_mean_square(&errors.map(|e| e * e), Confidence::USUAL);
/// assert!((rms.value - 12.5f64.sqrt()).abs() < 1e-12 && rms.lo < rms.value && rms.value < rms.hi);
/// ```
pub fn root_mean_square(squares: &GridValues, confidence: Confidence) -> Estimate {
    let scatter = MeanScatter::of(squares);
    let (n, s2, variance) = (scatter.count(), scatter.mean(), scatter.variance());
    if s2 == 0.0 {
        return Estimate::exact(0.0);
    }
    if n < 2.0 || !variance.is_finite() {
        return Estimate {
            value: s2.sqrt(),
            lo: 0.0,
            hi: f64::INFINITY,
        };
    }
    let freedom = reduced(2.0 * s2 * s2 / variance, scatter.freedom(), confidence);
    chi_interval(s2.sqrt(), freedom, confidence)
}

/// Root of the mean of `above` over the mean of `below`, both squares of values at the same places,
/// with its interval.
///
/// The square of the inverse is a ratio of means, q = mean(below)/mean(above), with the variance of
/// the mean of (below - q above) over mean(above)² (Cochran 1977, Sampling Techniques, section
/// 2.11); from it the interval follows by the chi-squared law with 2q²/Var(q) degrees of freedom,
/// as for a standard deviation.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, root_mean_square_ratio};
///
/// let errors = GridValues::new(2, [0, 0], [[3.0, -4.0, 4.0, -3.0]]);
/// let squares = errors.map(|e| e * e);
/// let ratio = root_mean_square_ratio(&squares.map(|s| 4.0 * s), &squares, Confidence::USUAL);
/// assert_eq!(ratio.value, 2.0);
/// ```
pub fn root_mean_square_ratio(above: &GridValues, below: &GridValues, confidence: Confidence) -> Estimate {
    let mean_above = above.mean();
    let q = below.mean() / mean_above;
    let unknown = Estimate {
        value: 1.0 / q.sqrt(),
        lo: 0.0,
        hi: f64::INFINITY,
    };
    if !(q > 0.0 && q.is_finite()) {
        return unknown;
    }
    let scatter = MeanScatter::of(&above.join(below, move |above, below| below - q * above));
    let variance = scatter.variance() / (mean_above * mean_above);
    if !variance.is_finite() {
        return unknown;
    }
    let number = (2.0 * q * q / variance).min(below.count() as f64);
    let freedom = reduced(number, scatter.freedom(), confidence);
    chi_interval(q.sqrt(), freedom, confidence).map_falling(|root| 1.0 / root)
}

/// Degrees of freedom from which an interval, a millionth wide, is none.
const MOST_FREEDOM: f64 = 1e12;

/// The interval of a standard deviation `s` known with `freedom` degrees of freedom, by the
/// chi-squared law (JCGM 100 annex E.4, ISO 2854).
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, chi_interval};
///
/// let deviation = chi_interval(1.0, 10.0, Confidence::USUAL);
/// assert!((deviation.lo - 0.6987).abs() < 1e-4 && (deviation.hi - 1.7550).abs() < 1e-4);
/// // Known without limit it is what it is.
/// assert_eq!(chi_interval(1.0, f64::INFINITY, Confidence::USUAL).hi, 1.0);
/// ```
#[allow(clippy::missing_panics_doc, reason = "degrees of freedom are above zero")]
pub fn chi_interval(s: f64, freedom: f64, confidence: Confidence) -> Estimate {
    // The limit of many: nothing is left to chance. So it is where no two pairs differ at all, or
    // so little that the search for the law's quantiles does not end.
    if freedom > MOST_FREEDOM {
        return Estimate::exact(s);
    }
    let freedom = freedom.max(0.5);
    let law = ChiSquared::new(freedom).expect("degrees of freedom above zero");
    let end = |p: f64| s * (freedom / law.inverse_cdf(p)).sqrt();
    Estimate {
        value: s,
        lo: end(1.0 - confidence.tail()),
        hi: end(confidence.tail()),
    }
}

/// Fraction `p` (0 to 1) seen among `n` (effective) trials, with Wilson's interval (Wilson 1927, J.
/// Am. Stat. Assoc. 22, 209); unknown without trials.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, fraction};
///
/// let detected = fraction(0.95, 100.0, Confidence::USUAL);
/// assert!((detected.lo - 0.8882).abs() < 1e-4 && (detected.hi - 0.9785).abs() < 1e-4);
/// ```
pub fn fraction(p: f64, n: f64, confidence: Confidence) -> Estimate {
    if n <= 0.0 || !p.is_finite() {
        return Estimate::unknown(0.0, 1.0);
    }
    let z = normal(1.0 - confidence.tail());
    let z2 = z * z / n;
    let centre = (p + 0.5 * z2) / (1.0 + z2);
    let half = z / (1.0 + z2) * (p * (1.0 - p) / n + 0.25 * z2 / n).sqrt();
    // At the ends the formula gives exactly 0 and 1, except for rounding.
    let lo = if p == 0.0 { 0.0 } else { (centre - half).max(0.0) };
    let hi = if p == 1.0 { 1.0 } else { (centre + half).min(1.0) };
    Estimate { value: p, lo, hi }
}

/// Fraction of ones among zeros and ones, with Wilson's interval on their effective number. Where
/// all are equal they do not show how they depend on each other, and `otherwise` is that number.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, fraction, share};
///
/// let none = GridValues::new(4, [0, 0], [[0.0; 16]]);
/// let usual = Confidence::USUAL;
/// assert_eq!(share(&none, 30.0, usual), fraction(0.0, 30.0, usual));
/// ```
pub fn share(values: &GridValues, otherwise: f64, confidence: Confidence) -> Estimate {
    let scatter = MeanScatter::of(values);
    let (share, effective) = mean_by(values, &scatter, confidence);
    let trials = match share.value {
        p if p > 0.0 && p < 1.0 => reduced(effective, scatter.freedom(), confidence),
        _ => otherwise,
    };
    fraction(share.value, trials, confidence)
}

/// At most `freedom`, and no more than the variance of the mean of these values is known with.
pub(crate) fn limited_freedom(values: &GridValues, freedom: f64) -> f64 {
    freedom.min(MeanScatter::of(values).freedom())
}

/// A number of degrees of freedom, or of trials, that follows from a variance of a mean, reduced so
/// that an interval for large numbers, z/√n wide, becomes t/√n wide, with Student's t for the
/// degrees of freedom of that variance.
pub(super) fn reduced(number: f64, freedom: f64, confidence: Confidence) -> f64 {
    number * (student(f64::INFINITY, confidence) / student(freedom, confidence)).powi(2)
}

/// Two-sided factor of Student's t for `freedom` degrees of freedom; of the normal law for more
/// than 100,000.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, student};
///
/// assert!((student(9.0, Confidence::USUAL) - 2.262).abs() < 1e-3);
/// ```
#[allow(clippy::missing_panics_doc, reason = "degrees of freedom are above zero")]
pub fn student(freedom: f64, confidence: Confidence) -> f64 {
    if freedom > 1e5 {
        return normal(1.0 - confidence.tail());
    }
    StudentsT::new(0.0, 1.0, freedom.max(0.5))
        .expect("degrees of freedom above zero")
        .inverse_cdf(1.0 - confidence.tail())
}

fn normal(p: f64) -> f64 {
    Normal::new(0.0, 1.0)
        .expect("the standard normal law")
        .inverse_cdf(p)
}
