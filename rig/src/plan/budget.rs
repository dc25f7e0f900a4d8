//! The light budget: pulse energy → fluence in the sheet → Mie scattering into the lens's cone →
//! transmission → photons → photo-electrons, each link with its value and how it follows from the
//! one before.

use crate::keys;
use crate::optics::Lens;
use crate::scattering::{Polarisation, Spread};
use motefield_generator::Profile;

use super::facts::{FactId, Facts, short, show};
use super::fluid::medium;
use super::lens::{RigLens, optics_of};
use super::missing;
use super::scattering::{Collected, collected, glowing};
use super::source::energy_j;
use crate::quantity::Dimension as D;
use crate::setup::{Extent, Setup, SetupError};

/// What the light of a pulse is spread over.
enum Lit {
    /// A sheet.
    Sheet {
        thickness_m: f64,
        height_m: f64,
        /// Width of the top-hat with the same middle and the same light, over the profile's: across
        /// the sheet, and over its height.
        effective: [f64; 2],
    },
    /// A spot of this diameter, m.
    Spot(f64),
}

impl Lit {
    fn area_m2(&self) -> f64 {
        match self {
            Lit::Sheet {
                thickness_m,
                height_m,
                effective: [across, over],
            } => thickness_m * across * height_m * over,
            Lit::Spot(diameter_m) => 0.25 * std::f64::consts::PI * diameter_m * diameter_m,
        }
    }

    fn how(&self) -> String {
        match self {
            Lit::Sheet {
                thickness_m,
                height_m,
                effective: [across, over],
            } => format!(
                "/ (thickness {} x {} by {} x {}), each factor making a top-hat of the profile",
                show(*thickness_m, D::Length),
                short(*across),
                show(*height_m, D::Length),
                short(*over),
            ),
            Lit::Spot(diameter_m) => {
                format!("/ (pi/4 x spot {} squared)", show(*diameter_m, D::Length))
            }
        }
    }
}

/// The links of the chain.
pub(super) struct LightBudget {
    energy_j: f64,
    energy_how: String,
    delivery: f64,
    lit: Lit,
    section_m2_sr: f64,
    section_how: String,
    optics: Lens,
    transmission: f64,
    photon_j: f64,
    efficiency: f64,
}

impl LightBudget {
    /// The chain of a rig whose pulses last `pulse_s`; `None` where the rig lacks a link
    /// ([`lacking`]).
    pub(super) fn of(
        setup: &Setup,
        lens: Option<&RigLens>,
        pulse_s: Option<f64>,
    ) -> Result<Option<LightBudget>, SetupError> {
        let light = &setup.light;
        let metres = |extent: Option<Extent>| match (extent, lens) {
            (Some(Extent::M(m)), _) => Some(m),
            (Some(Extent::Px(px)), Some(lens)) => Some(px / lens.px_per_m),
            _ => None,
        };
        let optics_and_medium = match (lens, medium(setup)?) {
            (Some(lens), Some(medium)) => optics_of(setup, lens, &medium)?.map(|optics| (optics, medium)),
            _ => None,
        };
        let sheet = metres(setup.sheet.thickness).zip(metres(setup.sheet.height));
        let of_sheet = |(thickness_m, height_m)| Lit::Sheet {
            thickness_m,
            height_m,
            effective: [
                setup.sheet.profile.effective_fraction(),
                setup
                    .sheet
                    .height_profile
                    .map_or(1.0, Profile::effective_fraction),
            ],
        };
        let lit = setup.sheet.spot_m.map(Lit::Spot).or(sheet.map(of_sheet));
        // The index plays no part where particles do not scatter.
        let glows = setup.tracer.fluorescence.is_some() || setup.tracer.albedo.is_some();
        let index = setup.tracer.refractive_index.or(glows.then_some(1.0));
        let tracer = setup.tracer.diameter_m.zip(index);
        let (Some((energy_j, energy_how)), Some(lit), Some((diameter_m, index)), Some((optics, medium))) =
            (energy_j(setup, pulse_s)?, lit, tracer, optics_and_medium)
        else {
            return Ok(None);
        };
        let half_width = setup.tracer.diameter_spread.unwrap_or(0.1);
        let particle = (index, diameter_m, Spread::Flat(half_width));
        let collected = match lens {
            _ if glows => glowing(setup, diameter_m, half_width),
            Some(lens) => collected(setup, lens, particle, optics.solid_angle_sr())?,
            None => None,
        };
        let Some(Collected {
            section_m2_sr,
            photon_j,
            efficiency,
        }) = collected
        else {
            return Ok(None);
        };
        let polarisation = match light.polarisation {
            Polarisation::Unpolarised => "unpolarised light",
            Polarisation::Perpendicular => "light polarised in the sheet's plane",
            Polarisation::Parallel => "light polarised toward the lens",
        };
        Ok(Some(LightBudget {
            energy_j,
            energy_how,
            delivery: light.delivery.unwrap_or(1.0),
            lit,
            section_m2_sr,
            section_how: match glow_how(setup, diameter_m) {
                Some(how) => how,
                None => format!(
                    "Mie, one particle, mean over the lens's cone at 90 deg{} and diameters of {} +/- {} %; {polarisation}; index {} in {}",
                    if light.lines.len() > 1 {
                        ", the lines of the spectrum"
                    } else {
                        ""
                    },
                    show(diameter_m, D::Length),
                    short(100.0 * half_width),
                    short(index),
                    short(medium.refractive_index),
                ),
            },
            optics,
            transmission: setup.lens.transmission.unwrap_or(1.0),
            photon_j,
            efficiency,
        }))
    }

    fn fluence_j_m2(&self) -> f64 {
        self.energy_j * self.delivery / self.lit.area_m2()
    }

    fn photons(&self) -> f64 {
        self.fluence_j_m2() * self.section_m2_sr * self.optics.solid_angle_sr() * self.transmission
            / self.photon_j
    }

    /// Photo-electrons of a particle in the middle of the sheet.
    pub(super) fn electrons(&self) -> f64 {
        self.photons() * self.efficiency
    }

    /// Tells the chain link by link, down to the photons on the sensor.
    pub(super) fn tell(&self, facts: &mut Facts) {
        let mut quantity = |id, value, dimension, how: String| {
            facts.quantity(id, value, dimension).how(how);
        };
        quantity(
            FactId::PulseEnergy,
            self.energy_j,
            D::Energy,
            self.energy_how.clone(),
        );
        quantity(
            FactId::DeliveredEnergy,
            self.energy_j * self.delivery,
            D::Energy,
            format!("x delivery {}", short(self.delivery)),
        );
        let mut figure = |id, value, unit, how: String| {
            facts.figure(id, value, unit).how(how);
        };
        figure(FactId::Fluence, self.fluence_j_m2(), "J/m2", self.lit.how());
        self.tell_collected(facts);
    }

    /// Tells what the lens collects of the light that a particle scatters, down to the
    /// photo-electrons.
    fn tell_collected(&self, facts: &mut Facts) {
        let mut figure = |id, value, unit, how: String| {
            facts.figure(id, value, unit).how(how);
        };
        figure(
            FactId::CrossSection,
            self.section_m2_sr,
            "m2/sr",
            self.section_how.clone(),
        );
        figure(
            FactId::SolidAngle,
            self.optics.solid_angle_sr(),
            "sr",
            format!(
                "2 pi (1 - cos a), sin a = M / (2 n f# (M + 1)): a = {} deg",
                short(self.optics.half_angle_rad().to_degrees())
            ),
        );
        let collected = self.fluence_j_m2() * self.section_m2_sr * self.optics.solid_angle_sr();
        figure(
            FactId::CollectedEnergy,
            collected,
            "J",
            "fluence x cross-section x solid angle".to_owned(),
        );
        figure(
            FactId::SensorEnergy,
            collected * self.transmission,
            "J",
            format!("x transmission {}", short(self.transmission)),
        );
        figure(
            FactId::Photons,
            self.photons(),
            "",
            format!(
                "/ energy of a photon, h c / wavelength = {} J",
                short(self.photon_j)
            ),
        );
        figure(
            FactId::ExpectedElectrons,
            self.electrons(),
            "e",
            format!("x quantum efficiency {}", short(self.efficiency)),
        );
    }
}

/// How the light of particles that do not scatter comes about.
fn glow_how(setup: &Setup, diameter_m: f64) -> Option<String> {
    let diameter = show(diameter_m, D::Length);
    if let Some(of) = setup.tracer.fluorescence {
        return Some(format!(
            "fluorescence at {}: {} of the photons on pi/4 x (diameter {diameter}) squared, over 4 pi sr, by the energy of the photons sent out",
            show(of.emission_m, D::Length),
            short(of.share)
        ));
    }
    let [albedo, angle] = setup.tracer.albedo?;
    Some(format!(
        "dull sphere of {diameter} (Lambert): albedo {} x diameter squared / 6 pi x (sin a + (pi - a) cos a), a = {} deg",
        short(albedo),
        short(angle.to_degrees())
    ))
}

/// The error where neither the chain nor a measurement nor `[image]` tells the light of a particle.
pub(super) fn lacking(setup: &Setup) -> SetupError {
    missing(
        setup,
        keys::image::ELECTRONS,
        &[
            &[
                keys::light::POWER,
                keys::light::PULSE_ENERGY,
                keys::light::PEAK_POWER,
                keys::light::LUMINOUS_FLUX,
                keys::light::ELECTRICAL_POWER,
            ],
            &[keys::light::PULSE_LENGTH, keys::light::PULSE_ENERGY],
            &[keys::light::WAVELENGTH, keys::light::SPECTRUM],
            &[keys::sheet::THICKNESS],
            &[keys::sheet::HEIGHT, keys::sheet::FAN_ANGLE, keys::sheet::SPOT],
            &[keys::camera::PIXEL],
            &[keys::camera::QUANTUM_EFFICIENCY],
            &[
                keys::lens::MAGNIFICATION,
                keys::lens::FIELD_WIDTH,
                keys::lens::FOCAL_LENGTH,
            ],
            &[keys::lens::APERTURE, keys::lens::NUMERICAL_APERTURE],
            &[keys::tracer::DIAMETER],
            &[keys::tracer::REFRACTIVE_INDEX],
            &[keys::fluid::KIND],
        ],
    )
}
