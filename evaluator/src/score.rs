//! Errors of measured vectors against the known truth.
//!
//! There are two truths: the displacement at the position of the vector, and its average over the
//! interrogation window with the weights of the window. After a single pass that does not deform
//! the pictures, an error against the first but not against the second is due to spatial
//! resolution. Passes that deform the pictures restore part of what the average over the window
//! takes away, so that their vectors follow the average no longer: the error against it then
//! measures how far they leave it, and the difference between both errors is no measure of
//! resolution.
//!
//! The error of a component has three parts, whose squares add up to the total's: the bias (the
//! mean of all errors: trueness, ISO 5725-1), the local bias (what a place errs in every pair, as
//! scatter over the places) and the random error (what changes from pair to pair at one place:
//! precision under repeatability conditions, ISO 5725-1; it falls as 1/√N in a mean over N pairs).
//! Bias and local bias are systematic errors in the sense of JCGM 200 (2.17), which averaging pairs
//! does not remove.
//!
//! An outlier is a vector whose status is not valid, or a valid one that is more than
//! [`OUTLIER_PX`] off: the latter is the experimenter's worst case, so it counts against a setting
//! like the former. Bias, local bias and random error are those of the other vectors.

mod dynamic_range;
mod errors;
mod parts;
mod peak_locking;
mod response;
mod tiles;
mod truth;

use crate::statistics::{Confidence, Estimate, GridValues, mean, quantiles, root_mean_square, share};
use crate::window::Grid;

pub use dynamic_range::{DynamicRange, dynamic_range};
pub use errors::{Errors, OUTLIER_PX, PairErrors};
pub use parts::{CannotTell, LocalBias, Truths};
pub use peak_locking::{FractionClass, PeakLocking, fractions, peak_locking};
pub use response::{Crossing, MINUS_3_DB, MINUS_10_PERCENT, amplitude_ratio, crossing};
pub use truth::VectorTruth;

/// The error of one component, in parts whose squares add up to the total's, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Mean of measured - true over pairs and places (bias, ISO 5725-1).
    pub bias_px: Estimate,
    /// What a place errs in every pair, beyond the bias: root mean square over the places.
    pub local_px: LocalBias,
    /// What changes from pair to pair at one place: standard deviation under repeatability
    /// conditions (ISO 5725-1). Where the local bias cannot be told it is included here, and the
    /// interval begins at 0.
    pub random_px: Estimate,
    /// Root mean square of measured - true: √(bias² + local² + random²).
    pub total_px: Estimate,
}

/// The errors of a setting over all pairs and vectors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// Number of pairs measured.
    pub pairs: usize,
    /// Number of vectors, including outliers.
    pub vectors: usize,
    /// Effective number of vectors without outliers: as many independent ones would determine the
    /// mean equally well (the smaller number of the two components).
    pub effective_vectors: f64,
    /// Horizontal and vertical component, against the truth at the position of the vector.
    pub point: [Component; 2],
    /// The same against the truth averaged over the window.
    pub window: [Component; 2],
    /// Root mean square length of the error vector, against the truth at the position of the
    /// vector, px.
    pub total_px: Estimate,
    /// Fraction of outliers.
    pub outliers: Estimate,
    /// Valid detection probability (Keane & Adrian 1990, Meas. Sci. Technol. 1, 1202): fraction of
    /// vectors whose highest peak is that of the displacement, see [`Errors::detected`]. Its sum
    /// with the fraction of outliers exceeds 1 by the correct vectors that were rejected.
    pub valid_detection: Estimate,
}

/// The part of a [`Score`] that tells whether more pairs are needed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TotalError {
    /// Number of pairs measured.
    pub pairs: usize,
    /// [`Score::total_px`].
    pub total_px: Estimate,
    /// Fraction of outliers.
    pub outliers: f64,
}

impl Score {
    /// The part that tells whether more pairs are needed.
    pub fn total_error(&self) -> TotalError {
        TotalError {
            pairs: self.pairs,
            total_px: self.total_px,
            outliers: self.outliers.value,
        }
    }

    /// Root mean square length of the error vector, px, with each outlier counted as [`OUTLIER_PX`]
    /// off: comparable where many vectors are lost.
    pub fn total_with_outliers_px(&self) -> f64 {
        let lost = self.outliers.value;
        let kept = if self.total_px.value.is_finite() {
            self.total_px.value
        } else {
            OUTLIER_PX
        };
        ((1.0 - lost) * kept * kept + lost * OUTLIER_PX * OUTLIER_PX).sqrt()
    }
}

/// The fractions of vectors for which [`ErrorSample::percentiles`] gives the error.
pub const PERCENTILES: [f64; 4] = [0.5, 0.9, 0.95, 0.99];

/// Errors of several independent pairs measured on the same grid.
///
/// ```
/// use motefield_evaluator::score::{ErrorSample, Errors, Truths};
/// use motefield_evaluator::statistics::Confidence;
///
/// // Two pairs of 2 x 2 vectors with a bias of 0.1 px along x and one outlier.
/// let errors = |scatter: f64| {
///     let point_px = vec![
///         [0.1 + scatter, 0.0],
///         [0.1 - scatter, 0.0],
///         [0.1, scatter],
///         [f64::NAN; 2],
///     ];
///     Errors { window_px: point_px.clone(), point_px, detected: vec![true, true, true, false] }
/// };
/// let score = ErrorSample {
///     columns: 2,
///     reach: [0, 0],
///     pairs: &[errors(0.02), errors(-0.01)],
///     truths: Truths::Repeat,
///     part: None,
///     confidence: Confidence::USUAL,
/// }
/// .score();
/// assert!((score.point[0].bias_px.value - 0.1).abs() < 1e-12);
/// assert_eq!(score.outliers.value, 0.25);
/// ```
#[derive(Debug, Clone, Copy)]
pub struct ErrorSample<'a> {
    /// Grid columns.
    pub columns: usize,
    /// Lag in grid steps beyond which windows do not share particles, see [`reach`].
    pub reach: [usize; 2],
    /// The errors of every pair.
    pub pairs: &'a dyn PairErrors,
    /// Whether the true displacement is the same in all pairs.
    pub truths: Truths,
    /// Which vectors count; `None` for all.
    pub part: Option<&'a [bool]>,
    /// Confidence of all intervals.
    pub confidence: Confidence,
}

/// Lag, in grid steps along x and y, up to which windows of this grid share pixels.
///
/// ```
/// use motefield_evaluator::Grid;
/// use motefield_evaluator::score::reach;
///
/// assert_eq!(reach(&Grid::new(128, 128, [32, 32], 0.75)), [3, 3]);
/// ```
pub fn reach(grid: &Grid) -> [usize; 2] {
    [0, 1].map(|k| (grid.window[k] - 1) / grid.spacing[k])
}

impl<'a> ErrorSample<'a> {
    /// Vectors of a pair.
    pub fn places(&self) -> usize {
        match self.pairs.number() {
            0 => 0,
            _ => self.pairs.pair(0).point_px.len(),
        }
    }

    /// The values given by a function of a pair's errors and the number of the vector, on the grid
    /// of this sample; none for the vectors that do not count.
    pub fn values<'b>(&self, value: impl Fn(&Errors, usize) -> f64 + Send + Sync + 'b) -> GridValues<'b>
    where
        'a: 'b,
    {
        let ErrorSample { pairs, part, .. } = *self;
        let size = [pairs.number(), self.places()];
        GridValues::by_pair(self.columns, self.reach, size, move |number, values| {
            let errors = pairs.pair(number);
            for (k, v) in values.iter_mut().enumerate() {
                let counts = part.is_none_or(|part| part[k]);
                *v = if counts { value(&errors, k) } else { f64::NAN };
            }
        })
    }

    /// Squared length of every error vector, px²; the values from which [`Score::total_px`]
    /// follows.
    pub fn squared_errors(&self) -> GridValues<'a> {
        self.values(|errors, k| errors.point_px[k][0].powi(2) + errors.point_px[k][1].powi(2))
    }

    /// 1 for every vector that is lost, 0 for the others.
    fn lost(&self) -> GridValues<'a> {
        self.values(|errors, k| f64::from(u8::from(errors.point_px[k][0].is_nan())))
    }

    /// What of [`score`](ErrorSample::score) tells whether more pairs are needed, in a small part
    /// of the time.
    pub fn total_error(&self) -> TotalError {
        TotalError {
            pairs: self.pairs.number(),
            total_px: root_mean_square(&self.squared_errors(), self.confidence),
            outliers: self.lost().mean(),
        }
    }

    /// All figures with their intervals.
    pub fn score(&self) -> Score {
        let mut effective_vectors = f64::INFINITY;
        let mut component = |c: usize, of: fn(&Errors) -> &[[f64; 2]]| {
            let values = self.values(move |errors, k| of(errors)[k][c]);
            let (bias_px, effective) = mean(&values, self.confidence);
            effective_vectors = effective_vectors.min(effective);
            let (local_px, random_px) = parts::split(&values, self.truths, self.confidence);
            Component {
                bias_px,
                local_px,
                random_px,
                total_px: root_mean_square(&values.map(|e| e * e), self.confidence),
            }
        };
        let point = [0, 1].map(|c| component(c, |errors| &errors.point_px));
        let window = [0, 1].map(|c| component(c, |errors| &errors.window_px));
        self.assembled(
            effective_vectors,
            [point, window],
            |squares| root_mean_square(squares, self.confidence),
            |yes, alike| share(yes, alike, self.confidence),
        )
    }

    /// A score of its components, and of mean squares and shares as they are to be taken.
    fn assembled(
        &self,
        effective_vectors: f64,
        [point, window]: [[Component; 2]; 2],
        root_mean_square: impl Fn(&GridValues) -> Estimate,
        share: impl Fn(&GridValues, f64) -> Estimate,
    ) -> Score {
        // Without scatter the dependence cannot be measured. The effective number of vectors
        // without outliers is used then, or the number of pairs if there are none.
        let alike = effective_vectors.max(self.pairs.number() as f64);
        let lost = self.lost();
        let detected = self.values(|errors, k| f64::from(u8::from(errors.detected[k])));
        Score {
            pairs: self.pairs.number(),
            vectors: lost.count(),
            effective_vectors,
            point,
            window,
            total_px: root_mean_square(&self.squared_errors()),
            outliers: share(&lost, alike),
            valid_detection: share(&detected, alike),
        }
    }

    /// Length of the error vector, px, against the truth at the position of the vector, that the
    /// fractions [`PERCENTILES`] of the vectors without outliers do not exceed. Separate from
    /// [`ErrorSample::score`], because sorting costs more than all of that.
    pub fn percentiles(&self) -> [Estimate; 4] {
        let length = self.values(|errors, k| errors.point_px[k][0].hypot(errors.point_px[k][1]));
        let found = quantiles(&length, &PERCENTILES, self.confidence);
        // No length is negative, and a longer error makes an outlier.
        std::array::from_fn(|k| found[k].clamped(0.0, OUTLIER_PX))
    }
}
