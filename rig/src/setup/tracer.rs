//! `[tracer]`: the particles, one and many.

use std::f64::consts::FRAC_PI_2;

use motefield_generator::population::Diameters;

use super::flow::{Extent, extent, place};
use super::reader::Reader;
use crate::keys::choices::{BrightnessLaw, SizeDistribution};
use crate::keys::tracer as keys;

/// `[tracer]`
#[derive(Debug, Clone, PartialEq)]
pub struct TracerSetup {
    /// Particle diameter, the mean where they differ.
    pub diameter_m: Option<f64>,
    /// Relative half-width of the diameters over which the mean scattering is taken.
    pub diameter_spread: Option<f64>,
    /// Particle density.
    pub density_kg_m3: Option<f64>,
    /// Refractive index of the particles against vacuum.
    pub refractive_index: Option<f64>,
    /// Particles in a volume of fluid.
    pub concentration_m3: Option<f64>,
    /// Particles wanted in a final window, from which the seeding follows.
    pub particles_per_window: Option<f64>,
    /// Diameters of the particles in the pictures, over the mean.
    pub diameters: Diameters,
    /// Smallest and largest of them.
    pub diameter_limits: Option<[f64; 2]>,
    /// Light from diameter.
    pub brightness: BrightnessSetup,
    /// Mean number of particles in a cluster.
    pub cluster_size: Option<f64>,
    /// Standard deviation of their places, in each direction.
    pub cluster_radius: Option<Extent>,
    /// Relative change of the seeding from the middle to the right and to the lower edge.
    pub gradient: [f64; 2],
    /// Discs with less seeding.
    pub unseeded: Vec<Unseeded>,
    /// Whether particles wander.
    pub brownian: bool,
    /// The light that they emit, in place of what they scatter.
    pub fluorescence: Option<Fluorescence>,
    /// Share of the light that large particles throw back evenly, and the angle at them between
    /// light and camera, rad; in place of what small ones scatter.
    pub albedo: Option<[f64; 2]>,
}

/// Light that particles emit after they took some in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fluorescence {
    /// Photons emitted over photons that fall on the particle.
    pub share: f64,
    /// Vacuum wavelength of the light emitted.
    pub emission_m: f64,
}

/// Fluorescence and diffuse reflection, at most one of which takes the place of scattering.
fn glow(r: &Reader) -> (Option<Fluorescence>, Option<[f64; 2]>) {
    r.exclude(
        keys::ALBEDO,
        keys::FLUORESCENCE,
        "each take the place of scattering",
    );
    for key in [keys::FLUORESCENCE, keys::ALBEDO] {
        if r.has(key) && r.choice(keys::BRIGHTNESS) == Some(BrightnessLaw::Mie) {
            r.fault(
                key,
                "takes the place of scattering: leave it out, or brightness = \"mie\"",
            );
        }
    }
    for (key, of) in [
        (keys::EMISSION, keys::FLUORESCENCE),
        (keys::PHASE_ANGLE, keys::ALBEDO),
    ] {
        if r.has(key) && !r.has(of) {
            r.fault(
                key,
                format!("says something only with {}, which is missing", of.path),
            );
        }
    }
    let fluorescence = r.number(keys::FLUORESCENCE).map(|share| {
        let why = "tracer.fluorescence needs it: write for example emission = \"607 nm\"";
        let emission_m = r.needed(keys::EMISSION, r.number(keys::EMISSION), why, 600e-9);
        Fluorescence { share, emission_m }
    });
    let angle = r.number(keys::PHASE_ANGLE).unwrap_or(FRAC_PI_2);
    (fluorescence, r.number(keys::ALBEDO).map(|albedo| [albedo, angle]))
}

/// How a particle's light follows from its diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BrightnessSetup {
    /// The diameter over the mean to this power.
    Power(f64),
    /// Mie theory, through the rig's light and lens.
    Mie,
}

/// A disc with less seeding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unseeded {
    /// From the image's middle.
    pub centre: [Extent; 2],
    /// Its radius.
    pub radius: Extent,
    /// Its share of the seeding.
    pub share: f64,
}

pub(super) fn tracer(r: &Reader) -> TracerSetup {
    let power = r.number(keys::BRIGHTNESS_POWER);
    let brightness = match r.choice(keys::BRIGHTNESS) {
        Some(BrightnessLaw::Mie) => {
            if power.is_some() {
                r.fault(
                    keys::BRIGHTNESS_POWER,
                    "and brightness = \"mie\" exclude each other: leave one out",
                );
            }
            BrightnessSetup::Mie
        }
        Some(BrightnessLaw::Power) | None => BrightnessSetup::Power(power.unwrap_or(2.0)),
    };
    let diameter_spread = r.number(keys::DIAMETER_SPREAD);
    let (fluorescence, albedo) = glow(r);
    TracerSetup {
        diameter_m: r.number(keys::DIAMETER),
        diameter_spread,
        density_kg_m3: r.number(keys::DENSITY),
        refractive_index: r.number(keys::REFRACTIVE_INDEX),
        concentration_m3: r.number(keys::CONCENTRATION),
        particles_per_window: r.number(keys::PARTICLES_PER_WINDOW),
        diameters: diameters(r, diameter_spread),
        diameter_limits: limits(r),
        brightness,
        cluster_size: r.number(keys::CLUSTER_SIZE),
        cluster_radius: extent(r, keys::CLUSTER_RADIUS),
        gradient: [keys::GRADIENT_X, keys::GRADIENT_Y].map(|key| r.number(key).unwrap_or(0.0)),
        unseeded: unseeded(r),
        brownian: r.switch(keys::BROWNIAN).unwrap_or(false),
        fluorescence,
        albedo,
    }
}

/// Of the distribution that is named; else log-normal of the deviation that is given; else spread
/// as the light budget is told to average.
fn diameters(r: &Reader, spread: Option<f64>) -> Diameters {
    let sd = r.number(keys::DIAMETER_SD);
    let needed = || {
        let why = "tracer.distribution needs it: write for example 0.2";
        r.needed(keys::DIAMETER_SD, sd, why, 0.0)
    };
    match r.choice(keys::DISTRIBUTION) {
        Some(SizeDistribution::Same) => Diameters::Same,
        Some(SizeDistribution::Normal) => Diameters::Normal(needed()),
        Some(SizeDistribution::LogNormal) => Diameters::LogNormal(needed()),
        None => match (sd, spread.filter(|half| *half > 0.0)) {
            (Some(sd), _) => Diameters::LogNormal(sd),
            (None, Some(half)) => Diameters::Flat(half),
            (None, None) => Diameters::Same,
        },
    }
}

fn limits(r: &Reader) -> Option<[f64; 2]> {
    r.list(keys::DIAMETER_LIMITS)?;
    let limit = |k: usize| r.number(keys::DIAMETER_LIMITS.entry(k));
    Some([limit(0)?, limit(1)?])
}

fn unseeded(r: &Reader) -> Vec<Unseeded> {
    let disc = |k: usize| {
        let centre = keys::UNSEEDED_CENTRE.in_table(k);
        let radius = keys::UNSEEDED_RADIUS.in_table(k);
        Unseeded {
            centre: place(r, centre),
            radius: r.needed(
                radius.clone(),
                extent(r, radius),
                "write for example { centre = [\"5 mm\", \"0 mm\"], radius = \"4 mm\" }",
                Extent::Px(1.0),
            ),
            share: r.number(keys::UNSEEDED_SHARE.in_table(k)).unwrap_or(0.0),
        }
    };
    (0..r.list(keys::UNSEEDED).unwrap_or(0)).map(disc).collect()
}
