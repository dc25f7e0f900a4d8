//! `[image]`: what the pictures show; overrides what the rig would give.

use super::camera::size;
use super::reader::Reader;
use crate::keys::image as keys;

/// `[image]`: what the pictures show; overrides the rig.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ImageSetup {
    /// Width and height.
    pub size: Option<[usize; 2]>,
    /// Particle image diameter d_τ.
    pub particle_diameter_px: Option<f64>,
    /// Part of it that is the geometric image of the mean particle.
    pub geometric_diameter_px: Option<f64>,
    /// Growth of the diameter off the plane in focus, px per px of depth.
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

pub(super) fn image(r: &Reader) -> ImageSetup {
    let streak_px = r.list(keys::STREAK).map(|_| {
        let part = |k: usize| r.number(keys::STREAK.entry(k)).unwrap_or(0.0);
        [part(0), part(1)]
    });
    let image = ImageSetup {
        size: size(r, keys::SIZE),
        particle_diameter_px: r.number(keys::PARTICLE_DIAMETER),
        geometric_diameter_px: r.number(keys::GEOMETRIC_DIAMETER),
        defocus: r.number(keys::DEFOCUS),
        seeding_density_ppp: r.number(keys::SEEDING_DENSITY),
        flat_field: r.switch(keys::FLAT_FIELD).unwrap_or(false),
        electrons: r.number(keys::ELECTRONS),
        peak_electrons: r.number(keys::PEAK_ELECTRONS),
        background_e: r.number(keys::BACKGROUND),
        background_b_e: r.number(keys::BACKGROUND_B),
        pulse_fraction: r.number(keys::PULSE_FRACTION),
        streak_px,
        jitter: r.number(keys::JITTER),
    };
    if image.seeding_density_ppp == Some(0.0) && !image.flat_field {
        r.fault(
            keys::SEEDING_DENSITY,
            "is 0: without particles there is nothing to correlate; write for example \"0.02 ppp\", or flat_field = true for pictures of the background alone",
        );
    }
    if image.flat_field && image.seeding_density_ppp.is_some_and(|ppp| ppp > 0.0) {
        r.fault(
            keys::FLAT_FIELD,
            "means pictures without particles: leave it out, or image.seeding_density",
        );
    }
    r.exclude(
        keys::PEAK_ELECTRONS,
        keys::ELECTRONS,
        "both set the light of a particle",
    );
    r.exclude(keys::STREAK, keys::PULSE_FRACTION, "both set the streak");
    image
}
