//! The correlation plane of one pair of windows, for whoever wants to look at it.

use ndarray::ArrayView2;

use crate::correlation::{Plane, WindowCorrelator};
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
    SingleWindow::new([a.ncols(), a.nrows()], processing)?.plane(a, b)
}

/// Makes the correlation planes of one pair of windows after another, all of one size, each as
/// [`correlation_plane`] does.
///
/// ```
/// use motefield_evaluator::{Processing, SingleWindow, correlation_plane};
/// use ndarray::Array2;
///
/// let window = |k: usize| Array2::from_shape_fn((16, 16), |(j, i)| ((7 * i + k * j) % 11) as f32);
/// let (a, b, processing) = (window(3), window(5), Processing::default());
/// let mut windows = SingleWindow::new([16, 16], &processing)?;
/// assert!(windows.plane(a.view(), a.view())?.is_some());
/// let again = windows.plane(a.view(), b.view())?;
/// assert_eq!(again, correlation_plane(a.view(), b.view(), &processing)?);
/// let larger = Array2::zeros((20, 20));
/// let refused = windows.plane(larger.view(), larger.view()).unwrap_err();
/// assert!(refused.to_string().contains("20x20 px but the correlator was made for 16x16 px"));
/// # Ok::<(), motefield_evaluator::ProcessingError>(())
/// ```
pub struct SingleWindow {
    window: [usize; 2],
    correlator: WindowCorrelator,
}

impl SingleWindow {
    /// For windows of `window` (width, height) px; the passes and the preparation of `processing`
    /// are ignored.
    ///
    /// # Errors
    /// If a side is shorter than 4 px, or the normalisation does not go with the correlation.
    pub fn new(window: [usize; 2], processing: &Processing) -> Result<Self, ProcessingError> {
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
        Ok(Self {
            window,
            correlator: WindowCorrelator::new(window, weighting, correlation, normalise),
        })
    }

    /// The plane of two windows (height, width) of frame A and frame B; `None` if one of them is
    /// uniform.
    ///
    /// # Errors
    /// If the shapes differ from each other or from the size that this was made for, or values are
    /// not finite.
    pub fn plane(
        &mut self,
        a: ArrayView2<f32>,
        b: ArrayView2<f32>,
    ) -> Result<Option<Plane>, ProcessingError> {
        let frames = Frames::new(a, b)?;
        if frames.size != self.window {
            return Err(ProcessingError::CorrelatorSize {
                found: frames.size,
                expected: self.window,
            });
        }
        let views = frames.views();
        let uniform = views.iter().any(|frame| frame.is_uniform([0, 0], self.window));
        Ok((!uniform).then(|| self.correlator.alone(views)))
    }
}
