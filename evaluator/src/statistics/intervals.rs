//! Intervals of means, standard deviations and fractions.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

use super::dependence::freedom_of_variance;
use super::{Confidence, Estimate, GridValues, variance_of_mean};

/// Mean with its interval by Student's t, and the effective number of values. The degrees of freedom are those of that number, or
/// those with which the variance of the mean is known if they are fewer.
pub fn mean(values: &GridValues, confidence: Confidence) -> (Estimate, f64) {
    let n = values.count() as f64;
    let value = values.mean();
    let variance = variance_of_mean(values);
    if n < 2.0 || !variance.is_finite() {
        return (
            Estimate {
                value,
                ..Estimate::unknown(f64::NEG_INFINITY, f64::INFINITY)
            },
            n.min(1.0),
        );
    }
    let spread = values
        .pairs
        .iter()
        .flat_map(|s| s.iter())
        .filter(|v| v.is_finite())
        .map(|v| (v - value).powi(2))
        .sum::<f64>()
        / (n - 1.0);
    let effective = if variance > 0.0 {
        (spread / variance).clamp(1.0, n)
    } else {
        n
    };
    let half = student(freedom(values, effective - 1.0), confidence) * variance.sqrt();
    (
        Estimate {
            value,
            lo: value - half,
            hi: value + half,
        },
        effective,
    )
}

/// Square root of the mean of `squares` (squared deviations, each at least zero) with its interval.
///
/// If the deviations were independent and normal, n s²/σ² would follow the chi-squared law with n degrees of freedom. Here the
/// number of degrees of freedom is the one that gives the measured variance of the mean square, ν = 2 s⁴/Var(s²)
/// (Satterthwaite 1946, Biometrics Bull. 2, 110): it carries both the dependence and the tails of the errors. That variance comes from a
/// sample too, which takes some of them away ([`lessened`]).
pub fn root_mean_square(squares: &GridValues, confidence: Confidence) -> Estimate {
    let (n, s2) = (squares.count() as f64, squares.mean());
    let variance = variance_of_mean(squares);
    if s2 == 0.0 {
        return Estimate {
            value: 0.0,
            lo: 0.0,
            hi: 0.0,
        };
    }
    if n < 2.0 || !variance.is_finite() {
        return Estimate {
            value: s2.sqrt(),
            ..Estimate::unknown(0.0, f64::INFINITY)
        };
    }
    chi_interval(
        s2.sqrt(),
        lessened((2.0 * s2 * s2 / variance).min(n), squares, confidence),
        confidence,
    )
}

/// The interval of a standard deviation `s` known with `freedom` degrees of freedom (chi-squared law;
/// JCGM 100 annex E.4, ISO 2854).
pub fn chi_interval(s: f64, freedom: f64, confidence: Confidence) -> Estimate {
    let freedom = freedom.max(0.5);
    let law = ChiSquared::new(freedom).expect("degrees of freedom above zero");
    let end = |p: f64| s * (freedom / law.inverse_cdf(p)).sqrt();
    Estimate {
        value: s,
        lo: end(1.0 - confidence.tail()),
        hi: end(confidence.tail()),
    }
}

/// Fraction `p` seen among `n` (effective) trials, with Wilson's interval (Wilson 1927, J. Am. Stat. Assoc. 22, 209).
pub fn fraction(p: f64, n: f64, confidence: Confidence) -> Estimate {
    if n <= 0.0 || !p.is_finite() {
        return Estimate::unknown(0.0, 1.0);
    }
    let z = normal(1.0 - confidence.tail());
    let z2 = z * z / n;
    let centre = (p + 0.5 * z2) / (1.0 + z2);
    let half = z / (1.0 + z2) * (p * (1.0 - p) / n + 0.25 * z2 / n).sqrt();
    // At the ends the formula gives exactly 0 and 1, but for rounding.
    let lo = if p == 0.0 { 0.0 } else { (centre - half).max(0.0) };
    let hi = if p == 1.0 { 1.0 } else { (centre + half).min(1.0) };
    Estimate { value: p, lo, hi }
}

/// Share of ones among zeros and ones, with Wilson's interval on their effective number. Where all are alike they do not show how they
/// depend on each other, and `otherwise` is that number.
pub fn share(values: &GridValues, otherwise: f64, confidence: Confidence) -> Estimate {
    let (share, effective) = mean(values, confidence);
    let trials = match share.value {
        p if p > 0.0 && p < 1.0 => lessened(effective, values, confidence),
        _ => otherwise,
    };
    fraction(share.value, trials, confidence)
}

/// At most `freedom`, and no more than the variance of the mean of these values is known with.
pub(crate) fn freedom(values: &GridValues, freedom: f64) -> f64 {
    freedom.min(freedom_of_variance(values))
}

/// A number of degrees of freedom, or of trials, that was measured by the variance of the mean of these values, lessened so that an
/// interval for large numbers, z/√n wide, becomes t/√n wide, with Student's t for the degrees of freedom of that variance.
pub(crate) fn lessened(number: f64, values: &GridValues, confidence: Confidence) -> f64 {
    let known = student(freedom_of_variance(values), confidence);
    number * (student(f64::INFINITY, confidence) / known).powi(2)
}

/// Two-sided factor of Student's t; of the normal law for many degrees of freedom.
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
