//! `[camera]`: the sensor by its EMVA 1288 figures, and its exposures.

use super::reader::Reader;
use crate::keys::{Key, camera as keys};

/// `[camera]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Distance between pixels.
    pub pixel_m: Option<f64>,
    /// Sensitive share of a pixel's area.
    pub fill_factor: Option<f64>,
    /// Bits of a grey level.
    pub bits: Option<usize>,
    /// Grey levels per electron.
    pub gain_dn_per_e: Option<f64>,
    /// Full-well capacity.
    pub full_well_e: Option<f64>,
    /// Temporal dark noise.
    pub dark_noise_e: Option<f64>,
    /// Electrons per second without light.
    pub dark_current_e_s: Option<f64>,
    /// Mean grey level of a dark pixel.
    pub black_level_dn: Option<f64>,
    /// Standard deviation of the pixels' offsets.
    pub dsnu_e: Option<f64>,
    /// Relative standard deviation of the pixels' response.
    pub prnu: Option<f64>,
    /// Share of hot pixels.
    pub hot_pixels: Option<f64>,
    /// Dark signal of a hot pixel.
    pub hot_level_e: Option<f64>,
    /// Share of dead pixels.
    pub dead_pixels: Option<f64>,
    /// Share of a pixel's light that goes to its four neighbours.
    pub crosstalk: Option<f64>,
    /// Share of frame A's light that leaks into frame B.
    pub parasitic_sensitivity: Option<f64>,
    /// Photo-electrons per photon, at the light's wavelength.
    pub quantum_efficiency: Option<f64>,
    /// No camera: expected photo-electrons as they are.
    pub ideal: bool,
    /// Time from the end of exposure A to the beginning of exposure B.
    pub dead_time_s: Option<f64>,
    /// Length of exposure A, and of exposure B unless that is given.
    pub exposure_s: Option<f64>,
    /// Length of exposure B.
    pub exposure_b_s: Option<f64>,
    /// Frames per second.
    pub frame_rate_hz: Option<f64>,
}

pub(super) fn camera(r: &Reader, wavelength_m: Option<f64>) -> CameraSetup {
    CameraSetup {
        size: size(r, keys::SIZE),
        pixel_m: r.number(keys::PIXEL),
        fill_factor: r.number(keys::FILL_FACTOR),
        bits: r.whole(keys::BITS),
        gain_dn_per_e: r.number(keys::GAIN),
        full_well_e: r.number(keys::FULL_WELL),
        dark_noise_e: r.number(keys::DARK_NOISE),
        dark_current_e_s: r.number(keys::DARK_CURRENT),
        black_level_dn: r.number(keys::BLACK_LEVEL),
        dsnu_e: r.number(keys::DSNU),
        prnu: r.number(keys::PRNU),
        hot_pixels: r.number(keys::HOT_PIXELS),
        hot_level_e: r.number(keys::HOT_LEVEL),
        dead_pixels: r.number(keys::DEAD_PIXELS),
        crosstalk: r.number(keys::CROSSTALK),
        parasitic_sensitivity: r.number(keys::PARASITIC_SENSITIVITY),
        quantum_efficiency: quantum_efficiency(r, wavelength_m),
        ideal: r.switch(keys::IDEAL).unwrap_or(false),
        dead_time_s: r.number(keys::DEAD_TIME),
        exposure_s: r.number(keys::EXPOSURE),
        exposure_b_s: r.number(keys::EXPOSURE_B),
        frame_rate_hz: r.number(keys::FRAME_RATE),
    }
}

/// One share, or a list of shares at wavelengths between which the light's is interpolated
/// linearly.
fn quantum_efficiency(r: &Reader, wavelength_m: Option<f64>) -> Option<f64> {
    const KEY: &Key = keys::QUANTUM_EFFICIENCY;
    if !r.has(KEY.entry(0)) {
        return r.number(KEY);
    }
    let count = r.list(KEY)?;
    let mut curve = Vec::new();
    for k in 0..count {
        let at = r.number(keys::QUANTUM_EFFICIENCY_AT.in_table(k));
        let share = r.number(keys::QUANTUM_EFFICIENCY_SHARE.in_table(k));
        match at.zip(share) {
            Some(entry) => curve.push(entry),
            None => r.fault(
                KEY.entry(k),
                "is incomplete: write for example { at = \"520 nm\", share = 0.6 }",
            ),
        }
    }
    let Some(wavelength) = wavelength_m else {
        r.fault(
            KEY,
            "is a list over wavelengths, which needs light.wavelength: give it, or write one share",
        );
        return None;
    };
    if !curve.is_sorted_by(|a, b| a.0 < b.0) {
        r.fault(KEY, "must go from short to long wavelengths");
    }
    match curve.windows(2).find(|w| (w[0].0..=w[1].0).contains(&wavelength)) {
        Some(w) => {
            let t = (wavelength - w[0].0) / (w[1].0 - w[0].0);
            Some(w[0].1 + t * (w[1].1 - w[0].1))
        }
        None => {
            r.fault(
                KEY,
                "does not reach light.wavelength: add entries on both sides of it",
            );
            None
        }
    }
}

/// Width and height of a picture.
pub(super) fn size(r: &Reader, key: &'static Key) -> Option<[usize; 2]> {
    r.list(key)?;
    let side = |k: usize| r.whole(key.entry(k));
    Some([side(0)?, side(1)?])
}
