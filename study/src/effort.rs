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

/// The most pairs of a setting of a map are this part of those of a point: which is the best shows
/// in the particles that all share, and what it is worth is told from more.
const AMONG_MANY: usize = 5;

impl Effort {
    /// For each of many settings of which one is sought.
    pub(crate) fn among_many(self) -> Effort {
        Effort {
            most_pairs: (self.most_pairs / AMONG_MANY).max(self.first_pairs.min(self.most_pairs)),
            ..self
        }
    }

    /// As many measurements as one took among many, or the most where it was left at the most
    /// there.
    pub(crate) fn as_among_many(&self, taken: usize, ensemble: usize) -> usize {
        let most = (self.most_pairs / ensemble).max(1);
        if AMONG_MANY * taken >= most {
            most.max(taken)
        } else {
            taken
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A fifth of the most pairs, and no fewer than to begin with; who took as many then takes all.
    #[test]
    fn one_of_many_takes_a_part() {
        let effort = Effort::default();
        let most = |most_pairs| Effort { most_pairs, ..effort }.among_many().most_pairs;
        assert_eq!([60, 10, 2].map(most), [12, 4, 2]);
        assert_eq!(
            [4, 11, 12, 70].map(|n| effort.as_among_many(n, 1)),
            [4, 11, 60, 70]
        );
        assert_eq!([1, 2].map(|n| effort.as_among_many(n, 10)), [1, 6]);
    }
}
