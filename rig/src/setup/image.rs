//! `[image]`: what the pictures show; overrides what the rig would give.

use super::camera::size;
use super::reader::{Reader, SetupError};
use crate::quantity::Dimension as D;

/// `[image]`: what the pictures show; overrides the rig.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ImageSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Particle image diameter d_τ.
    pub particle_diameter_px: Option<f64>,
    /// Part of it that is the geometric image of the mean particle.
    pub geometric_diameter_px: Option<f64>,
    /// Growth of the diameter off the plane in focus, px a px of depth.
    pub defocus: Option<f64>,
    /// Particles per pixel.
    pub seeding_density_ppp: Option<f64>,
    /// Pictures without particles, for a look at the sensor alone.
    pub flat_field: bool,
    /// Photo-electrons of a particle image at sheet centre.
    pub electrons: Option<f64>,
    /// Photo-electrons of the pixel in the middle of the longest streak at sheet centre.
    pub peak_electrons: Option<f64>,
    /// Photo-electrons of the background in a pixel.
    pub background_e: Option<f64>,
    /// The same in frame B.
    pub background_b_e: Option<f64>,
    /// Pulse length over pulse separation.
    pub pulse_fraction: Option<f64>,
    /// The same streak for all particles.
    pub streak_px: Option<[f64; 2]>,
    /// Standard deviation of each pulse's time over the pulse separation.
    pub jitter: Option<f64>,
}

pub(super) fn image(r: &Reader) -> Result<ImageSetup, SetupError> {
    let image = ImageSetup {
        size: size(r, "image.size")?,
        particle_diameter_px: r.positive("image.particle_diameter", D::Pixels)?,
        geometric_diameter_px: r.not_negative("image.geometric_diameter", D::Pixels)?,
        defocus: r.number(
            "image.defocus",
            |n| (0.0..=10.0).contains(&n),
            "0 to 10 px of diameter a px of depth",
        )?,
        seeding_density_ppp: r.not_negative("image.seeding_density", D::SeedingDensity)?,
        flat_field: r.switch("image.flat_field")?.unwrap_or(false),
        electrons: r.not_negative("image.electrons", D::Electrons)?,
        peak_electrons: r.not_negative("image.peak_electrons", D::Electrons)?,
        background_e: r.not_negative("image.background", D::Electrons)?,
        background_b_e: r.not_negative("image.background_b", D::Electrons)?,
        pulse_fraction: r.number(
            "image.pulse_fraction",
            |n| (0.0..=1.0).contains(&n),
            "0 to 1: a pulse cannot outlast the pulse separation",
        )?,
        streak_px: match r.list("image.streak", 2..=2)? {
            None => None,
            Some(_) => {
                let part = |k: usize| {
                    let key = format!("image.streak[{k}]");
                    Ok(r.quantity(&key, &[D::Pixels])?.map_or(0.0, |q| q.value))
                };
                Some([part(0)?, part(1)?])
            }
        },
        jitter: r.number(
            "image.jitter",
            |n| (0.0..=0.1).contains(&n),
            "0 to 0.1 pulse separations",
        )?,
    };
    if image.seeding_density_ppp == Some(0.0) && !image.flat_field {
        return Err(r.error(
            "image.seeding_density",
            "is 0: without particles there is nothing to correlate; write for example \"0.02 ppp\", or flat_field = true for pictures of the background alone",
        ));
    }
    if image.flat_field && image.seeding_density_ppp.is_some_and(|ppp| ppp > 0.0) {
        return Err(r.error(
            "image.flat_field",
            "means pictures without particles: leave it out, or image.seeding_density",
        ));
    }
    if image.electrons.is_some() && image.peak_electrons.is_some() {
        return Err(r.error(
            "image.peak_electrons",
            "and image.electrons both set the light of a particle: leave one out",
        ));
    }
    if image.streak_px.is_some() && image.pulse_fraction.is_some() {
        return Err(r.error(
            "image.streak",
            "and image.pulse_fraction both set the streak: leave one out",
        ));
    }
    Ok(image)
}
