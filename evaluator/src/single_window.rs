//! The correlation plane of one pair of windows, for whoever wants to look at it.

use ndarray::ArrayView2;

use crate::correlation::{Corners, Plane, WindowCorrelator};
use crate::error::ProcessingError;
use crate::frames::Frames;
use crate::processing::{Pass, Processing};

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
/// use motefield_evaluator::correlation::find_peaks;
/// use motefield_evaluator::{LowValues, PeakFit, Processing, Weighting, correlation_plane};
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
/// let [dx, dy] = PeakFit::Gaussian3.locate(LowValues::Least, &plane, peak);
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
