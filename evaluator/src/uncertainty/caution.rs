//! Where an estimator is known to be wrong.
//!
//! The figures are those of `results/uncertainty`, where every estimator is held against errors
//! that are known. Of what decides, the pictures alone show the gradient; the rest only whoever
//! took them can judge.

use super::Estimator;
use crate::field::{VectorField, VectorStatus};

/// A regime in which uncertainties are not to be believed.
#[derive(Debug, Clone, PartialEq)]
pub struct Caution {
    /// The regime, by its name in JSON files: `gradient`, `few-particles`, `bright`, `any`,
    /// `uniform`.
    pub regime: &'static str,
    /// Share of the vectors that are in it, 0 to 1; none where the vectors do not tell.
    pub share: Option<f64>,
    /// What is wrong there, in a sentence.
    pub text: String,
}

/// What to beware of in uncertainties by an estimator of the vectors of a field; never nothing.
///
/// ```
/// use motefield_evaluator::uncertainty::{Estimator, cautions};
/// use motefield_evaluator::{Vector, VectorField, VectorStatus};
///
/// // A shear of 1 px in 8 px: the three vectors of the middle row have neighbours across it, those
/// // above and below the middle one only along it.
/// let vector = |k: usize| Vector {
///     x_px: 8.0 * (k % 3) as f64,
///     y_px: 8.0 * (k / 3) as f64,
///     dx_px: (k / 3) as f64,
///     dy_px: 0.0,
///     peak_ratio: 3.0,
///     status: VectorStatus::Valid,
/// };
/// let field = VectorField {
///     columns: 3,
///     rows: 3,
///     window: [32, 32],
///     spacing: [8, 8],
///     vectors: (0..9).map(vector).collect(),
/// };
/// let found = cautions(Estimator::CorrelationStatistics, &field);
/// assert_eq!((found[0].regime, found[0].share), ("gradient", Some(0.6)));
/// ```
pub fn cautions(estimator: Estimator, field: &VectorField) -> Vec<Caution> {
    let untold = |regime, text: &str| Caution {
        regime,
        share: None,
        text: text.to_owned(),
    };
    let mut all: Vec<Caution> = gradient(estimator, field).into_iter().collect();
    all.extend(match estimator {
        Estimator::CorrelationStatistics => vec![untold(
            "few-particles",
            "with 10 particles per window or fewer the uncertainties are a quarter too small, with 5 some are far too large",
        )],
        Estimator::ParticleDisparity => vec![untold(
            "bright",
            "in bright pictures, where little else than noise makes the error, the uncertainties are two to three times too large, with streaks of 4 px four times",
        )],
        Estimator::PeakRatio => vec![untold(
            "any",
            "the uncertainties are about 0.05 px whatever the error is: up to five times too large in bright pictures, too small in dim ones, at long streaks and under strong loss of particles",
        )],
    });
    all.push(untold(
        "uniform",
        "where all windows are alike the uncertainties do not tell good vectors from bad ones",
    ));
    all
}

/// The gradient, px per px, from which uncertainties are too small, and what they are there.
fn gradient(estimator: Estimator, field: &VectorField) -> Option<Caution> {
    let (limit, what) = match estimator {
        Estimator::CorrelationStatistics => (0.05, "two thirds of the error, from 0.1 less than half"),
        Estimator::ParticleDisparity => (0.1, "0.9 of the error, at 0.2 0.6"),
        Estimator::PeakRatio => return None,
    };
    // The middle of the first step at which it fails and the last at which it does not would be
    // 0.035; noise in the vectors stays well below half of that.
    let steep: Vec<bool> = gradients(field).map(|g| g >= 0.8 * limit).collect();
    let share = steep.iter().filter(|s| **s).count() as f64 / steep.len().max(1) as f64;
    (share > 0.0).then(|| Caution {
        regime: "gradient",
        share: Some(share),
        text: format!(
            "where the displacement changes by {limit} px per px and more the uncertainties are {what}"
        ),
    })
}

/// The steepest change of either component along either axis, px per px, at every valid vector that
/// has valid neighbours on both sides along an axis.
fn gradients(field: &VectorField) -> impl Iterator<Item = f64> {
    let valid = |k: usize| field.vectors[k].status == VectorStatus::Valid;
    let along = move |before: usize, after: usize, spacing: usize| {
        let [a, b] = [before, after].map(|k| &field.vectors[k]);
        let over = 2.0 * spacing as f64;
        (valid(before) && valid(after))
            .then(|| ((b.dx_px - a.dx_px).abs().max((b.dy_px - a.dy_px).abs())) / over)
    };
    let (columns, rows) = (field.columns, field.rows);
    (0..field.vectors.len())
        .filter(move |k| valid(*k))
        .filter_map(move |k| {
            let (column, row) = (k % columns, k / columns);
            let x = (column > 0 && column + 1 < columns).then(|| along(k - 1, k + 1, field.spacing[0]));
            let y = (row > 0 && row + 1 < rows).then(|| along(k - columns, k + columns, field.spacing[1]));
            [x.flatten(), y.flatten()].into_iter().flatten().reduce(f64::max)
        })
}
