//! `[camera]` as the camera of a scene.

use motefield_generator::{Camera, Sensor};

use super::light::gathered;
use crate::keys;
use crate::setup::{Setup, SetupError};

/// The camera; an ideal one has no sensor.
pub(super) fn camera(setup: &Setup) -> Result<Camera, SetupError> {
    Ok(Camera {
        fill_factor: setup.camera.fill_factor.unwrap_or(1.0),
        parasitic_sensitivity: setup.camera.parasitic_sensitivity.unwrap_or(0.0),
        sensor: sensor(setup)?,
    })
}

fn sensor(setup: &Setup) -> Result<Option<Sensor>, SetupError> {
    let camera = &setup.camera;
    if camera.ideal {
        return Ok(None);
    }
    let usual = Sensor::default();
    let bits = camera.bits.map_or(usual.bits, |bits| bits as u32);
    let full_well_e = camera.full_well_e.unwrap_or(usual.full_well_e);
    let dark_noise_e = camera.dark_noise_e.unwrap_or(usual.dark_noise_e);
    let gain_dn_per_e = camera
        .gain_dn_per_e
        .unwrap_or_else(|| Sensor::usual_gain_dn_per_e(bits, full_well_e, dark_noise_e));
    let black_level_dn = camera
        .black_level_dn
        .unwrap_or_else(|| usual_black_level_dn(bits, gain_dn_per_e, dark_noise_e));
    Ok(Some(Sensor {
        bits,
        gain_dn_per_e,
        full_well_e,
        dark_noise_e,
        black_level_dn,
        dark_current_e: gathered(setup, camera.dark_current_e_s, keys::camera::DARK_CURRENT)?,
        dsnu_e: camera.dsnu_e.unwrap_or(0.0),
        prnu: camera.prnu.unwrap_or(0.0),
        hot_pixels: camera.hot_pixels.unwrap_or(0.0),
        hot_level_e: camera.hot_level_e.unwrap_or(full_well_e),
        dead_pixels: camera.dead_pixels.unwrap_or(0.0),
        crosstalk: camera.crosstalk.unwrap_or(0.0),
    }))
}

/// The usual black level, but no more than half of the largest grey level: a camera of one or two
/// bits would see nothing above it.
fn usual_black_level_dn(bits: u32, gain_dn_per_e: f64, dark_noise_e: f64) -> f64 {
    let white = f64::from((1u64 << bits.min(16)) as u32 - 1);
    Sensor::usual_black_level_dn(gain_dn_per_e, dark_noise_e).min((0.5 * white).floor())
}
