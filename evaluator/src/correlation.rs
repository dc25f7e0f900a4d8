//! Cross-correlation of interrogation windows: the correlation plane and its peaks.
//!
//! Sign: the plane's value at the lag (i, j) is the sum over pixels of `a(x, y) · b(x + i, y + j)`,
//! so the peak lies at the displacement from frame A to frame B. The weighted mean of both windows
//! is subtracted, and they are multiplied by the taper.

mod peak;
mod plane;
mod sums;
mod transform;
mod windows;

use ndarray::ArrayView2;

use crate::error::ProcessingError;
use crate::frames::Frames;
use crate::named::named;
use crate::processing::{Pass, Processing};

pub use peak::{Peak, PeakFit, find_peaks};
pub use plane::Plane;

pub(crate) use peak::gaussian3;
pub(crate) use windows::{Corners, WindowCorrelator};

named! {
    /// How the correlation of two windows is computed.
    pub enum Correlation {
        /// By FFT of the windows as they are: what is shifted out on one side comes in on the
        /// other.
        Circular = "circular",
        /// By FFT of windows extended with zeros: the linear correlation.
        ZeroPadded = "zero-padded",
        /// The linear correlation by summation over the pixels in double precision: slow, the
        /// reference for the others.
        Direct = "direct",
    }
}

named! {
    /// What the correlation is divided by, lag by lag. Where the weighted overlap of the two
    /// windows is below a quarter of that at lag zero (with the top-hat window, at the rim of the
    /// search range), too little is left to judge by, and the plane is zero.
    pub enum Normalise {
        /// Nothing.
        None = "none",
        /// The autocorrelation of the taper, which is a triangle for a top-hat window: removes the
        /// bias toward zero displacement (Westerweel 1997). Needs a linear correlation.
        Window = "window",
        /// The product of the two standard deviations within the overlap of the shifted windows,
        /// whose means are subtracted: the normalised covariance, between -1 and 1, weighted by the
        /// product of the tapers. Needs a linear correlation.
        Covariance = "covariance",
    }
}

/// The correlation plane of two windows, for inspection; `None` if one of them is uniform.
///
/// `a` and `b` are the windows of frame A and frame B, of the same shape (height, width). The
/// passes and the preparation of `processing` are ignored.
///
/// # Errors
/// If the shapes differ, a side is shorter than 4 px, or the normalisation does not go with the
/// correlation.
///
/// ```
/// use motefield_evaluator::correlation::{correlation_plane, find_peaks};
/// use motefield_evaluator::{PeakFit, Processing, Weighting};
/// use ndarray::Array2;
///
/// // A particle image displaced by (3, -2) px.
/// let window = |x: f32, y: f32| {
///     Array2::from_shape_fn((16, 16), |(j, i)| {
///         (-((i as f32 - x).powi(2) + (j as f32 - y).powi(2)) / 2.0).exp()
///     })
/// };
/// let (a, b) = (window(6.0, 9.0), window(9.0, 7.0));
/// let processing = Processing { weighting: Weighting::TopHat, ..Processing::default() };
/// let plane = correlation_plane(a.view(), b.view(), &processing)?.unwrap();
/// let peak = find_peaks(&plane)[0].unwrap();
/// assert_eq!(peak.lag, [3, -2]);
/// let [dx, dy] = PeakFit::Gaussian3.locate(&plane, peak);
/// assert!((dx - 3.0).hypot(dy + 2.0) < 0.01);
/// # Ok::<(), motefield_evaluator::ProcessingError>(())
/// ```
pub fn correlation_plane(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    processing: &Processing,
) -> Result<Option<Plane>, ProcessingError> {
    let frames = Frames::new(a, b)?;
    let window = frames.size;
    let pass = Pass { window, overlap: 0.0 };
    let processing = Processing {
        passes: vec![pass],
        ..processing.clone()
    };
    processing.validate(window[0], window[1])?;
    let Processing {
        weighting,
        correlation,
        normalise,
        ..
    } = processing;
    let mut correlator = WindowCorrelator::new(window, weighting, correlation, normalise);
    if frames
        .views()
        .iter()
        .any(|frame| frame.is_uniform([0, 0], window))
    {
        return Ok(None);
    }
    let mut plane = None;
    let corners = [Corners { a: [0, 0], b: [0, 0] }];
    correlator.correlate(frames.views(), &corners, |_, found| plane = Some(found.clone()));
    Ok(plane)
}
