//! Comparison of two settings that were measured on the same particles.
//!
//! What both settings make of the same particles and the same noise rises and falls together, so
//! the differences scatter less than either. They are formed first, place by place or pair by pair,
//! and their mean is judged.

use super::{Confidence, GridValues, mean_of_independent, variance_of_mean};

/// Mean of b - a in units of its standard error, over the places where both have a value: positive
/// where b is the larger. Infinite where the standard error is not known, or zero with a mean that
/// is not.
///
/// ```
/// use motefield_evaluator::statistics::{GridValues, difference_in_standard_errors};
///
/// let a = GridValues::new(4, [0, 0], [[1.0, 5.0, 2.0, 8.0]]);
/// let b = GridValues::new(4, [0, 0], [[1.0, 5.0, 6.0, 8.0]]);
/// // Differences 0, 0, 4, 0: mean 1, standard deviation 2, four values.
/// assert!((difference_in_standard_errors(&a, &b) - 1.0).abs() < 1e-12);
/// ```
pub fn difference_in_standard_errors(a: &GridValues, b: &GridValues) -> f64 {
    let difference = a.join(b, |a, b| b - a);
    let mean = difference.mean();
    if mean == 0.0 {
        return 0.0;
    }
    let error = variance_of_mean(&difference).sqrt();
    if error.is_finite() && error > 0.0 {
        mean / error
    } else {
        f64::INFINITY
    }
}

/// Whether values, one per pair, cannot be shown to exceed those of a `reference` on the same
/// pairs: the interval of the mean difference (Student's t) reaches zero or below. False with fewer
/// than two pairs that both have.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, not_above};
///
/// let reference = [1.0, 2.0, 3.0];
/// assert!(not_above(&[1.1, 1.9, 3.1], &reference, Confidence::USUAL));
/// assert!(!not_above(&[1.5, 2.6, 3.4], &reference, Confidence::USUAL));
/// ```
pub fn not_above(values: &[f64], reference: &[f64], confidence: Confidence) -> bool {
    let differences: Vec<f64> = values
        .iter()
        .zip(reference)
        .map(|(value, reference)| value - reference)
        .filter(|d| d.is_finite())
        .collect();
    // With a single value the interval is not a number, and no comparison with it holds.
    mean_of_independent(&differences, confidence).lo <= 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::student;

    fn values(pairs: &[&[f64]]) -> GridValues<'static> {
        GridValues::new(2, [0, 0], pairs)
    }

    /// Closed form: with several pairs the scatter is about each position's own mean. The same
    /// values differ by nothing, and a difference without scatter, or of a single place, is
    /// infinite.
    #[test]
    fn differences_place_by_place() {
        let a = values(&[&[1.0, 2.0], &[7.0, 3.0]]);
        let b = a.join(&values(&[&[1.0, 4.0], &[3.0, 2.0]]), |a, d| a + d);
        // Differences 1 and 3, 4 and 2: each position's variance is 2, the mean 2.5 of four values.
        assert!((difference_in_standard_errors(&a, &b) - 2.5 / (2.0f64 / 4.0).sqrt()).abs() < 1e-12);
        assert!((difference_in_standard_errors(&b, &a) + 2.5 / (2.0f64 / 4.0).sqrt()).abs() < 1e-12);
        assert_eq!(difference_in_standard_errors(&a, &a), 0.0);
        assert_eq!(
            difference_in_standard_errors(&a, &a.map(|v| v + 1.0)),
            f64::INFINITY
        );
        let one = values(&[&[f64::NAN, 2.0]]);
        assert_eq!(difference_in_standard_errors(&one, &a), 0.0);
        assert_eq!(
            difference_in_standard_errors(&one, &a.map(|v| 2.0 * v)),
            f64::INFINITY
        );
    }

    /// Closed form: differences of mean m and standard deviation s, n of them, are told from zero
    /// when m exceeds t s/√n. Pairs without a value do not count, and fewer than two tell nothing.
    #[test]
    fn exceeding_is_decided_by_students_factor() {
        let reference = [10.0, f64::NAN, 20.0, 30.0];
        let limit = student(2.0, Confidence::USUAL) / 3f64.sqrt();
        for (mean, expected) in [(0.99 * limit, true), (1.01 * limit, false), (-9.0, true)] {
            let above = [9.0 + mean, 1.0, 20.0 + mean, 31.0 + mean];
            assert_eq!(not_above(&above, &reference, Confidence::USUAL), expected);
        }
        assert!(!not_above(&[1.0], &[2.0], Confidence::USUAL));
        assert!(!not_above(&[], &[], Confidence::USUAL));
    }
}
