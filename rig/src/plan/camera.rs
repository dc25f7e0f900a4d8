//! `[camera]` as the camera of a scene.

use motefield_generator::{Camera, Sensor};

use super::light::gathered;
use crate::keys::camera as key;
use crate::setup::{Setup, SetupError};

/// The camera; an ideal one has no sensor.
pub(super) fn camera(setup: &Setup) -> Result<Camera, SetupError> {
    let pixels = &setup.camera.pixels;
    Ok(Camera {
        fill_factor: pixels.number_or_zero(key::FILL_FACTOR),
        parasitic_sensitivity: pixels.number_or_zero(key::PARASITIC_SENSITIVITY),
        sensor: sensor(setup)?,
    })
}

fn sensor(setup: &Setup) -> Result<Option<Sensor>, SetupError> {
    if setup.camera.ideal {
        return Ok(None);
    }
    let pixels = &setup.camera.pixels;
    let bits = pixels.number_or_zero(key::BITS) as u32;
    let [full_well_e, dark_noise_e] = [key::FULL_WELL, key::DARK_NOISE].map(|key| pixels.number_or_zero(key));
    let usual_gain = || Sensor::usual_gain_dn_per_e(bits, full_well_e, dark_noise_e);
    let gain_dn_per_e = pixels.number(key::GAIN).unwrap_or_else(usual_gain);
    let usual_black_level = || usual_black_level_dn(bits, gain_dn_per_e, dark_noise_e);
    let dark_current_e_s = pixels.number(key::DARK_CURRENT);
    Ok(Some(Sensor {
        bits,
        gain_dn_per_e,
        full_well_e,
        dark_noise_e,
        black_level_dn: pixels.number(key::BLACK_LEVEL).unwrap_or_else(usual_black_level),
        dark_current_e: gathered(setup, dark_current_e_s, key::DARK_CURRENT)?,
        dsnu_e: pixels.number_or_zero(key::DSNU),
        prnu: pixels.number_or_zero(key::PRNU),
        hot_pixels: pixels.number_or_zero(key::HOT_PIXELS),
        hot_level_e: pixels.number(key::HOT_LEVEL).unwrap_or(full_well_e),
        dead_pixels: pixels.number_or_zero(key::DEAD_PIXELS),
        crosstalk: pixels.number_or_zero(key::CROSSTALK),
        nonlinearity: pixels.number_or_zero(key::NONLINEARITY),
    }))
}

/// The usual black level, but no more than half of the largest grey level: a camera of one or two
/// bits would see nothing above it.
fn usual_black_level_dn(bits: u32, gain_dn_per_e: f64, dark_noise_e: f64) -> f64 {
    let white = f64::from((1u64 << bits.min(16)) as u32 - 1);
    Sensor::usual_black_level_dn(gain_dn_per_e, dark_noise_e).min((0.5 * white).floor())
}
