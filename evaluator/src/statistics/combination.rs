//! One uncertainty from several contributions.

use super::{Confidence, student};

/// A combined uncertainty, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Combined standard uncertainty, in the unit of the contributions.
    pub standard: f64,
    /// Its effective degrees of freedom; infinite when every contribution is known exactly.
    pub freedom: f64,
}

/// Combines independent `contributions` to one uncertainty.
///
/// Each contribution is a standard uncertainty in the unit of the result (already multiplied by its
/// sensitivity) and its degrees of freedom, which may be infinite: u² = Σ uᵢ² (JCGM 100, 5.1.2),
/// and Welch's and Satterthwaite's u⁴/ν = Σ uᵢ⁴/νᵢ (JCGM 100, G.4.1). Without any contribution the
/// uncertainty is zero.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, combine};
///
/// let combined = combine(&[(3.0, f64::INFINITY), (4.0, f64::INFINITY)]);
/// assert_eq!(combined.standard, 5.0);
/// assert!((combined.expanded(Confidence::USUAL) - 9.8).abs() < 1e-3);
/// ```
pub fn combine(contributions: &[(f64, f64)]) -> Combined {
    let square: f64 = contributions.iter().map(|(u, _)| u * u).sum();
    let doubt: f64 = contributions.iter().map(|(u, freedom)| u.powi(4) / freedom).sum();
    Combined {
        standard: square.sqrt(),
        freedom: if doubt > 0.0 {
            square * square / doubt
        } else {
            f64::INFINITY
        },
    }
}

impl Combined {
    /// Coverage factor of an interval of this `confidence`: Student's, for the degrees of freedom
    /// truncated to a whole number of at least one (JCGM 100, G.4.1, note 1).
    pub fn coverage_factor(&self, confidence: Confidence) -> f64 {
        student(self.freedom.floor().max(1.0), confidence)
    }

    /// Expanded uncertainty: standard uncertainty times coverage factor.
    pub fn expanded(&self, confidence: Confidence) -> f64 {
        self.standard * self.coverage_factor(confidence)
    }
}
