//! Frames deformed by a displacement field, and how that field is smoothed.

mod predictor;
mod spline;

use ndarray::{Array2, ArrayView2};

use crate::error::ProcessingError;
use crate::field::VectorField;
use crate::frames::Frames;
use crate::interpolate::{Interpolated, Interpolator};
use crate::named::named;

pub(crate) use predictor::Predictor;

named! {
    /// How the vectors of a pass are smoothed before they serve the next one as predictor.
    ///
    /// With r the response of the window to a wave of displacement (the Fourier transform of its
    /// weights, [`window_weights`](crate::window_weights)) and F the response of the filter, one
    /// pass turns the measured amplitude R into F R + r (1 - F R). The iteration converges to R = r
    /// / (1 - F + F r), and it is stable if |F (1 - r)| < 1 for every wave that the grid of vectors
    /// can represent.
    ///
    /// At an overlap of 0.75, for a wave of length λ along one axis and windows of side D (computed
    /// from these formulas, which the tests find to be within 0.012 of what is measured):
    ///
    /// | weighting, filter    | R at D/λ = 0.25 | 0.5   | 0.75  | 1     | -10 % | -3 dB | gain  |
    /// |----------------------|-----------------|-------|-------|-------|-------|-------|-------|
    /// | top-hat, one pass    | 0.900           | 0.637 | 0.300 | 0     | 3.99  | 2.26  | -     |
    /// | top-hat, none        | 1               | 1     | 1     | 0     | -     | -     | 1.218 |
    /// | top-hat, b-spline    | 0.997           | 0.947 | 0.676 | 0     | 1.73  | 1.36  | 0.671 |
    /// | top-hat, regression  | 1.000           | 0.984 | 0.767 | 0     | 1.52  | 1.29  | 0.674 |
    /// | gaussian, none       | 1               | 1     | 1     | 1     | -     | -     | 1.015 |
    /// | gaussian, b-spline   | 0.998           | 0.974 | 0.863 | 0.608 | 1.44  | 1.09  | 0.458 |
    /// | gaussian, regression | 1.000           | 0.992 | 0.908 | 0.601 | 1.31  | 1.07  | 0.437 |
    /// | blackman, regression | 1.000           | 0.998 | 0.978 | 0.900 | 1.00  | 0.78  | 0.254 |
    ///
    /// The columns -10 % and -3 dB give λ/D where R falls to 0.9 and 0.707; gain is the largest |F
    /// (1 - r)|, and without a filter the iteration is unstable.
    pub enum PredictorFilter {
        /// F = 1, the interpolating cubic spline. Unstable where r < 0: with a top-hat window for
        /// waves shorter than the window, by a factor of up to 1.22 per pass.
        None = "none",
        /// The approximating cubic B-spline, F = (2 + cos ωx)/3 · (2 + cos ωy)/3 with ω the phase
        /// from one vector to the next.
        BSpline = "b-spline",
        /// The second-order polynomial fitted by least squares to the 5 x 5 vectors around each one
        /// (Schrijer & Scarano 2008), F = (17 + 24 cos ω - 6 cos 2ω)/35 for a wave along one axis.
        Regression = "regression",
    }
}

impl PredictorFilter {
    /// Vectors beyond those around a place on which the smoothed displacement there depends. An
    /// interpolating spline forgets a vector by a factor of 2 - √3 each, so that the third beyond
    /// has 2 % left.
    pub(crate) fn reach(self) -> usize {
        match self {
            PredictorFilter::BSpline => 0,
            PredictorFilter::None => 2,
            PredictorFilter::Regression => 4,
        }
    }
}

/// Both frames deformed by half of a displacement field, A backward and B forward: where the field
/// is right they look alike, and what they show is at its place midway in time.
///
/// Frames and results have the shape (height, width). The pixel (x, y) of the results is frame A at
/// (x, y) - d/2 and frame B at (x, y) + d/2, with d the displacement at (x, y), px, of the
/// predictor through the vectors of `field`, smoothed by `filter` (all vectors are used, whatever
/// their status).
///
/// # Errors
/// If the frames differ in size or contain values that are not finite, or the field is not a
/// complete grid of finite displacements.
///
/// ```
/// use motefield_evaluator::{
///     Interpolator, PredictorFilter, Vector, VectorField, VectorStatus, deform,
/// };
/// use ndarray::Array2;
///
/// // A uniform displacement of 2 px along x: A is read 1 px to the left, B 1 px to the right.
/// let vector = |x_px, y_px| Vector {
///     x_px,
///     y_px,
///     dx_px: 2.0,
///     dy_px: 0.0,
///     peak_ratio: 5.0,
///     status: VectorStatus::Valid,
/// };
/// let field = VectorField {
///     columns: 2,
///     rows: 1,
///     window: [4, 4],
///     spacing: [4, 4],
///     vectors: vec![vector(1.5, 1.5), vector(5.5, 1.5)],
/// };
/// let ramp = Array2::from_shape_fn((4, 8), |(_, x)| x as f32);
/// let [a, b] =
///     deform(ramp.view(), ramp.view(), &field, PredictorFilter::None, Interpolator::Bilinear)?;
/// assert_eq!((a[[2, 4]], b[[2, 4]]), (3.0, 5.0));
/// # Ok::<(), motefield_evaluator::ProcessingError>(())
/// ```
pub fn deform(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    field: &VectorField,
    filter: PredictorFilter,
    interpolator: Interpolator,
) -> Result<[Array2<f32>; 2], ProcessingError> {
    let frames = Frames::new(a, b)?;
    let predictor = Predictor::from_field(field, filter)?;
    let [a, b] = frames.views().map(|frame| {
        let mut interpolated = Interpolated::new(frames.size, interpolator);
        interpolated.load(frame);
        interpolated
    });
    let [width, height] = frames.size;
    let [mut left, mut right] = [(); 2].map(|()| Array2::zeros((height, width)));
    if width > 0
        && let (Some(left), Some(right)) = (left.as_slice_mut(), right.as_slice_mut())
    {
        predictor.deform([&a, &b], width, [0..width, 0..height], [left, right]);
    }
    Ok([left, right])
}
