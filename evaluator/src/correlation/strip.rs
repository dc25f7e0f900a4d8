//! Strips of both frames, as high as a window, transformed down their columns of pixels.

use std::ops::Range;

use multiversion::multiversion;
use multiversion::target::match_target;

use super::columns::{rows_of, rows_of_mut, transform};
use crate::aligned::Aligned;
use crate::squares;

/// Columns that are transformed side by side; no window is narrower. (Loops over 16 would be unrolled
/// before the compiler looks for what can be done side by side.)
pub(super) const AT_ONCE: usize = 32;

/// A part of both frames, as high as a window, transformed down its columns.
pub(super) struct ColumnStrip {
    side: usize,
    /// As in [`StripColumns`].
    spectra: Aligned,
    first: [Vec<f32>; 2],
    sums: [Vec<f32>; 2],
    work: StripBuffers,
}

/// What is known of some columns of a strip.
pub(super) struct StripColumns<'a> {
    /// For each column twice the spectra of A and B at wavenumbers 0 (with N/2) to N/2 - 1: the real
    /// parts of A, those of B, the imaginary parts of A, of B.
    pub spectra: &'a [f32],
    /// First pixels of the columns of A and of B, and the weighted sums of what the others exceed
    /// them by.
    pub first: [&'a [f32]; 2],
    pub sums: [&'a [f32]; 2],
}

/// Room for what lies between two steps.
struct StripBuffers {
    /// Between the two steps of a transform.
    between: Aligned,
    /// Tapered pixels, then the spectra that are transposed.
    tapered: Aligned,
    transformed: Aligned,
}

impl ColumnStrip {
    /// For windows of a side for which there are transforms.
    pub fn new(side: usize) -> Self {
        let both = || Aligned::zeros(2 * side * AT_ONCE);
        Self {
            side,
            spectra: Aligned::default(),
            first: Default::default(),
            sums: Default::default(),
            work: StripBuffers {
                between: both(),
                tapered: both(),
                transformed: both(),
            },
        }
    }

    pub fn columns(&self, columns: Range<usize>) -> StripColumns<'_> {
        let length = 2 * self.side;
        StripColumns {
            spectra: &self.spectra[length * columns.start..length * columns.end],
            first: self.first.each_ref().map(|values| &values[columns.clone()]),
            sums: self.sums.each_ref().map(|values| &values[columns.clone()]),
        }
    }

    /// Transforms so many columns, at least as many as a window has, of rows of frame A and B that
    /// are `stride` apart, with the factors of [`factors`](super::columns::factors).
    pub fn transform(
        &mut self,
        [a, b]: [&[f32]; 2],
        stride: usize,
        width: usize,
        taper: &[f32],
        factors: &[[f32; 2]],
    ) {
        let length = 2 * self.side;
        self.spectra.resize(length * width);
        for values in self.first.iter_mut().chain(&mut self.sums) {
            values.resize(width, 0.0);
        }
        for x in (0..width).step_by(AT_ONCE) {
            // The last columns, some of which were transformed before.
            let x = x.min(width - AT_ONCE);
            let columns = x..x + AT_ONCE;
            let spectra = &mut self.spectra[length * x..length * columns.end];
            columns_of_strip(
                [&a[x..], &b[x..]],
                stride,
                taper,
                factors,
                &mut self.work,
                spectra,
            );
            // The spectra at wavenumber 0.
            let (of_a, of_b) = self.work.tapered.split_at(AT_ONCE * self.side / 2);
            for (sums, of_columns) in self.sums.iter_mut().zip([of_a, of_b]) {
                for (sum, twice) in sums[columns.clone()].iter_mut().zip(of_columns) {
                    *sum = 0.5 * twice;
                }
            }
            for (first, pixels) in self.first.iter_mut().zip([a, b]) {
                first[columns.clone()].copy_from_slice(&pixels[columns.clone()]);
            }
        }
    }
}

/// Transforms [`AT_ONCE`] columns from their first pixels on, as in [`StripColumns`].
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn columns_of_strip(
    pixels: [&[f32]; 2],
    stride: usize,
    taper: &[f32],
    factors: &[[f32; 2]],
    work: &mut StripBuffers,
    spectra: &mut [f32],
) {
    let turned = match_target! {
        "x86_64+avx512f+avx512vl+avx512dq+avx512bw" => |square| squares::sixteen(square),
        "x86_64+avx2" => |square| squares::eight(square),
        _ => squares::four,
    };
    match taper.len() {
        32 => columns_of::<32, 4, 8, 64, _>(pixels, stride, taper, factors, work, spectra, turned),
        _ => columns_of::<64, 8, 8, 128, _>(pixels, stride, taper, factors, work, spectra, turned),
    }
}

/// W is twice N.
#[inline(always)]
fn columns_of<const N: usize, const P: usize, const Q: usize, const W: usize, const SIDE: usize>(
    pixels: [&[f32]; 2],
    stride: usize,
    taper: &[f32],
    factors: &[[f32; 2]],
    work: &mut StripBuffers,
    spectra: &mut [f32],
    turned: impl Fn([[f32; SIDE]; SIDE]) -> [[f32; SIDE]; SIDE],
) {
    let StripBuffers {
        between,
        tapered,
        transformed,
    } = work;
    let tapered = rows_of_mut::<N, AT_ONCE>(tapered);
    for (tapered, pixels) in tapered.iter_mut().zip(pixels) {
        taper_columns(pixels, stride, taper, tapered);
    }
    transform_parts::<N, P, Q>(factors, between, tapered, rows_of_mut(transformed));
    halves_of_both(rows_of(transformed), tapered);
    let rows = tapered.as_flattened().first_chunk::<W>().expect("2 N rows");
    let columns = spectra.as_chunks_mut().0.first_chunk_mut().expect("columns");
    squares::transpose_array(rows, columns, turned);
}

// Arrays that do not share memory are arguments of functions of their own in what follows: so the
// compiler knows that they do not.

/// Tapers what the pixels of columns exceed the first of them by.
#[inline(always)]
fn taper_columns<const N: usize>(
    pixels: &[f32],
    stride: usize,
    taper: &[f32],
    tapered: &mut [[f32; AT_ONCE]; N],
) {
    let first: [f32; AT_ONCE] = *pixels.first_chunk().expect("lanes");
    for n in 0..N {
        let row: &[f32; AT_ONCE] = pixels[n * stride..].first_chunk().expect("lanes");
        for x in 0..AT_ONCE {
            tapered[n][x] = (row[x] - first[x]) * taper[n];
        }
    }
}

/// Transforms columns whose real and imaginary parts are given.
#[inline(always)]
fn transform_parts<const N: usize, const P: usize, const Q: usize>(
    factors: &[[f32; 2]],
    between: &mut [f32],
    [from_re, from_im]: &[[[f32; AT_ONCE]; N]; 2],
    [re, im]: &mut [[[f32; AT_ONCE]; N]; 2],
) {
    transform::<N, P, Q, AT_ONCE>(
        factors,
        between,
        |n, x| [from_re[n][x], from_im[n][x]],
        |k, x, value| [re[k][x], im[k][x]] = value,
    );
}

/// Twice the spectra of the columns of either frame, in the order of [`StripColumns`], from those of
/// both together.
#[inline(always)]
fn halves_of_both<const N: usize>(
    [re, im]: &[[[f32; AT_ONCE]; N]; 2],
    [real, imaginary]: &mut [[[f32; AT_ONCE]; N]; 2],
) {
    let half = N / 2;
    for x in 0..AT_ONCE {
        real[0][x] = 2.0 * re[0][x];
        real[half][x] = 2.0 * im[0][x];
        imaginary[0][x] = 2.0 * re[half][x];
        imaginary[half][x] = 2.0 * im[half][x];
    }
    for k in 1..half {
        let opposite = N - k;
        for x in 0..AT_ONCE {
            real[k][x] = re[k][x] + re[opposite][x];
            real[half + k][x] = im[k][x] + im[opposite][x];
            imaginary[k][x] = im[k][x] - im[opposite][x];
            imaginary[half + k][x] = re[opposite][x] - re[k][x];
        }
    }
}
