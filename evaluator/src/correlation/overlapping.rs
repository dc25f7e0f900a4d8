//! Circular correlation of square windows of which neighbours overlap.
//!
//! The taper is a product w(x) v(y), so that the two-dimensional transform of a window can begin
//! with transforms down its columns of pixels, which are the same for all windows of a row of the
//! grid that hold the column: they are made once, for a strip of the frames as high as the windows.
//! A window is then transformed along x alone.
//!
//! - Pixels p of frame A and q of frame B at one place are the parts of one complex number, so that
//!   one transform down a column serves both. With Z = P + iQ at the wavenumbers k and N - k, P =
//!   (Z + conj Z')/2 and Q = (Z - conj Z')/2i. Wavenumbers 0 to N/2 tell everything of a real
//!   column, and P(0) and P(N/2) are real: they share a place, as P(0) + i P(N/2).
//! - What is transformed is p - c, with c the first pixel of the column, so that an offset of the
//!   grey values costs no digits. The mean m of a window, weighted by its taper, is taken off the
//!   transforms: with V the transform of v, those of v (p - m) are those of v (p - c) and (c - m) V.
//! - The cross-spectrum conj(P) Q is formed at half the wavenumbers, as the correlation is real too.
//!   Those of two windows are transformed back together: the second, times i, is the imaginary part
//!   of what is the first's real part.

use multiversion::multiversion;

use super::columns::{factors, rows_of, rows_of_mut, transform};
use super::lags::correlations;
use super::plane::Plane;
use super::strip::{AT_ONCE, ColumnStrip};
use super::windows::Corners;
use crate::aligned::Aligned;
use crate::frames::FrameView;
use crate::window::Weighting;

/// Values that are summed side by side.
const LANES: usize = 16;

/// Most columns of a strip, so that its transforms stay in the cache until all its windows have
/// been correlated.
const LONGEST_STRIP: usize = 512;

/// Correlates square windows of a side for which there are transforms along columns.
pub(crate) struct OverlappingWindows {
    side: usize,
    /// The taper along either axis, and its sum.
    taper: Vec<f32>,
    taper_sum: f32,
    /// Twice the transform of the taper, wavenumbers as in [`ColumnStrip`]: real parts, then imaginary.
    of_taper: Aligned,
    factors: Vec<[f32; 2]>,
    strip: ColumnStrip,
    /// Of the windows A and B, by how much what was taken off each column is more than the mean,
    /// times the weight of the column.
    offsets: [Vec<f32>; 2],
    /// Correlations of two vectors, transformed back along x alone.
    rows: [Aligned; 2],
    work: WindowBuffers,
    planes: [Plane; 2],
    /// A window A and B that reaches beyond the border.
    pixels: [Vec<f32>; 2],
}

/// Room for what lies between two steps.
pub(super) struct WindowBuffers {
    /// Between the two steps of a transform.
    pub between: Aligned,
    /// Spectra of a window A and B.
    pub spectra: [Aligned; 2],
    /// Half the wavenumbers of some columns of two correlations, and all of both together.
    pub turned: Aligned,
    pub packed: Aligned,
}

/// The two lengths into which that of a column is split; `None` where there is no transform for it.
fn split(side: usize) -> Option<[usize; 2]> {
    match side {
        32 => Some([4, 8]),
        64 => Some([8, 8]),
        _ => None,
    }
}

impl OverlappingWindows {
    /// For windows of this size; `None` where this is not made for them.
    pub fn new([width, height]: [usize; 2], weighting: Weighting) -> Option<Self> {
        let side = width;
        let lengths = split(side).filter(|_| width == height)?;
        let taper: Vec<f32> = weighting.taper(side).iter().map(|w| *w as f32).collect();
        let pair = |values: usize| [(); 2].map(|()| vec![0.0; values]);
        let aligned = |values: usize| [(); 2].map(|()| Aligned::zeros(values));
        let of_columns = || Aligned::zeros(2 * side * AT_ONCE);
        let plane = Plane::circular([side, side]);
        Some(Self {
            side,
            of_taper: transformed_taper(&taper),
            taper_sum: taper.iter().sum(),
            taper,
            factors: factors(lengths),
            strip: ColumnStrip::new(side),
            offsets: pair(side),
            rows: aligned(side * side),
            work: WindowBuffers {
                between: of_columns(),
                spectra: aligned(side * side),
                turned: of_columns(),
                packed: of_columns(),
            },
            planes: [plane.clone(), plane],
            pixels: pair(side * side),
        })
    }

    /// Correlates the windows at each of `corners` and passes their planes to `take` in order.
    pub fn correlate(
        &mut self,
        frames: [FrameView; 2],
        corners: &[Corners],
        mut take: impl FnMut(usize, &Plane),
    ) {
        // The window after the last one of the strip, and the column of frame A at which it begins.
        let (mut strip_ends, mut start) = (0, 0);
        for (n, at) in corners.iter().enumerate() {
            if n == strip_ends {
                strip_ends += self.begin_strip(frames, &corners[n..]);
                start = at.a[0];
            }
            self.along_x((at.a[0] - start) as usize, n % 2);
            if n % 2 == 1 {
                self.planes([0, 1]);
                take(n - 1, &self.planes[0]);
                take(n, &self.planes[1]);
            }
        }
        if let Some(last) = corners.len().checked_sub(1).filter(|last| last % 2 == 0) {
            self.planes([0, 0]);
            take(last, &self.planes[0]);
        }
    }

    /// Transforms the columns under as many of the next windows as share a strip, and tells their
    /// number.
    fn begin_strip(&mut self, frames: [FrameView; 2], next: &[Corners]) -> usize {
        let (side, first) = (self.side, next[0]);
        let size = [side, side];
        let inside = |at: &Corners| {
            let places = [(frames[0], at.a), (frames[1], at.b)];
            places
                .iter()
                .all(|(frame, corner)| frame.from(*corner, size).is_some())
        };
        if !inside(&first) {
            for ((pixels, frame), corner) in self.pixels.iter_mut().zip(frames).zip([first.a, first.b]) {
                frame.window(corner, size, pixels);
            }
            let [a, b] = &self.pixels;
            self.strip
                .transform([a, b], side, side, &self.taper, &self.factors);
            return 1;
        }
        let along = |at: &Corners| at.a[0] - first.a[0];
        let shares = |(before, at): (&Corners, &Corners)| {
            let same_rows = at.a[1] == first.a[1] && at.b[1] == first.b[1];
            let step = along(at) - along(before);
            let joined = (0..=side as isize).contains(&step) && along(at) == at.b[0] - first.b[0];
            same_rows && joined && along(at) as usize + side <= LONGEST_STRIP && inside(at)
        };
        let number = 1 + next.iter().zip(&next[1..]).take_while(|two| shares(*two)).count();
        let width = along(&next[number - 1]) as usize + side;
        let [a, b] = [(frames[0], first.a), (frames[1], first.b)]
            .map(|(frame, corner)| frame.from(corner, size).expect("inside"));
        self.strip
            .transform([a, b], frames[0].size[0], width, &self.taper, &self.factors);
        number
    }

    /// Makes `rows` of the window that begins at a column of the strip.
    fn along_x(&mut self, column: usize, which: usize) {
        let side = self.side;
        let columns = column..column + side;
        let ColumnStrip {
            spectra, first, sums, ..
        } = &self.strip;
        for ((offsets, first), sums) in self.offsets.iter_mut().zip(first).zip(sums) {
            let (first, sums) = (&first[columns.clone()], &sums[columns.clone()]);
            offsets_of_columns(first, sums, &self.taper, self.taper_sum, offsets);
        }
        let spectra = &spectra[2 * side * column..2 * side * columns.end];
        let [a, b] = &mut self.work.spectra;
        for (half, (offsets, to)) in self.offsets.iter().zip([&mut *a, &mut *b]).enumerate() {
            let window = WindowColumns {
                spectra,
                half,
                offsets,
            };
            rows_of_window(
                window,
                &self.taper,
                &self.of_taper,
                &self.factors,
                &mut self.work.between,
                to,
            );
        }
        product_of_real_columns(side, a, b);
        rows_of_product(
            side,
            a,
            b,
            &self.factors,
            &mut self.work.between,
            &mut self.rows[which],
        );
    }

    /// Makes two planes of two of the `rows`.
    fn planes(&mut self, which: [usize; 2]) {
        let rows = which.map(|k| &self.rows[k][..]);
        let lags = self.planes.each_mut().map(Plane::kept_mut);
        correlations(self.side, rows, &self.factors, &mut self.work, lags);
    }
}

/// Twice the transform of a taper at wavenumbers 0 (with half its length) to half its length.
fn transformed_taper(taper: &[f32]) -> Aligned {
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

/// By how much what was taken off each column, its first pixel, is more than the weighted mean of
/// the window, times the weight of the column.
fn offsets_of_columns(first: &[f32], sums: &[f32], taper: &[f32], taper_sum: f32, offsets: &mut [f32]) {
    for (offset, value) in offsets.iter_mut().zip(first) {
        *offset = value - first[0];
    }
    let mut mean = [0.0; LANES];
    let columns = taper
        .as_chunks::<LANES>()
        .0
        .iter()
        .zip(sums.as_chunks::<LANES>().0);
    for ((taper, sums), offsets) in columns.zip(offsets.as_chunks::<LANES>().0) {
        for lane in 0..LANES {
            mean[lane] += taper[lane] * (sums[lane] + taper_sum * offsets[lane]);
        }
    }
    let mean = mean.iter().sum::<f32>() / (taper_sum * taper_sum);
    for (offset, weight) in offsets.iter_mut().zip(taper) {
        *offset = (*offset - mean) * weight;
    }
}

/// The columns of a window of frame A or B, transformed as in [`ColumnStrip`].
struct WindowColumns<'a> {
    spectra: &'a [f32],
    /// 0 for frame A, 1 for B.
    half: usize,
    /// See [`offsets_of_columns`].
    offsets: &'a [f32],
}

/// Transforms a window along x.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn rows_of_window(
    window: WindowColumns,
    taper: &[f32],
    of_taper: &[f32],
    factors: &[[f32; 2]],
    between: &mut [f32],
    to: &mut [f32],
) {
    match taper.len() {
        32 => rows_of_columns::<32, 4, 8, 16>(window, taper, of_taper, factors, between, to),
        _ => rows_of_columns::<64, 8, 8, 32>(window, taper, of_taper, factors, between, to),
    }
}

#[inline(always)]
fn rows_of_columns<const N: usize, const P: usize, const Q: usize, const H: usize>(
    WindowColumns {
        spectra,
        half,
        offsets,
    }: WindowColumns,
    taper: &[f32],
    of_taper: &[f32],
    factors: &[[f32; 2]],
    between: &mut [f32],
    to: &mut [f32],
) {
    let columns: &[[[f32; H]; 4]; N] = spectra
        .as_chunks()
        .0
        .as_chunks()
        .0
        .first_chunk()
        .expect("N columns");
    let of_taper: &[[f32; H]; 2] = of_taper.as_chunks().0.first_chunk().expect("N values");
    let taper: &[f32; N] = taper.first_chunk().expect("N weights");
    let offsets: &[f32; N] = offsets.first_chunk().expect("N offsets");
    let [re, im] = rows_of_mut::<N, H>(to);
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
fn product_of_real_columns(side: usize, a: &mut [f32], b: &mut [f32]) {
    let half = side / 2;
    let place = |k: usize| [k * half, (side + k) * half];
    for k in 0..=half {
        let opposite = (side - k) % side;
        let both = |of: &[f32]| {
            let [z, w] = [place(k), place(opposite)].map(|at| at.map(|at| of[at]));
            let [even, odd] = [[z[0] + w[0], z[1] - w[1]], [z[0] - w[0], z[1] + w[1]]];
            [even, odd].map(|v| v.map(|v| 0.5 * v))
        };
        let ([f_a, g_a], [f_b, g_b]) = (both(a), both(b));
        let product = |[a, b]: [f32; 2], [c, d]: [f32; 2]| [a * c + b * d, a * d - b * c];
        let ([f_re, f_im], [g_re, g_im]) = (product(f_a, f_b), product(g_a, g_b));
        for (at, value) in [
            (place(k), [f_re - g_im, f_im + g_re]),
            (place(opposite), [f_re + g_im, g_re - f_im]),
        ] {
            [a[at[0]], a[at[1]]] = [1.0, 0.0];
            [b[at[0]], b[at[1]]] = value;
        }
    }
}

/// The correlation of two windows from their spectra, transformed back along x alone: real parts of
/// each lag, then imaginary parts.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn rows_of_product(
    side: usize,
    a: &[f32],
    b: &[f32],
    factors: &[[f32; 2]],
    between: &mut [f32],
    to: &mut [f32],
) {
    match side {
        32 => rows_of_spectra::<32, 4, 8, 16>(a, b, factors, between, to),
        _ => rows_of_spectra::<64, 8, 8, 32>(a, b, factors, between, to),
    }
}

#[inline(always)]
fn rows_of_spectra<const N: usize, const P: usize, const Q: usize, const H: usize>(
    a: &[f32],
    b: &[f32],
    factors: &[[f32; 2]],
    between: &mut [f32],
    to: &mut [f32],
) {
    let ([a_re, a_im], [b_re, b_im]) = (rows_of::<N, H>(a), rows_of::<N, H>(b));
    let [re, im] = rows_of_mut::<N, H>(to);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correlation::any_windows::AnyWindows;
    use crate::correlation::{Correlation, Normalise};

    fn frames(size: [usize; 2]) -> [Vec<f32>; 2] {
        [3, 5].map(|step| {
            (0..size[0] * size[1])
                .map(|k| 2000.0 + (k * k * step % 101) as f32)
                .collect()
        })
    }

    /// Windows in rows that share strips, one strip after another, across the border, farther apart
    /// than they are wide, and displaced differently in both frames.
    fn corners(side: isize) -> Vec<Corners> {
        let steps = |number: isize, step: isize, y: isize| (0..number).map(move |n| [n * step, y]);
        let row = steps(9, side / 4, 3).chain(steps(4, side + 5, 40));
        let places = row.chain([[-5, 12], [700, 60], [41, 23], [600, 9]]);
        let along = places.map(|a| Corners {
            a,
            b: [a[0] + 2, a[1] - 1],
        });
        let long = steps(70, 9, 20).map(|a| Corners { a, b: a });
        let apart = steps(6, 7, 15).map(|a| Corners {
            a,
            b: [a[0] + 3 - a[0] % 2, a[1]],
        });
        let slanted = steps(6, 7, 15).map(|a| Corners {
            a,
            b: [a[0], a[1] + a[0] % 3],
        });
        along.chain(long).chain(apart).chain(slanted).collect()
    }

    /// Against windows taken one by one and transformed by rustfft. Tolerance 1e-5 of the plane's
    /// greatest value: some ten additions and factors, of 6e-8 each, in either way of the transforms
    /// and a few times that in the worst of many thousand values.
    #[test]
    fn planes_are_those_of_windows_taken_one_by_one() {
        let size = [720, 120];
        let [a, b] = frames(size);
        let frames = [&a, &b].map(|pixels| FrameView { pixels, size });
        for side in [32, 64] {
            for weighting in [Weighting::Gaussian, Weighting::TopHat] {
                let window = [side, side];
                let mut found = Vec::new();
                let corners = corners(side as isize);
                OverlappingWindows::new(window, weighting).unwrap().correlate(
                    frames,
                    &corners,
                    |n, plane| found.push((n, plane.clone())),
                );
                let mut one_by_one =
                    AnyWindows::new(window, weighting, Correlation::Circular, Normalise::None);
                let mut number = 0;
                one_by_one.correlate(frames, &corners, |n, expected| {
                    let greatest = expected.values().fold(0.0f32, |top, v| top.max(v.abs()));
                    assert_eq!(found[n].0, n);
                    for (value, expected) in found[n].1.values().zip(expected.values()) {
                        let error = (value - expected).abs();
                        assert!(
                            error < 1e-5 * greatest,
                            "{side}, {weighting}, {n}: {error} of {greatest}"
                        );
                    }
                    number += 1;
                });
                assert_eq!((number, found.len()), (corners.len(), corners.len()));
            }
        }
    }

    /// A window left over has the plane it has alone, to the bit, whatever was correlated before.
    #[test]
    fn what_is_left_over_depends_on_nothing_else() {
        let size = [720, 120];
        let [a, b] = frames(size);
        let frames = [&a, &b].map(|pixels| FrameView { pixels, size });
        let corners = corners(32);
        let last = |windows: &mut OverlappingWindows, corners: &[Corners]| {
            let mut last = None;
            windows.correlate(frames, corners, |_, plane| last = Some(plane.clone()));
            last.unwrap()
        };
        let mut windows = OverlappingWindows::new([32, 32], Weighting::Gaussian).unwrap();
        let alone = last(&mut windows, &corners[8..9]);
        assert_eq!(last(&mut windows, &corners[..9]), alone);
        assert_eq!(last(&mut windows, &corners[8..9]), alone);
    }

    /// A window has the same plane to the bit in whichever strip it is transformed.
    #[test]
    fn strips_leave_no_trace() {
        let size = [720, 120];
        let [a, b] = frames(size);
        let frames = [&a, &b].map(|pixels| FrameView { pixels, size });
        let mut windows = OverlappingWindows::new([32, 32], Weighting::Gaussian).unwrap();
        let corners = corners(32);
        let two = |n: usize| [corners[n - n % 2], corners[n - n % 2 + 1]];
        let mut planes = Vec::new();
        windows.correlate(frames, &corners, |_, plane| planes.push(plane.clone()));
        for n in [2, 6, 11, 20, 40, 60, 80] {
            windows.correlate(frames, &two(n), |k, plane| {
                assert_eq!(plane, &planes[n - n % 2 + k], "{n}");
            });
        }
    }

    /// Sizes without a transform, and windows that are not square, are left to others.
    #[test]
    fn other_sizes_are_left_to_others() {
        for size in [[16, 16], [24, 24], [32, 16], [128, 128]] {
            assert!(
                OverlappingWindows::new(size, Weighting::TopHat).is_none(),
                "{size:?}"
            );
        }
    }
}
