//! `[light]` and `[reflections]`: the source, its two pulses, and what shines besides.

mod pulse_file;

use std::path::PathBuf;
use std::sync::Arc;

use super::flow::{Extent, extent};
use super::reader::Reader;
use super::referenced::Referenced;
use crate::keys::choices::{HazardClass, PulseForm, PulseFreedom, Source};
use crate::keys::{Key, light as keys, reflections};
use crate::photometry::efficacy_lm_w;
use crate::scattering::Polarisation;
pub use pulse_file::RecordedPulse;

/// `[light]`
#[derive(Debug, Clone, PartialEq)]
pub struct LightSetup {
    /// Radiant power while a pulse lasts; the light of a pulse grows with its length.
    pub power_w: Option<f64>,
    /// Largest power against pulse length, [s, W], in ascending lengths; in place of one power.
    pub peak_power: Vec<[f64; 2]>,
    /// Luminous flux while a pulse lasts; in place of one power.
    pub luminous_flux_lm: Option<f64>,
    /// Electrical power while a pulse lasts, and radiant power over it; in place of one power.
    pub electrical: Option<ElectricalPower>,
    /// Energy of a pulse whatever its length.
    pub pulse_energy_j: Option<f64>,
    /// How many such sources shine together.
    pub sources: usize,
    /// Length of pulse A: as stated, else that of the measured pulse.
    pub pulse_length_s: Option<f64>,
    /// Whether its length may be chosen, where that is stated.
    pub pulse: Option<PulseFreedom>,
    /// Whether the light is continuous, so that the exposure is the pulse.
    pub continuous: bool,
    /// Power over time during a pulse.
    pub pulse_shape: PulseCourse,
    /// What the source bears.
    pub limits: SourceLimits,
    /// Energy of pulse B over that of pulse A.
    pub energy_ratio: Option<f64>,
    /// Length of pulse B over that of pulse A.
    pub length_ratio: Option<f64>,
    /// Standard deviation of each pulse's time.
    pub jitter_s: Option<f64>,
    /// Vacuum wavelength; of several lines the mean by power.
    pub wavelength_m: Option<f64>,
    /// The lines of the light; one where it has one wavelength, none where that is not known.
    pub lines: Vec<SpectralLine>,
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

/// A line of a spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpectralLine {
    /// In vacuum.
    pub wavelength_m: f64,
    /// Of the radiant power; the shares of all lines add up to 1.
    pub share: f64,
}

/// What a source takes from its supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ElectricalPower {
    /// While a pulse lasts.
    pub power_w: f64,
    /// Radiant power over it.
    pub efficiency: f64,
}

impl LightSetup {
    /// Radiant power of one source that has the same in a pulse of any length, as it is stated or
    /// as it follows from luminous flux or electrical power.
    pub fn radiant_power_w(&self) -> Option<f64> {
        let lines = || self.lines.iter().map(|line| (line.wavelength_m, line.share));
        let of_flux = |flux_lm: f64| flux_lm / efficacy_lm_w(lines());
        self.power_w
            .or(self.luminous_flux_lm.map(of_flux))
            .or(self.electrical.map(|of| of.power_w * of.efficiency))
    }

    /// The largest radiant power of all sources together.
    pub fn greatest_power_w(&self) -> Option<f64> {
        let table = self.peak_power.iter().map(|[_, power_w]| *power_w);
        let greatest = table.chain(self.radiant_power_w()).reduce(f64::max);
        greatest.map(|power_w| self.sources as f64 * power_w)
    }
}

/// Power over time during a pulse.
#[derive(Debug, Clone, PartialEq)]
pub enum PulseCourse {
    /// A Gaussian in time.
    Gaussian,
    /// As a file gives it, stretched to the pulse length.
    Measured(Arc<RecordedPulse>),
    /// Constant, between straight ramps.
    Ramps {
        /// From 10 % to 90 %, s.
        rise_s: f64,
        /// From 90 % to 10 %, s.
        fall_s: f64,
    },
}

/// What a source bears; none where nothing is stated.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SourceLimits {
    /// Longest pulse.
    pub on_time_s: Option<f64>,
    /// Largest energy of a pulse.
    pub energy_j: Option<f64>,
    /// Largest share of the time in which it is on.
    pub duty: Option<f64>,
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

pub(super) fn light(r: &Reader, referenced: &Referenced) -> LightSetup {
    const OTHER: &str = "exclude each other (a source is limited by its power, as a diode or an LED, or gives a fixed energy, as a Q-switched laser)";
    let powers = [
        keys::POWER,
        keys::PEAK_POWER,
        keys::LUMINOUS_FLUX,
        keys::ELECTRICAL_POWER,
    ];
    for (k, power) in powers.into_iter().enumerate() {
        r.exclude(keys::PULSE_ENERGY, power, OTHER);
        for earlier in &powers[..k] {
            r.exclude(power, earlier, "both state the power of a pulse");
        }
    }
    let lines = lines(r);
    let course = course(r, referenced);
    let own_length = match &course {
        PulseCourse::Measured(pulse) => Some(pulse.length_s),
        PulseCourse::Gaussian | PulseCourse::Ramps { .. } => None,
    };
    let light = LightSetup {
        power_w: r.number(keys::POWER),
        luminous_flux_lm: luminous_flux(r, &lines),
        electrical: electrical(r),
        pulse_energy_j: r.number(keys::PULSE_ENERGY),
        sources: r.whole(keys::SOURCES).unwrap_or(1),
        peak_power: peak_power(r),
        pulse_length_s: r.number(keys::PULSE_LENGTH).or(own_length),
        pulse: r.choice(keys::PULSE),
        continuous: r.switch(keys::CONTINUOUS).unwrap_or(false),
        pulse_shape: course,
        limits: SourceLimits {
            on_time_s: r.number(keys::ON_TIME_LIMIT),
            energy_j: r.number(keys::ENERGY_LIMIT),
            duty: r.number(keys::DUTY_LIMIT),
        },
        energy_ratio: r.number(keys::ENERGY_RATIO),
        length_ratio: r.number(keys::LENGTH_RATIO),
        jitter_s: r.number(keys::JITTER),
        wavelength_m: (!lines.is_empty())
            .then(|| lines.iter().map(|line| line.share * line.wavelength_m).sum()),
        lines,
        delivery: r.number(keys::DELIVERY),
        ambient_e_s: r.number(keys::AMBIENT),
        source: r.choice(keys::SOURCE),
        hazard_class: r.choice(keys::HAZARD_CLASS),
        polarisation: r.choice(keys::POLARISATION).unwrap_or(Polarisation::Unpolarised),
        measured: measured(r),
    };
    if light.continuous {
        for key in [
            keys::PULSE,
            keys::PULSE_LENGTH,
            keys::PULSE_ENERGY,
            keys::LENGTH_RATIO,
            keys::ENERGY_RATIO,
            keys::PULSE_SHAPE,
            keys::PULSE_FILE,
            keys::PEAK_POWER,
            keys::RISE_TIME,
            keys::FALL_TIME,
            keys::ON_TIME_LIMIT,
            keys::ENERGY_LIMIT,
            keys::DUTY_LIMIT,
        ] {
            if r.has(key) {
                r.fault(key, "has no meaning for continuous light, whose pulses are the exposures: leave it out and set camera.exposure (and camera.exposure_b)");
            }
        }
    }
    light
}

/// The lines of the light.
fn lines(r: &Reader) -> Vec<SpectralLine> {
    const KEY: &Key = keys::SPECTRUM;
    r.exclude(KEY, keys::WAVELENGTH, "both state the wavelength");
    let one = r.number(keys::WAVELENGTH).map(|wavelength_m| SpectralLine {
        wavelength_m,
        share: 1.0,
    });
    let mut lines: Vec<SpectralLine> = one.into_iter().collect();
    for k in 0..r.list(KEY).unwrap_or(0) {
        let at = r.number(keys::SPECTRUM_AT.in_table(k));
        let weight = r.number(keys::SPECTRUM_WEIGHT.in_table(k));
        match at.zip(weight) {
            Some((wavelength_m, share)) => lines.push(SpectralLine { wavelength_m, share }),
            None => r.fault(
                KEY.entry(k),
                "is incomplete: write for example { at = \"560 nm\", weight = 0.7 }",
            ),
        }
    }
    let all: f64 = lines.iter().map(|line| line.share).sum();
    lines.iter_mut().for_each(|line| line.share /= all);
    lines
}

/// The luminous flux, which says nothing without a wavelength that the eye sees.
fn luminous_flux(r: &Reader, lines: &[SpectralLine]) -> Option<f64> {
    const KEY: &Key = keys::LUMINOUS_FLUX;
    let flux = r.number(KEY)?;
    let seen = efficacy_lm_w(lines.iter().map(|line| (line.wavelength_m, line.share)));
    if lines.is_empty() && !r.has(keys::WAVELENGTH) && !r.has(keys::SPECTRUM) {
        r.fault(KEY, "is light as the eye sees it, which needs its wavelengths: give light.wavelength or light.spectrum");
    } else if seen == 0.0 && !lines.is_empty() {
        r.fault(KEY, "is light as the eye sees it, which sees none of these wavelengths: give light.power in its place");
    }
    Some(flux)
}

fn electrical(r: &Reader) -> Option<ElectricalPower> {
    let (power, efficiency) = (r.number(keys::ELECTRICAL_POWER), r.number(keys::EFFICIENCY));
    if r.has(keys::EFFICIENCY) && !r.has(keys::ELECTRICAL_POWER) {
        r.fault(keys::EFFICIENCY, "is radiant power over light.electrical_power, which is missing: write for example electrical_power = \"10 W\"");
    }
    let power_w = power?;
    let why = "light.electrical_power needs it: write for example efficiency = 0.35";
    Some(ElectricalPower {
        power_w,
        efficiency: r.needed(keys::EFFICIENCY, efficiency, why, 1.0),
    })
}

/// Power over time: by a word, as measured, or between ramps.
fn course(r: &Reader, referenced: &Referenced) -> PulseCourse {
    r.exclude(
        keys::PULSE_FILE,
        keys::PULSE_SHAPE,
        "both state the power over time",
    );
    let form = r.choice::<PulseForm>(keys::PULSE_SHAPE);
    for key in [keys::RISE_TIME, keys::FALL_TIME] {
        r.exclude(key, keys::PULSE_FILE, "both state the power over time");
        if form == Some(PulseForm::Gaussian) && r.has(key) {
            r.fault(
                key,
                "is for a pulse of constant power, and light.pulse_shape is \"gaussian\": leave one out",
            );
        }
    }
    let [rise_s, fall_s] = [keys::RISE_TIME, keys::FALL_TIME].map(|key| r.number(key).unwrap_or(0.0));
    let ramps = PulseCourse::Ramps { rise_s, fall_s };
    match (r.file(keys::PULSE_FILE), form) {
        (Some(path), _) => match pulse_file::read(&path, referenced) {
            Ok(pulse) => PulseCourse::Measured(pulse.into()),
            Err(message) => {
                r.fault(keys::PULSE_FILE, format!("cannot be used: {message}"));
                ramps
            }
        },
        (None, Some(PulseForm::Gaussian)) => PulseCourse::Gaussian,
        (None, Some(PulseForm::Rectangular) | None) => ramps,
    }
}

/// The table of power against pulse length.
fn peak_power(r: &Reader) -> Vec<[f64; 2]> {
    const KEY: &Key = keys::PEAK_POWER;
    let mut table: Vec<[f64; 2]> = Vec::new();
    for k in 0..r.list(KEY).unwrap_or(0) {
        let length = r.number(keys::PEAK_POWER_LENGTH.in_table(k));
        let power = r.number(keys::PEAK_POWER_POWER.in_table(k));
        match length.zip(power) {
            Some((length, _)) if table.last().is_some_and(|[before, _]| *before >= length) => {
                r.fault(
                    keys::PEAK_POWER_LENGTH.in_table(k),
                    "must be longer than that of the entry before it",
                );
            }
            Some((length, power)) => table.push([length, power]),
            None => r.fault(
                KEY.entry(k),
                "is incomplete: write for example { length = \"10 us\", power = \"40 W\" }",
            ),
        }
    }
    table
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
