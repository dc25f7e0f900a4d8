//! `[camera]`: the sensor by its EMVA 1288 figures, and its exposures.

use super::reader::{Reader, SetupError};
use crate::quantity::Dimension as D;

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
    /// Grey levels an electron.
    pub gain_dn_per_e: Option<f64>,
    /// Full-well capacity.
    pub full_well_e: Option<f64>,
    /// Temporal dark noise.
    pub dark_noise_e: Option<f64>,
    /// Electrons a second without light.
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
    /// Photo-electrons a photon, at the light's wavelength.
    pub quantum_efficiency: Option<f64>,
    /// No camera: expected photo-electrons as they are.
    pub ideal: bool,
    /// Time from the end of exposure A to the beginning of exposure B.
    pub dead_time_s: Option<f64>,
    /// Length of exposure A, and of exposure B unless that is given.
    pub exposure_s: Option<f64>,
    /// Length of exposure B.
    pub exposure_b_s: Option<f64>,
    /// Frames a second.
    pub frame_rate_hz: Option<f64>,
}

pub(super) fn camera(r: &Reader, wavelength_m: Option<f64>) -> Result<CameraSetup, SetupError> {
    let camera = CameraSetup {
        size: size(r, "camera.size")?,
        pixel_m: r.positive("camera.pixel", D::Length)?,
        fill_factor: r.share("camera.fill_factor")?,
        bits: r.whole("camera.bits", 1, 16)?,
        gain_dn_per_e: r.positive("camera.gain", D::Gain)?,
        full_well_e: r.positive("camera.full_well", D::Electrons)?,
        dark_noise_e: r.not_negative("camera.dark_noise", D::Electrons)?,
        dark_current_e_s: r.not_negative("camera.dark_current", D::ElectronRate)?,
        black_level_dn: r.not_negative("camera.black_level", D::GreyLevels)?,
        dsnu_e: r.not_negative("camera.dsnu", D::Electrons)?,
        prnu: r.share("camera.prnu")?,
        hot_pixels: r.share("camera.hot_pixels")?,
        hot_level_e: r.not_negative("camera.hot_level", D::Electrons)?,
        dead_pixels: r.share("camera.dead_pixels")?,
        crosstalk: r.share("camera.crosstalk")?,
        parasitic_sensitivity: r.share("camera.parasitic_sensitivity")?,
        quantum_efficiency: quantum_efficiency(r, wavelength_m)?,
        ideal: r.switch("camera.ideal")?.unwrap_or(false),
        dead_time_s: r.not_negative("camera.dead_time", D::Time)?,
        exposure_s: r.positive("camera.exposure", D::Time)?,
        exposure_b_s: r.positive("camera.exposure_b", D::Time)?,
        frame_rate_hz: r.positive("camera.frame_rate", D::Frequency)?,
    };
    if camera.fill_factor == Some(0.0) {
        return Err(r.error("camera.fill_factor", "must be above 0"));
    }
    Ok(camera)
}

/// One share, or a list of shares at wavelengths between which the light's is interpolated linearly.
fn quantum_efficiency(r: &Reader, wavelength_m: Option<f64>) -> Result<Option<f64>, SetupError> {
    const KEY: &str = "camera.quantum_efficiency";
    if !r.has(&format!("{KEY}[0]")) {
        return r.share(KEY);
    }
    let wavelength = wavelength_m.ok_or_else(|| {
        r.error(
            KEY,
            "is a list over wavelengths, which needs light.wavelength: give it, or write one share",
        )
    })?;
    let count = r.list(KEY, 2..=1000)?.unwrap_or(0);
    let mut curve = Vec::new();
    for k in 0..count {
        let (at, share) = (format!("{KEY}[{k}].at"), format!("{KEY}[{k}].share"));
        let entry = r.positive(&at, D::Length)?.zip(r.share(&share)?);
        curve.push(entry.ok_or_else(|| {
            r.error(
                &format!("{KEY}[{k}]"),
                "is incomplete: write for example { at = \"520 nm\", share = 0.6 }",
            )
        })?);
    }
    if !curve.is_sorted_by(|a, b| a.0 < b.0) {
        return Err(r.error(KEY, "must go from short to long wavelengths"));
    }
    match curve.windows(2).find(|w| (w[0].0..=w[1].0).contains(&wavelength)) {
        Some(w) => {
            let t = (wavelength - w[0].0) / (w[1].0 - w[0].0);
            Ok(Some(w[0].1 + t * (w[1].1 - w[0].1)))
        }
        None => Err(r.error(
            KEY,
            "does not reach light.wavelength: add entries on both sides of it",
        )),
    }
}

/// Width and height of a picture.
pub(super) fn size(r: &Reader, key: &str) -> Result<Option<[usize; 2]>, SetupError> {
    if r.list(key, 2..=2)?.is_none() {
        return Ok(None);
    }
    let side = |k: usize| r.whole(&format!("{key}[{k}]"), 8, motefield_generator::scene::MAX_SIDE);
    Ok(side(0)?.zip(side(1)?).map(|(width, height)| [width, height]))
}
