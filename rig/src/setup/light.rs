//! `[light]` and `[reflections]`: the source, its two pulses, and what shines besides.

use std::path::PathBuf;

use motefield_generator::PulseShape;

use crate::scattering::Polarisation;

use super::flow::{Extent, extent};
use super::reader::{Reader, SetupError};
use crate::quantity::Dimension as D;

/// `[light]`
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Radiant power while a pulse lasts; the light of a pulse grows with its length.
    pub power_w: Option<f64>,
    /// Energy of a pulse whatever its length.
    pub pulse_energy_j: Option<f64>,
    /// Length of each pulse.
    pub pulse_s: Option<f64>,
    /// Whether the light is continuous, so that the exposure is the pulse.
    pub continuous: bool,
    /// How the power runs in time.
    pub pulse_shape: Option<PulseShape>,
    /// Energy of pulse B over that of pulse A.
    pub energy_ratio: Option<f64>,
    /// Length of pulse B over that of pulse A.
    pub length_ratio: Option<f64>,
    /// Standard deviation of each pulse's time.
    pub jitter_s: Option<f64>,
    /// Vacuum wavelength.
    pub wavelength_m: Option<f64>,
    /// Share of the light that reaches the sheet's part seen by the camera.
    pub delivery: Option<f64>,
    /// Photo-electrons a second of constant light in every pixel.
    pub ambient_e_s: Option<f64>,
    /// Whether the source is a laser; an LED else.
    pub laser: Option<bool>,
    /// Hazard class of the source as its maker states it.
    pub hazard_class: Option<HazardClass>,
    /// Direction of the light's electric field.
    pub polarisation: Polarisation,
    /// What a recorded picture showed.
    pub measured: Option<Measured>,
}

/// The brightness of the brightest particles in a recorded picture, which fixes the light budget's one unknown.
///
/// The brightest: the middle pixel of the image of a particle in the middle of the sheet that stands on that pixel's centre, where the
/// field moves least; where particles differ, of one brighter than 95 % of them. The measurement belongs to the rig as the file states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Grey level of that pixel, black level and background included.
    pub grey_dn: f64,
    /// Pulse length (or exposure, in continuous light) at which it was recorded; none where a pulse has one energy whatever its length.
    pub at_s: Option<f64>,
}

/// Laser hazard classes of IEC 60825-1, from harmless to hazardous.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum HazardClass {
    /// 1, 1M: harmless to the naked eye.
    One,
    /// 2, 2M: the blink protects.
    Two,
    /// 3R: small risk.
    ThreeR,
    /// 3B: hazardous to the eye.
    ThreeB,
    /// 4: hazardous to eye and skin, also by diffuse reflection.
    Four,
}

const HAZARD_CLASSES: [(&str, HazardClass); 7] = [
    ("1", HazardClass::One),
    ("1M", HazardClass::One),
    ("2", HazardClass::Two),
    ("2M", HazardClass::Two),
    ("3R", HazardClass::ThreeR),
    ("3B", HazardClass::ThreeB),
    ("4", HazardClass::Four),
];

const POLARISATIONS: [(&str, Polarisation); 3] = [
    ("unpolarised", Polarisation::Unpolarised),
    ("perpendicular", Polarisation::Perpendicular),
    ("parallel", Polarisation::Parallel),
];

/// `[reflections]`, in photo-electrons of pulse A.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ReflectionSetup {
    /// A picture of reflected light, and the photo-electrons of its brightest pixel.
    pub picture: Option<(PathBuf, f64)>,
    /// A glare line.
    pub glare: Option<GlareSetup>,
    /// Hot spots: how many, photo-electrons, e⁻² diameter.
    pub hot_spots: Option<(usize, f64, f64)>,
}

/// A glare line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlareSetup {
    /// Photo-electrons on the line.
    pub peak_e: f64,
    /// A point of it, from the image's middle.
    pub at: [Extent; 2],
    /// Angle to x, toward y, rad.
    pub angle_rad: f64,
    /// e⁻² full width.
    pub width: Extent,
}

pub(super) fn ratio(r: &Reader, key: &str) -> Result<Option<f64>, SetupError> {
    r.number(
        key,
        |n| n > 0.0 && n <= 1e3,
        "a plain number above 0 and at most 1000",
    )
}

pub(super) fn light(r: &Reader) -> Result<Light, SetupError> {
    let shapes = [
        ("rectangular", PulseShape::Rectangular),
        ("gaussian", PulseShape::Gaussian),
    ];
    let light = Light {
        power_w: r.positive("light.power", D::Power)?,
        pulse_energy_j: r.positive("light.pulse_energy", D::Energy)?,
        pulse_s: r.positive("light.pulse_length", D::Time)?,
        continuous: r.switch("light.continuous")?.unwrap_or(false),
        pulse_shape: r.word("light.pulse_shape", &shapes)?,
        energy_ratio: ratio(r, "light.energy_ratio")?,
        length_ratio: ratio(r, "light.length_ratio")?,
        jitter_s: r.not_negative("light.jitter", D::Time)?,
        wavelength_m: r.positive("light.wavelength", D::Length)?,
        delivery: r.share("light.delivery")?,
        ambient_e_s: r.not_negative("light.ambient", D::ElectronRate)?,
        laser: r.word("light.source", &[("laser", true), ("led", false)])?,
        hazard_class: r.word("light.hazard_class", &HAZARD_CLASSES)?,
        polarisation: r
            .word("light.polarisation", &POLARISATIONS)?
            .unwrap_or(Polarisation::Unpolarised),
        measured: measured(r)?,
    };
    if light.power_w.is_some() && light.pulse_energy_j.is_some() {
        return Err(r.error("light.pulse_energy", "and light.power exclude each other: a source is limited by its power (diode, LED) or gives a fixed energy (Q-switched)"));
    }
    if light.continuous {
        let own = [
            ("light.pulse_length", light.pulse_s.is_some()),
            ("light.pulse_energy", light.pulse_energy_j.is_some()),
            ("light.length_ratio", light.length_ratio.is_some()),
            ("light.energy_ratio", light.energy_ratio.is_some()),
            ("light.pulse_shape", light.pulse_shape.is_some()),
        ];
        if let Some((key, _)) = own.iter().find(|(_, there)| *there) {
            return Err(r.error(key, "has no meaning for continuous light, whose pulses are the exposures: leave it out and set camera.exposure (and camera.exposure_b)"));
        }
    }
    Ok(light)
}

fn measured(r: &Reader) -> Result<Option<Measured>, SetupError> {
    let (grey, at) = ("light.measured_grey", "light.measured_at");
    let fixed_energy = r.has("light.pulse_energy");
    match (r.positive(grey, D::GreyLevels)?, r.positive(at, D::Time)?) {
        (None, None) => Ok(None),
        (None, Some(_)) => Err(r.error(at, "is the pulse length at which light.measured_grey was read, which is missing: write for example measured_grey = \"900 DN\"")),
        (Some(_), None) if !fixed_energy => Err(r.error(grey, "needs the pulse length at which it was read: write for example measured_at = \"200 us\" under [light]")),
        (Some(grey_dn), at_s) => Ok(Some(Measured { grey_dn, at_s })),
    }
}

pub(super) fn reflections(r: &Reader) -> Result<ReflectionSetup, SetupError> {
    let missing = |key: &str, of: &str| r.error(key, format!("is missing, and {of} needs it"));
    let picture = match r.path("reflections.picture")? {
        None => None,
        Some(path) => Some((
            path,
            r.positive("reflections.picture_peak", D::Electrons)?
                .ok_or_else(|| missing("reflections.picture_peak", "reflections.picture"))?,
        )),
    };
    let glare = match r.not_negative("reflections.glare", D::Electrons)? {
        None => None,
        Some(peak_e) => Some(GlareSetup {
            peak_e,
            at: [
                extent(r, "reflections.glare_x")?.unwrap_or(Extent::Px(0.0)),
                extent(r, "reflections.glare_y")?.unwrap_or(Extent::Px(0.0)),
            ],
            angle_rad: r
                .quantity("reflections.glare_angle", &[D::Angle])?
                .map_or(0.0, |q| q.value),
            width: extent(r, "reflections.glare_width")?
                .ok_or_else(|| missing("reflections.glare_width", "reflections.glare"))?,
        }),
    };
    let hot_spots = match r.whole("reflections.hot_spots", 0, 100_000)? {
        None => None,
        Some(count) => Some((
            count,
            r.not_negative("reflections.hot_spot_peak", D::Electrons)?
                .ok_or_else(|| missing("reflections.hot_spot_peak", "reflections.hot_spots"))?,
            r.positive("reflections.hot_spot_diameter", D::Pixels)?
                .ok_or_else(|| missing("reflections.hot_spot_diameter", "reflections.hot_spots"))?,
        )),
    };
    Ok(ReflectionSetup {
        picture,
        glare,
        hot_spots,
    })
}
