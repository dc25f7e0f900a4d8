//! `[tracer]`.

use crate::keys;
use crate::medium::diffusion_m2_s;
use motefield_generator::population::{Brightness, Diameters, Region};
use motefield_generator::{Population, Scene};

use super::facts::{FactId, Facts};
use super::flow::Scale;
use super::fluid::medium;
use super::lens::RigLens;
use super::scattering::mie_brightness;
use crate::quantity::Dimension;
use crate::setup::{BrightnessSetup, Setup, SetupError, Unseeded};

pub(super) fn tracer_facts(setup: &Setup, facts: &mut Facts) -> Result<(), SetupError> {
    let (Some(medium), Some(diameter_m), Some(density_kg_m3)) = (
        medium(setup)?,
        setup.tracer.diameter_m,
        setup.tracer.density_kg_m3,
    ) else {
        return Ok(());
    };
    let tracer = crate::medium::Tracer {
        diameter_m,
        density_kg_m3,
    };
    let rough = if tracer.added_mass_counts(&medium) {
        " (an order of magnitude: the fluid is nearly as dense)"
    } else {
        ""
    };
    facts
        .quantity(
            FactId::ResponseTime,
            tracer.response_time_s(&medium),
            Dimension::Time,
        )
        .how(format!("density x diameter squared / (18 x viscosity){rough}"));
    facts
        .quantity(
            FactId::SettlingVelocity,
            tracer.settling_velocity_m_s(&medium).abs(),
            Dimension::Speed,
        )
        .how("Stokes drag against weight and buoyancy");
    Ok(())
}

/// Brownian displacement along each axis below which no picture shows it, px.
const LEAST_BROWNIAN_PX: f64 = 1e-3;

/// Standard deviation of a particle's Brownian displacement between the pulses, along each axis,
/// px: √(2 D Δt).
fn brownian_px(setup: &Setup, scale: &Scale) -> Result<f64, SetupError> {
    let (Some(medium), Some((_, temperature_k)), Some(diameter_m), Some(separation_s), Some(px_per_m)) = (
        medium(setup)?,
        setup.fluid,
        setup.tracer.diameter_m,
        scale.separation_s,
        scale.px_per_m,
    ) else {
        return Err(setup.error(keys::tracer::BROWNIAN, "needs fluid.kind, tracer.diameter, timing.separation and the scale of the picture (camera.pixel with lens.magnification or lens.field_width): give what is missing, or leave it out"));
    };
    let diffusion = diffusion_m2_s(diameter_m, medium.viscosity_pa_s, temperature_k);
    let sd_px = libm::sqrt(2.0 * diffusion * separation_s) * px_per_m;
    Ok(if sd_px < LEAST_BROWNIAN_PX { 0.0 } else { sd_px })
}

/// Tells how far the particles wander, and what is left of it in the mean over a window.
pub(super) fn brownian_facts(scene: &Scene, particles: f64, facts: &mut Facts) {
    let sd_px = scene.population.brownian_px;
    if sd_px == 0.0 {
        return;
    }
    facts
        .figure(FactId::BrownianDisplacement, sd_px, "px")
        .how("root(2 D x pulse separation) along each axis, D = kT / (3 pi x viscosity x diameter)");
    if particles > 0.0 {
        facts
            .figure(FactId::BrownianError, sd_px / particles.max(1.0).sqrt(), "px")
            .how("its mean over the particles that count in a final window: divided by the root of their number");
    }
}

/// Smallest relative diameter of particles that are spread up to their mean diameter.
const SMALLEST: f64 = 0.01;

/// The particles as a crowd; `geometric_diameter_px` is the part of the particle image that is the
/// mean particle's geometric image, and `middle` the picture's, px.
pub(super) fn population(
    setup: &Setup,
    scale: &Scale,
    lens: Option<&RigLens>,
    geometric_diameter_px: f64,
    middle: [f64; 2],
) -> Result<Population, SetupError> {
    let tracer = &setup.tracer;
    let usual = Population::default();
    let limits = tracer.diameter_limits.unwrap_or(usual.diameter_limits);
    let (mut diameters, mut limits) = (tracer.diameters, limits);
    if let Diameters::Flat(half) = diameters {
        limits = [(1.0 - half).max(SMALLEST), 1.0 + half];
    }
    let brightness = match tracer.brightness {
        BrightnessSetup::Mie if diameters != Diameters::Same => {
            match (mie_brightness(setup, lens, limits), diameters) {
                (Ok(table), _) => Brightness::Table(table),
                // Without what a light budget needs there is none in which the spread could act.
                (Err(_), Diameters::Flat(_)) => {
                    (diameters, limits) = (Diameters::Same, usual.diameter_limits);
                    Brightness::Power(2.0)
                }
                (Err(missing), _) => return Err(missing),
            }
        }
        BrightnessSetup::Mie => Brightness::Power(2.0),
        BrightnessSetup::Power(power) => Brightness::Power(power),
    };
    let region = |disc: &Unseeded| -> Result<Region, SetupError> {
        let key = keys::tracer::UNSEEDED;
        Ok(Region {
            centre_px: [
                middle[0] + scale.extent(disc.centre[0], key)?,
                middle[1] + scale.extent(disc.centre[1], key)?,
            ],
            radius_px: scale.extent(disc.radius, key)?,
            share: disc.share,
        })
    };
    Ok(Population {
        diameters,
        diameter_limits: limits,
        brightness,
        geometric_diameter_px,
        cluster_size: tracer.cluster_size.unwrap_or(0.0),
        cluster_radius_px: match tracer.cluster_radius {
            Some(radius) => scale.extent(radius, keys::tracer::CLUSTER_RADIUS)?,
            None => usual.cluster_radius_px,
        },
        gradient: tracer.gradient,
        unseeded: tracer.unseeded.iter().map(region).collect::<Result<_, _>>()?,
        brownian_px: match tracer.brownian {
            true => brownian_px(setup, scale)?,
            false => 0.0,
        },
    })
}
