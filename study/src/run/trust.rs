//! Whether estimated uncertainties can be believed: of each estimator asked for, held against the
//! errors of a point's vectors.

use std::borrow::Cow;

use motefield_evaluator::score::ErrorSample;
use motefield_evaluator::statistics::{Estimate, GridValues};
use motefield_evaluator::uncertainty::{Estimator, Reliability, reliability};

/// Classes of rising uncertainty of which the reliability curve consists.
const CLASSES: usize = 8;

/// What the uncertainties of one estimator are worth at a point.
#[derive(Debug, Clone)]
pub struct Trust {
    /// Which estimator.
    pub estimator: Estimator,
    /// Of x and of y, against the error from the truth at the vector's position, bias and lack of
    /// resolution and all: what an experimenter would take it for.
    pub of: [Reliability; 2],
}

/// Holds standard uncertainties, those of each pair in the order of its vectors, against the errors
/// of a sample.
pub fn trust<'u>(
    sample: &ErrorSample,
    uncertainties: impl Fn(usize) -> Cow<'u, [[f64; 2]]> + Send + Sync,
) -> [Reliability; 2] {
    [0, 1].map(|c| {
        let size = [sample.pairs.number(), sample.places()];
        let of_pair = |pair: usize, values: &mut [f64]| {
            for (v, uncertainty) in values.iter_mut().zip(&*uncertainties(pair)) {
                *v = uncertainty[c];
            }
        };
        reliability(
            &GridValues::by_pair(sample.columns, sample.reach, size, of_pair),
            &sample.values(move |errors, k| errors.point_px[k][c]),
            CLASSES,
            sample.confidence,
        )
    })
}

/// A reliability's figures by their names: `coverage_1` and `coverage_2` (share of errors within
/// once and twice the uncertainty), `ratio` (root mean square uncertainty over error),
/// `rank_correlation` (with the error's magnitude).
pub fn named(of: &Reliability) -> [(&'static str, Estimate); 4] {
    [
        ("coverage_1", of.coverage[0]),
        ("coverage_2", of.coverage[1]),
        ("ratio", of.ratio),
        ("rank_correlation", of.rank_correlation),
    ]
}
