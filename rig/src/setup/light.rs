//! `[light]` and `[reflections]`: the source, its two pulses, and what shines besides.

use std::path::PathBuf;

use motefield_generator::PulseShape;

use super::flow::{Extent, extent};
use super::reader::Reader;
use crate::keys::choices::{HazardClass, Source};
use crate::keys::{Key, light as keys, reflections};
use crate::scattering::Polarisation;

/// `[light]`
#[derive(Debug, Clone, PartialEq)]
pub struct LightSetup {
    /// Radiant power while a pulse lasts; the light of a pulse grows with its length.
    pub power_w: Option<f64>,
    /// Energy of a pulse whatever its length.
    pub pulse_energy_j: Option<f64>,
    /// Length of each pulse.
    pub pulse_s: Option<f64>,
    /// Whether the light is continuous, so that the exposure is the pulse.
    pub continuous: bool,
    /// Power over time during a pulse.
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
    /// Photo-electrons per second of constant light in every pixel.
    pub ambient_e_s: Option<f64>,
    /// Kind of source.
    pub source: Option<Source>,
    /// Hazard class of the source as its maker states it.
    pub hazard_class: Option<HazardClass>,
    /// Direction of the light's electric field.
    pub polarisation: Polarisation,
    /// What a recorded picture showed.
    pub measured: Option<MeasuredBrightness>,
}

/// The brightness of the brightest particles in a recorded picture, which fixes the light budget's
/// one unknown.
///
/// The brightest: the middle pixel of the image of a particle in the middle of the sheet that
/// stands on that pixel's centre, where the field moves least; where particles differ, of one
/// brighter than 95 % of them. The measurement belongs to the rig as the file states it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredBrightness {
    /// Grey level of that pixel, black level and background included.
    pub grey_dn: f64,
    /// Pulse length (or exposure, in continuous light) at which it was recorded; none where a pulse
    /// has one energy whatever its length.
    pub at_s: Option<f64>,
}

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

pub(super) fn light(r: &Reader) -> LightSetup {
    r.exclude(
        keys::PULSE_ENERGY,
        keys::POWER,
        "exclude each other (a source is limited by its power, as a diode or an LED, or gives a fixed energy, as a Q-switched laser)",
    );
    let light = LightSetup {
        power_w: r.number(keys::POWER),
        pulse_energy_j: r.number(keys::PULSE_ENERGY),
        pulse_s: r.number(keys::PULSE_LENGTH),
        continuous: r.switch(keys::CONTINUOUS).unwrap_or(false),
        pulse_shape: r.choice(keys::PULSE_SHAPE),
        energy_ratio: r.number(keys::ENERGY_RATIO),
        length_ratio: r.number(keys::LENGTH_RATIO),
        jitter_s: r.number(keys::JITTER),
        wavelength_m: r.number(keys::WAVELENGTH),
        delivery: r.number(keys::DELIVERY),
        ambient_e_s: r.number(keys::AMBIENT),
        source: r.choice(keys::SOURCE),
        hazard_class: r.choice(keys::HAZARD_CLASS),
        polarisation: r.choice(keys::POLARISATION).unwrap_or(Polarisation::Unpolarised),
        measured: measured(r),
    };
    if light.continuous {
        for key in [
            keys::PULSE_LENGTH,
            keys::PULSE_ENERGY,
            keys::LENGTH_RATIO,
            keys::ENERGY_RATIO,
            keys::PULSE_SHAPE,
        ] {
            if r.has(key) {
                r.fault(key, "has no meaning for continuous light, whose pulses are the exposures: leave it out and set camera.exposure (and camera.exposure_b)");
            }
        }
    }
    light
}

fn measured(r: &Reader) -> Option<MeasuredBrightness> {
    let (grey, at_s) = (r.number(keys::MEASURED_GREY), r.number(keys::MEASURED_AT));
    let fixed_energy = r.has(keys::PULSE_ENERGY);
    match (r.has(keys::MEASURED_GREY), r.has(keys::MEASURED_AT)) {
        (false, true) => r.fault(keys::MEASURED_AT, "is the pulse length at which light.measured_grey was read, which is missing: write for example measured_grey = \"900 DN\""),
        (true, false) if !fixed_energy => r.fault(keys::MEASURED_GREY, "needs the pulse length at which it was read: write for example measured_at = \"200 us\" under [light]"),
        _ => {}
    }
    grey.map(|grey_dn| MeasuredBrightness { grey_dn, at_s })
}

pub(super) fn reflections(r: &Reader) -> ReflectionSetup {
    use reflections as keys;
    let needed = |key: &'static Key, of: &'static Key| {
        let why = format!("{} needs it", of.path);
        r.needed(key, r.number(key), &why, 1.0)
    };
    let picture = r
        .file(keys::PICTURE)
        .map(|path| (path, needed(keys::PICTURE_PEAK, keys::PICTURE)));
    let glare = r.number(keys::GLARE).map(|peak_e| GlareSetup {
        peak_e,
        at: [keys::GLARE_X, keys::GLARE_Y].map(|key| extent(r, key).unwrap_or(Extent::Px(0.0))),
        angle_rad: r.number(keys::GLARE_ANGLE).unwrap_or(0.0),
        width: r.needed(
            keys::GLARE_WIDTH,
            extent(r, keys::GLARE_WIDTH),
            "reflections.glare needs it",
            Extent::Px(1.0),
        ),
    });
    let hot_spots = r.whole(keys::HOT_SPOTS).map(|count| {
        let peak_e = needed(keys::HOT_SPOT_PEAK, keys::HOT_SPOTS);
        (count, peak_e, needed(keys::HOT_SPOT_DIAMETER, keys::HOT_SPOTS))
    });
    ReflectionSetup {
        picture,
        glare,
        hot_spots,
    }
}
