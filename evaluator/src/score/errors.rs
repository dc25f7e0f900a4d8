//! The errors of one pair's vectors.

use std::borrow::Cow;
use std::fmt::Debug;

use super::VectorTruth;
use crate::field::{Vector, VectorStatus};

/// A vector farther than this from the truth is an outlier, px (common practice, no source).
pub const OUTLIER_PX: f64 = 1.0;

/// The errors of the vectors of one pair (measured - true), px, `NaN` for outliers; one entry per
/// vector.
#[derive(Debug, Clone, PartialEq)]
pub struct Errors {
    /// Against the truth at the position of the vector.
    pub point_px: Vec<[f64; 2]>,
    /// Against the truth averaged over the window.
    pub window_px: Vec<[f64; 2]>,
    /// Whether the highest correlation peak is that of the displacement: within [`OUTLIER_PX`] of
    /// the truth at the position of the vector, whether or not the vector was rejected.
    pub detected: Vec<bool>,
}

/// The errors of several pairs, one pair at a time: they need not all be in memory.
pub trait PairErrors: Debug + Send + Sync {
    /// How many pairs there are.
    fn number(&self) -> usize;

    /// The errors of the pair of this number.
    fn pair(&self, number: usize) -> Cow<'_, Errors>;
}

/// In memory, of vectors, arrays and slices.
impl<T: AsRef<[Errors]> + Debug + Send + Sync> PairErrors for T {
    fn number(&self) -> usize {
        self.as_ref().len()
    }

    fn pair(&self, number: usize) -> Cow<'_, Errors> {
        Cow::Borrowed(&self.as_ref()[number])
    }
}

impl Errors {
    /// The errors of `vectors` against `truth`, which must be that of the same grid.
    ///
    /// ```
    /// use motefield_evaluator::score::{Errors, VectorTruth};
    /// use motefield_evaluator::{Vector, VectorStatus};
    ///
    /// let truth = VectorTruth { point_px: vec![[2.0, 1.0]], window_px: vec![[2.0, 1.0]] };
    /// let vector = Vector {
    ///     x_px: 15.5,
    ///     y_px: 15.5,
    ///     dx_px: 2.25,
    ///     dy_px: 0.5,
    ///     peak_ratio: 3.0,
    ///     status: VectorStatus::Valid,
    /// };
    /// assert_eq!(Errors::of(&[vector], &truth).point_px, [[0.25, -0.5]]);
    /// ```
    pub fn of(vectors: &[Vector], truth: &VectorTruth) -> Errors {
        let against = |truth: &[[f64; 2]]| -> Vec<[f64; 2]> {
            vectors
                .iter()
                .zip(truth)
                .map(|(v, t)| [v.dx_px - t[0], v.dy_px - t[1]])
                .collect()
        };
        let mut errors = Errors {
            point_px: against(&truth.point_px),
            window_px: against(&truth.window_px),
            detected: vec![false; vectors.len()],
        };
        for (k, vector) in vectors.iter().enumerate() {
            let [ex, ey] = errors.point_px[k];
            let near = ex.hypot(ey) <= OUTLIER_PX;
            errors.detected[k] = near && vector.status != VectorStatus::NoPeak;
            if vector.status != VectorStatus::Valid || !near {
                errors.point_px[k] = [f64::NAN; 2];
                errors.window_px[k] = [f64::NAN; 2];
            }
        }
        errors
    }
}
