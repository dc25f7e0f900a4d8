//! Intervals by leaving out one pair at a time.

use super::{Confidence, Estimate, mean_of_independent};

/// A figure made of sums over independent pairs, such as a ratio or a slope, with its interval by
/// the jackknife (Quenouille 1956, Tukey 1958; as in Efron and Tibshirani, An Introduction to the
/// Bootstrap, 1993, chapter 11; from memory).
///
/// `pairs` holds `N` sums per pair, and `figure` makes the figure of the sums over all pairs, or
/// over all but one of them. The interval is Student's, of the pseudo-values n θ - (n - 1) θ₋ᵢ.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, jackknife};
///
/// // Number and sum of each pair: the figure is a mean, 10/4.
/// let sums = [[1.0, 1.0], [1.0, 2.0], [1.0, 3.0], [1.0, 4.0]];
/// let mean = jackknife(&sums, Confidence::USUAL, |[n, sum]| sum / n);
/// // Student's t of three degrees of freedom times s/√n = √(5/3)/2.
/// assert!(mean.value == 2.5 && (mean.hi - 2.5 - 2.054).abs() < 1e-3);
/// ```
pub fn jackknife<const N: usize>(
    pairs: &[[f64; N]],
    confidence: Confidence,
    figure: impl Fn(&[f64; N]) -> f64,
) -> Estimate {
    let mut total = [0.0; N];
    for sums in pairs {
        for (t, s) in total.iter_mut().zip(sums) {
            *t += s;
        }
    }
    let n = pairs.len() as f64;
    let whole = figure(&total);
    let pseudo: Vec<f64> = pairs
        .iter()
        .map(|sums| {
            let mut rest = total;
            for (t, s) in rest.iter_mut().zip(sums) {
                *t -= s;
            }
            n * whole - (n - 1.0) * figure(&rest)
        })
        .collect();
    let spread = mean_of_independent(&pseudo, confidence);
    Estimate::symmetric(whole, 0.5 * (spread.hi - spread.lo))
}

/// Jackknife variance of a figure from its values `without` one pair each: (n - 1)/n Σ(θ₋ᵢ -
/// mean)², which is the variance of the mean of the pseudo-values.
pub(super) fn variance(without: &[f64]) -> f64 {
    let n = without.len() as f64;
    let mean = without.iter().sum::<f64>() / n;
    (n - 1.0) / n * without.iter().map(|z| (z - mean).powi(2)).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::student;

    /// Closed form: for a mean the pseudo-values are the values, so the interval is Student's, and
    /// the variance of the left-out means that of the mean, s²/n.
    #[test]
    fn of_a_mean_is_students() {
        let values = [0.3, 1.7, 2.2, 5.1, -0.4];
        let got = jackknife(&values.map(|v| [1.0, v]), Confidence::USUAL, |[n, sum]| sum / n);
        let expected = mean_of_independent(&values, Confidence::USUAL);
        for (got, expected) in [
            (got.value, expected.value),
            (got.lo, expected.lo),
            (got.hi, expected.hi),
        ] {
            assert!((got - expected).abs() < 1e-12, "{got} {expected}");
        }
        let sum: f64 = values.iter().sum();
        let half = student(4.0, Confidence::USUAL) * variance(&values.map(|v| (sum - v) / 4.0)).sqrt();
        assert!((expected.hi - expected.value - half).abs() < 1e-12);
    }

    /// Derived for a ratio of sums y/x with all x equal: that of a mean of y/x.
    #[test]
    fn of_a_ratio_with_equal_denominators() {
        let ratio = |[x, y]: &[f64; 2]| y / x;
        let got = jackknife(&[[2.0, 1.0], [2.0, 4.0], [2.0, 3.0]], Confidence::USUAL, ratio);
        let expected = mean_of_independent(&[0.5, 2.0, 1.5], Confidence::USUAL);
        assert!((got.lo - expected.lo).abs() < 1e-12 && (got.hi - expected.hi).abs() < 1e-12);
    }
}
