//! Poisson random numbers, many at a time: exact below a mean of 64, a close approximation above.

use std::sync::LazyLock;

use multiversion::multiversion;

use crate::random::normals;

/// Mean below which numbers are exact; from there on they are rounded Cornish–Fisher quantiles.
const EXACT_BELOW_E: f32 = 64.0;
/// Tables per unit of the mean.
const TABLES_PER_E: f32 = 8.0;
/// Bits of a uniform word that index a table.
const INDEX_BITS: u32 = 10;

/// Replaces means (≥ 0) by Poisson numbers, at most `full`, from two uniform words each.
///
/// Below [`EXACT_BELOW_E`] a number is the sum of two Poisson numbers, one of the next lower mean
/// that is tabulated and one of the remainder, both by inversion of the distribution function and
/// exact to the resolution of the words, 2⁻³². From there on it is the Cornish–Fisher expansion of
/// the quantile to the fourth cumulant (Abramowitz and Stegun 26.2.49), rounded, after taking off
/// the variance that rounding adds (1/12, Sheppard); its distribution function is nowhere off by
/// more than 1e-4, as a test checks. All numbers grow with the first word, so the same words at a
/// slightly different mean give nearly the same number.
pub(crate) fn shoot(charges: &mut [f32], first: &[u32], second: &[u32], full: f32) {
    replace(charges, first, second, &TABLES, full);
}

/// Whether [`shoot`] looks at the second words of these means.
pub(crate) fn needs_second_word(charges: &[f32]) -> bool {
    // All of them, which is faster in vector registers than looking for the first.
    charges
        .iter()
        .fold(false, |any, mean| any | (*mean < EXACT_BELOW_E))
}

/// Pixels that are computed side by side.
const LANES: usize = 16;

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn replace(charges: &mut [f32], first: &[u32], second: &[u32], tables: &[CumulativeTable], full: f32) {
    let (all, rest) = charges.as_chunks_mut::<LANES>();
    let [(first, first_rest), (second, second_rest)] = [first.as_chunks(), second.as_chunks()];
    for (charges, words) in all.iter_mut().zip(first.iter().zip(second)) {
        replace_side_by_side(charges, words, tables, full);
    }
    let (mut charges, mut words) = ([0.0; LANES], [[0; LANES]; 2]);
    charges[..rest.len()].copy_from_slice(rest);
    words[0][..rest.len()].copy_from_slice(first_rest);
    words[1][..rest.len()].copy_from_slice(second_rest);
    replace_side_by_side(&mut charges, (&words[0], &words[1]), tables, full);
    rest.copy_from_slice(&charges[..rest.len()]);
}

#[inline(always)]
fn replace_side_by_side(
    charges: &mut [f32; LANES],
    (first, second): (&[u32; LANES], &[u32; LANES]),
    tables: &[CumulativeTable],
    full: f32,
) {
    // Neighbouring pixels mostly have means on one side of the limit, and need one of the two.
    let below = charges
        .iter()
        .fold(0, |n, mean| n + usize::from(*mean < EXACT_BELOW_E));
    let mut few = [0.0; LANES];
    if below > 0 {
        few = small_poisson(charges, second);
        let mut places = [0; LANES];
        for lane in 0..LANES {
            // Through a signed number, which takes fewer instructions.
            places[lane] = (charges[lane].min(EXACT_BELOW_E) * TABLES_PER_E) as i32 as usize;
        }
        for lane in 0..LANES {
            // A mean above the limit has no table and takes no part.
            few[lane] += tables
                .get(places[lane])
                .map_or(0.0, |table| table.number(first[lane]));
        }
    }
    if below == LANES {
        for lane in 0..LANES {
            charges[lane] = few[lane].min(full);
        }
    } else {
        let many = large_poisson(charges, first);
        for lane in 0..LANES {
            charges[lane] = (if charges[lane] < EXACT_BELOW_E {
                few[lane]
            } else {
                many[lane]
            })
            .min(full);
        }
    }
}

/// Poisson numbers for what the means have beyond the step of the tables, by inversion: the number
/// of values of the distribution function that the uniform number exceeds. From 7 on that function
/// is 1 to within 2⁻³⁶.
#[inline(always)]
fn small_poisson(means: &[f32; LANES], words: &[u32; LANES]) -> [f32; LANES] {
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
    let (mut rest, mut u, mut p) = ([0.0; LANES], [0.0; LANES], [1.0; LANES]);
    for lane in 0..LANES {
        let mean = means[lane];
        rest[lane] = f64::from(mean - (mean * TABLES_PER_E).floor() / TABLES_PER_E);
        u[lane] = (f64::from(words[lane]) + 0.5) * (1.0 / 4_294_967_296.0);
    }
    // e^(−m) by its series: below 1/8 the ninth term is under 1e-13.
    for k in INVERSE.iter().rev() {
        for lane in 0..LANES {
            p[lane] = 1.0 - rest[lane] * k * p[lane];
        }
    }
    let (mut sum, mut numbers) = (p, [0.0; LANES]);
    for k in INVERSE {
        let mut exceeds = false;
        for lane in 0..LANES {
            exceeds |= u[lane] > sum[lane];
            numbers[lane] += if u[lane] > sum[lane] { 1.0 } else { 0.0 };
            p[lane] *= rest[lane] * k;
            sum[lane] += p[lane];
        }
        // The distribution function only grows.
        if !exceeds {
            break;
        }
    }
    numbers
}

/// Poisson numbers for means from [`EXACT_BELOW_E`] on.
#[inline(always)]
fn large_poisson(means: &[f32; LANES], words: &[u32; LANES]) -> [f32; LANES] {
    let mut numbers = normals(words);
    for lane in 0..LANES {
        let (mean, z) = (means[lane], numbers[lane]);
        let sigma = (mean - 1.0 / 12.0).max(1.0).sqrt();
        let skew = 1.0 / sigma;
        let w = z
            + skew * (z * z - 1.0) * (1.0 / 6.0)
            + skew * skew * ((z * z - 3.0) * (1.0 / 24.0) - (2.0 * z * z - 5.0) * (1.0 / 36.0)) * z;
        numbers[lane] = (mean + sigma * w + 0.5).floor().max(0.0);
    }
    numbers
}

struct CumulativeTable {
    /// Distribution function at 0, 1, 2 …, in units of 2⁻³²; the largest word from where it is 1.
    /// Any number of eight bits has a place.
    below: [u32; 1 << u8::BITS],
    /// The smallest number for each value of the first bits of a word.
    index: [u8; 1 << INDEX_BITS],
}

impl CumulativeTable {
    fn new(mean: f64) -> CumulativeTable {
        let (mut p, mut sum, mut n) = (libm::exp(-mean), 0.0, 0.0);
        let mut below = [u32::MAX; 1 << u8::BITS];
        for below in &mut below {
            sum += p;
            let scaled = sum * 4_294_967_296.0;
            n += 1.0;
            p *= mean / n;
            if scaled >= 4_294_967_295.0 || (n > mean && p < 1e-12) {
                break;
            }
            *below = scaled as u32;
        }
        let mut number = 0u8;
        let index = std::array::from_fn(|k| {
            let word = (k as u32) << (32 - INDEX_BITS);
            while word > below[usize::from(number)] {
                number += 1;
            }
            number
        });
        CumulativeTable { below, index }
    }

    #[inline(always)]
    fn number(&self, word: u32) -> f32 {
        let mut n = self.index[(word >> (32 - INDEX_BITS)) as usize];
        // Most words that share an index have one of two numbers: no branch to be guessed.
        n = n.wrapping_add(u8::from(word > self.below[usize::from(n)]));
        while word > self.below[usize::from(n)] {
            n = n.wrapping_add(1);
        }
        f32::from(n)
    }
}

static TABLES: LazyLock<Vec<CumulativeTable>> = LazyLock::new(|| {
    (0..(EXACT_BELOW_E * TABLES_PER_E) as usize)
        .map(|k| CumulativeTable::new(k as f64 / f64::from(TABLES_PER_E)))
        .collect()
});

#[cfg(test)]
mod tests;
