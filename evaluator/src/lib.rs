//! From image pairs to displacement vectors, and from vectors to errors with intervals.
//!
//! Three stages with plain data between them. [`correlate`] turns two frames and a [`Processing`]
//! into a [`VectorField`]; [`score`] holds vectors against the true displacement; [`statistics`]
//! gives every figure its interval. Beside them stand [`uncertainty`], what the images alone reveal
//! of the error, and [`bound`], how small the error could be at all.
//!
//! ```
//! use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, reach};
//! use motefield_evaluator::statistics::Confidence;
//! use motefield_evaluator::{Grid, Pass, Processing, correlate};
//! use ndarray::Array2;
//!
//! // Two pairs of 32 x 32 px, each with one particle in every window, displaced by (1.5, 0) px.
//! let frame = |x: f32, y: f32| {
//!     let profile = |i: usize, x: f32| (-0.5 * ((i % 16) as f32 - x).powi(2)).exp();
//!     Array2::from_shape_fn((32, 32), |(j, i)| profile(i, x) * profile(j, y))
//! };
//! let pairs = [[frame(6.0, 8.0), frame(7.5, 8.0)], [frame(6.5, 7.0), frame(8.0, 7.0)]];
//!
//! // Pairs to vectors.
//! let processing = Processing {
//!     passes: vec![Pass::square(16, 0.0)],
//!     ..Processing::default()
//! };
//! let [one, two] = pairs.map(|[a, b]| correlate(a.view(), b.view(), &processing));
//! let fields = [one?, two?];
//!
//! // Vectors to errors.
//! let grid = Grid::new(32, 32, [16, 16], 0.0);
//! let truth = VectorTruth::new(&grid, processing.weighting, 1, |_, _| [1.5, 0.0]);
//! let errors = fields.map(|field| Errors::of(&field.vectors, &truth));
//!
//! // Errors to figures with intervals.
//! let sample = ErrorSample {
//!     columns: grid.columns,
//!     reach: reach(&grid),
//!     pairs: &errors,
//!     truths: Truths::Repeat,
//!     part: None,
//!     confidence: Confidence::USUAL,
//! };
//! let score = sample.score();
//! assert_eq!((score.vectors, score.outliers.value), (8, 0.0));
//! assert!(score.total_px.value < 0.1);
//! # Ok::<(), motefield_evaluator::ProcessingError>(())
//! ```
//!
//! # Conventions
//!
//! - Frames are arrays of shape (height, width), indexed `[y][x]`, in grey values of any gain and
//!   offset.
//! - Pixel (0, 0) is the upper-left one, and its centre has the coordinates (0, 0); x runs right, y
//!   down.
//! - Displacements run from frame A to frame B, in px.
//! - Values on a grid are stored row by row; missing ones are `NaN`.

pub mod appearance;
pub mod bound;
pub mod conventions;
pub mod correlation;
pub mod prepare;
pub mod score;
pub mod statistics;
pub mod uncertainty;

mod aligned;
mod deform;
mod error;
mod field;
mod frames;
mod interpolate;
mod least_squares;
mod named;
mod outlier;
mod passes;
mod processing;
mod refinement;
mod single_window;
mod squares;
mod validation;
mod window;

pub use correlation::{Correlation, LowValues, Normalise, PeakFit, kernel};
pub use deform::{PredictorFilter, deform};
pub use error::ProcessingError;
pub use field::{Vector, VectorField, VectorStatus};
pub use interpolate::Interpolator;
pub use outlier::normalised_residual;
pub use passes::{Correlator, correlate, correlate_ensemble};
pub use processing::{Pass, Processing};
pub use refinement::Refinement;
pub use single_window::{SingleWindow, correlation_plane};
pub use window::{Grid, Weighting, window_weights};

/// The example of the README, compiled and run with the tests.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
