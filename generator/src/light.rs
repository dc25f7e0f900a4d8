//! The two pulses, which need not be equal, and the constant light.
//!
//! Energy, length and sheet thickness of a pulse are ratios to the scene's, so a plain scene has
//! two equal pulses. A pulse of the same energy in a thicker sheet is dimmer in proportion.
//!
//! Pulse B starts one pulse separation after pulse A. What counts is the centroid of a pulse's
//! power, for the place of a streak's light is that of the particle at the centroid: ∫ p(t) x(t) dt
//! = x(t̄) ∫ p dt for x linear in t, with t̄ = ∫ p t dt / ∫ p dt. With centroids c_A, c_B in pulse
//! lengths after the start (½ for symmetric pulses) they are 1 + f_B c_B − f_A c_A separations
//! apart (f is pulse length over separation), and the true displacement counts from centroid to
//! centroid; pulses of one shape and length leave it as it is, however lopsided they are. Timing
//! jitter shifts each pulse by a normal random time. The true displacement does not follow it: an
//! experiment divides by the nominal separation, so jitter shows as error.

use crate::error::{SceneError, SceneField, failed, in_range, number};
use crate::linear_pulse::LinearPulse;
use crate::reflection::Reflections;

/// How a particle moves while a pulse lights it, and so the streak it draws.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Exposure {
    /// Pulse length over pulse separation, 0 to 1. Every particle follows its pathline during the
    /// pulse, so its streak is the local displacement times this fraction.
    Fraction(f64),
    /// The same straight streak (x, y) for every particle, px, over one pulse length, its light
    /// centred on the particle's place in the middle of the pulse.
    Streak([f64; 2]),
}

/// Power of a pulse over time.
#[derive(Debug, Clone, PartialEq)]
pub enum PulseShape {
    /// Constant over the pulse length.
    Rectangular,
    /// Gaussian, the pulse length being the full width at half maximum. Rendered from two lengths
    /// before the middle to two after it; 3e-6 of the light lies beyond.
    Gaussian,
    /// Linear between points.
    Linear(LinearPulse),
}

impl PulseShape {
    /// Time over which a pulse is rendered, in pulse lengths from its start.
    fn span(&self) -> [f64; 2] {
        match self {
            PulseShape::Rectangular => [0.0, 1.0],
            PulseShape::Gaussian => [-1.5, 2.5],
            PulseShape::Linear(pulse) => pulse.span(),
        }
    }

    /// Centroid of the power, in pulse lengths from the pulse's start: what is called its middle.
    pub fn centroid(&self) -> f64 {
        match self {
            PulseShape::Rectangular | PulseShape::Gaussian => 0.5,
            PulseShape::Linear(pulse) => pulse.centroid(),
        }
    }

    /// Half the time over which a pulse is rendered, in pulse lengths.
    pub(crate) fn half_window(&self) -> f64 {
        let [from, to] = self.span();
        0.5 * (to - from)
    }

    /// From the pulse's middle to that of the time over which it is rendered, in pulse lengths.
    pub(crate) fn window_offset(&self) -> f64 {
        let [from, to] = self.span();
        0.5 * (from + to) - self.centroid()
    }
}

/// One pulse, relative to what the scene states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pulse {
    /// Energy over that which gives the scene's photo-electrons, 0 to 1000.
    pub energy_ratio: f64,
    /// Length over the scene's, 0 to 1000; no pulse may outlast the pulse separation.
    pub length_ratio: f64,
    /// Depth of this pulse's sheet above the scene's, toward the camera, px; at most 10⁴ in size.
    pub offset_px: f64,
    /// Thickness of this pulse's sheet over the scene's, 0.01 to 100.
    pub thickness_ratio: f64,
}

impl Default for Pulse {
    /// The pulse that the scene states.
    fn default() -> Self {
        Pulse {
            energy_ratio: 1.0,
            length_ratio: 1.0,
            offset_px: 0.0,
            thickness_ratio: 1.0,
        }
    }
}

/// The light of a scene, except its sheet.
///
/// ```
/// use motefield_generator::{Light, Pulse, PulseShape};
///
/// // Pulse B has 80 % of the energy of pulse A.
/// let light = Light {
///     pulses: [Pulse::default(), Pulse { energy_ratio: 0.8, ..Pulse::default() }],
///     pulse_shapes: [PulseShape::Gaussian, PulseShape::Gaussian],
///     jitter: 0.002,
///     ..Light::default()
/// };
/// assert_eq!(light.ambient_e, [0.0; 2]);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Pulse A and pulse B.
    pub pulses: [Pulse; 2],
    /// Power over time of each pulse.
    pub pulse_shapes: [PulseShape; 2],
    /// Standard deviation of each pulse's time about the nominal one, pulse separations; 0 to 0.1.
    pub jitter: f64,
    /// Photo-electrons of constant light in every pixel, of frame A and of frame B; besides the
    /// background.
    pub ambient_e: [f64; 2],
    /// Light that walls and windows reflect into the picture with every pulse.
    pub reflections: Reflections,
}

impl Default for Light {
    /// Two equal rectangular pulses without jitter, and no other light.
    fn default() -> Self {
        Light {
            pulses: [Pulse::default(); 2],
            pulse_shapes: [PulseShape::Rectangular, PulseShape::Rectangular],
            jitter: 0.0,
            ambient_e: [0.0; 2],
            reflections: Reflections::default(),
        }
    }
}

impl Light {
    /// Times of the middles of the two pulses, pulse separations, without jitter.
    pub(crate) fn middles(&self, exposure: Exposure) -> [f64; 2] {
        let fraction = match exposure {
            Exposure::Fraction(f) => f,
            Exposure::Streak(_) => 0.0,
        };
        let [a, b] = [0, 1].map(|k| self.pulse_shapes[k].centroid() * self.pulses[k].length_ratio);
        let half = 0.5 + 0.5 * fraction * (b - a);
        [-half, half]
    }

    pub(crate) fn faults(&self, exposure: Exposure) -> Vec<SceneError> {
        let mut faults = Vec::new();
        for pulse in &self.pulses {
            let fraction = match exposure {
                Exposure::Fraction(f) => f * pulse.length_ratio,
                Exposure::Streak(_) => 0.0,
            };
            faults.extend(failed([
                in_range(
                    SceneField::EnergyRatio,
                    pulse.energy_ratio,
                    "",
                    0.0..=1e3,
                    "0 to 1000",
                ),
                number(
                    SceneField::LengthRatio,
                    pulse.length_ratio,
                    "",
                    (0.0..=1e3).contains(&pulse.length_ratio) && fraction <= 1.0,
                    "0 to 1000, and no pulse may outlast the pulse separation",
                ),
                in_range(
                    SceneField::SheetOffset,
                    pulse.offset_px,
                    "px",
                    -1e4..=1e4,
                    "at most 10000 px",
                ),
                in_range(
                    SceneField::ThicknessRatio,
                    pulse.thickness_ratio,
                    "",
                    0.01..=100.0,
                    "0.01 to 100",
                ),
            ]));
        }
        let ambient = |e: f64| {
            in_range(
                SceneField::AmbientLight,
                e,
                "e",
                0.0..=1e9,
                "0 to 1e9 e in each frame",
            )
        };
        faults.extend(failed([
            in_range(
                SceneField::Jitter,
                self.jitter,
                "pulse separations",
                0.0..=0.1,
                "0 to 0.1 pulse separations",
            ),
            ambient(self.ambient_e[0]),
            ambient(self.ambient_e[1]),
        ]));
        faults
    }
}
