//! How much of the light on a particle goes into the lens.

use std::sync::Arc;

use crate::glow::{fluorescent_section_m2_sr, lambert_section_m2_sr};
use crate::keys;
use crate::optics::{OutOfRange, photon_energy_j};
use crate::scattering::{Cone, Scatterer, Spread, collected_cross_section_m2_sr};
use num_complex::Complex64;

use super::fluid::{medium, medium_at};
use super::known::Known;
use super::lens::{RigLens, optics_of};
use super::missing;
use crate::setup::{Setup, SetupError};

/// How the rig's light is scattered into its lens.
pub(super) struct Scattering<'a> {
    pub(super) setup: &'a Setup,
    /// Of the particles, against vacuum.
    pub(super) index: Complex64,
    pub(super) medium_index: f64,
    pub(super) wavelength_m: f64,
    /// Of the lens's cone, in the medium.
    pub(super) half_angle_rad: f64,
}

impl Scattering<'_> {
    /// Differential cross-section of one particle, mean over the lens's cone and the diameters.
    pub(super) fn section_m2_sr(&self, diameter_m: f64, spread: Spread) -> Result<f64, SetupError> {
        let particle = Scatterer {
            diameter_m,
            spread,
            index: self.index,
        };
        let cone = Cone {
            scattering_angle_rad: std::f64::consts::FRAC_PI_2,
            half_angle_rad: self.half_angle_rad,
            polarisation: self.setup.light.polarisation,
        };
        known_section_m2_sr(&particle, self.medium_index, self.wavelength_m, &cone).map_err(|e| {
            self.setup.error(
                keys::tracer::DIAMETER,
                format!("cannot be used for the light budget: {e}"),
            )
        })
    }
}

/// [`collected_cross_section_m2_sr`]: the sum over diameters and directions is much of what a plan
/// costs.
fn known_section_m2_sr(
    particle: &Scatterer,
    medium_index: f64,
    wavelength_m: f64,
    cone: &Cone,
) -> Result<f64, OutOfRange> {
    static KNOWN: Known<10> = Known::new();
    let (kind, spread) = match particle.spread {
        Spread::Flat(half_width) => (0.0, half_width),
        Spread::Normal(sd) => (1.0, sd),
    };
    let numbers = [
        kind,
        f64::from(cone.polarisation as u8),
        particle.diameter_m,
        spread,
        particle.index.re,
        particle.index.im,
        medium_index,
        wavelength_m,
        cone.scattering_angle_rad,
        cone.half_angle_rad,
    ];
    KNOWN.or_compute(numbers, || {
        collected_cross_section_m2_sr(particle, medium_index, wavelength_m, cone)
    })
}

/// The light of all lines that particles scatter into the lens.
pub(super) struct Collected {
    /// Differential cross-section, mean by the energy of the lines.
    pub(super) section_m2_sr: f64,
    /// Mean energy of a photon that the lens collects.
    pub(super) photon_j: f64,
    /// Photo-electrons per such photon.
    pub(super) efficiency: f64,
}

/// What the lens collects of light in lines, each with the fluid, the cone and the camera at its
/// own wavelength; `solid_angle_sr` is that of the cone to which the mean cross-section belongs.
///
/// `Ok(None)` where the rig says too little.
pub(super) fn collected(
    setup: &Setup,
    lens: &RigLens,
    particle: (f64, f64, Spread),
    solid_angle_sr: f64,
) -> Result<Option<Collected>, SetupError> {
    let (lines, efficiencies) = (&setup.light.lines, &setup.camera.quantum_efficiency);
    if lines.is_empty() || efficiencies.len() != lines.len() {
        return Ok(None);
    }
    let (index, diameter_m, spread) = particle;
    let mut links = Vec::new();
    for (line, efficiency) in lines.iter().zip(efficiencies) {
        let Some(medium) = medium_at(setup, line.wavelength_m)? else {
            return Ok(None);
        };
        let Some(optics) = optics_of(setup, lens, &medium)? else {
            return Ok(None);
        };
        let section_m2_sr = Scattering {
            setup,
            index: Complex64::new(index, 0.0),
            medium_index: medium.refractive_index,
            wavelength_m: line.wavelength_m,
            half_angle_rad: optics.half_angle_rad(),
        }
        .section_m2_sr(diameter_m, spread)?;
        let cone = optics.solid_angle_sr() / solid_angle_sr;
        let photon_j = photon_energy_j(line.wavelength_m);
        links.push((line.share * section_m2_sr * cone, photon_j, *efficiency));
    }
    if let [(section_m2_sr, photon_j, efficiency)] = links[..] {
        return Ok(Some(Collected {
            section_m2_sr,
            photon_j,
            efficiency,
        }));
    }
    let energy: f64 = links.iter().map(|(energy, ..)| energy).sum();
    let photons: f64 = links.iter().map(|(energy, photon, _)| energy / photon).sum();
    let electrons: f64 = links
        .iter()
        .map(|(energy, photon, share)| share * energy / photon)
        .sum();
    Ok(Some(Collected {
        section_m2_sr: energy,
        photon_j: energy / photons,
        efficiency: electrons / photons,
    }))
}

/// The same of particles that fluoresce or throw light back from a dull surface: the mean over
/// diameters spread evenly to `half_width` of the mean, whose square has the mean 1 +
/// half_width²/3.
///
/// `None` where the rig says too little.
pub(super) fn glowing(setup: &Setup, diameter_m: f64, half_width: f64) -> Option<Collected> {
    let (lines, efficiencies) = (&setup.light.lines, &setup.camera.quantum_efficiency);
    let square = 1.0 + half_width * half_width / 3.0;
    // Photons of the source by the energy of its light.
    let per_j: f64 = lines
        .iter()
        .map(|line| line.share / photon_energy_j(line.wavelength_m))
        .sum();
    if lines.is_empty() {
        return None;
    }
    if let Some(of) = setup.tracer.fluorescence {
        let photon_j = photon_energy_j(of.emission_m);
        return Some(Collected {
            section_m2_sr: square * fluorescent_section_m2_sr(diameter_m, of.share, photon_j * per_j),
            photon_j,
            efficiency: *efficiencies.first()?,
        });
    }
    let [albedo, angle] = setup.tracer.albedo?;
    if efficiencies.len() != lines.len() {
        return None;
    }
    let electrons: f64 = lines
        .iter()
        .zip(efficiencies)
        .map(|(line, share)| share * line.share / photon_energy_j(line.wavelength_m))
        .sum();
    Some(Collected {
        section_m2_sr: square * lambert_section_m2_sr(diameter_m, albedo, angle),
        photon_j: 1.0 / per_j,
        efficiency: electrons / per_j,
    })
}

/// Entries of the table of brightness over diameter: between them the ripples of Mie scattering are
/// straightened.
const MIE_ENTRIES: usize = 512;

/// Light of a particle over that of one of the mean diameter, which is averaged over
/// tracer.diameter_spread as in the light budget, on diameters evenly spaced over `limits` times
/// the mean.
pub(super) fn mie_brightness(
    setup: &Setup,
    lens: Option<&RigLens>,
    limits: [f64; 2],
) -> Result<Arc<[f64]>, SetupError> {
    let medium = medium(setup)?;
    let optics = match (lens, &medium) {
        (Some(lens), Some(medium)) => optics_of(setup, lens, medium)?,
        _ => None,
    };
    let needed = (
        optics,
        medium,
        setup.light.wavelength_m,
        setup.tracer.refractive_index,
        setup.tracer.diameter_m,
    );
    let (Some(optics), Some(medium), Some(_), Some(index), Some(diameter)) = needed else {
        return Err(missing(
            setup,
            keys::tracer::BRIGHTNESS_POWER,
            &[
                &[keys::light::WAVELENGTH, keys::light::SPECTRUM],
                &[keys::tracer::DIAMETER],
                &[keys::tracer::REFRACTIVE_INDEX],
                &[keys::camera::PIXEL],
                &[
                    keys::lens::MAGNIFICATION,
                    keys::lens::FIELD_WIDTH,
                    keys::lens::FOCAL_LENGTH,
                ],
                &[keys::lens::APERTURE, keys::lens::NUMERICAL_APERTURE],
                &[keys::fluid::KIND],
            ],
        ));
    };
    let lines = &setup.light.lines;
    // Light counts by its photo-electrons, where the lines differ.
    let weight = |k: usize| match lines.len() {
        1 => 1.0,
        _ => {
            let efficiency = setup.camera.quantum_efficiency.get(k).copied();
            efficiency.unwrap_or(1.0) * lines[k].share * lines[k].wavelength_m
        }
    };
    let light_of = |diameter_m: f64, spread: Spread| -> Result<f64, SetupError> {
        let mut sum = 0.0;
        for (k, line) in lines.iter().enumerate() {
            let at_line = medium_at(setup, line.wavelength_m)?;
            let scattering = Scattering {
                setup,
                index: Complex64::new(index, 0.0),
                medium_index: at_line.unwrap_or(medium).refractive_index,
                wavelength_m: line.wavelength_m,
                half_angle_rad: optics.half_angle_rad(),
            };
            sum += weight(k) * scattering.section_m2_sr(diameter_m, spread)?;
        }
        Ok(sum)
    };
    let spread = Spread::Flat(setup.tracer.diameter_spread.unwrap_or(0.1));
    let mean = light_of(diameter, spread)?;
    (0..MIE_ENTRIES)
        .map(|k| {
            let t = k as f64 / (MIE_ENTRIES - 1) as f64;
            let relative = limits[0] + t * (limits[1] - limits[0]);
            Ok(light_of(relative * diameter, Spread::Flat(0.0))? / mean)
        })
        .collect()
}
