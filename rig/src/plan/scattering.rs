//! How much of the light on a particle goes into the lens.

use std::sync::Arc;

use crate::keys;
use crate::scattering::{Cone, Scatterer, Spread, collected_cross_section_m2_sr};
use num_complex::Complex64;

use super::fluid::medium;
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
        collected_cross_section_m2_sr(&particle, self.medium_index, self.wavelength_m, &cone).map_err(|e| {
            self.setup.error(
                keys::tracer::DIAMETER,
                format!("cannot be used for the light budget: {e}"),
            )
        })
    }
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
    let (Some(optics), Some(medium), Some(wavelength_m), Some(index), Some(diameter)) = needed else {
        return Err(missing(
            setup,
            keys::tracer::BRIGHTNESS_POWER,
            &[
                &[keys::light::WAVELENGTH],
                &[keys::tracer::DIAMETER],
                &[keys::tracer::REFRACTIVE_INDEX],
                &[keys::camera::PIXEL],
                &[keys::lens::MAGNIFICATION, keys::lens::FIELD_WIDTH],
                &[keys::lens::APERTURE],
                &[keys::fluid::KIND],
            ],
        ));
    };
    let scattering = Scattering {
        setup,
        index: Complex64::new(index, 0.0),
        medium_index: medium.refractive_index,
        wavelength_m,
        half_angle_rad: optics.half_angle_rad(),
    };
    let spread = Spread::Flat(setup.tracer.diameter_spread.unwrap_or(0.1));
    let mean = scattering.section_m2_sr(diameter, spread)?;
    (0..MIE_ENTRIES)
        .map(|k| {
            let t = k as f64 / (MIE_ENTRIES - 1) as f64;
            let relative = limits[0] + t * (limits[1] - limits[0]);
            let section = scattering.section_m2_sr(relative * diameter, Spread::Flat(0.0))?;
            Ok(section / mean)
        })
        .collect()
}
