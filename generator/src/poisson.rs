//! Poisson numbers: exact below a stated mean, a stated approximation above it, many at a time.

use std::sync::LazyLock;

use multiversion::multiversion;

use crate::random::normal;

/// Means below this are drawn exactly; above it the number is a rounded Cornish–Fisher quantile.
pub const EXACT_BELOW_E: f32 = 64.0;
/// Tables a unit of mean.
const TABLES_PER_E: f32 = 8.0;
/// Entries of a table's index, by the first bits of the uniform number.
const INDEX_BITS: u32 = 10;

/// Turns expected numbers (≥ 0) into Poisson numbers, at most `full`, from two uniform words each; `first` is used up.
///
/// Below [`EXACT_BELOW_E`] a number is the sum of a Poisson number with the next lower mean of the tables and one for the
/// remainder, both by inversion of the distribution function, exact to the 2⁻³² resolution of the words. From there on it is the
/// Cornish–Fisher expansion of the quantile to the fourth cumulant (Abramowitz and Stegun 26.2.49; memory), rounded, with the
/// variance that rounding adds (1/12, Sheppard) taken off before: nowhere is its distribution function off by more than 1e-4 (held by a
/// test). All grow with the first word, so the same words at a slightly different mean give nearly the same number.
pub fn shoot(charges: &mut [f32], first: &mut [u32], second: &[u32], full: f32) {
    // The scalar part: where a table applies its number replaces the first word, as the bits of a float.
    for (&mean, word) in charges.iter().zip(first.iter_mut()) {
        if mean < EXACT_BELOW_E {
            *word = TABLES[(mean * TABLES_PER_E) as usize].number(*word).to_bits();
        }
    }
    add_remainders(charges, first, second, full);
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_remainders(charges: &mut [f32], first: &[u32], second: &[u32], full: f32) {
    for ((charge, &first), &second) in charges.iter_mut().zip(first).zip(second) {
        let mean = *charge;
        let rest = mean - (mean * TABLES_PER_E).floor() / TABLES_PER_E;
        let few = f32::from_bits(first) + small_poisson(f64::from(rest), second);
        let many = large_poisson(mean, first);
        *charge = (if mean < EXACT_BELOW_E { few } else { many }).min(full);
    }
}

/// Poisson number for a mean below one table step, by inversion: how often the uniform number exceeds the distribution function,
/// which is 1 to 2⁻³⁶ from 7 on.
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

struct Table {
    /// Distribution function at 0, 1, 2 …, in units of 2⁻³², until it reaches all ones.
    below: Vec<u32>,
    /// The smallest number for the first bits of the word.
    index: [u8; 1 << INDEX_BITS],
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
        let mut number = 0;
        let index = std::array::from_fn(|k| {
            let word = (k as u32) << (32 - INDEX_BITS);
            while word > below[number] {
                number += 1;
            }
            number as u8
        });
        Table { below, index }
    }

    fn number(&self, word: u32) -> f32 {
        let mut n = self.index[(word >> (32 - INDEX_BITS)) as usize] as usize;
        while word > self.below[n] {
            n += 1;
        }
        n as f32
    }
}

static TABLES: LazyLock<Vec<Table>> = LazyLock::new(|| {
    (0..(EXACT_BELOW_E * TABLES_PER_E) as usize)
        .map(|k| Table::new(k as f64 / f64::from(TABLES_PER_E)))
        .collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    fn number(mean: f32, first: u32, second: u32) -> f32 {
        let mut charge = [mean];
        shoot(&mut charge, &mut [first], &[second], f32::MAX);
        charge[0]
    }

    /// P(number ≤ n) for n = 0, 1, 2 … of a number that grows with its word: how many words give at most n.
    fn distribution(most: usize, number: impl Fn(u32) -> f32) -> Vec<f64> {
        (0..=most)
            .map(|n| {
                let (mut low, mut high) = (0u64, 1 << 32);
                while low < high {
                    let middle = (low + high) / 2;
                    if number(middle as u32) <= n as f32 {
                        low = middle + 1;
                    } else {
                        high = middle;
                    }
                }
                low as f64 / 4_294_967_296.0
            })
            .collect()
    }

    /// The Poisson distribution function by its definition, summed in double precision.
    fn exact(mean: f64, most: usize) -> Vec<f64> {
        let mut sum = 0.0;
        (0..=most)
            .map(|n| {
                let n = n as f64;
                sum += libm::exp(n * libm::log(mean) - mean - libm::lgamma(n + 1.0));
                sum
            })
            .collect()
    }

    fn largest_difference(a: &[f64], b: &[f64]) -> f64 {
        a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    }

    /// Below the change-over the two words' numbers add up to the Poisson law: their distributions, counted over all words and convolved,
    /// agree with the definition to 2⁻³⁰ (each step of either is off by at most one word of 2³², and so is each table's last one; a few add
    /// up in the convolution).
    #[test]
    fn exact_below_the_change_over() {
        for mean in [0.03f32, 0.124, 0.7, 3.2, 11.9, 31.7, 63.99] {
            let most = (f64::from(mean) + 9.0 * f64::from(mean).sqrt() + 10.0) as usize;
            let table = distribution(most, |word| number(mean, word, 0));
            let least = number(mean, 0, 0);
            let rest = distribution(9, |word| number(mean, 0, word) - least);
            let sum: Vec<f64> = (0..=most)
                .map(|n| {
                    (0..=n.min(9))
                        .map(|k| (rest[k] - if k > 0 { rest[k - 1] } else { 0.0 }) * table[n - k])
                        .sum()
                })
                .collect();
            let worst = largest_difference(&sum, &exact(f64::from(mean), most));
            assert!(worst < 1.0 / f64::from(1 << 30), "mean {mean}: {worst:e}");
        }
    }

    /// From the change-over on no probability of "at most n" is off by more than 1e-4: a picture of a million pixels cannot tell
    /// (the Kolmogorov–Smirnov distance that it could see is 1.36e-3).
    #[test]
    fn close_from_the_change_over_on() {
        for mean in [64.0f32, 70.3, 100.0, 1000.0, 20_000.0] {
            let most = (f64::from(mean) + 6.0 * f64::from(mean).sqrt()) as usize;
            let got = distribution(most, |word| number(mean, word, 0));
            let worst = largest_difference(&got, &exact(f64::from(mean), most));
            assert!(worst < 1e-4, "mean {mean}: {worst:e}");
        }
    }

    /// Quantiles of scipy.stats.poisson 1.17.1 at 1e-6, 1e-3, 0.1, 0.5, 0.9, 0.999, 1 − 1e-6 (outside value); one electron is
    /// allowed where a distribution function passes within 1e-4 of the probability.
    #[test]
    fn quantiles_of_large_means() {
        let probabilities = [1e-6, 1e-3, 0.1, 0.5, 0.9, 0.999, 1.0 - 1e-6];
        for (mean, quantiles) in [
            (64.0, [30, 41, 54, 64, 74, 90, 105]),
            (100.0, [56, 71, 87, 100, 113, 132, 151]),
            (1000.0, [853, 904, 960, 1000, 1041, 1099, 1154]),
            (20_000.0, [19_331, 19_564, 19_819, 20_000, 20_181, 20_438, 20_676]),
        ] {
            for (p, quantile) in probabilities.iter().zip(quantiles) {
                let got = number(mean, (p * 4_294_967_296.0) as u32, 0);
                assert!(
                    (got - quantile as f32).abs() <= 1.0,
                    "mean {mean}, {p}: {got} for {quantile}"
                );
            }
        }
    }
}
