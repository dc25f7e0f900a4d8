//! `[light]`, `[sheet]` and `[reflections]`: how bright a particle is, and what shines besides.

use std::sync::Arc;

use motefield_generator::optics::photon_energy_j;
use motefield_generator::reflection::{Glare, HotSpots, Reflections};
use motefield_generator::scattering::{Cone, Polarisation, Scatterer, Spread, collected_cross_section_m2_sr};
use motefield_generator::{Light, Profile, Pulse, Sheet};
use num_complex::Complex64;

use super::facts::Facts;
use super::flow::Scale;
use super::lens::{RigLens, optics_of};
use super::timing::{exposures_s, pulse_s};
use super::tracer::medium;
use super::{LIGHT, missing};
use crate::files;
use crate::quantity::Dimension;
use crate::setup::{Extent, Setup, SetupError};

/// Photo-electrons of one particle at the centre of the sheet: pulse energy → fluence in the sheet → scattered into the lens's
/// cone → through the lens → photons → electrons.
pub(super) fn light_chain(
    setup: &Setup,
    lens: Option<&RigLens>,
    facts: &mut Facts,
) -> Result<f64, SetupError> {
    let medium = medium(setup)?;
    let energy = match (setup.light.pulse_energy_j, setup.light.power_w, pulse_s(setup)) {
        (Some(energy), _, _) => Some(energy),
        (None, Some(power), Some(pulse)) => Some(power * pulse),
        _ => None,
    };
    let metres = |extent: Option<Extent>| match (extent, lens) {
        (Some(Extent::M(m)), _) => Some(m),
        (Some(Extent::Px(px)), Some(lens)) => Some(px / lens.px_per_m),
        _ => None,
    };
    let (thickness_m, height_m) = (metres(setup.sheet.thickness), metres(setup.sheet.height));
    let needed = (
        energy,
        thickness_m,
        height_m,
        setup.light.wavelength_m,
        lens,
        setup.lens.f_number,
        setup.camera.quantum_efficiency,
        setup.tracer.diameter_m,
        setup.tracer.refractive_index,
        medium,
    );
    let (
        Some(energy),
        Some(thickness_m),
        Some(height_m),
        Some(wavelength),
        Some(lens),
        Some(_),
        Some(efficiency),
        Some(diameter),
        Some(index),
        Some(medium),
    ) = needed
    else {
        return Err(missing(
            setup,
            "image.electrons",
            &[
                (
                    "light.power (or light.pulse_energy)",
                    setup.light.power_w.or(setup.light.pulse_energy_j).is_some(),
                ),
                (
                    "light.pulse_length",
                    pulse_s(setup).or(setup.light.pulse_energy_j).is_some(),
                ),
                ("light.wavelength", setup.light.wavelength_m.is_some()),
                ("sheet.thickness", setup.sheet.thickness.is_some()),
                ("sheet.height", setup.sheet.height.is_some()),
                ("camera.pixel", setup.camera.pixel_m.is_some()),
                (
                    "camera.quantum_efficiency",
                    setup.camera.quantum_efficiency.is_some(),
                ),
                (
                    "lens.magnification",
                    setup.lens.magnification.or(setup.lens.field_width_m).is_some(),
                ),
                ("lens.aperture", setup.lens.f_number.is_some()),
                ("tracer.diameter", setup.tracer.diameter_m.is_some()),
                ("tracer.refractive_index", setup.tracer.refractive_index.is_some()),
                ("fluid.kind", setup.fluid.is_some()),
            ],
        ));
    };
    let optics = optics_of(setup, lens, &medium)?.expect("the aperture is there");
    let delivered = energy * setup.light.delivery.unwrap_or(1.0);
    let along = setup
        .sheet
        .height_profile
        .map_or(1.0, Profile::effective_fraction);
    let across = setup.sheet.profile.effective_fraction();
    let fluence = delivered / (height_m * along * thickness_m * across);
    let spread = Spread::Flat(setup.tracer.diameter_spread.unwrap_or(0.1));
    let section = Scattering {
        setup,
        index: Complex64::new(index, 0.0),
        medium_index: medium.refractive_index,
        wavelength_m: wavelength,
        half_angle_rad: optics.half_angle_rad(),
    }
    .section_m2_sr(diameter, spread)?;
    let collected = fluence * section * optics.solid_angle_sr() * setup.lens.transmission.unwrap_or(1.0);
    let photons = collected / photon_energy_j(wavelength);
    facts.quantity(
        LIGHT,
        "pulse_energy_j",
        "energy of a pulse",
        energy,
        Dimension::Energy,
    );
    facts.figure(
        LIGHT,
        "fluence_j_m2",
        "fluence at the sheet's centre",
        fluence,
        "J/m2",
    );
    facts.figure(
        LIGHT,
        "cross_section_m2_sr",
        "scattering into the lens, one particle (Mie)",
        section,
        "m2/sr",
    );
    facts.figure(
        LIGHT,
        "solid_angle_sr",
        "solid angle of the lens",
        optics.solid_angle_sr(),
        "sr",
    );
    facts.figure(
        LIGHT,
        "photons",
        "photons on the sensor from one particle",
        photons,
        "",
    );
    Ok(photons * efficiency)
}

/// How the rig's light is scattered into its lens.
struct Scattering<'a> {
    setup: &'a Setup,
    index: Complex64,
    medium_index: f64,
    wavelength_m: f64,
    half_angle_rad: f64,
}

impl Scattering<'_> {
    fn section_m2_sr(&self, diameter_m: f64, spread: Spread) -> Result<f64, SetupError> {
        let particle = Scatterer {
            diameter_m,
            spread,
            index: self.index,
        };
        let cone = Cone {
            scattering_angle_rad: std::f64::consts::FRAC_PI_2,
            half_angle_rad: self.half_angle_rad,
            polarisation: Polarisation::Unpolarised,
        };
        collected_cross_section_m2_sr(&particle, self.medium_index, self.wavelength_m, &cone).map_err(|e| {
            self.setup.error(
                "tracer.diameter",
                format!("cannot be used for the light budget: {e}"),
            )
        })
    }
}

/// Entries of the table of brightness over diameter: between them the ripples of Mie scattering are straightened.
const MIE_ENTRIES: usize = 512;

/// Light of a particle over that of one of the mean diameter, which is averaged over tracer.diameter_spread as in the light budget,
/// on diameters evenly spaced over `limits` times the mean.
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
            "tracer.brightness_power",
            &[
                ("light.wavelength", setup.light.wavelength_m.is_some()),
                ("tracer.diameter", setup.tracer.diameter_m.is_some()),
                ("tracer.refractive_index", setup.tracer.refractive_index.is_some()),
                ("camera.pixel", setup.camera.pixel_m.is_some()),
                (
                    "lens.magnification",
                    setup.lens.magnification.or(setup.lens.field_width_m).is_some(),
                ),
                ("lens.aperture", setup.lens.f_number.is_some()),
                ("fluid.kind", setup.fluid.is_some()),
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

/// The sheet in px.
pub(super) fn sheet(setup: &Setup, scale: &Scale, thickness_px: f64) -> Result<Sheet, SetupError> {
    let height = match (setup.sheet.height_profile, setup.sheet.height) {
        (Some(profile), Some(height)) => Some((profile, scale.extent(height, "sheet.height")?)),
        _ => None,
    };
    Ok(Sheet {
        profile: setup.sheet.profile,
        thickness_px,
        slope: setup.sheet.tilt_rad.map(libm::tan),
        height,
    })
}

/// The two pulses and all other light; `size` is the picture's, px.
pub(super) fn light(setup: &Setup, scale: &Scale, size: [usize; 2]) -> Result<Light, SetupError> {
    let source = &setup.light;
    let length = match (source.continuous, exposures_s(setup)) {
        (true, Some([a, b])) => b / a,
        _ => source.length_ratio.unwrap_or(1.0),
    };
    // A source limited by its power gives a longer pulse more energy.
    let usual_energy = if source.power_w.is_some() { length } else { 1.0 };
    let offset_px = match setup.sheet.offset {
        Some(offset) => scale.extent(offset, "sheet.offset")?,
        None => 0.0,
    };
    let a = Pulse {
        offset_px: -0.5 * offset_px,
        ..Pulse::default()
    };
    let b = Pulse {
        energy: source.energy_ratio.unwrap_or(usual_energy),
        length,
        offset_px: 0.5 * offset_px,
        thickness: setup.sheet.thickness_ratio.unwrap_or(1.0),
    };
    let jitter = match (setup.image.jitter, source.jitter_s) {
        (Some(jitter), _) => jitter,
        (None, Some(jitter)) => {
            let separation = setup.separation_s.ok_or_else(|| {
                setup.error(
                    "light.jitter",
                    "is a time, which needs timing.separation: give it, or write image.jitter, over the pulse separation",
                )
            })?;
            jitter / separation
        }
        (None, None) => 0.0,
    };
    let background = setup.image.background_e.unwrap_or(0.0);
    let extra_b = match setup.image.background_b_e {
        Some(b) if b < background => {
            return Err(setup.error(
                "image.background_b",
                "is below image.background: frame B stays open at least as long as frame A",
            ));
        }
        Some(b) => b - background,
        None => 0.0,
    };
    let [ambient_a, ambient_b] = gathered(setup, source.ambient_e_s, "light.ambient")?;
    Ok(Light {
        pulses: [a, b],
        shape: source.shape.unwrap_or(Light::default().shape),
        jitter,
        ambient_e: [ambient_a, ambient_b + extra_b],
        parasitic: setup.camera.parasitic.unwrap_or(0.0),
        reflections: reflections(setup, scale, size)?,
    })
}

/// Electrons that a rate gathers in the two exposures.
pub(super) fn gathered(setup: &Setup, rate_e_s: Option<f64>, key: &str) -> Result<[f64; 2], SetupError> {
    match rate_e_s {
        None | Some(0.0) => Ok([0.0; 2]),
        Some(rate) => {
            let exposures = exposures_s(setup).ok_or_else(|| {
                setup.error(
                    key,
                    "gathers during the exposure, which is missing: write for example exposure = \"5 ms\" under [camera]",
                )
            })?;
            Ok(exposures.map(|exposure| rate * exposure))
        }
    }
}

fn reflections(setup: &Setup, scale: &Scale, size: [usize; 2]) -> Result<Reflections, SetupError> {
    let given = &setup.reflections;
    let picture = match &given.picture {
        None => None,
        Some((path, peak_e)) => {
            let mut picture = files::read_image(path)
                .map_err(|e| setup.error("reflections.picture", format!("cannot be read: {e}")))?;
            let (height, width) = picture.dim();
            let brightest = picture.iter().copied().fold(0.0, f32::max);
            if [width, height] != size || picture.iter().any(|v| *v < 0.0) || brightest == 0.0 {
                let [w, h] = size;
                return Err(setup.error(
                    "reflections.picture",
                    format!("is {width} x {height} px, but must be {w} x {h} px like the image, without negative pixels and not all black"),
                ));
            }
            picture *= (*peak_e / f64::from(brightest)) as f32;
            Some(Arc::new(picture))
        }
    };
    let middle = size.map(|n| 0.5 * (n as f64 - 1.0));
    let glare = match &given.glare {
        None => None,
        Some(glare) => Some(Glare {
            peak_e: glare.peak_e,
            at_px: [
                middle[0] + scale.extent(glare.at[0], "reflections.glare_x")?,
                middle[1] + scale.extent(glare.at[1], "reflections.glare_y")?,
            ],
            angle_rad: glare.angle_rad,
            width_px: scale.extent(glare.width, "reflections.glare_width")?,
        }),
    };
    Ok(Reflections {
        picture,
        glare,
        hot_spots: given.hot_spots.map(|(count, peak_e, diameter_px)| HotSpots {
            count,
            peak_e,
            diameter_px,
        }),
    })
}
