//! Settings that compete: those that are clearly beaten need not be known as well as the others.
//!
//! Of a map's settings a few decide which is the best, and the rest only have to be seen to be
//! worse. A setting is beaten where the whole interval of its error lies above [`BEATEN`] times
//! that of the best. It is then left as it is once its interval is [`WIDER`] times as wide as asked
//! for, which takes a ninth of the pairs; so that few are spent on it, half of the first pairs are
//! measured before the others.

use motefield_evaluator::score::TotalError;

/// Error over that of the best from which on a setting is beaten: beyond what is told as about as
/// good, which is a tenth more error.
const BEATEN: f64 = 1.25;
/// By how much wider the interval of a beaten setting may be.
const WIDER: f64 = 3.0;

/// How an error of the displacement is judged: with what adds to it, root of the sum of squares,
/// over what it is compared with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Yardstick {
    /// What adds to the error, px.
    pub adds_px: f64,
    /// What it is compared with, px.
    pub over_px: f64,
}

impl Yardstick {
    /// The error itself, px.
    pub const PLAIN: Yardstick = Yardstick {
        adds_px: 0.0,
        over_px: 1.0,
    };

    /// Of an error of the displacement, px.
    pub fn of(&self, px: f64) -> f64 {
        px.hypot(self.adds_px) / self.over_px
    }
}

/// What the settings of a study compete for: the smallest error with enough valid vectors.
#[derive(Debug, Clone, PartialEq)]
pub struct Contest {
    /// How the error of each experiment is judged, in their order.
    pub measures: Vec<Yardstick>,
    /// Least share of valid vectors of a best.
    pub valid: f64,
    /// Upper end of the smallest error, so judged, that was found before; infinite where none was.
    pub to_beat: f64,
    /// An error so judged that all are compared with, so that what is near it is known well: a
    /// limit.
    pub limit: f64,
}

/// Measurements before it is asked who is beaten, of those to begin with: two tell a scatter.
pub(super) fn first_look(first: usize) -> usize {
    first.min(first.div_ceil(2).max(2))
}

impl Contest {
    /// How much wider than asked for the interval of each experiment may be, by the errors so far.
    pub(super) fn wider(&self, errors: &[Option<TotalError>]) -> Vec<f64> {
        let judged = || self.measures.iter().zip(errors);
        let to_beat = judged()
            .filter_map(|(measure, error)| self.upper_end(measure, error.as_ref()?))
            .fold(self.to_beat, f64::min)
            .max(self.limit);
        let of = |(measure, error): (&Yardstick, &Option<TotalError>)| {
            let lower = error.as_ref().map(|error| measure.of(error.total_px.lo));
            match lower {
                Some(lower) if lower > BEATEN * to_beat => WIDER,
                _ => 1.0,
            }
        };
        judged().map(of).collect()
    }

    /// Upper end of an error so judged; `None` where too few vectors are valid, or it is not known.
    pub fn upper_end(&self, measure: &Yardstick, error: &TotalError) -> Option<f64> {
        let upper = measure.of(error.total_px.hi);
        let enough = 1.0 - error.outliers >= self.valid;
        (enough && upper.is_finite()).then_some(upper)
    }
}

#[cfg(test)]
mod tests {
    use motefield_evaluator::score::{ErrorSample, Errors, Truths};
    use motefield_evaluator::statistics::Confidence;

    use super::*;

    /// A total error of `px`, half of whose interval is 20 to 30 %; the first `lost`
    /// of its 64 vectors are lost.
    fn error(px: f64, lost: usize) -> Option<TotalError> {
        let errors: Vec<Errors> = (0..4)
            .map(|pair| {
                let point_px: Vec<[f64; 2]> = (0..64)
                    .map(|k| match k < lost {
                        true => [f64::NAN; 2],
                        false => {
                            let turn = (0.7 * (k * 4 + pair) as f64).sin_cos();
                            let far = px * (0.6 + 0.8 * ((k * 7 + pair * 5) % 11) as f64 / 10.0);
                            [far * turn.0, far * turn.1]
                        }
                    })
                    .collect();
                Errors {
                    detected: vec![true; point_px.len()],
                    window_px: point_px.clone(),
                    point_px,
                }
            })
            .collect();
        let sample = ErrorSample {
            columns: 8,
            reach: [0, 0],
            pairs: &errors,
            truths: Truths::Repeat,
            part: None,
            confidence: Confidence::USUAL,
        };
        Some(sample.total_error())
    }

    fn contest(count: usize) -> Contest {
        Contest {
            measures: vec![Yardstick::PLAIN; count],
            valid: 0.9,
            to_beat: f64::INFINITY,
            limit: 0.0,
        }
    }

    /// Far above the best one is beaten, near it not; one that is not measured yet is not either.
    #[test]
    fn who_is_clearly_worse_is_beaten() {
        let errors = [error(0.1, 0), error(0.12, 0), error(0.4, 0), None];
        assert_eq!(contest(4).wider(&errors), [1.0, 1.0, WIDER, 1.0]);
    }

    /// A small error of the few vectors that are left beats nobody, one found before does, and
    /// nobody is beaten below the limit.
    #[test]
    fn by_whom_one_is_beaten() {
        let errors = [error(0.1, 32), error(0.4, 0)];
        assert_eq!(contest(2).wider(&errors), [1.0, 1.0]);
        let before = Contest {
            to_beat: 0.1,
            ..contest(2)
        };
        assert_eq!(before.wider(&errors), [1.0, WIDER]);
        let limited = Contest { limit: 0.4, ..before };
        assert_eq!(limited.wider(&errors), [1.0, 1.0]);
    }

    /// Half of those to begin with, and two at least, as far as there are.
    #[test]
    fn the_first_look_is_half_of_the_first_pairs() {
        assert_eq!([1, 2, 3, 4, 8].map(first_look), [1, 2, 2, 2, 4]);
    }

    /// Of two errors that are equal in px the one over the longer displacement is the better, and
    /// what adds to both draws them together (closed form).
    #[test]
    fn errors_are_judged_as_the_answer_is() {
        let measures = [4.0, 1.0].map(|over_px| Yardstick {
            adds_px: 0.0,
            over_px,
        });
        assert_eq!(measures.map(|m| m.of(0.2)), [0.05, 0.2]);
        let errors = [error(0.1, 0), error(0.1, 0)];
        let judged = Contest {
            measures: measures.to_vec(),
            ..contest(2)
        };
        assert_eq!(judged.wider(&errors), [1.0, WIDER]);
        let adds = Yardstick {
            adds_px: 3.0,
            over_px: 1.0,
        };
        assert_eq!(adds.of(4.0), 5.0);
    }
}
