//! `[camera]`: the sensor by its EMVA 1288 figures, and its exposures.

use super::reader::Reader;
use super::stated::StatedKeys;
use crate::keys::{Key, Kind, camera as keys};

/// `[camera]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Distance between pixels.
    pub pixel_m: Option<f64>,
    /// The figures of its pixels, by their keys.
    pub pixels: StatedKeys,
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
        pixels: StatedKeys::read(r, keys::SECTION.keys.iter().copied().filter(of_pixels)),
        quantum_efficiency: quantum_efficiency(r, wavelength_m),
        ideal: r.switch(keys::IDEAL).unwrap_or(false),
        dead_time_s: r.number(keys::DEAD_TIME),
        exposure_s: r.number(keys::EXPOSURE),
        exposure_b_s: r.number(keys::EXPOSURE_B),
        frame_rate_hz: r.number(keys::FRAME_RATE),
    }
}

/// Whether a key holds a plain figure.
fn of_pixels(key: &&Key) -> bool {
    let plain = matches!(
        key.kind,
        Kind::Quantity { .. } | Kind::Number(_) | Kind::Share(_) | Kind::Whole { .. }
    );
    plain && !key.path.contains("[]")
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
