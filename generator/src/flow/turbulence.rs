//! A turbulence-like field of random Fourier modes.

use std::f64::consts::{PI, TAU};

use multiversion::multiversion;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use super::along::Along;
use super::series::PathSeries;
use super::{Flow, Vec3};
use crate::random::open01;

mod series;

/// Number of wave numbers. Each has three modes, along three directions at right angles.
const BINS: usize = 40;
/// Modes that are computed side by side.
const LANES: usize = 8;
/// Lowest wave number times the energy scale ℓ; 2e-6 of the energy lies below.
const LOWEST: f64 = 0.1;
/// Angular frequency of a mode over √(κ³E) (Fung, Hunt, Malik and Perkins, J. Fluid Mech. 236
/// (1992) 281).
const UNSTEADINESS: f64 = 0.5;

/// Homogeneous, isotropic, turbulence-like field: a sum of random Fourier modes (method of
/// Kraichnan, Phys. Fluids 13 (1970) 22) with the energy spectrum of [`Spectrum`].
///
/// There is one wave number, at a random place, in each of 40 bins of equal width in ln κ, and it
/// has the energy of its bin. It belongs to three modes whose wave vectors are at right angles and
/// which share that energy, so the mean square of each velocity component over space is rms²
/// exactly. The amplitude of a mode is at right angles to its wave vector, so the field is exactly
/// free of divergence. Each mode oscillates at the angular frequency ½ √(κ³E). The field neither
/// decays nor obeys the equations of motion.
///
/// ```
/// use motefield_generator::flow::{Flow, Spectrum, Turbulence};
///
/// let field = Turbulence::new(Spectrum::new(2.0, 80.0, 20.0), 7);
/// let g = field.gradient([10.0, 20.0, 3.0], 0.0);
/// assert!((g[0][0] + g[1][1] + g[2][2]).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Turbulence {
    blocks: Vec<WaveBlock>,
}

/// Modes a cos(2π (k·x + f t + φ)) side by side: wave vectors k in 1/px, frequencies f per pulse
/// separation, phases φ in turns, amplitudes a in px.
#[derive(Debug, Clone, PartialEq)]
struct WaveBlock {
    wave: [[f64; LANES]; 3],
    frequency: [f64; LANES],
    phase: [f64; LANES],
    amplitude: [[f64; LANES]; 3],
}

/// Von Kármán's energy spectrum E(κ) ∝ κ⁴/(1 + (κ ℓ)²)^(17/6), cut off at a smallest scale. The
/// energy scale ℓ is such that the longitudinal integral scale of the cut spectrum is the one asked
/// for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spectrum {
    /// Energy scale ℓ.
    scale_px: f64,
    lowest: f64,
    highest: f64,
    factor: f64,
}

impl Spectrum {
    /// Largest allowed smallest scale over the integral scale.
    pub const LARGEST_CUT: f64 = 0.5;

    /// The spectrum with the root mean square `rms_px` of each component, the longitudinal integral
    /// scale `integral_scale_px` and no wavelengths below `smallest_scale_px`, which must be above
    /// 0 and at most [`Self::LARGEST_CUT`] of the integral scale.
    pub fn new(rms_px: f64, integral_scale_px: f64, smallest_scale_px: f64) -> Spectrum {
        let mut spectrum = Spectrum {
            scale_px: integral_scale_px,
            lowest: LOWEST / integral_scale_px,
            highest: TAU / smallest_scale_px,
            factor: 1.0,
        };
        // The integral scale is nearly proportional to ℓ, so scaling ℓ by the ratio of the integral
        // scale that is wanted to the one found converges fast.
        for _ in 0..60 {
            spectrum.scale_px *= integral_scale_px / spectrum.integral_scale_px();
            spectrum.lowest = LOWEST / spectrum.scale_px;
        }
        spectrum.factor = 1.5 * rms_px * rms_px / spectrum.moment(0);
        spectrum
    }

    /// Kinetic energy E(κ) per wave number, px³, at the wave number κ, rad/px.
    pub fn energy(&self, wave_number: f64) -> f64 {
        if wave_number < self.lowest || wave_number > self.highest {
            return 0.0;
        }
        let s2 = (wave_number * self.scale_px) * (wave_number * self.scale_px);
        self.factor * s2 * s2 * libm::pow(1.0 + s2, -17.0 / 6.0)
    }

    /// Lowest and highest wave number, rad/px.
    pub fn range(&self) -> [f64; 2] {
        [self.lowest, self.highest]
    }

    /// ∫ E κ^−n dκ by Simpson's rule in ln κ.
    fn moment(&self, n: i32) -> f64 {
        const PARTS: usize = 400;
        let width = libm::log(self.highest / self.lowest) / PARTS as f64;
        (0..=PARTS)
            .map(|k| {
                let weight = match k {
                    0 | PARTS => 1.0,
                    k if k % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                // The ends themselves, in spite of rounding.
                let at = (self.lowest * libm::exp(k as f64 * width)).clamp(self.lowest, self.highest);
                weight * width / 3.0 * self.energy(at) * at / at.powi(n)
            })
            .sum()
    }

    /// L = π/(2u²) ∫ E/κ dκ, with u² = ⅔ ∫ E dκ.
    fn integral_scale_px(&self) -> f64 {
        0.75 * PI * self.moment(1) / self.moment(0)
    }
}

impl Turbulence {
    /// A field with this spectrum. Each seed gives another field of the same statistics.
    pub fn new(spectrum: Spectrum, seed: u64) -> Self {
        let mut key = *b"12345678 modes of turbulence    ";
        key[..8].copy_from_slice(&seed.to_le_bytes());
        let mut rng = ChaCha8Rng::from_seed(key);
        let [lowest, highest] = spectrum.range();
        let width = libm::log(highest / lowest) / BINS as f64;
        let bins: Vec<[f64; 2]> = (0..BINS)
            .map(|bin| {
                let wave_number = lowest * libm::exp((bin as f64 + open01(&mut rng)) * width);
                [wave_number, spectrum.energy(wave_number) * wave_number * width]
            })
            .collect();
        let total: f64 = bins.iter().map(|[_, energy]| energy).sum();
        let scale = spectrum.moment(0) / total;
        let mut blocks = vec![WaveBlock::EMPTY; (3 * BINS).div_ceil(LANES)];
        for (bin, [wave_number, energy]) in bins.iter().enumerate() {
            let axes = random_axes(&mut rng);
            // Each mode has a third of the bin's energy: ¼ A² = E/3.
            let amplitude = libm::sqrt(4.0 / 3.0 * energy * scale);
            let rate = UNSTEADINESS
                * libm::sqrt(wave_number * wave_number * wave_number * spectrum.energy(*wave_number));
            for (axis, along) in axes.iter().enumerate() {
                let mode = 3 * bin + axis;
                let (block, lane) = (&mut blocks[mode / LANES], mode % LANES);
                let across = axes[(axis + 1) % 3];
                for i in 0..3 {
                    block.wave[i][lane] = wave_number / TAU * along[i];
                    block.amplitude[i][lane] = amplitude * across[i];
                }
                let forth = if open01(&mut rng) < 0.5 { -1.0 } else { 1.0 };
                block.frequency[lane] = forth * rate / TAU;
                block.phase[lane] = open01(&mut rng);
            }
        }
        Turbulence { blocks }
    }
}

/// Three random directions at right angles to each other.
fn random_axes(rng: &mut ChaCha8Rng) -> [Vec3; 3] {
    let z = 2.0 * open01(rng) - 1.0;
    let (sin, cos) = libm::sincos(TAU * open01(rng));
    let (sin_turn, cos_turn) = libm::sincos(TAU * open01(rng));
    let level = libm::sqrt(1.0 - z * z);
    let outward = [level * cos, level * sin, z];
    let (east, north) = ([-sin, cos, 0.0], [-z * cos, -z * sin, level]);
    let turned = |a: f64, b: f64| std::array::from_fn(|i| a * east[i] + b * north[i]);
    [outward, turned(cos_turn, sin_turn), turned(-sin_turn, cos_turn)]
}

impl WaveBlock {
    const EMPTY: WaveBlock = WaveBlock {
        wave: [[0.0; LANES]; 3],
        frequency: [0.0; LANES],
        phase: [0.0; LANES],
        amplitude: [[0.0; LANES]; 3],
    };

    /// Phases of the modes at a point and time, in turns from −½ to ½.
    #[inline(always)]
    fn turns(&self, at: Vec3, time: f64) -> [f64; LANES] {
        std::array::from_fn(|l| {
            let turns = self.wave[0][l] * at[0]
                + self.wave[1][l] * at[1]
                + self.wave[2][l] * at[2]
                + self.frequency[l] * time
                + self.phase[l];
            whole_turns_off(turns)
        })
    }
}

/// An angle in turns less the nearest whole number of them.
#[inline(always)]
fn whole_turns_off(turns: f64) -> f64 {
    // Adding and subtracting 1.5 · 2⁵² rounds to a whole number, in all lanes at once.
    const ROUND: f64 = 1.5 * (1u64 << 52) as f64;
    turns - ((turns + ROUND) - ROUND)
}

/// Coefficients of sin(2πw) in odd powers of w. For |w| ≤ ¼ the first term left out is 2e-18.
const SINE: [f64; 11] = {
    let mut all = [0.0; 11];
    let (mut term, mut k) = (TAU, 0);
    while k < 11 {
        all[k] = term;
        let n = (2 * k) as f64;
        term *= -TAU * TAU / ((n + 2.0) * (n + 3.0));
        k += 1;
    }
    all
};

/// Sine of an angle of −¼ to ¼ turns.
#[inline(always)]
fn sine(turns: f64) -> f64 {
    let square = turns * turns;
    let mut sum = SINE[10];
    for k in (0..10).rev() {
        sum = sum * square + SINE[k];
    }
    sum * turns
}

/// Cosine of an angle of −½ to ½ turns.
#[inline(always)]
fn cosine(turns: f64) -> f64 {
    sine(0.25 - turns.abs())
}

/// Sine of an angle of −½ to ½ turns.
#[inline(always)]
fn sine_of_any(turns: f64) -> f64 {
    // Folded at a quarter turn.
    sine((0.25 - (turns.abs() - 0.25).abs()).copysign(turns))
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn velocity(blocks: &[WaveBlock], at: Vec3, time: f64) -> Vec3 {
    let mut sums = [[0.0; LANES]; 3];
    for block in blocks {
        let turns = block.turns(at, time);
        let cosine: [f64; LANES] = std::array::from_fn(|l| cosine(turns[l]));
        for (sum, amplitude) in sums.iter_mut().zip(&block.amplitude) {
            for l in 0..LANES {
                sum[l] += amplitude[l] * cosine[l];
            }
        }
    }
    sums.map(|lanes| lanes.iter().sum())
}

impl Flow for Turbulence {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        velocity(&self.blocks, at, time)
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        let mut gradient = [[0.0; 3]; 3];
        for block in &self.blocks {
            let turns = block.turns(at, time);
            for (l, turn) in turns.iter().enumerate() {
                let slope = -TAU * libm::sin(TAU * turn);
                for (i, row) in gradient.iter_mut().enumerate() {
                    for (j, g) in row.iter_mut().enumerate() {
                        *g += block.amplitude[i][l] * block.wave[j][l] * slope;
                    }
                }
            }
        }
        gradient
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        Some(series::series(
            &series::Modes::of(&self.blocks),
            from,
            time,
            reach,
        ))
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let modes = series::Modes::of(&self.blocks);
        Some(Box::new(series::AlongModes::new(modes, time)))
    }
}
