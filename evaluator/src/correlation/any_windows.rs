//! Windows of any size taken from the frames, tapered, correlated and normalised.

use multiversion::multiversion;

use super::plane::Plane;
use super::sums::{LagSums, Tapered};
use super::windows::Corners;
use super::{Correlation, Normalise};
use crate::frames::FrameView;
use crate::window::Weighting;

/// Least fraction of the overlap at lag zero by which [`Normalise`] divides.
const LEAST_OVERLAP: f64 = 0.25;

/// Correlates windows of any one size, each by itself.
pub(crate) struct AnyWindows {
    window: [usize; 2],
    normalise: Normalise,
    taper: Vec<f32>,
    taper_sum: f32,
    /// The factor of [`Normalise`]: one over the autocorrelation of the taper.
    per_overlap: Plane,
    sums: LagSums,
    /// Windows A and B of two vectors.
    pixels: [[Vec<f32>; 2]; 2],
    planes: [Plane; 2],
}

impl AnyWindows {
    pub fn new(
        window: [usize; 2],
        weighting: Weighting,
        correlation: Correlation,
        normalise: Normalise,
    ) -> Self {
        let [along_x, along_y] = window.map(|side| weighting.taper(side));
        let taper: Vec<f32> = along_y
            .iter()
            .flat_map(|wy| along_x.iter().map(move |wx| (wx * wy) as f32))
            .collect();
        let [overlap_x, overlap_y] = [&along_x, &along_y].map(|taper| autocorrelation(taper));
        let overlap = |[i, j]: [isize; 2]| overlap_x[i.unsigned_abs()] * overlap_y[j.unsigned_abs()];
        let least = LEAST_OVERLAP * overlap([0, 0]);
        let per_overlap = Plane::from_fn(window, |i, j| match overlap([i, j]) {
            overlap if overlap >= least => (1.0 / overlap) as f32,
            _ => 0.0,
        });
        let plane = Plane::new(window);
        let pixels = [taper.clone(), taper.clone()];
        Self {
            window,
            normalise,
            taper_sum: taper.iter().sum(),
            taper,
            per_overlap,
            sums: LagSums::new(window, correlation),
            pixels: [pixels.clone(), pixels],
            planes: [plane.clone(), plane],
        }
    }

    /// Correlates the windows at each of `corners` and passes their planes to `take` in order.
    pub fn correlate(
        &mut self,
        frames: [FrameView; 2],
        corners: &[Corners],
        mut take: impl FnMut(usize, &Plane),
    ) {
        let in_place = self.sums.transforms()
            && self.normalise != Normalise::Covariance
            && self.window[0].is_multiple_of(LANES);
        for (first, two) in corners.chunks(2).enumerate().map(|(i, two)| (2 * i, two)) {
            match *two {
                [one, other] if in_place => self.in_place(frames, [one, other]),
                _ => {
                    // A window that is left over is transformed beside the one before it, as
                    // everywhere: the other's rounding is part of its own.
                    if in_place && first > 0 {
                        self.load(1, frames, corners[first - 1]);
                    }
                    for (k, at) in two.iter().enumerate() {
                        self.load(k, frames, *at);
                    }
                    match self.normalise {
                        Normalise::None | Normalise::Window => self.plain(),
                        Normalise::Covariance => (0..two.len()).for_each(|k| self.covariance(k)),
                    }
                }
            }
            if self.normalise == Normalise::Window {
                self.per_overlap();
            }
            for (k, plane) in self.planes.iter().take(two.len()).enumerate() {
                take(first + k, plane);
            }
        }
        if in_place
            && corners.len().is_multiple_of(2)
            && let Some(last) = corners.last()
        {
            self.load(1, frames, *last);
        }
    }

    /// Forgets the windows beside which a single one would be transformed: they have a part in the
    /// rounding.
    pub fn forget(&mut self) {
        for pixels in &mut self.pixels[1] {
            pixels.copy_from_slice(&self.taper);
        }
    }

    /// Takes the windows of a vector, tapered.
    fn load(&mut self, k: usize, frames: [FrameView; 2], at: Corners) {
        for (pixels, (frame, corner)) in self.pixels[k].iter_mut().zip(frames.iter().zip([at.a, at.b])) {
            frame.window(corner, self.window, pixels);
            taper(pixels, &self.taper, self.taper_sum);
        }
    }

    fn plain(&mut self) {
        let [[a, b], [c, d]] = &self.pixels;
        self.sums.correlate([[a, b], [c, d]], &mut self.planes);
    }

    /// As `plain` with windows that are read where they stand in the frames, but for those that
    /// reach beyond the border.
    fn in_place(&mut self, frames: [FrameView; 2], two: [Corners; 2]) {
        let window = self.window;
        let two = two.map(|at| [at.a, at.b]);
        for (pixels, corners) in self.pixels.iter_mut().zip(two) {
            for ((pixels, corner), frame) in pixels.iter_mut().zip(corners).zip(frames) {
                if frame.from(corner, window).is_none() {
                    frame.window(corner, window, pixels);
                }
            }
        }
        let tapered = |k: usize, f: usize| {
            let (pixels, stride) = match frames[f].from(two[k][f], window) {
                Some(pixels) => (pixels, frames[f].size[0]),
                None => (&self.pixels[k][f][..], window[0]),
            };
            Tapered {
                pixels,
                stride,
                mean: weighted_sum(pixels, stride, window[0], &self.taper) / self.taper_sum,
            }
        };
        let pairs = [0, 1].map(|k| [tapered(k, 0), tapered(k, 1)]);
        self.sums.correlate_tapered(pairs, &self.taper, &mut self.planes);
    }

    fn per_overlap(&mut self) {
        for plane in &mut self.planes {
            plane
                .kept_mut()
                .iter_mut()
                .zip(self.per_overlap.kept())
                .for_each(|(v, factor)| *v *= factor);
        }
    }

    /// With w the taper, v and u the windows' deviations from their means, and E the average over
    /// the overlap at a lag, weighted by the product of the tapers: (E vu - E v E u) / sqrt((E v² -
    /// (E v)²) (E u² - (E u)²)).
    fn covariance(&mut self, k: usize) {
        let Self {
            pixels,
            taper,
            per_overlap,
            sums,
            planes,
            ..
        } = self;
        for pixels in &mut pixels[k] {
            // The transforms pack these together with the taper, and would lose the smaller of the
            // two in the other's rounding.
            let scale = (pixels.len() as f32 / dot(pixels, pixels).max(f32::MIN_POSITIVE)).sqrt();
            pixels.iter_mut().for_each(|pixel| *pixel *= scale);
        }
        let [a, b] = &pixels[k];
        let squared = |p: &[f32]| -> Vec<f32> { p.iter().zip(&*taper).map(|(p, w)| p * p / w).collect() };
        let (a2, b2) = (squared(a), squared(b));
        let mut moments = [planes.clone(), planes.clone(), planes.clone()];
        sums.correlate([[a, b], [a, taper]], &mut moments[0]);
        sums.correlate([[taper, b], [&a2, taper]], &mut moments[1]);
        sums.correlate([[taper, &b2], [taper, &b2]], &mut moments[2]);
        let [[ab, a], [b, a2], [b2, _]] = &moments;
        for (i, value) in planes[k].kept_mut().iter_mut().enumerate() {
            let [ab, a, b, a2, b2] = [ab, a, b, a2, b2].map(|plane| plane.kept()[i] * per_overlap.kept()[i]);
            let variances = [a2 - a * a, b2 - b * b];
            // An overlap that is uniform to rounding has no correlation.
            let varied = variances[0] > 1e-6 * a2 && variances[1] > 1e-6 * b2;
            *value = if varied {
                (ab - a * b) / (variances[0].sqrt() * variances[1].sqrt())
            } else {
                0.0
            };
        }
    }
}

/// Takes the weighted mean off the pixels, and weights them.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn taper(pixels: &mut [f32], weights: &[f32], sum: f32) {
    let mean = dot(pixels, weights) / sum;
    for (pixel, weight) in pixels.iter_mut().zip(weights) {
        *pixel = (*pixel - mean) * weight;
    }
}

/// Values whose products are summed side by side.
const LANES: usize = 16;

/// The sum of pixels times their weights: as [`dot`] over the window, whose rows are `width` long,
/// a multiple of [`LANES`], and stand `stride` apart.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn weighted_sum(pixels: &[f32], stride: usize, width: usize, weights: &[f32]) -> f32 {
    let mut sums = [0.0; LANES];
    for (y, weights) in weights.chunks_exact(width).enumerate() {
        let row = pixels[y * stride..][..width].as_chunks::<LANES>().0;
        for (a, b) in row.iter().zip(weights.as_chunks::<LANES>().0) {
            for k in 0..LANES {
                sums[k] += a[k] * b[k];
            }
        }
    }
    sums.iter().sum()
}

/// Sum of products, in lanes so that the compiler can use vector registers; the order is fixed.
#[inline(always)]
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0; LANES];
    let (a, a_rest) = a.as_chunks::<LANES>();
    let (b, b_rest) = b.as_chunks::<LANES>();
    for (a, b) in a.iter().zip(b) {
        for k in 0..LANES {
            sums[k] += a[k] * b[k];
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum::<f32>()
}

/// Sum of w(i) w(i + lag), at every lag from 0 to the length, where nothing overlaps.
fn autocorrelation(taper: &[f64]) -> Vec<f64> {
    let at = |lag: usize| taper.iter().zip(&taper[lag..]).map(|(w, v)| w * v).sum();
    (0..=taper.len()).map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Windows that are read where they stand in the frames have the planes, to the bit, of copies
    /// that are tapered first; so have those across the border, and one that is left over beside
    /// the one before it.
    #[test]
    fn windows_in_place_are_as_good_as_copies() {
        let size = [100, 70];
        let [a, b] = [3, 5].map(|step| -> Vec<f32> {
            (0..size[0] * size[1])
                .map(|k| 20.0 + (k * k * step % 101) as f32)
                .collect()
        });
        let frames = [&a, &b].map(|pixels| FrameView { pixels, size });
        let corners: Vec<Corners> = [[0, 0], [41, 23], [-5, 12], [80, 60], [9, 30]]
            .map(|a| Corners {
                a,
                b: [a[0] + 2, a[1] - 1],
            })
            .to_vec();
        for (correlation, normalise) in [
            (Correlation::Circular, Normalise::None),
            (Correlation::ZeroPadded, Normalise::Window),
        ] {
            let correlator = || AnyWindows::new([32, 16], Weighting::Gaussian, correlation, normalise);
            let mut found = Vec::new();
            correlator().correlate(frames, &corners, |_, plane| found.push(plane.clone()));
            let mut copies = correlator();
            for (first, two) in [(0, [0, 1]), (2, [2, 3]), (4, [4, 3])] {
                for (k, n) in two.into_iter().enumerate() {
                    copies.load(k, frames, corners[n]);
                }
                copies.plain();
                if normalise == Normalise::Window {
                    copies.per_overlap();
                }
                for (plane, copy) in found[first..].iter().zip(&copies.planes).take(2) {
                    assert!(copy.values().any(|v| v.abs() > 0.0));
                    assert_eq!(plane, copy, "{first}");
                }
            }
        }
    }
}
