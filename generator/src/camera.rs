//! The camera: the sensitive area of its pixels, the leak from frame A into frame B, its sensor.

use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::sensor::Sensor;

/// The camera of a scene.
///
/// ```
/// use motefield_generator::{Camera, Sensor};
///
/// let camera = Camera {
///     parasitic_sensitivity: 1e-3,
///     sensor: Some(Sensor::default()),
///     ..Camera::default()
/// };
/// assert_eq!(camera.fill_factor, 1.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Sensitive fraction of a pixel's area, a square in its middle; above 0 and at most 1.
    ///
    /// It sharpens particle images but does not dim them: the photo-electrons of a particle are
    /// kept on average, since the quantum efficiency of EMVA 1288 already counts the fill factor.
    pub fill_factor: f64,
    /// Fraction of frame A's light that leaks into frame B while frame A waits to be read, 0 to 1.
    pub parasitic_sensitivity: f64,
    /// The sensor; `None` for an ideal camera, whose frames are the expected photo-electrons
    /// without noise, clipping or grey levels.
    pub sensor: Option<Sensor>,
}

impl Default for Camera {
    /// An ideal camera: pixels sensitive all over, no leak, no sensor.
    fn default() -> Self {
        Camera {
            fill_factor: 1.0,
            parasitic_sensitivity: 0.0,
            sensor: None,
        }
    }
}

impl Camera {
    pub(crate) fn faults(&self) -> Vec<SceneError> {
        let mut faults = failed([
            number(
                SceneField::FillFactor,
                self.fill_factor,
                "",
                self.fill_factor > 0.0 && self.fill_factor <= 1.0,
                "above 0 and at most 1",
            ),
            in_range(
                SceneField::ParasiticSensitivity,
                self.parasitic_sensitivity,
                "",
                0.0..=1.0,
                "0 to 1",
            ),
        ]);
        faults.extend(self.sensor.iter().flat_map(Sensor::faults));
        faults
    }
}
