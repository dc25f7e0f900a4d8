//! Poisson random numbers, many at a time: exact below a mean of 64, a close approximation above.

use std::sync::LazyLock;

use multiversion::multiversion;

use crate::random::normals;

/// Mean below which numbers are exact; from there on they are rounded Cornish–Fisher quantiles.
const EXACT_BELOW_E: f32 = 64.0;
/// Tables per unit of the mean.
const TABLES_PER_E: f32 = 8.0;
/// Bits of a uniform word that choose a cell of a table.
const CELL_BITS: u32 = 9;

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
fn replace(charges: &mut [f32], first: &[u32], second: &[u32], tables: &CumulativeTables, full: f32) {
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
    tables: &CumulativeTables,
    full: f32,
) {
    // Neighbouring pixels mostly have means on one side of the limit, and need one of the two.
    let below = charges
        .iter()
        .fold(0, |n, mean| n + usize::from(*mean < EXACT_BELOW_E));
    let mut few = [0.0; LANES];
    if below > 0 {
        let (rests, places) = parted(charges);
        few = small_poisson(&rests, second);
        let tabulated = tables.numbers(&places, first);
        for lane in 0..LANES {
            few[lane] += tabulated[lane];
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

/// What means have beyond the step of the tables, and the number of the table. Means from
/// [`EXACT_BELOW_E`] on, which take no part, have the one after the last.
#[inline(always)]
fn parted(means: &[f32; LANES]) -> ([f32; LANES], [u32; LANES]) {
    /// With this added a whole number below it stands in the last bits.
    const TO_BITS: f32 = 8_388_608.0;
    let (mut rests, mut places) = ([0.0; LANES], [0; LANES]);
    for lane in 0..LANES {
        // Beside bright particles rounding may leave a mean a little below 0.
        let mean = means[lane].clamp(0.0, EXACT_BELOW_E);
        let steps = (mean * TABLES_PER_E).floor();
        rests[lane] = mean - steps / TABLES_PER_E;
        places[lane] = (steps + TO_BITS).to_bits() - TO_BITS.to_bits();
    }
    (rests, places)
}

/// Poisson numbers of means below 1/8, by inversion: the number of values of the distribution
/// function that the uniform number exceeds. From 7 on that function is 1 to within 2⁻³⁶.
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
    /// Of the series of e^(−m): below 1/8 the ninth term is under 1e-13.
    const SERIES: [f64; 9] = [
        1.0,
        -1.0,
        1.0 / 2.0,
        -1.0 / 6.0,
        1.0 / 24.0,
        -1.0 / 120.0,
        1.0 / 720.0,
        -1.0 / 5040.0,
        1.0 / 40_320.0,
    ];
    let (mut rest, mut u, mut p) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
    for lane in 0..LANES {
        rest[lane] = f64::from(means[lane]);
        u[lane] = (f64::from(words[lane]) + 0.5) * (1.0 / 4_294_967_296.0);
    }
    for c in SERIES.iter().rev() {
        for lane in 0..LANES {
            p[lane] = p[lane] * rest[lane] + c;
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

/// Distribution functions of the means 0, 1/8, 2/8 …, for inversion.
struct CumulativeTables {
    /// Of each table at 0, 1, 2 …, in units of 2⁻³²; the largest word from where it is 1.
    below: Vec<[u32; 1 << u8::BITS]>,
    /// Of all tables, one cell for each value of the first bits of a word.
    cells: Vec<TableCell>,
}

/// What a cell says about the words that share their first bits: the first eight bits hold the
/// smallest number that these words give, the last ones the largest remainder of a word that still
/// gives it. The [`MORE`] bit between says that the words beyond give more than one number.
type TableCell = u32;

/// Last bits of a word, and of a [`TableCell`].
const LAST: u32 = u32::MAX >> CELL_BITS;
/// The bit of a [`TableCell`] before the last ones.
const MORE: u32 = LAST + 1;

impl CumulativeTables {
    fn new() -> CumulativeTables {
        let tables = 0..(EXACT_BELOW_E * TABLES_PER_E) as usize;
        let below: Vec<_> = tables
            .map(|k| distribution_function(k as f64 / f64::from(TABLES_PER_E)))
            .collect();
        let cells = below.iter().flat_map(cells_of).collect();
        CumulativeTables { below, cells }
    }

    /// Numbers by tables and words; 0 where there is no such table.
    #[inline(always)]
    fn numbers(&self, places: &[u32; LANES], words: &[u32; LANES]) -> [f32; LANES] {
        let (mut cells, mut numbers, mut more) = ([0; LANES], [0.0; LANES], 0);
        for lane in 0..LANES {
            let cell = (places[lane] << CELL_BITS) | (words[lane] >> (u32::BITS - CELL_BITS));
            cells[lane] = self.cells.get(cell as usize).copied().unwrap_or(LAST);
        }
        for lane in 0..LANES {
            let beyond = (words[lane] & LAST) > (cells[lane] & LAST);
            numbers[lane] = ((cells[lane] >> (u32::BITS - u8::BITS)) + u32::from(beyond)) as i32 as f32;
            more |= if beyond { cells[lane] & MORE } else { 0 };
        }
        if more != 0 {
            for lane in 0..LANES {
                if let (Some(below), true) = (self.below.get(places[lane] as usize), cells[lane] & MORE != 0)
                {
                    numbers[lane] = number(below, words[lane], cells[lane]);
                }
            }
        }
        numbers
    }
}

/// The number that a word of a cell gives, with the distribution function alone.
fn number(below: &[u32; 1 << u8::BITS], word: u32, cell: TableCell) -> f32 {
    let mut n = (cell >> (u32::BITS - u8::BITS)) as u8;
    while word > below[usize::from(n)] {
        n += 1;
    }
    f32::from(n)
}

/// The distribution function of a mean below [`EXACT_BELOW_E`], in units of 2⁻³².
fn distribution_function(mean: f64) -> [u32; 1 << u8::BITS] {
    let (mut p, mut sum, mut n) = (libm::exp(-mean), 0.0, 0.0);
    let mut all = [u32::MAX; 1 << u8::BITS];
    for below in &mut all {
        sum += p;
        let scaled = sum * 4_294_967_296.0;
        n += 1.0;
        p *= mean / n;
        if scaled >= 4_294_967_295.0 || (n > mean && p < 1e-12) {
            break;
        }
        *below = scaled as u32;
    }
    all
}

fn cells_of(below: &[u32; 1 << u8::BITS]) -> [TableCell; 1 << CELL_BITS] {
    let mut n = 0u8;
    std::array::from_fn(|k| {
        let start = (k as u32) << (u32::BITS - CELL_BITS);
        while start > below[usize::from(n)] {
            n += 1;
        }
        let ends_within = |n: u8| below[usize::from(n)] < start | LAST;
        let number = u32::from(n) << (u32::BITS - u8::BITS);
        match (ends_within(n), ends_within(n.saturating_add(1))) {
            (false, _) => number | LAST,
            (true, more) => number | if more { MORE } else { 0 } | (below[usize::from(n)] & LAST),
        }
    })
}

static TABLES: LazyLock<CumulativeTables> = LazyLock::new(CumulativeTables::new);

#[cfg(test)]
mod tests;
