//! From image pairs to displacement vectors, and from vectors to errors.
//!
//! [`correlate`] measures: two frames and a [`Processing`] give a [`VectorField`]. Frames are arrays of shape (height, width),
//! indexed `[y][x]`; pixel (0, 0) is the upper-left one and its centre has the coordinates (0, 0); displacements run from
//! frame A to frame B, in px, positive to the right and downward.

pub mod bound;
pub mod correlation;
mod deform;
pub mod dynamic_range;
mod error;
mod field;
mod frames;
mod interpolate;
mod least_squares;
mod matching;
mod named;
pub mod outlier;
mod particle_fit;
mod particle_image;
mod particles;
mod passes;
pub mod peak;
pub mod peak_locking;
pub mod plane;
pub mod prepare;
mod processing;
pub mod propagation;
pub mod reliability;
pub mod response;
pub mod score;
pub mod statistics;
mod transform;
pub mod uncertainty;
mod validation;
pub mod window;

pub use correlation::{Correlation, Normalise};
pub use deform::{PredictorFilter, deform};
pub use error::ProcessingError;
pub use field::{Vector, VectorField, VectorStatus};
pub use interpolate::Interpolator;
pub use matching::Refinement;
pub use passes::{Correlator, correlate, correlate_ensemble};
pub use peak::PeakFit;
pub use processing::{Pass, Processing};
pub use window::{Grid, Weighting, window_weights};
