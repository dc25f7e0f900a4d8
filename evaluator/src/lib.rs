//! From image pairs to displacement vectors, and from vectors to errors.
pub mod bound;
pub mod correlation;
pub mod prepare;
pub mod score;
pub mod statistics;
pub mod uncertainty;

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
mod validation;
mod window;

pub use correlation::{Correlation, Normalise, PeakFit};
pub use deform::{PredictorFilter, deform};
pub use error::ProcessingError;
pub use field::{Vector, VectorField, VectorStatus};
pub use interpolate::Interpolator;
pub use outlier::normalised_residual;
pub use passes::{Correlator, correlate, correlate_ensemble};
pub use processing::{Pass, Processing};
pub use refinement::Refinement;
pub use window::{Grid, Weighting, window_weights};
