//! The light in time: two pulses that need not be alike, and the light that is always there.
//!
//! Pulse lengths and energies are stated relative to the scene's, so that the plain scene has two equal pulses. A pulse of
//! the same energy in a thicker sheet is dimmer in proportion. Pulse B starts one pulse separation after pulse A; the middles of unequal
//! pulses are therefore 1 + (f_B − f_A)/2 separations apart (f: pulse length over separation), and truth counts from middle to middle.
//! Timing jitter moves each pulse by a normal random time; truth does not follow it, since the experimenter divides
//! by the separation asked for: jitter is error.

use crate::random::{Purpose, Seed, normal_quantile, open01, stream};
use crate::reflection::Reflections;
use crate::scene::{Exposure, Scene, SceneError, SceneField, check, number};

/// How a pulse's power runs in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PulseShape {
    /// Constant over the pulse length.
    Rectangular,
    /// Gaussian; the pulse length is the full width at half maximum. Rendered over twice that length on either side (3e-6 of the
    /// light lies beyond).
    Gaussian,
}

impl PulseShape {
    /// Half the time over which a pulse of length 1 is rendered.
    pub(crate) fn half_window(self) -> f64 {
        match self {
            PulseShape::Rectangular => 0.5,
            PulseShape::Gaussian => 2.0,
        }
    }
}

/// One pulse, relative to the scene's figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pulse {
    /// Its energy over the one that gives the scene's photo-electrons.
    pub energy_ratio: f64,
    /// Its length over the scene's.
    pub length_ratio: f64,
    /// Depth of its sheet's middle plane above the scene's, px.
    pub offset_px: f64,
    /// Its sheet's thickness over the scene's.
    pub thickness_ratio: f64,
}

impl Default for Pulse {
    fn default() -> Self {
        Pulse {
            energy_ratio: 1.0,
            length_ratio: 1.0,
            offset_px: 0.0,
            thickness_ratio: 1.0,
        }
    }
}

/// The light of a scene but for its sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Pulse A and pulse B.
    pub pulses: [Pulse; 2],
    /// How the power runs in time.
    pub pulse_shape: PulseShape,
    /// Standard deviation of each pulse's time about the nominal one, pulse separations.
    pub jitter: f64,
    /// Photo-electrons of constant light in every pixel of frame A and of frame B, besides the background.
    pub ambient_e: [f64; 2],
    /// Light that walls and windows throw into the picture with every pulse.
    pub reflections: Reflections,
}

impl Default for Light {
    fn default() -> Self {
        Light {
            pulses: [Pulse::default(); 2],
            pulse_shape: PulseShape::Rectangular,
            jitter: 0.0,
            ambient_e: [0.0; 2],
            reflections: Reflections::default(),
        }
    }
}

/// One pulse in absolute figures: when, how long, how bright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flash {
    /// Its middle, pulse separations.
    pub middle: f64,
    /// Which pulse it is.
    pub pulse: Pulse,
}

impl Light {
    /// Middles of the two pulses of a pair, pulse separations, without jitter.
    pub fn middles(&self, exposure: Exposure) -> [f64; 2] {
        let fraction = match exposure {
            Exposure::Fraction(f) => f,
            Exposure::Streak(_) => 0.0,
        };
        let [a, b] = self.pulses.map(|pulse| pulse.length_ratio);
        let half = 0.5 + 0.25 * fraction * (b - a);
        [-half, half]
    }

    pub(crate) fn validate(&self, exposure: Exposure) -> Result<(), SceneError> {
        for pulse in &self.pulses {
            let fraction = match exposure {
                Exposure::Fraction(f) => f * pulse.length_ratio,
                Exposure::Streak(_) => 0.0,
            };
            check([
                number(
                    SceneField::EnergyRatio,
                    pulse.energy_ratio,
                    "",
                    (0.0..=1e3).contains(&pulse.energy_ratio),
                    "0 to 1000",
                ),
                number(
                    SceneField::LengthRatio,
                    pulse.length_ratio,
                    "",
                    (0.0..=1e3).contains(&pulse.length_ratio) && fraction <= 1.0,
                    "0 to 1000, and no pulse may outlast the pulse separation",
                ),
                number(
                    SceneField::SheetOffset,
                    pulse.offset_px,
                    "px",
                    pulse.offset_px.abs() <= 1e4,
                    "at most 10000 px",
                ),
                number(
                    SceneField::ThicknessRatio,
                    pulse.thickness_ratio,
                    "",
                    (0.01..=100.0).contains(&pulse.thickness_ratio),
                    "0.01 to 100",
                ),
            ])?;
        }
        let ambient = |e: f64| {
            let good = (0.0..=1e9).contains(&e);
            number(SceneField::AmbientLight, e, "e", good, "0 to 1e9 e in each frame")
        };
        check([
            number(
                SceneField::Jitter,
                self.jitter,
                "pulse separations",
                (0.0..=0.1).contains(&self.jitter),
                "0 to 0.1 pulse separations",
            ),
            ambient(self.ambient_e[0]),
            ambient(self.ambient_e[1]),
        ])
    }
}

impl Scene {
    /// The two pulses of a pair, with their jitter.
    pub(crate) fn flashes(&self, seed: Seed) -> [Flash; 2] {
        let middles = self.light.middles(self.exposure);
        std::array::from_fn(|k| Flash {
            middle: middles[k] + self.jitter(seed, k as u32),
            pulse: self.light.pulses[k],
        })
    }

    /// The pulse of frame `k` of a time series: all like pulse A, one separation apart, frames 0 and 1 about time 0.
    pub(crate) fn flash(&self, seed: Seed, k: u32) -> Flash {
        Flash {
            middle: f64::from(k) - 0.5 + self.jitter(seed, k),
            pulse: self.light.pulses[0],
        }
    }

    fn jitter(&self, seed: Seed, frame: u32) -> f64 {
        if self.light.jitter == 0.0 {
            return 0.0;
        }
        self.light.jitter * normal_quantile(open01(&mut stream(seed, Purpose::Jitter, frame.into())))
    }
}
