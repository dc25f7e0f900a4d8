//! Sums of products of two windows over all lags, by FFT or directly.

use std::ops::Range;

use multiversion::multiversion;
use rustfft::num_complex::Complex;

use super::Correlation;
use super::plane::Plane;
use super::transform::Transform;

/// Sums of products a(x, y) b(x + i, y + j) at the lags of a plane, by FFT or directly.
pub(super) struct LagSums {
    window: [usize; 2],
    direct: bool,
    transform: Transform,
    spectra: [Vec<Complex<f32>>; 2],
    product: Vec<Complex<f32>>,
}

impl LagSums {
    pub fn new(window: [usize; 2], correlation: Correlation) -> Self {
        let reach = Plane::new(window).reach();
        let transform = Transform::new(match correlation {
            Correlation::Circular => window,
            // Long enough that the lags of the plane are not affected by wrapping round.
            Correlation::ZeroPadded => [0, 1].map(|k| fast_length(window[k] + reach[k] as usize)),
            Correlation::Direct => [1, 1],
        });
        let zeros = vec![Complex::default(); transform.len()];
        Self {
            window,
            direct: correlation == Correlation::Direct,
            transform,
            spectra: [zeros.clone(), zeros.clone()],
            product: zeros,
        }
    }

    /// Correlates two pairs of windows at once.
    pub fn correlate(&mut self, pairs: [[&[f32]; 2]; 2], planes: &mut [Plane; 2]) {
        if self.direct {
            for (pair, plane) in pairs.into_iter().zip(planes) {
                self.by_summation(pair, plane);
            }
        } else {
            self.by_fft(pairs, planes);
        }
    }

    /// Whether lags are summed by transforms, as [`correlate_tapered`](LagSums::correlate_tapered)
    /// does.
    pub fn transforms(&self) -> bool {
        !self.direct
    }

    /// As [`correlate`](LagSums::correlate), by transforms, for windows that are tapered on the way
    /// there.
    pub fn correlate_tapered(&mut self, pairs: [[Tapered; 2]; 2], taper: &[f32], planes: &mut [Plane; 2]) {
        let (size, [width, height]) = (self.transform.size, self.window);
        for (spectrum, pair) in self.spectra.iter_mut().zip(pairs) {
            self.transform.forward(spectrum, height, |rows, packed| {
                pack_tapered(pair, taper, width, rows, packed, size[0]);
            });
        }
        self.transformed(planes);
    }

    fn by_summation(&self, [a, b]: [&[f32]; 2], plane: &mut Plane) {
        let [width, height] = self.window.map(|side| side as isize);
        for (j, row) in plane.rows_mut() {
            for (i, value) in row {
                let columns = (-i).max(0)..width.min(width - i);
                let sum: f64 = ((-j).max(0)..height.min(height - j))
                    .flat_map(|y| {
                        columns
                            .clone()
                            .map(move |x| (y * width + x, (y + j) * width + x + i))
                    })
                    .map(|(k, m)| f64::from(a[k as usize]) * f64::from(b[m as usize]))
                    .sum();
                *value = sum as f32;
            }
        }
    }

    fn by_fft(&mut self, pairs: [[&[f32]; 2]; 2], planes: &mut [Plane; 2]) {
        let (size, [width, height]) = (self.transform.size, self.window);
        for (spectrum, pair) in self.spectra.iter_mut().zip(pairs) {
            self.transform.forward(spectrum, height, |rows, packed| {
                let pixels = rows.start * width..rows.end * width;
                pack(pair.map(|p| &p[pixels.clone()]), width, packed, size[0]);
            });
        }
        self.transformed(planes);
    }

    /// Makes the planes from the spectra.
    fn transformed(&mut self, planes: &mut [Plane; 2]) {
        let Self {
            transform,
            spectra: [one, two],
            product,
            ..
        } = self;
        transform.cross_spectra(one, two, product);
        transform.inverse(product, planes[0].reach()[1] as usize);
        unpack(product, transform.size, planes);
    }
}

/// A window that is correlated less its weighted mean, times a taper.
#[derive(Clone, Copy)]
pub(super) struct Tapered<'a> {
    /// From its first pixel on, rows `stride` apart.
    pub pixels: &'a [f32],
    pub stride: usize,
    pub mean: f32,
}

/// As [`pack`], of rows `rows` of the windows, tapering them.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn pack_tapered(
    [a, b]: [Tapered; 2],
    taper: &[f32],
    width: usize,
    rows: Range<usize>,
    packed: &mut [Complex<f32>],
    length: usize,
) {
    for (y, row) in rows.zip(packed.chunks_exact_mut(length)) {
        let taper = &taper[y * width..][..width];
        let of_a = &a.pixels[y * a.stride..][..width];
        let of_b = &b.pixels[y * b.stride..][..width];
        let (used, padding) = row.split_at_mut(width);
        for (((z, &p), &q), &weight) in used.iter_mut().zip(of_a).zip(of_b).zip(taper) {
            *z = Complex::new((p - a.mean) * weight, (q - b.mean) * weight);
        }
        padding.fill(Complex::default());
    }
}

/// Two windows as real and imaginary parts of rows of `length` values, with zeros beyond them.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn pack([a, b]: [&[f32]; 2], width: usize, packed: &mut [Complex<f32>], length: usize) {
    let mut rows = packed.chunks_exact_mut(length);
    for ((a, b), row) in a.chunks_exact(width).zip(b.chunks_exact(width)).zip(&mut rows) {
        let (used, padding) = row.split_at_mut(width);
        for ((z, &a), &b) in used.iter_mut().zip(a).zip(b) {
            *z = Complex::new(a, b);
        }
        padding.fill(Complex::default());
    }
}

/// Real and imaginary parts at the lags of the planes, out of an array of all lags that begins at
/// zero and wraps round.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn unpack(all: &[Complex<f32>], size: [usize; 2], [first, second]: &mut [Plane; 2]) {
    let reach = first.reach().map(|reach| reach as usize);
    let columns = 2 * reach[0] + 1;
    let rows = first.kept_mut().chunks_exact_mut(columns);
    for (j, (first, second)) in rows.zip(second.kept_mut().chunks_exact_mut(columns)).enumerate() {
        let from = &all[(j + size[1] * 2 - reach[1]) % size[1] * size[0]..][..size[0]];
        // Starts at lag -reach and wraps round where the lags do.
        let (mut column, mut index) = (0, (2 * size[0] - reach[0]) % size[0]);
        while column < columns {
            let run = (size[0] - index).min(columns - column);
            let first = first[column..column + run].iter_mut();
            let second = second[column..column + run].iter_mut();
            for ((first, second), z) in first.zip(second).zip(&from[index..index + run]) {
                (*first, *second) = (z.re, z.im);
            }
            (column, index) = (column + run, 0);
        }
    }
}

/// The least length of at least `length` without prime factors above 3, for which the FFT is fast.
fn fast_length(length: usize) -> usize {
    let without = |n: usize, factor: usize| {
        let mut rest = n;
        while rest.is_multiple_of(factor) {
            rest /= factor;
        }
        rest
    };
    (length..)
        .find(|&n| without(without(n, 2), 3) == 1)
        .unwrap_or(length)
}
