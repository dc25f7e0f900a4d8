//! Displacement vectors on a regular grid: the result of a correlation.

use crate::named::named;

named! {
    /// What is known of a vector.
    pub enum VectorStatus {
        /// A correlation peak was found and agrees with its neighbours.
        Valid = "valid",
        /// The measured displacement disagrees with its neighbours (normalised median test of the
        /// last pass).
        Outlier = "outlier",
        /// The highest peak is not high enough above the second-highest one
        /// ([`Processing::min_peak_ratio`](crate::Processing::min_peak_ratio)).
        LowPeakRatio = "low-peak-ratio",
        /// The measured displacement is longer than
        /// [`Processing::max_displacement_px`](crate::Processing::max_displacement_px).
        OutOfRange = "out-of-range",
        /// The correlation has no peak inside the search range, as in windows without particles.
        /// The displacement is that of the predictor, which is zero in a single pass.
        NoPeak = "no-peak",
    }
}

/// One measured displacement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vector {
    /// Column of the window's centre, px.
    pub x_px: f64,
    /// Row of the window's centre, px.
    pub y_px: f64,
    /// Displacement to the right from frame A to frame B, px.
    pub dx_px: f64,
    /// Displacement downward from frame A to frame B, px.
    pub dy_px: f64,
    /// Height of the highest correlation peak over that of the second-highest; infinite if there is
    /// no second peak above zero, and 0 if there is none at all.
    pub peak_ratio: f64,
    /// Whether the displacement can be trusted.
    pub status: VectorStatus,
}

/// Displacements on the grid of interrogation windows of the last pass.
#[derive(Clone, Debug, PartialEq)]
pub struct VectorField {
    /// Number of windows along x.
    pub columns: usize,
    /// Number of windows along y.
    pub rows: usize,
    /// Width and height of the interrogation window, px.
    pub window: [usize; 2],
    /// Distance between neighbouring windows along x and y, px.
    pub spacing: [usize; 2],
    /// The vectors, row by row: the one in column `i` and row `j` has the index `j * columns + i`.
    pub vectors: Vec<Vector>,
}
