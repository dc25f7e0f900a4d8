//! When each pulse fires: its nominal time and its jitter.

use crate::brownian::Walk;
use crate::light::Pulse;
use crate::random::{Purpose, Seed, normal_quantile, open01, stream};
use crate::scene::Scene;

/// A pulse at its time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Flash {
    /// Time of its middle, pulse separations.
    pub(crate) middle: f64,
    pub(crate) pulse: Pulse,
    /// Which of the scene's pulse shapes it has.
    pub(crate) shape: usize,
    /// How far particles have wandered by then, if they do.
    pub(crate) walk: Option<Walk>,
}

impl Scene {
    /// The two pulses of a pair, with their jitter.
    pub(crate) fn flashes(&self, seed: Seed) -> [Flash; 2] {
        let middles = self.light.middles(self.exposure);
        std::array::from_fn(|k| Flash {
            middle: middles[k] + self.jitter(seed, k as u32),
            pulse: self.light.pulses[k],
            shape: k,
            walk: self.walk(seed, k as u32),
        })
    }

    /// The pulse of frame `k` of a time series, with its jitter: all are like pulse A, one
    /// separation apart, and those of frames 0 and 1 stand at the times −½ and ½.
    pub(crate) fn flash(&self, seed: Seed, k: u32) -> Flash {
        Flash {
            middle: f64::from(k) - 0.5 + self.jitter(seed, k),
            pulse: self.light.pulses[0],
            shape: 0,
            walk: self.walk(seed, k),
        }
    }

    fn walk(&self, seed: Seed, frame: u32) -> Option<Walk> {
        let sd_px = self.population.brownian_px;
        (sd_px > 0.0).then_some(Walk { seed, frame, sd_px })
    }

    /// Random shift of the pulse of a frame, pulse separations.
    fn jitter(&self, seed: Seed, frame: u32) -> f64 {
        if self.light.jitter == 0.0 {
            return 0.0;
        }
        self.light.jitter * normal_quantile(open01(&mut stream(seed, Purpose::Jitter, frame.into())))
    }
}
