//! Cross-correlation of interrogation windows: the correlation plane and its peaks.
//!
//! Sign: the plane's value at the lag (i, j) is the sum over pixels of `a(x, y) · b(x + i, y + j)`,
//! so the peak lies at the displacement from frame A to frame B. The weighted mean of both windows
//! is subtracted, and they are multiplied by the taper.

mod along_x;
mod any_windows;
mod columns;
mod lags;
mod overlapping;
mod peak;
mod plane;
mod strip;
mod sums;
mod transform;
mod transpose;
mod windows;

use crate::named::named;

pub(crate) use peak::PeakSearch;
pub use peak::{LowValues, Peak, PeakFit, find_peaks};
pub use plane::Plane;
pub use transform::kernel;

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
        /// It is not divided.
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
