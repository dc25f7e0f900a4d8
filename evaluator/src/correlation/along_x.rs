//! The correlation of the windows of a vector along x, from the transforms of their columns.
//!
//! - What was transformed of a column is p - c, with c its first pixel. The mean m of a window,
//!   weighted by its taper, is taken off the transforms: with V the transform of the taper v along y,
//!   those of v (p - m) are those of v (p - c) and (c - m) V.
//! - The cross-spectrum conj(P) Q is formed at half the wavenumbers along y, as the correlation is
//!   real too.

use multiversion::multiversion;

use super::columns::{rows_of_mut, transform};
use super::strip::StripColumns;
use crate::aligned::Aligned;

/// Values that are summed side by side.
const LANES: usize = 16;

/// The weights of a window along either axis.
pub(super) struct Taper {
    pub weights: Vec<f32>,
    sum: f32,
    /// Twice their transform, wavenumbers as in [`StripColumns`]: real parts, then imaginary.
    transformed: Aligned,
}

impl Taper {
    pub fn new(weights: Vec<f32>) -> Self {
        Self {
            sum: weights.iter().sum(),
            transformed: transformed(&weights),
            weights,
        }
    }
}

/// Twice the transform of a taper at wavenumbers 0 (with half its length) to half its length.
fn transformed(taper: &[f32]) -> Aligned {
    let side = taper.len();
    let at = |k: usize| {
        let angle = |n: usize| std::f64::consts::TAU * ((n * k) % side) as f64 / side as f64;
        let sum = |of: fn(f64) -> f64| -> f64 { (0..side).map(|n| f64::from(taper[n]) * of(angle(n))).sum() };
        [2.0 * sum(f64::cos), -2.0 * sum(f64::sin)]
    };
    let half = side / 2;
    let real = (0..half).map(|k| at(k)[0]);
    let imaginary = (0..half).map(|k| if k == 0 { at(half)[0] } else { at(k)[1] });
    let mut transformed = Aligned::zeros(side);
    for (to, value) in transformed.iter_mut().zip(real.chain(imaginary)) {
        *to = value as f32;
    }
    transformed
}

/// Room for what lies between the steps.
pub(super) struct RowBuffers {
    /// Between the two steps of a transform.
    between: Aligned,
    /// Of window A and B: real parts of all wavenumbers along x, half of those along y each, then
    /// imaginary parts.
    spectra: [Aligned; 2],
}

impl RowBuffers {
    pub fn new(side: usize) -> Self {
        let spectrum = || Aligned::zeros(side * side);
        Self {
            between: spectrum(),
            spectra: [spectrum(), spectrum()],
        }
    }
}

/// The correlation of the windows in these columns, transformed back along x alone: real parts of
/// each lag, half the wavenumbers along y, then imaginary parts.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
pub(super) fn correlation_along_x(
    columns: StripColumns,
    taper: &Taper,
    factors: &[[f32; 2]],
    work: &mut RowBuffers,
    to: &mut [f32],
) {
    match taper.weights.len() {
        32 => along_x::<32, 4, 8, 16>(columns, taper, factors, work, to),
        _ => along_x::<64, 8, 8, 32>(columns, taper, factors, work, to),
    }
}

#[inline(always)]
fn along_x<const N: usize, const P: usize, const Q: usize, const H: usize>(
    columns: StripColumns,
    taper: &Taper,
    factors: &[[f32; 2]],
    RowBuffers { between, spectra }: &mut RowBuffers,
    to: &mut [f32],
) {
    let weights: &[f32; N] = taper.weights.first_chunk().expect("N weights");
    let of_taper = taper.transformed.as_chunks().0.first_chunk().expect("N values");
    let of_columns = columns.spectra.as_chunks().0.as_chunks().0;
    let of_columns = of_columns.first_chunk().expect("N columns");
    let mut offsets = [[0.0; N]; 2];
    for (half, offsets) in offsets.iter_mut().enumerate() {
        let (first, sums) = (columns.first[half], columns.sums[half]);
        offsets_of_columns(
            first.first_chunk().expect("N pixels"),
            sums.first_chunk().expect("N sums"),
            weights,
            taper.sum,
            offsets,
        );
    }
    for (half, (offsets, spectrum)) in offsets.iter().zip(&mut *spectra).enumerate() {
        spectrum_along_x::<N, P, Q, H>(
            of_columns,
            half,
            weights,
            offsets,
            of_taper,
            factors,
            between,
            rows_of_mut(spectrum),
        );
    }
    let [a, b] = spectra;
    let (a, b) = (rows_of_mut::<N, H>(a), rows_of_mut::<N, H>(b));
    product_of_real_columns(a, b);
    lags_along_x::<N, P, Q, H>(a, b, factors, between, rows_of_mut(to));
}

/// By how much what was taken off each column, its first pixel, is more than the weighted mean of
/// the window, times the weight of the column.
#[inline(always)]
fn offsets_of_columns<const N: usize>(
    first: &[f32; N],
    sums: &[f32; N],
    taper: &[f32; N],
    taper_sum: f32,
    offsets: &mut [f32; N],
) {
    let mut mean = [0.0; LANES];
    for x in 0..N {
        offsets[x] = first[x] - first[0];
    }
    let columns = (taper.as_chunks::<LANES>().0.iter()).zip(sums.as_chunks::<LANES>().0);
    for ((taper, sums), offsets) in columns.zip(offsets.as_chunks::<LANES>().0) {
        for lane in 0..LANES {
            mean[lane] += taper[lane] * (sums[lane] + taper_sum * offsets[lane]);
        }
    }
    let mean = mean.iter().sum::<f32>() / (taper_sum * taper_sum);
    for x in 0..N {
        offsets[x] = (offsets[x] - mean) * taper[x];
    }
}

/// The columns of window A (`half` 0) or B (1), transformed along x.
#[inline(always)]
#[expect(clippy::too_many_arguments, reason = "arrays that do not share memory")]
fn spectrum_along_x<const N: usize, const P: usize, const Q: usize, const H: usize>(
    columns: &[[[f32; H]; 4]; N],
    half: usize,
    taper: &[f32; N],
    offsets: &[f32; N],
    of_taper: &[[f32; H]; 2],
    factors: &[[f32; 2]],
    between: &mut [f32],
    [re, im]: &mut [[[f32; H]; N]; 2],
) {
    transform::<N, P, Q, H>(
        factors,
        between,
        |n, k| [0, 1].map(|part| taper[n] * columns[n][2 * part + half][k] + offsets[n] * of_taper[part][k]),
        |wavenumber, k, value| [re[wavenumber][k], im[wavenumber][k]] = value,
    );
}

/// At the first place of each row of the spectra, where two real columns share it, puts 1 in place
/// of A and, of B, the cross-spectra of either column, sharing the place likewise: so that conj(A) B
/// is right everywhere.
///
/// With Z = F + iG of A at the wavenumbers k and N - k, F = (Z + conj Z')/2 and G = (Z - conj Z')/2i.
#[inline(always)]
fn product_of_real_columns<const N: usize, const H: usize>(
    a: &mut [[[f32; H]; N]; 2],
    b: &mut [[[f32; H]; N]; 2],
) {
    for k in 0..=N / 2 {
        let opposite = (N - k) % N;
        let both = |[re, im]: &[[[f32; H]; N]; 2]| {
            let [z, w] = [[re[k][0], im[k][0]], [re[opposite][0], im[opposite][0]]];
            let [even, odd] = [[z[0] + w[0], z[1] - w[1]], [z[0] - w[0], z[1] + w[1]]];
            [[0.5 * even[0], 0.5 * even[1]], [0.5 * odd[0], 0.5 * odd[1]]]
        };
        let ([f_a, g_a], [f_b, g_b]) = (both(a), both(b));
        let product = |[a, b]: [f32; 2], [c, d]: [f32; 2]| [a * c + b * d, a * d - b * c];
        let ([f_re, f_im], [g_re, g_im]) = (product(f_a, f_b), product(g_a, g_b));
        for (k, re, im) in [
            (k, f_re - g_im, f_im + g_re),
            (opposite, f_re + g_im, g_re - f_im),
        ] {
            (a[0][k][0], a[1][k][0]) = (1.0, 0.0);
            (b[0][k][0], b[1][k][0]) = (re, im);
        }
    }
}

/// The product conj(A) B of two spectra, transformed back along x.
#[inline(always)]
fn lags_along_x<const N: usize, const P: usize, const Q: usize, const H: usize>(
    [a_re, a_im]: &[[[f32; H]; N]; 2],
    [b_re, b_im]: &[[[f32; H]; N]; 2],
    factors: &[[f32; 2]],
    between: &mut [f32],
    [re, im]: &mut [[[f32; H]; N]; 2],
) {
    transform::<N, P, Q, H>(
        factors,
        between,
        |n, k| {
            let (a, b) = ([a_re[n][k], a_im[n][k]], [b_re[n][k], b_im[n][k]]);
            [a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]]
        },
        |lag, k, value| [im[lag][k], re[lag][k]] = value,
    );
}
