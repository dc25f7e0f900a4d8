//! Random numbers that any part of a study can address without drawing those before.
//!
//! Every draw comes from ChaCha8 (a counter-based stream, documented as portable), whose key is the study's seed, the
//! point, the realisation and the purpose, and whose stream number is the place (a seeding cell, a pixel row).
//! So the same seed gives the same numbers whatever the number of threads or the order of the work, and the points of
//! a study that share a key share particles and noise (common random numbers).

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Names one realisation of a study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Seed {
    /// The study.
    pub study: u64,
    /// The point of the study; the same for all points that shall share particles and noise.
    pub point: u64,
    /// The pair at that point.
    pub realisation: u64,
}

/// What numbers are drawn for; a purpose never disturbs another's draws.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Who is where, how large.
    Particles,
    /// Shot and dark noise of the first frame.
    NoiseA,
    /// Shot and dark noise of the second frame.
    NoiseB,
}

/// The generator for one purpose at one place.
pub fn stream(seed: Seed, purpose: Purpose, place: u64) -> ChaCha8Rng {
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

/// Uniform on (0, 1), never an end point.
pub fn open01(rng: &mut impl Rng) -> f64 {
    ((rng.next_u64() >> 12) as f64 + 0.5) * (1.0 / (1u64 << 52) as f64)
}

/// Quantile of the standard normal distribution at `p` in (0, 1); relative error about 1e-7 (algorithm AS 241, PPND7:
/// Wichura, Applied Statistics 37 (1988) 477; coefficients from memory, checked in the tests against tables).
#[inline]
pub fn normal_quantile(p: f64) -> f64 {
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
