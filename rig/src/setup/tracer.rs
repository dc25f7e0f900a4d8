//! `[tracer]`: the particles, one and many.

use motefield_generator::population::Diameters;

use super::flow::{Extent, extent};
use super::reader::{Reader, SetupError};
use crate::quantity::Dimension as D;

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
    pub per_window: Option<f64>,
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

/// Most discs in a setup.
const MOST_DISCS: usize = 100;

pub(super) fn tracer(r: &Reader) -> Result<TracerSetup, SetupError> {
    let sd = r.number(
        "tracer.diameter_sd",
        |n| n > 0.0 && n <= 2.0,
        "above 0 and at most 2, over the mean diameter",
    )?;
    let kinds = [
        ("same", Diameters::Same),
        ("normal", Diameters::Normal(sd.unwrap_or(0.0))),
        ("log-normal", Diameters::LogNormal(sd.unwrap_or(0.0))),
    ];
    let diameters = match (r.word("tracer.distribution", &kinds)?, sd) {
        (None, None) => Diameters::Same,
        (None, Some(sd)) => Diameters::LogNormal(sd),
        (Some(Diameters::Normal(_) | Diameters::LogNormal(_)), None) => {
            return Err(r.error(
                "tracer.diameter_sd",
                "is missing, and tracer.distribution needs it: write for example 0.2",
            ));
        }
        (Some(diameters), _) => diameters,
    };
    let diameter_limits = match r.list("tracer.diameter_limits", 2..=2)? {
        None => None,
        Some(_) => {
            let limit = |k: usize, good: fn(f64) -> bool, must: &str| -> Result<f64, SetupError> {
                let key = format!("tracer.diameter_limits[{k}]");
                r.number(&key, good, must)?
                    .ok_or_else(|| r.error(&key, "is missing"))
            };
            Some([
                limit(
                    0,
                    |n| n > 0.0 && n < 1.0,
                    "above 0 and below 1, over the mean diameter",
                )?,
                limit(
                    1,
                    |n| n > 1.0 && n <= 100.0,
                    "above 1 and at most 100, over the mean diameter",
                )?,
            ])
        }
    };
    let mie = r
        .word("tracer.brightness", &[("power", false), ("mie", true)])?
        .unwrap_or(false);
    let power = r.number(
        "tracer.brightness_power",
        |n| (-10.0..=10.0).contains(&n),
        "-10 to 10",
    )?;
    if mie && power.is_some() {
        return Err(r.error(
            "tracer.brightness_power",
            "and brightness = \"mie\" exclude each other: leave one out",
        ));
    }
    let gradient = |key: &str| r.number(key, |n| n.abs() <= 1.0, "-1 to 1");
    Ok(TracerSetup {
        diameter_m: r.positive("tracer.diameter", D::Length)?,
        diameter_spread: r.share("tracer.diameter_spread")?,
        density_kg_m3: r.positive("tracer.density", D::Density)?,
        refractive_index: r.number("tracer.refractive_index", |n| (1.0..=4.0).contains(&n), "1 to 4")?,
        concentration_m3: r.positive("tracer.concentration", D::NumberDensity)?,
        per_window: r.number(
            "tracer.particles_per_window",
            |n| n > 0.0 && n <= 1e4,
            "above 0 and at most 10000",
        )?,
        diameters,
        diameter_limits,
        brightness: if mie {
            BrightnessSetup::Mie
        } else {
            BrightnessSetup::Power(power.unwrap_or(2.0))
        },
        cluster_size: r.number(
            "tracer.cluster_size",
            |n| (0.0..=100.0).contains(&n),
            "0 to 100 particles",
        )?,
        cluster_radius: extent(r, "tracer.cluster_radius")?,
        gradient: [
            gradient("tracer.gradient_x")?.unwrap_or(0.0),
            gradient("tracer.gradient_y")?.unwrap_or(0.0),
        ],
        unseeded: unseeded(r)?,
    })
}

fn unseeded(r: &Reader) -> Result<Vec<Unseeded>, SetupError> {
    let count = r.list("tracer.unseeded", 0..=MOST_DISCS)?.unwrap_or(0);
    (0..count)
        .map(|k| {
            let key = |part: &str| format!("tracer.unseeded[{k}].{part}");
            let mut centre = [Extent::Px(0.0); 2];
            if r.list(&key("centre"), 2..=2)?.is_some() {
                for (i, part) in centre.iter_mut().enumerate() {
                    *part = extent(r, &format!("{}[{i}]", key("centre")))?.unwrap_or(*part);
                }
            }
            let radius = extent(r, &key("radius"))?.ok_or_else(|| {
                r.error(
                    &key("radius"),
                    "is missing: write for example { centre = [\"5 mm\", \"0 mm\"], radius = \"4 mm\" }",
                )
            })?;
            Ok(Unseeded {
                centre,
                radius,
                share: r.share(&key("share"))?.unwrap_or(0.0),
            })
        })
        .collect()
}
