//! The camera: EMVA 1288 linear model (release 4.0 Linear; equations from memory, checked in the tests by their moments).
//!
//! Photo-electrons arrive by a Poisson law about the expected number; the readout adds normal dark noise; the overall
//! system gain K turns electrons into grey levels above the black level; the converter rounds and clips:
//! y = round(K (n + d) + black), μ_y = K μ_e + black, σ_y² = K² σ_d² + K² μ_e + 1/12.

use std::sync::LazyLock;

use ndarray::Array2;
use rand::Rng;

use crate::random::{Purpose, Seed, normal_quantile, stream};
use crate::scene::{SceneError, number};

/// A camera by its EMVA 1288 figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// Bits of a grey level, 1 to 16.
    pub bits: u32,
    /// Overall system gain K, grey levels (DN) per electron.
    pub gain_dn_per_e: f64,
    /// Electrons at which a pixel is full.
    pub full_well_e: f64,
    /// Temporal dark noise σ_d, electrons.
    pub dark_noise_e: f64,
    /// Mean grey level of a dark pixel, DN.
    pub black_level_dn: f64,
}

impl Sensor {
    /// Largest grey level.
    pub fn white_dn(&self) -> f64 {
        f64::from((1u32 << self.bits) - 1)
    }

    /// The black level at which 5 standard deviations of the dark noise stay above zero, so that a dark picture's mean is not
    /// clipped upward (5 K σ_d, rounded up, at least 1 DN).
    pub fn usual_black_level_dn(gain_dn_per_e: f64, dark_noise_e: f64) -> f64 {
        (5.0 * gain_dn_per_e * dark_noise_e).ceil().max(1.0)
    }

    pub(crate) fn validate(&self) -> Result<(), SceneError> {
        let checks = [
            number(
                "camera bits",
                f64::from(self.bits),
                "",
                (1..=16).contains(&self.bits),
                "1 to 16",
            ),
            number(
                "camera gain",
                self.gain_dn_per_e,
                "DN/e",
                self.gain_dn_per_e > 0.0 && self.gain_dn_per_e <= 1e6,
                "above 0 and at most 1e6 DN/e",
            ),
            number(
                "full-well capacity",
                self.full_well_e,
                "e",
                self.full_well_e > 0.0 && self.full_well_e <= 1e9,
                "above 0 and at most 1e9 e",
            ),
            number(
                "dark noise",
                self.dark_noise_e,
                "e",
                (0.0..=1e6).contains(&self.dark_noise_e),
                "0 to 1e6 e",
            ),
            number(
                "black level",
                self.black_level_dn,
                "DN",
                (0.0..65_536.0).contains(&self.black_level_dn),
                "0 to the largest grey level",
            ),
        ];
        match checks.into_iter().find(|check| !check.2) {
            Some((what, value, _, must)) => Err(SceneError { what, value, must }),
            None => Ok(()),
        }
    }

    /// Turns expected photo-electrons into grey levels in place, row by row, each row with its own random stream.
    pub fn read(&self, image: &mut Array2<f32>, seed: Seed, purpose: Purpose) {
        let white = self.white_dn();
        let width = image.ncols();
        let mut words = vec![0u8; 12 * width];
        for (y, mut row) in image.rows_mut().into_iter().enumerate() {
            stream(seed, purpose, y as u64).fill_bytes(&mut words);
            for (pixel, words) in row.iter_mut().zip(words.as_chunks::<12>().0) {
                let word =
                    |k: usize| u32::from_le_bytes([words[k], words[k + 1], words[k + 2], words[k + 3]]);
                let n = poisson(f64::from(*pixel), word(0), word(4)).min(self.full_well_e);
                let dark = self.dark_noise_e * normal_quantile(fraction(word(8)));
                let grey = self.gain_dn_per_e * (n + dark) + self.black_level_dn;
                *pixel = (grey + 0.5).floor().clamp(0.0, white) as f32;
            }
        }
    }
}

/// Means up to this are drawn exactly; above it the number is a rounded Cornish–Fisher quantile.
pub const EXACT_BELOW_E: f64 = 64.0;
/// Tables a unit of mean.
const TABLES_PER_E: f64 = 2.0;
/// Entries of a table's index, by the first bits of the uniform number.
const INDEX_BITS: u32 = 6;

/// Midpoint of the interval of (0, 1) that a 32-bit word stands for.
fn fraction(word: u32) -> f64 {
    (f64::from(word) + 0.5) * (1.0 / 4_294_967_296.0)
}

/// A Poisson number of the given mean from two uniform words; grows with `first`, so that the same words at a slightly
/// different mean give nearly the same number.
///
/// Up to [`EXACT_BELOW_E`]: the sum of a tabulated Poisson number with the next lower mean of the tables and
/// one for the remainder, both by inversion of the distribution function (exact to the 2⁻³² resolution of the words). Above: the
/// Cornish–Fisher expansion of the quantile to the fourth cumulant (Abramowitz and Stegun 26.2.49; memory), rounded, with
/// the variance that rounding adds (1/12, Sheppard) taken off before.
fn poisson(mean: f64, first: u32, second: u32) -> f64 {
    if mean < EXACT_BELOW_E {
        let table = (mean * TABLES_PER_E) as usize;
        return TABLES[table].number(first) + small_poisson(mean - table as f64 / TABLES_PER_E, second);
    }
    let z = normal_quantile(fraction(first));
    let sigma = (mean - 1.0 / 12.0).sqrt();
    let skew = 1.0 / sigma;
    let w = z
        + skew * (z * z - 1.0) / 6.0
        + skew * skew * ((z * z - 3.0) / 24.0 - (2.0 * z * z - 5.0) / 36.0) * z;
    (mean + sigma * w + 0.5).floor().max(0.0)
}

/// Poisson number for a mean below one table step, by inversion.
fn small_poisson(mean: f64, word: u32) -> f64 {
    let u = fraction(word);
    // e^(−m) by its series: below ½ the tenth term is under 3e-10, the resolution of the word.
    let mut p = (1..10).rev().fold(1.0, |sum, k| 1.0 - mean / f64::from(k) * sum);
    let (mut n, mut sum) = (0.0, p);
    while u > sum && n < 16.0 {
        n += 1.0;
        p *= mean / n;
        sum += p;
    }
    n
}

struct Table {
    /// Distribution function at 0, 1, 2 …, in units of 2⁻³², until it reaches all ones.
    below: Vec<u32>,
    /// The smallest number for the first bits of the word.
    index: [u16; 1 << INDEX_BITS],
}

impl Table {
    fn new(mean: f64) -> Table {
        let (mut below, mut p, mut sum, mut n) = (Vec::new(), libm::exp(-mean), 0.0, 0.0);
        loop {
            sum += p;
            let scaled = sum * 4_294_967_296.0;
            n += 1.0;
            p *= mean / n;
            if scaled >= 4_294_967_295.0 || (n > mean && p < 1e-12) {
                below.push(u32::MAX);
                break;
            }
            below.push(scaled as u32);
        }
        let index = std::array::from_fn(|k| {
            let word = (k as u32) << (32 - INDEX_BITS);
            below
                .iter()
                .position(|&limit| word <= limit)
                .expect("the last entry is the largest word") as u16
        });
        Table { below, index }
    }

    fn number(&self, word: u32) -> f64 {
        let mut n = self.index[(word >> (32 - INDEX_BITS)) as usize] as usize;
        while word > self.below[n] {
            n += 1;
        }
        n as f64
    }
}

static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    (0..(EXACT_BELOW_E * TABLES_PER_E) as usize)
        .map(|k| Table::new(k as f64 / TABLES_PER_E))
        .collect()
});
