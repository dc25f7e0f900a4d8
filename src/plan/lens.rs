//! `[lens]` with the camera behind it: scale, particle image, imaging.

use motefield_generator::Imaging;
use motefield_generator::medium::Medium;
use motefield_generator::optics::{self, Lens};

use super::facts::Facts;
use super::flow::Scale;
use super::tracer::medium;
use super::{IMAGE, missing};
use crate::quantity::Dimension;
use crate::setup::{Setup, SetupError};

/// The lens with the camera behind it.
pub(super) struct RigLens {
    pub(super) magnification: f64,
    pub(super) px_per_m: f64,
    pub(super) pixel_m: f64,
}

pub(super) fn rig_lens(setup: &Setup, size: [usize; 2]) -> Result<Option<RigLens>, SetupError> {
    let Some(pixel_m) = setup.camera.pixel_m else {
        return Ok(None);
    };
    let magnification = match (setup.lens.magnification, setup.lens.field_width_m) {
        (Some(m), _) => m,
        (None, Some(field)) => optics::magnification(field, size[0] as f64, pixel_m),
        (None, None) => return Ok(None),
    };
    Ok(Some(RigLens {
        magnification,
        px_per_m: magnification / pixel_m,
        pixel_m,
    }))
}

pub(super) fn optics_of(setup: &Setup, lens: &RigLens, medium: &Medium) -> Result<Option<Lens>, SetupError> {
    let Some(f_number) = setup.lens.f_number else {
        return Ok(None);
    };
    Lens::new(f_number, lens.magnification, medium.refractive_index)
        .map(Some)
        .map_err(|e| setup.error("lens.aperture", e))
}

/// Particle image diameter, px: geometric image, diffraction (both as the Gaussian of the same variance or light) and blur in
/// quadrature.
pub(super) fn particle_image(
    setup: &Setup,
    lens: Option<&RigLens>,
    facts: &mut Facts,
) -> Result<f64, SetupError> {
    let medium = medium(setup)?;
    let (Some(lens), Some(f_number), Some(wavelength), Some(diameter), Some(medium)) = (
        lens,
        setup.lens.f_number,
        setup.light.wavelength_m,
        setup.tracer.diameter_m,
        medium,
    ) else {
        return Err(missing(
            setup,
            "image.particle_diameter",
            &[
                ("camera.pixel", setup.camera.pixel_m.is_some()),
                (
                    "lens.magnification",
                    setup.lens.magnification.or(setup.lens.field_width_m).is_some(),
                ),
                ("lens.aperture", setup.lens.f_number.is_some()),
                ("light.wavelength", setup.light.wavelength_m.is_some()),
                ("tracer.diameter", setup.tracer.diameter_m.is_some()),
                ("fluid.kind", setup.fluid.is_some()),
            ],
        ));
    };
    let optics = Lens::new(f_number, lens.magnification, medium.refractive_index)
        .map_err(|e| setup.error("lens.aperture", e))?;
    let (diffraction, geometric) = (
        optics.diffraction_diameter_m(wavelength),
        optics.geometric_diameter_m(diameter),
    );
    let blur = setup.lens.blur_m.unwrap_or(0.0);
    facts.quantity(
        IMAGE,
        "diffraction_diameter_m",
        "diffraction, e^-2 diameter on the sensor",
        diffraction,
        Dimension::Length,
    );
    facts.quantity(
        IMAGE,
        "geometric_diameter_m",
        "geometric image",
        geometric,
        Dimension::Length,
    );
    facts.quantity(
        IMAGE,
        "depth_of_field_m",
        "depth of field",
        optics.depth_of_field_m(wavelength),
        Dimension::Length,
    );
    Ok(optics::in_quadrature(&[diffraction, geometric, blur]) / lens.pixel_m)
}

/// Share of a particle image's light in the pixel on which the middle of its straight streak (x, y), px, stands: the mean along the
/// streak of the Gaussian's integral over that pixel, σ = d_τ/4 (Simpson's rule, 1e-6 for streaks to 100 px).
pub(super) fn middle_pixel_share(diameter_px: f64, streak_px: [f64; 2]) -> f64 {
    const STEPS: usize = 2000;
    let width = 0.25 * diameter_px * std::f64::consts::SQRT_2;
    let line = |at: f64| 0.5 * (libm::erf((at + 0.5) / width) - libm::erf((at - 0.5) / width));
    let share = |k: usize| {
        let t = k as f64 / STEPS as f64 - 0.5;
        line(t * streak_px[0]) * line(t * streak_px[1])
    };
    let inner: f64 = (1..STEPS)
        .map(|k| share(k) * if k % 2 == 1 { 4.0 } else { 2.0 })
        .sum();
    (share(0) + inner + share(STEPS)) / (3.0 * STEPS as f64)
}

/// How the particles are pictured, and the part of their diameter that is their geometric image, px.
pub(super) fn imaging(
    setup: &Setup,
    scale: &Scale,
    lens: Option<&RigLens>,
) -> Result<(Imaging, f64), SetupError> {
    let defocus = match (setup.image.defocus, setup.lens.defocus) {
        (Some(defocus), _) => defocus,
        (None, false) => 0.0,
        (None, true) => {
            let optics = match (lens, medium(setup)?) {
                (Some(lens), Some(medium)) => optics_of(setup, lens, &medium)?.zip(Some(lens)),
                _ => None,
            };
            let (optics, lens) = optics.ok_or_else(|| {
                missing(
                    setup,
                    "image.defocus",
                    &[
                        ("camera.pixel", setup.camera.pixel_m.is_some()),
                        (
                            "lens.magnification",
                            setup.lens.magnification.or(setup.lens.field_width_m).is_some(),
                        ),
                        ("lens.aperture", setup.lens.f_number.is_some()),
                        ("fluid.kind", setup.fluid.is_some()),
                    ],
                )
            })?;
            // Diameter on the sensor over depth in the lab, both in px.
            optics.defocus_diameter_m(1.0) / lens.magnification
        }
    };
    let imaging = Imaging {
        pattern: setup.lens.pattern.unwrap_or(Imaging::default().pattern),
        defocus,
        focus_px: match setup.lens.focus {
            Some(focus) => scale.extent(focus, "lens.focus")?,
            None => 0.0,
        },
        growth: setup.lens.diameter_growth.unwrap_or(0.0),
        fill_factor: setup.camera.fill_factor.unwrap_or(1.0),
        camera_distance_px: match setup.lens.distance {
            Some(distance) => Some(scale.extent(distance, "lens.distance")?),
            None => None,
        },
        distortion: setup.lens.distortion.unwrap_or(0.0),
    };
    let differ = setup.tracer.diameters != motefield_generator::population::Diameters::Same;
    let geometric_px = match (setup.image.geometric_px, setup.image.particle_diameter_px) {
        (Some(px), _) => px,
        // Where the particle image follows from the rig, so does its geometric part; it matters where diameters differ.
        (None, None) if differ => match (lens, setup.tracer.diameter_m) {
            (Some(lens), Some(diameter)) => diameter * lens.px_per_m,
            _ => 0.0,
        },
        _ => 0.0,
    };
    Ok((imaging, geometric_px))
}
