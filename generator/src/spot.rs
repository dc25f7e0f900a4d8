//! A point of light on the sensor, which a particle image or a part of a streak consists of.

/// A point of light on the sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    pub(crate) x_px: f64,
    pub(crate) y_px: f64,
    /// Expected photo-electrons.
    pub(crate) electrons: f32,
    /// Standard deviation of its image, px.
    pub(crate) sigma_px: f64,
}
