//! Local bias and random error, or why they cannot be told apart.

use std::fmt;

use crate::statistics::{Confidence, Estimate, GridValues, local_and_random, root_mean_square};

/// Whether the pairs of a sample repeat one measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Truths {
    /// The true displacement at a place is the same in all pairs.
    Repeat,
    /// It differs from pair to pair, and with it may what a place errs.
    Differ,
}

/// Why what a place errs in every pair cannot be told from what changes between pairs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CannotTell {
    /// There is one pair only.
    OnePair,
    /// The flow is not the same in all pairs.
    FlowDiffers,
    /// No place has valid vectors in two pairs.
    NothingRepeats,
}

impl CannotTell {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            CannotTell::OnePair => "one-pair",
            CannotTell::FlowDiffers => "flow-differs",
            CannotTell::NothingRepeats => "nothing-repeats",
        }
    }
}

impl fmt::Display for CannotTell {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            CannotTell::OnePair => "one pair only",
            CannotTell::FlowDiffers => "the flow differs from pair to pair",
            CannotTell::NothingRepeats => "no place has valid vectors in two pairs",
        })
    }
}

/// The local bias, px; or why it cannot be told from the random error.
pub type LocalBias = Result<Estimate, CannotTell>;

/// Local bias and random error of the errors of a component.
pub(super) fn split(errors: &GridValues, truths: Truths, confidence: Confidence) -> (LocalBias, Estimate) {
    let reason = match (truths, errors.pairs()) {
        (_, 0 | 1) => CannotTell::OnePair,
        (Truths::Differ, _) => CannotTell::FlowDiffers,
        (Truths::Repeat, _) => match local_and_random(errors, confidence) {
            Some(parts) => return (Ok(parts.local), parts.random),
            None => CannotTell::NothingRepeats,
        },
    };
    let bias = errors.mean();
    let together = root_mean_square(&errors.map(move |e| (e - bias).powi(2)), confidence);
    // All of it may be local bias.
    (Err(reason), Estimate { lo: 0.0, ..together })
}
