//! Several contributions to one uncertainty.

use super::{Confidence, student};

/// Uncertainty of a sum, with how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Combined standard uncertainty, in the unit of the contributions.
    pub standard: f64,
    /// Its effective degrees of freedom; infinite when every contribution is known exactly.
    pub freedom: f64,
}

/// Combines independent `contributions`, each a standard uncertainty in the unit of the result (already times its sensitivity) and its
/// degrees of freedom, which may be infinite: u² = Σ uᵢ² (JCGM 100, 5.1.2), and Welch's and Satterthwaite's u⁴/ν = Σ uᵢ⁴/νᵢ
/// (JCGM 100, G.4.1). Without any contribution the uncertainty is zero.
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
    /// Coverage factor of an interval of this `confidence`: Student's, for the degrees of freedom cut to whole ones (JCGM 100, G.4.1,
    /// note 1), of which there must be one.
    pub fn coverage_factor(&self, confidence: Confidence) -> f64 {
        student(self.freedom.floor().max(1.0), confidence)
    }

    /// Expanded uncertainty: standard uncertainty times coverage factor.
    pub fn expanded(&self, confidence: Confidence) -> f64 {
        self.standard * self.coverage_factor(confidence)
    }
}
