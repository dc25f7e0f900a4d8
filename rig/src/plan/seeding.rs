//! How many particles: per pixel, per window, per volume, and what they weigh.

use std::f64::consts::PI;

use motefield_generator::Scene;

use super::facts::{FactId, Facts, short, show};
use super::peak::over_diameters;
use crate::keys;
use crate::quantity::Dimension as D;
use crate::setup::{Setup, SetupError};

/// Pixels in a window.
pub(super) fn window_px2(window: [usize; 2]) -> f64 {
    (window[0] * window[1]) as f64
}

/// The final window of a setup.
fn final_window(setup: &Setup) -> [usize; 2] {
    setup.processing.passes.last().map_or([1; 2], |pass| pass.window)
}

/// Particles in a window of the last pass.
pub(super) fn particles_per_vector(setup: &Setup, scene: &Scene) -> f64 {
    scene.seeding_density_ppp * window_px2(final_window(setup))
}

/// Seeding density, particles per pixel inside the sheet's thickness.
pub(super) fn density_ppp(
    setup: &Setup,
    px_per_m: Option<f64>,
    thickness_px: f64,
) -> Result<f64, SetupError> {
    let (image, tracer) = (&setup.image, &setup.tracer);
    match (image.seeding_density_ppp, tracer.concentration_m3, tracer.particles_per_window) {
        (Some(ppp), _, _) => Ok(ppp),
        (None, _, _) if image.flat_field => Ok(0.0),
        (None, Some(_), Some(_)) => Err(setup.error(
            keys::tracer::PARTICLES_PER_WINDOW,
            "and tracer.concentration both set the seeding: leave one out",
        )),
        (None, None, Some(count)) => Ok(count / window_px2(final_window(setup))),
        (None, Some(concentration), None) => {
            let needs = "needs the sheet's thickness and the lens: give sheet.thickness, lens.magnification and camera.pixel, or image.seeding_density";
            let px_per_m = px_per_m.ok_or_else(|| setup.error(keys::tracer::CONCENTRATION, needs))?;
            Ok(concentration * (thickness_px / px_per_m) / (px_per_m * px_per_m))
        }
        (None, None, None) => Err(setup.error(keys::image::SEEDING_DENSITY, "is missing: write for example seeding_density = \"0.02 ppp\" under [image], or concentration = \"10 /mm3\" or particles_per_window = 12 under [tracer]")),
    }
}

/// Tells seeding density, particles per window, and the concentration that gives them.
pub(super) fn seeding_facts(setup: &Setup, scene: &Scene, px_per_m: Option<f64>, facts: &mut Facts) {
    let ppp = scene.seeding_density_ppp;
    facts
        .figure(FactId::SeedingDensity, ppp, "ppp")
        .how("particles per pixel inside the sheet's thickness");
    let passes = &setup.processing.passes;
    let mut window = |id, [width, height]: [usize; 2]| {
        facts
            .figure(id, ppp * window_px2([width, height]), "")
            .how(format!("seeding density x {width} x {height} px"));
    };
    if let (Some(first), Some(last)) = (passes.first(), passes.last()) {
        if first.window != last.window {
            window(FactId::ParticlesFirstWindow, first.window);
        }
        window(FactId::ParticlesFinalWindow, last.window);
    }
    facts
        .figure(FactId::SourceDensity, source_density(scene), "")
        .how("seeding density x pi/4 x particle image diameter squared: mean number of images over a point");
    let Some(px_per_m) = px_per_m.filter(|_| ppp > 0.0 && setup.sheet.thickness.is_some()) else {
        return;
    };
    let concentration = ppp * px_per_m * px_per_m * px_per_m / scene.sheet.thickness_px;
    facts
        .quantity(FactId::Concentration, concentration, D::NumberDensity)
        .how("particles in a volume of fluid: seeding density over pixel area and sheet thickness");
    if let (Some(diameter), Some(density)) = (setup.tracer.diameter_m, setup.tracer.density_kg_m3) {
        let cube = over_diameters(scene, |relative| relative.powi(3));
        let one = density * PI / 6.0 * diameter.powi(3) * cube;
        facts
            .told(
                FactId::TracerMass,
                one * concentration,
                format!("{} mg/l", short(1e3 * one * concentration)),
            )
            .how(format!(
                "concentration x mass of a particle of {}, {} kg",
                show(diameter, D::Length),
                short(one)
            ));
    }
}

/// Mean number of particle images over a point of the picture (Adrian's source density; memory).
pub(super) fn source_density(scene: &Scene) -> f64 {
    scene.seeding_density_ppp * 0.25 * PI * scene.particle_diameter_px * scene.particle_diameter_px
}
