//! Random numbers that can be drawn in any order.
//!
//! All come from ChaCha8, a counter-based generator that is the same on every machine. Its key is
//! made of the study, the point, the realisation and the purpose, its stream number is the place (a
//! cell of the seeding, a row of pixels). The numbers therefore do not depend on the number of
//! threads or the order of the work, and points of a study that share a key share particles and
//! noise (common random numbers).

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Names one realisation of a study: the same seed and scene give the same pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Seed {
    /// The study.
    pub study: u64,
    /// The point of the study; equal for all points that shall share particles and noise.
    pub point: u64,
    /// The number of the pair at that point.
    pub realisation: u64,
}

/// What numbers are drawn for. Each purpose has streams of its own. The order is part of the key:
/// new purposes go to the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// Places of the particles; the place is the cell.
    Particles,
    /// Shot and dark noise; the place is the frame and the row.
    Noise,
    /// Diameters of the particles; the place is the cell.
    Diameters,
    /// Numbers and places of particles in clusters; the place is the cell.
    Clusters,
    /// Times of the pulses; the place is the frame.
    Jitter,
    /// Places of the hot spots among the reflections; from the study's seed alone.
    HotSpots,
    /// Differences between pixels; from the study's seed alone, the place is the row.
    Camera,
    /// Brownian motion; the place is the number of the particle.
    Brownian,
}

impl Seed {
    /// The seed of what all pairs of the study share.
    pub(crate) fn of_study(self) -> Seed {
        Seed {
            study: self.study,
            ..Seed::default()
        }
    }

    /// Random numbers for a use of the caller's own. Those of different places are independent.
    /// They are independent of the particles too, but not of the noise that a sensor adds with this
    /// seed.
    ///
    /// ```
    /// use motefield_generator::Seed;
    ///
    /// let seed = Seed { study: 1, point: 0, realisation: 5 };
    /// let (mut once, mut again) = (seed.draws(0), seed.draws(0));
    /// assert_eq!(once.normal(), again.normal());
    /// assert!((0.0..1.0).contains(&once.uniform()));
    /// ```
    pub fn draws(self, place: u64) -> Draws {
        Draws(stream(self, Purpose::Noise, place))
    }
}

/// A stream of random numbers, from [`Seed::draws`].
#[derive(Debug, Clone)]
pub struct Draws(ChaCha8Rng);

impl Draws {
    /// The next number, uniform on (0, 1), never an end point.
    pub fn uniform(&mut self) -> f64 {
        open01(&mut self.0)
    }

    /// The next number, normal with mean 0 and variance 1.
    pub fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }
}

/// The random numbers for one purpose at one place.
pub(crate) fn stream(seed: Seed, purpose: Purpose, place: u64) -> ChaCha8Rng {
    let mut key = [0; 32];
    for (bytes, word) in
        key.chunks_exact_mut(8)
            .zip([seed.study, seed.point, seed.realisation, purpose as u64])
    {
        bytes.copy_from_slice(&word.to_le_bytes());
    }
    let mut rng = ChaCha8Rng::from_seed(key);
    rng.set_stream(place);
    rng
}

/// The next number, uniform on (0, 1), never an end point.
pub(crate) fn open01(rng: &mut impl Rng) -> f64 {
    open01_of(rng.next_u64())
}

/// The number on (0, 1) that a random word stands for.
#[inline(always)]
pub(crate) fn open01_of(word: u64) -> f64 {
    ((word >> 12) as f64 + 0.5) * (1.0 / (1u64 << 52) as f64)
}

/// Quantile of the standard normal distribution at `p` in (0, 1), with a relative error of about
/// 1e-7 (algorithm AS 241, PPND7: Wichura, Applied Statistics 37 (1988) 477; the tests compare with
/// tables).
#[inline]
pub(crate) fn normal_quantile(p: f64) -> f64 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * (((59.109_374_72 * r + 159.291_132_02) * r + 50.434_271_938) * r + 3.387_132_717_9)
            / (((67.187_563_6 * r + 78.757_757_664) * r + 17.895_169_469) * r + 1.0);
    }
    let r = libm::sqrt(-libm::log(if q < 0.0 { p } else { 1.0 - p }));
    let tail = if r <= 5.0 {
        let r = r - 1.6;
        (((0.170_238_211_03 * r + 1.306_728_481_6) * r + 2.756_815_39) * r + 1.423_437_277_7)
            / ((0.120_211_320_75 * r + 0.737_001_642_5) * r + 1.0)
    } else {
        let r = r - 5.0;
        (((0.017_337_203_997 * r + 0.428_682_943_37) * r + 3.081_226_386) * r + 6.657_905_115)
            / ((0.012_258_202_635 * r + 0.241_978_942_25) * r + 1.0)
    };
    if q < 0.0 { -tail } else { tail }
}

/// Normal numbers of mean 0 and variance 1 for uniform words, side by side: the quantiles at
/// (word + ½)/2³², with a relative error of 1e-6.
///
/// With x = 2u − 1 and w = −ln(1 − x²) the quantile is x times a smooth function of w, or of √w in
/// the tails; these are fitted by polynomials with relative errors of 1e-7 and 4e-7, and a test
/// compares with tabulated quantiles. There are no branches between numbers, so that the compiler
/// can make vector code; that of the tails, 1 of 300 numbers, is left out where there are none.
#[inline(always)]
pub(crate) fn normals<const N: usize>(words: &[u32; N]) -> [f32; N] {
    const MIDDLE: [f32; 9] = [
        2.123_313_7,
        0.348_802_66,
        -0.005_908_170_7,
        -0.001_773_010_2,
        0.000_309_150_14,
        -6.217_97e-6,
        -4.990_546_6e-6,
        4.861_019e-7,
        4.035_309e-8,
    ];
    const TAIL: [f32; 8] = [
        4.634_225,
        1.424_053,
        0.005_198_171_4,
        -0.003_218_909,
        0.001_771_305_5,
        -0.001_393_001_3,
        0.000_897_203_75,
        -0.000_238_834_53,
    ];
    const TAIL_FROM: f32 = 5.0;
    const UNIT: f32 = 1.0 / 4_294_967_296.0;
    let [mut x, mut w, mut middle, mut tail] = [[0.0; N]; 4];
    let mut tails = false;
    for lane in 0..N {
        let word = words[lane];
        // The distance from the nearer end of (0, 1), so that no digits are lost near either end.
        // Words from 2³¹ on are negative as `i32`.
        let near = if (word as i32) < 0 { !word } else { word } as i32;
        let u = (near as f32 + 0.5) * UNIT;
        x[lane] = ((word ^ 0x8000_0000) as i32 as f32 + 0.5) * (2.0 * UNIT);
        w[lane] = -ln(4.0 * u * (1.0 - u));
        tails |= w[lane] >= TAIL_FROM;
    }
    for c in MIDDLE.iter().rev() {
        for lane in 0..N {
            middle[lane] = middle[lane] * (w[lane] - 2.5) + c;
        }
    }
    if tails {
        for c in TAIL.iter().rev() {
            for lane in 0..N {
                tail[lane] = tail[lane] * (w[lane].max(0.0).sqrt() - 3.441_824) + c;
            }
        }
    }
    for lane in 0..N {
        x[lane] *= if w[lane] < TAIL_FROM {
            middle[lane]
        } else {
            tail[lane]
        };
    }
    x
}

/// Natural logarithm of a positive number that is not subnormal: with x = 2ᵏ m, m from ⅔ to 4/3, it
/// is 2 artanh((m − 1)/(m + 1)) + k ln 2. The series of artanh to the eleventh power leaves 1e-9.
#[inline(always)]
fn ln(x: f32) -> f32 {
    let bits = x.to_bits() as i32;
    let k = (bits - 0x3f2a_aaab) >> 23;
    let m = f32::from_bits((bits - (k << 23)) as u32);
    let s = (m - 1.0) / (m + 1.0);
    let q = s * s;
    let series = 1.0 + q * (1.0 / 3.0 + q * (0.2 + q * (1.0 / 7.0 + q * (1.0 / 9.0 + q * (1.0 / 11.0)))));
    2.0 * s * series + k as f32 * std::f32::consts::LN_2
}

#[cfg(test)]
mod tests;
