//! What a description by particles leaves of a frame, and the weighted sums over it by which the
//! description is corrected.
//!
//! A pixel of the grey value g, where the particles give the signal s over the background b, leaves
//! g - b - s, and has the variance n₀ + n₁ max(s, 0). Every sum is weighted by one over a variance
//! and made in lanes, in a fixed order.

use multiversion::multiversion;

use super::padded::{Padded, across};
use super::particle_image::{LANES, Lanes, UnitImage};
use crate::least_squares::Sums;

/// A frame and the description of it.
#[derive(Clone, Copy)]
pub(super) struct Explained<'a> {
    pub grey: &'a Padded,
    pub signal: &'a Padded,
    pub background: f64,
    /// n₀ and n₁.
    pub noise: [f64; 2],
    /// Of a row of an image.
    pub chunks: usize,
}

impl Explained<'_> {
    /// What is left of a pixel, in standard deviations.
    pub fn excess(&self, x: usize, y: usize) -> f64 {
        let (rest, weight) = self.left(self.grey.at(x, y), self.signal.at(x, y));
        rest * weight.sqrt()
    }

    /// What is left of a pixel, and one over its variance.
    #[inline(always)]
    fn left(&self, grey: f64, signal: f64) -> (f64, f64) {
        let rest = grey - self.background - signal;
        (rest, 1.0 / (self.noise[0] + self.noise[1] * signal.max(0.0)))
    }

    /// Sums under an image of its fraction f of the light: f times what is left, and f².
    pub fn matched(&self, image: &UnitImage) -> [f64; 2] {
        matched(self, image)
    }

    /// The sums of the equations of slope along x, slope along y and fraction of the light, under an
    /// image.
    pub fn fit(&self, image: &UnitImage) -> Sums<3> {
        fit(self, image)
    }

    /// The sums of the equations of three changes of every pixel.
    pub fn widening(&self, changes: &[Padded; 3]) -> Sums<3> {
        widening(self, changes)
    }

    /// Sums over all pixels of what is left, over the square of its variance, and of one over that.
    pub fn level(&self) -> [f64; 2] {
        level(self)
    }

    /// The sums of the equations of n₀ and n₁, from the squares of what is left, of which no more
    /// than five standard deviations count, with one over the square of the variance as weight
    /// (times n₀², which keeps it near 1).
    pub fn scatter(&self) -> Sums<2> {
        scatter(self)
    }

    /// Sums of `terms` under an image, of what is left and one over the variance.
    #[inline(always)]
    fn under<const K: usize>(
        &self,
        image: &UnitImage,
        terms: impl Fn([f64; 3], f64, f64) -> [f64; K],
    ) -> [f64; K] {
        let mut sums = [[0.0; LANES]; K];
        for (y, pixels) in image.pixels.chunks_exact(self.chunks).enumerate() {
            for (chunk, [share, slope_x, slope_y]) in pixels.iter().enumerate() {
                let grey = self.grey.under(image, y, chunk);
                let signal = self.signal.under(image, y, chunk);
                for lane in 0..LANES {
                    let (rest, weight) = self.left(grey[lane], signal[lane]);
                    let terms = terms([share[lane], slope_x[lane], slope_y[lane]], rest, weight);
                    for k in 0..K {
                        sums[k][lane] += terms[k];
                    }
                }
            }
        }
        across(sums)
    }

    /// Sums over all pixels of `terms`, of column, row, signal, what is left and one over the
    /// variance.
    #[inline(always)]
    fn over_all<const K: usize>(
        &self,
        [width, height]: [usize; 2],
        terms: impl Fn([usize; 2], f64, f64, f64) -> [f64; K],
    ) -> [f64; K] {
        let mut sums = [[0.0; LANES]; K];
        for y in 0..height {
            let (grey, signal) = (&self.grey.row(y)[..width], &self.signal.row(y)[..width]);
            let add = |x: usize, lane: usize, sums: &mut [Lanes; K]| {
                let (rest, weight) = self.left(grey[x], signal[x]);
                let terms = terms([x, y], signal[x], rest, weight);
                for k in 0..K {
                    sums[k][lane] += terms[k];
                }
            };
            let whole = width - width % LANES;
            for x in (0..whole).step_by(LANES) {
                for lane in 0..LANES {
                    add(x + lane, lane, &mut sums);
                }
            }
            for x in whole..width {
                add(x, x - whole, &mut sums);
            }
        }
        across(sums)
    }
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn matched(explained: &Explained, image: &UnitImage) -> [f64; 2] {
    explained.under(image, |[share, ..], rest, weight| {
        [weight * share * rest, weight * share * share]
    })
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn fit(explained: &Explained, image: &UnitImage) -> Sums<3> {
    let [xx, xy, xf, yy, yf, ff, x, y, f] = explained.under(image, |[f, x, y], rest, weight| {
        let [a, b, c] = [weight * x, weight * y, weight * f];
        [
            a * x,
            a * y,
            a * f,
            b * y,
            b * f,
            c * f,
            a * rest,
            b * rest,
            c * rest,
        ]
    });
    Sums {
        matrix: [[xx, xy, xf], [xy, yy, yf], [xf, yf, ff]],
        right: [x, y, f],
    }
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn widening(explained: &Explained, changes: &[Padded; 3]) -> Sums<3> {
    let [aa, ab, ac, bb, bc, cc, a, b, c] =
        explained.over_all(explained.grey.size(), |[x, y], _, rest, weight| {
            let [a, b, c] = changes.each_ref().map(|changes| changes.at(x, y));
            let [p, q, r] = [weight * a, weight * b, weight * c];
            [
                p * a,
                p * b,
                p * c,
                q * b,
                q * c,
                r * c,
                p * rest,
                q * rest,
                r * rest,
            ]
        });
    Sums {
        matrix: [[aa, ab, ac], [ab, bb, bc], [ac, bc, cc]],
        right: [a, b, c],
    }
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn level(explained: &Explained) -> [f64; 2] {
    explained.over_all(explained.grey.size(), |_, _, rest, weight| {
        [weight * weight * rest, weight * weight]
    })
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn scatter(explained: &Explained) -> Sums<2> {
    let scale = explained.noise[0];
    let [ones, once, twice, square, product] =
        explained.over_all(explained.grey.size(), |_, signal, rest, weight| {
            let (s, w) = (signal.max(0.0), scale * weight);
            let w = w * w;
            let square = (rest * rest).min(25.0 / weight);
            [w, w * s, w * s * s, w * square, w * s * square]
        });
    Sums {
        matrix: [[ones, once], [once, twice]],
        right: [square, product],
    }
}

/// Adds the three changes of an image of a brightness to the pixels under it.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn add_widening(changes: &mut [Padded; 3], image: &UnitImage, chunks: usize, light: f64) {
    for (k, changes) in changes.iter_mut().enumerate() {
        changes.add_part(image, chunks, k, light);
    }
}

/// Adds the light of an image of a brightness to the pixels under it.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn add_light(signal: &mut Padded, image: &UnitImage, chunks: usize, light: f64) {
    signal.add_part(image, chunks, 0, light);
}
