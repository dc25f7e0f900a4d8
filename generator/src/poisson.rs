//! Poisson random numbers, many at a time: exact below a mean of 64, a close approximation above.

use std::sync::LazyLock;

use multiversion::multiversion;

use crate::random::normal;

/// Mean below which numbers are exact; from there on they are rounded Cornish–Fisher quantiles.
const EXACT_BELOW_E: f32 = 64.0;
/// Tables per unit of the mean.
const TABLES_PER_E: f32 = 8.0;
/// Bits of a uniform word that index a table.
const INDEX_BITS: u32 = 10;

/// Replaces means (≥ 0) by Poisson numbers, at most `full`, from two uniform words each. Overwrites
/// `first`.
///
/// Below [`EXACT_BELOW_E`] a number is the sum of two Poisson numbers, one of the next lower mean
/// that is tabulated and one of the remainder, both by inversion of the distribution function and
/// exact to the resolution of the words, 2⁻³². From there on it is the Cornish–Fisher expansion of
/// the quantile to the fourth cumulant (Abramowitz and Stegun 26.2.49), rounded, after taking off
/// the variance that rounding adds (1/12, Sheppard); its distribution function is nowhere off by
/// more than 1e-4, as a test checks. All numbers grow with the first word, so the same words at a
/// slightly different mean give nearly the same number.
pub(crate) fn shoot(charges: &mut [f32], first: &mut [u32], second: &[u32], full: f32) {
    // Where a table applies, its number replaces the first word, as the bits of a float.
    for (&mean, word) in charges.iter().zip(first.iter_mut()) {
        if mean < EXACT_BELOW_E {
            *word = TABLES[(mean * TABLES_PER_E) as usize].number(*word).to_bits();
        }
    }
    add_remainders(charges, first, second, full);
}

/// Pixels that are computed side by side.
const LANES: usize = 16;

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_remainders(charges: &mut [f32], first: &[u32], second: &[u32], full: f32) {
    let words = first.chunks(LANES).zip(second.chunks(LANES));
    for (charges, (first, second)) in charges.chunks_mut(LANES).zip(words) {
        // Neighbouring pixels mostly have means on one side of the limit, and need one of the two.
        let below = charges
            .iter()
            .fold(0, |n, mean| n + usize::from(*mean < EXACT_BELOW_E));
        if below == charges.len() {
            for ((charge, &first), &second) in charges.iter_mut().zip(first).zip(second) {
                *charge = few(*charge, first, second).min(full);
            }
        } else if below == 0 {
            for (charge, &first) in charges.iter_mut().zip(first) {
                *charge = large_poisson(*charge, first).min(full);
            }
        } else {
            for ((charge, &first), &second) in charges.iter_mut().zip(first).zip(second) {
                let (few, many) = (few(*charge, first, second), large_poisson(*charge, first));
                *charge = (if *charge < EXACT_BELOW_E { few } else { many }).min(full);
            }
        }
    }
}

/// The number that a table gave, as its bits, and that of the remainder of the mean.
#[inline(always)]
fn few(mean: f32, tabulated: u32, word: u32) -> f32 {
    let rest = mean - (mean * TABLES_PER_E).floor() / TABLES_PER_E;
    f32::from_bits(tabulated) + small_poisson(f64::from(rest), word)
}

/// Poisson number for a mean below one step of the tables, by inversion: the number of values of
/// the distribution function that the uniform number exceeds. From 7 on that function is 1 to
/// within 2⁻³⁶.
#[inline(always)]
fn small_poisson(mean: f64, word: u32) -> f32 {
    const INVERSE: [f64; 8] = [
        1.0,
        1.0 / 2.0,
        1.0 / 3.0,
        1.0 / 4.0,
        1.0 / 5.0,
        1.0 / 6.0,
        1.0 / 7.0,
        1.0 / 8.0,
    ];
    let u = (f64::from(word) + 0.5) * (1.0 / 4_294_967_296.0);
    // e^(−m) by its series: below 1/8 the ninth term is under 1e-13.
    let mut p = INVERSE.iter().rev().fold(1.0, |sum, k| 1.0 - mean * k * sum);
    let (mut sum, mut n) = (p, 0.0);
    for k in INVERSE {
        n += if u > sum { 1.0 } else { 0.0 };
        p *= mean * k;
        sum += p;
    }
    n
}

/// Poisson number for a mean from [`EXACT_BELOW_E`] on.
#[inline(always)]
fn large_poisson(mean: f32, word: u32) -> f32 {
    let z = normal(word);
    let sigma = (mean - 1.0 / 12.0).max(1.0).sqrt();
    let skew = 1.0 / sigma;
    let w = z
        + skew * (z * z - 1.0) * (1.0 / 6.0)
        + skew * skew * ((z * z - 3.0) * (1.0 / 24.0) - (2.0 * z * z - 5.0) * (1.0 / 36.0)) * z;
    (mean + sigma * w + 0.5).floor().max(0.0)
}

struct CumulativeTable {
    /// Distribution function at 0, 1, 2 …, in units of 2⁻³², up to the largest word.
    below: Vec<u32>,
    /// The smallest number for each value of the first bits of a word.
    index: [u8; 1 << INDEX_BITS],
}

impl CumulativeTable {
    fn new(mean: f64) -> CumulativeTable {
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
        let mut number = 0;
        let index = std::array::from_fn(|k| {
            let word = (k as u32) << (32 - INDEX_BITS);
            while word > below[number] {
                number += 1;
            }
            number as u8
        });
        CumulativeTable { below, index }
    }

    fn number(&self, word: u32) -> f32 {
        let mut n = self.index[(word >> (32 - INDEX_BITS)) as usize] as usize;
        while word > self.below[n] {
            n += 1;
        }
        n as f32
    }
}

static TABLES: LazyLock<Vec<CumulativeTable>> = LazyLock::new(|| {
    (0..(EXACT_BELOW_E * TABLES_PER_E) as usize)
        .map(|k| CumulativeTable::new(k as f64 / f64::from(TABLES_PER_E)))
        .collect()
});

#[cfg(test)]
mod tests;
