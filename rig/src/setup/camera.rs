//! `[camera]`: the sensor by its EMVA 1288 figures, and its exposures.

use super::light::SpectralLine;
use super::reader::Reader;
use super::stated::StatedKeys;
use crate::keys::{Key, Kind, camera as keys, light, tracer};

/// `[camera]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Distance between pixels.
    pub pixel_m: Option<f64>,
    /// The figures of its pixels, by their keys.
    pub pixels: StatedKeys,
    /// Photo-electrons per photon at each of the light's lines; of light whose wavelength is not
    /// known one, that of any. Empty where it is not stated.
    pub quantum_efficiency: Vec<f64>,
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

pub(super) fn camera(r: &Reader, lines: &[SpectralLine]) -> CameraSetup {
    CameraSetup {
        size: size(r, keys::SIZE),
        pixel_m: r.number(keys::PIXEL),
        pixels: StatedKeys::read(r, keys::SECTION.keys.iter().copied().filter(of_pixels)),
        quantum_efficiency: quantum_efficiency(r, lines),
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

/// One share, or a list of shares at wavelengths between which each line's is interpolated
/// linearly.
fn quantum_efficiency(r: &Reader, lines: &[SpectralLine]) -> Vec<f64> {
    const KEY: &Key = keys::QUANTUM_EFFICIENCY;
    if !r.has(KEY.entry(0)) {
        let share = r.number(KEY);
        return share.map_or(Vec::new(), |share| vec![share; lines.len().max(1)]);
    }
    let Some(count) = r.list(KEY) else {
        return Vec::new();
    };
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
    if lines.is_empty() {
        r.fault(
            KEY,
            "is a list over wavelengths, which needs light.wavelength or light.spectrum: give one, or write one share",
        );
    }
    if !curve.is_sorted_by(|a, b| a.0 < b.0) {
        r.fault(KEY, "must go from short to long wavelengths");
    }
    let at = |wavelength: f64| {
        let between = curve
            .windows(2)
            .find(|w| (w[0].0..=w[1].0).contains(&wavelength))?;
        let t = (wavelength - between[0].0) / (between[1].0 - between[0].0);
        Some(between[0].1 + t * (between[1].1 - between[0].1))
    };
    let found: Option<Vec<f64>> = lines.iter().map(|line| at(line.wavelength_m)).collect();
    found.unwrap_or_else(|| {
        let key = if r.has(tracer::FLUORESCENCE) {
            tracer::EMISSION.path
        } else if lines.len() > 1 {
            light::SPECTRUM.path
        } else {
            light::WAVELENGTH.path
        };
        r.fault(
            KEY,
            format!("does not reach {key}: add entries on both sides of it"),
        );
        Vec::new()
    })
}

/// Width and height of a picture.
pub(super) fn size(r: &Reader, key: &'static Key) -> Option<[usize; 2]> {
    r.list(key)?;
    let side = |k: usize| r.whole(key.entry(k));
    Some([side(0)?, side(1)?])
}
