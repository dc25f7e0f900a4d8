//! The camera: how its pixels gather light, how frame A leaks into frame B, and its sensor.

use crate::scene::{SceneError, SceneField, check, number};
use crate::sensor::Sensor;

/// The camera of a scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Sensitive share of a pixel's area: a square in its middle. The photo-electrons of a particle image are kept on average,
    /// since the quantum efficiency of EMVA 1288 counts the fill factor already.
    pub fill_factor: f64,
    /// Share of frame A's light that leaks into frame B (parasitic sensitivity of the stored picture).
    pub parasitic_sensitivity: f64,
    /// The sensor; `None` for an ideal camera, which keeps the expected photo-electrons: no noise, no clipping, no grey levels.
    pub sensor: Option<Sensor>,
}

impl Default for Camera {
    /// An ideal camera with full pixels and no leak.
    fn default() -> Self {
        Camera {
            fill_factor: 1.0,
            parasitic_sensitivity: 0.0,
            sensor: None,
        }
    }
}

impl Camera {
    pub(crate) fn validate(&self) -> Result<(), SceneError> {
        check([
            number(
                SceneField::FillFactor,
                self.fill_factor,
                "",
                self.fill_factor > 0.0 && self.fill_factor <= 1.0,
                "above 0 and at most 1",
            ),
            number(
                SceneField::ParasiticSensitivity,
                self.parasitic_sensitivity,
                "",
                (0.0..=1.0).contains(&self.parasitic_sensitivity),
                "0 to 1",
            ),
        ])?;
        self.sensor.as_ref().map_or(Ok(()), Sensor::validate)
    }
}
