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
//!   grey values costs no digits.
//! - The correlations of two windows are transformed back together: the second, times i, is the
//!   imaginary part of what is the first's real part.

use super::along_x::{RowBuffers, Taper, correlation_along_x};
use super::columns::factors;
use super::lags::{LagBuffers, correlations};
use super::plane::Plane;
use super::strip::ColumnStrip;
use super::windows::Corners;
use crate::aligned::Aligned;
use crate::frames::FrameView;
use crate::window::Weighting;

/// Most columns of a strip, so that its transforms stay in the cache until all its windows have
/// been correlated.
const LONGEST_STRIP: usize = 512;

/// Correlates square windows of a side for which there are transforms along columns.
pub(crate) struct OverlappingWindows {
    side: usize,
    taper: Taper,
    factors: Vec<[f32; 2]>,
    strip: ColumnStrip,
    /// Correlations of two vectors, transformed back along x alone.
    rows: [Aligned; 2],
    planes: [Plane; 2],
    work: (RowBuffers, LagBuffers),
    /// A window A and B that reaches beyond the border.
    pixels: [Vec<f32>; 2],
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
        let plane = Plane::circular([side, side]);
        Some(Self {
            side,
            taper: Taper::new(taper),
            factors: factors(lengths),
            strip: ColumnStrip::new(side),
            rows: [(); 2].map(|()| Aligned::zeros(side * side)),
            planes: [plane.clone(), plane],
            work: (RowBuffers::new(side), LagBuffers::new(side)),
            pixels: [(); 2].map(|()| vec![0.0; side * side]),
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
                .transform([a, b], side, side, &self.taper.weights, &self.factors);
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
        self.strip.transform(
            [a, b],
            frames[0].size[0],
            width,
            &self.taper.weights,
            &self.factors,
        );
        number
    }

    /// Makes `rows` of the window that begins at a column of the strip.
    fn along_x(&mut self, column: usize, which: usize) {
        let columns = self.strip.columns(column..column + self.side);
        let to = &mut self.rows[which];
        correlation_along_x(columns, &self.taper, &self.factors, &mut self.work.0, to);
    }

    /// Makes two planes of two of the `rows`.
    fn planes(&mut self, which: [usize; 2]) {
        let rows = which.map(|k| &self.rows[k][..]);
        let lags = self.planes.each_mut().map(Plane::kept_mut);
        correlations(self.side, rows, &self.factors, &mut self.work.1, lags);
    }
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
