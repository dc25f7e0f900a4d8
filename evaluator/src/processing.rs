//! The settings of a correlation; each is a plain value that a study can vary.

use crate::correlation::{Correlation, LowValues, Normalise, PeakFit};
use crate::deform::PredictorFilter;
use crate::error::ProcessingError;
use crate::interpolate::Interpolator;
use crate::prepare::Preparation;
use crate::refinement::Refinement;
use crate::window::Weighting;

/// One interrogation of the whole image.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pass {
    /// Width and height of the interrogation window, px.
    pub window: [usize; 2],
    /// Fraction of a window that the next one also covers, 0 to below 1.
    pub overlap: f64,
}

impl Pass {
    /// A pass with a square window of `side` px.
    pub const fn square(side: usize, overlap: f64) -> Self {
        Self {
            window: [side, side],
            overlap,
        }
    }
}

/// How pairs are correlated. [`Processing::default`] is the best practice; change what a study asks
/// for.
///
/// The default was chosen by experiment on rendered pairs. Bright particle images of 2.5 px, 0.03
/// per pixel, displaced by 3.3 px are measured with a random error of 0.005 px and a bias of 0.002
/// px. What matters most for that is
/// - the Gaussian window: a top-hat window has a random error of 0.009 px there, from the particles
///   that its border cuts, but 10 to 15 % less than the Gaussian one where noise prevails, as it
///   uses all of the window's light;
/// - the septic spline: the bias is 0.004 px with the quintic one, 0.012 px with the cubic one,
///   0.04 px with bilinear interpolation;
/// - the regression filter of the predictor, with which four passes converge in a vortex to 0.012
///   px where the B-spline filter comes to 0.018 px, at the same stability.
///
/// ```
/// use motefield_evaluator::{Pass, Processing, Weighting};
///
/// let processing = Processing {
///     passes: vec![Pass::square(32, 0.5), Pass::square(16, 0.5)],
///     weighting: Weighting::TopHat,
///     ..Processing::default()
/// };
/// assert!(processing.validate(128, 128).is_ok());
/// assert!(processing.validate(24, 128).is_err());
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Processing {
    /// What is done to the frames before the correlation.
    pub preparation: Preparation,
    /// Number of frames of each pulse from which a study makes the background, if one is to be
    /// made; `None` for those that are measured together. [`correlate`](crate::correlate) and its
    /// variants know only the frames that they are given.
    pub background_frames: Option<usize>,
    /// Number of pairs of a steady flow that a study measures together, at least 1.
    /// [`correlate_ensemble`](crate::correlate_ensemble) takes as many as it is given.
    pub ensemble: usize,
    /// The passes in order. The first sees the frames as they are, each later one after
    /// displacement by the predictor from the pass before.
    pub passes: Vec<Pass>,
    /// Weight of the pixels within a window.
    pub weighting: Weighting,
    /// How the correlation is computed.
    pub correlation: Correlation,
    /// What the correlation is divided by.
    pub normalise: Normalise,
    /// How the position of the peak is interpolated between the pixels of the correlation plane.
    pub peak_fit: PeakFit,
    /// What that does where a value beside the peak has no logarithm.
    pub low_values: LowValues,
    /// Whether later passes deform the frames by the predictor (true), or shift whole windows by
    /// the predictor at their centre, rounded to the pixel (false). Either way the displacement is
    /// split evenly between the frames, half back in A and half forward in B; of an odd whole-pixel
    /// shift B gets the larger part.
    pub deform: bool,
    /// How the frames are interpolated for deformation.
    pub interpolator: Interpolator,
    /// How the predictor is smoothed.
    pub predictor_filter: PredictorFilter,
    /// How the vectors of the last pass are refined. Always deforms the frames.
    pub refinement: Refinement,
    /// Threshold of the normalised median test (Westerweel & Scarano 2005).
    pub outlier_threshold: f64,
    /// Noise level of the normalised median test, px.
    pub outlier_epsilon_px: f64,
    /// Least ratio of the highest to the second-highest peak, at least 1; `None` for no such test.
    pub min_peak_ratio: Option<f64>,
    /// Greatest length of a displacement, px; `None` for no limit.
    pub max_displacement_px: Option<f64>,
}

impl Default for Processing {
    fn default() -> Self {
        Self {
            preparation: Preparation::default(),
            background_frames: None,
            ensemble: 1,
            passes: vec![
                Pass::square(64, 0.5),
                Pass::square(32, 0.5),
                Pass::square(32, 0.75),
                Pass::square(32, 0.75),
            ],
            weighting: Weighting::Gaussian,
            correlation: Correlation::Circular,
            normalise: Normalise::None,
            peak_fit: PeakFit::Gaussian3,
            low_values: LowValues::Least,
            deform: true,
            interpolator: Interpolator::Septic,
            predictor_filter: PredictorFilter::Regression,
            refinement: Refinement::None,
            outlier_threshold: 2.0,
            outlier_epsilon_px: 0.1,
            min_peak_ratio: None,
            max_displacement_px: None,
        }
    }
}

impl Processing {
    /// Least side of a window, px: in smaller ones no peak has all its neighbours inside the search
    /// range.
    pub const MIN_WINDOW_PX: usize = 4;

    /// Checks that frames of `width` x `height` px can be correlated this way.
    ///
    /// # Errors
    /// Names the first field that cannot be used, with the remedy.
    pub fn validate(&self, width: usize, height: usize) -> Result<(), ProcessingError> {
        self.validate_passes(width, height)?;
        if self.ensemble == 0 {
            return Err(ProcessingError::Range {
                field: "ensemble",
                value: "0".to_owned(),
                range: "a number of pairs of at least 1",
                remedy: "1 measures each pair by itself",
            });
        }
        if self.correlation == Correlation::Circular && self.normalise != Normalise::None {
            return Err(ProcessingError::Incompatible {
                field: "normalise",
                choice: self.normalise.as_str(),
                other: "correlation = circular",
                remedy: "use correlation = zero-padded, or normalise = none",
            });
        }
        self.preparation.validate(width, height)?;
        self.validate_tests()
    }

    /// Checks that the windows of every pass fit into the image.
    fn validate_passes(&self, width: usize, height: usize) -> Result<(), ProcessingError> {
        if self.passes.is_empty() {
            return Err(ProcessingError::NoPasses);
        }
        for (pass, &Pass { window, overlap }) in self.passes.iter().enumerate() {
            if window.iter().any(|&side| side < Self::MIN_WINDOW_PX) {
                return Err(ProcessingError::WindowTooSmall {
                    pass,
                    window,
                    minimum: Self::MIN_WINDOW_PX,
                });
            }
            if window[0] > width || window[1] > height {
                return Err(ProcessingError::WindowTooLarge {
                    pass,
                    window,
                    image: [width, height],
                });
            }
            if !(0.0..1.0).contains(&overlap) {
                return Err(ProcessingError::Overlap {
                    pass,
                    overlap: overlap.to_string(),
                });
            }
        }
        Ok(())
    }

    /// Checks the limits by which vectors are rejected.
    fn validate_tests(&self) -> Result<(), ProcessingError> {
        let range = |field, value: f64, range, remedy| ProcessingError::Range {
            field,
            value: value.to_string(),
            range,
            remedy,
        };
        if !(self.outlier_threshold.is_finite() && self.outlier_threshold > 0.0) {
            return Err(range(
                "outlier_threshold",
                self.outlier_threshold,
                "a number above 0",
                "2 is usual",
            ));
        }
        if !(self.outlier_epsilon_px.is_finite() && self.outlier_epsilon_px > 0.0) {
            return Err(range(
                "outlier_epsilon_px",
                self.outlier_epsilon_px,
                "a length above 0 px",
                "0.1 is usual",
            ));
        }
        match self.min_peak_ratio {
            Some(ratio) if !(ratio.is_finite() && ratio >= 1.0) => {
                return Err(range(
                    "min_peak_ratio",
                    ratio,
                    "a number of at least 1",
                    "1.2 is usual; leave it out for none",
                ));
            }
            _ => {}
        }
        match self.max_displacement_px {
            Some(length) if !(length.is_finite() && length > 0.0) => {
                return Err(range(
                    "max_displacement_px",
                    length,
                    "a length above 0 px",
                    "leave it out for no limit",
                ));
            }
            _ => {}
        }
        Ok(())
    }
}
