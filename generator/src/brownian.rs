//! Brownian motion of the particles.
//!
//! Between two pulses a small sphere in a fluid at rest is displaced along each axis by a normal
//! number of mean 0 and variance 2 D Δt, independent of all others (Einstein, Ann. Phys. 17 (1905)
//! 549). Here the way starts midway in time, where a particle is placed: half of the variance lies
//! before and half after, and each further frame of a series adds another whole one. While a pulse
//! lasts the displacement stays what it is in the middle of the pulse.

use crate::flow::Vec3;
use crate::random::{Purpose, Seed, normal_quantile, open01, stream};

/// The random walk of all particles up to a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Walk {
    pub(crate) seed: Seed,
    /// Frame, whose nominal time is its number less ½.
    pub(crate) frame: u32,
    /// Standard deviation between two frames along each axis, px, of a particle of mean diameter.
    pub(crate) sd_px: f64,
}

impl Walk {
    /// Displacement since the time 0 of a particle, by its number and its diameter over the mean,
    /// px.
    pub(crate) fn displacement_px(&self, id: u64, diameter: f64) -> Vec3 {
        let mut draws = stream(self.seed, Purpose::Brownian, id);
        let mut step = |variance: f64| -> Vec3 {
            let sd = self.sd_px * libm::sqrt(variance / diameter);
            std::array::from_fn(|_| sd * normal_quantile(open01(&mut draws)))
        };
        let before = step(0.5);
        if self.frame == 0 {
            return before;
        }
        (1..self.frame).fold(step(0.5), |sum, _| {
            let next = step(1.0);
            std::array::from_fn(|i| sum[i] + next[i])
        })
    }

    /// A bound of that along each axis, px, of particles of the `smallest` diameter: the numbers
    /// drawn stay within 8.3 standard deviations.
    pub(crate) fn reach_px(&self, smallest: f64) -> f64 {
        let steps = 0.5 + f64::from(self.frame.saturating_sub(1));
        8.3 * self.sd_px * libm::sqrt(steps / smallest)
    }
}
