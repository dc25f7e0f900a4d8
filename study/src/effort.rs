//! How much a study measures.

use motefield_evaluator::statistics::Confidence;

/// When a point is known well enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Study seed.
    pub seed: u64,
    /// Half the 95 % interval of the total error over its value at which no more pairs are added;
    /// three times as much at points that are clearly worse than the best of a
    /// [`Contest`](crate::run::Contest).
    pub precision: f64,
    /// Measurements to begin with: pairs, or ensembles of them.
    pub first_pairs: usize,
    /// Pairs after which a point is left as it is; of ensembles as many as that makes, at least
    /// one.
    pub most_pairs: usize,
    /// How sure the intervals of the points' figures are.
    pub confidence: Confidence,
    /// Whether large pictures are measured whole too, not by tiles.
    pub whole: bool,
}

impl Default for Effort {
    fn default() -> Self {
        Effort {
            seed: 1,
            precision: 0.05,
            first_pairs: 4,
            most_pairs: 60,
            confidence: Confidence::USUAL,
            whole: true,
        }
    }
}
