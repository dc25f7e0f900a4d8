//! What a description by particles leaves of a frame, and the weighted sums over it by which the
//! description is corrected.
//!
//! A pixel of the grey value g, where the particles give the signal s over the background b, leaves
//! g - b - s, and has the variance n₀ + n₁ max(s, 0). Every sum is weighted by one over a variance
//! and made in lanes, in a fixed order.

use std::array;

use multiversion::multiversion;

use super::padded::{Padded, dot};
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
    /// For each pixel, row by row, what is left of the 3 x 3 pixels around it, each in standard
    /// deviations; a third of the sum, so that it is in standard deviations, too.
    pub fn excess_around(&self) -> Vec<f64> {
        excess_around(self)
    }

    /// Sums under an image of its fraction f of the light: f times what is left, and f².
    pub fn matched(&self, image: &UnitImage, room: &mut Weighed) -> [f64; 2] {
        matched(self, image, room)
    }

    /// The sums of the equations of slope along x, slope along y and fraction of the light, under
    /// an image.
    pub fn fit(&self, image: &UnitImage, room: &mut Weighed) -> Sums<3> {
        fit(self, image, room)
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

    /// Leaves in `room`, for each pixel under an image, one over its variance and what is left of
    /// it times that.
    #[inline(always)]
    fn under(&self, image: &UnitImage, room: &mut Weighed) {
        let Weighed {
            weights,
            rests,
            terms: [grey, ..],
        } = room;
        self.grey.copy_under(image, self.chunks, grey);
        self.signal.copy_under(image, self.chunks, weights);
        rests.resize(weights.len(), [0.0; LANES]);
        for ((grey, weight), rest) in grey.iter().zip(weights).zip(rests) {
            (*weight, *rest) = self.weigh(*grey, *weight);
        }
    }

    /// The same for a row of `width` pixels; what the last chunk has beyond is zero.
    #[inline(always)]
    fn weigh_row(&self, y: usize, width: usize, room: &mut Weighed) {
        let (grey, signal) = (self.grey.row(y), self.signal.row(y));
        room.weights.clear();
        room.rests.clear();
        for (grey, signal) in grey.iter().zip(signal) {
            let (weight, rest) = self.weigh(*grey, *signal);
            room.weights.push(weight);
            room.rests.push(rest);
        }
        for values in [&mut room.weights, &mut room.rests] {
            values.as_flattened_mut()[width..].fill(0.0);
        }
    }

    /// One over the variance, and what is left times that.
    #[inline(always)]
    fn weigh(&self, grey: Lanes, signal: Lanes) -> (Lanes, Lanes) {
        let [floor, slope] = self.noise;
        let weight: Lanes = signal.map(|signal| 1.0 / (floor + slope * signal.max(0.0)));
        let rest = array::from_fn(|k| weight[k] * (grey[k] - self.background - signal[k]));
        (weight, rest)
    }
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn excess_around(explained: &Explained) -> Vec<f64> {
    let [width, height] = explained.grey.size();
    let [floor, slope] = explained.noise;
    // A pixel on each side that has no excess.
    let stride = width + 2;
    let mut excess = vec![0.0; stride * (height + 2)];
    for (y, row) in excess.chunks_exact_mut(stride).skip(1).take(height).enumerate() {
        let grey = explained.grey.row(y).as_flattened();
        let signal = explained.signal.row(y).as_flattened();
        for ((excess, grey), signal) in row[1..=width].iter_mut().zip(grey).zip(signal) {
            let variance = floor + slope * signal.max(0.0);
            *excess = (grey - explained.background - signal) / (9.0 * variance).sqrt();
        }
    }
    let mut around = Vec::with_capacity(width * height);
    let mut column = vec![0.0; stride];
    for y in 0..height {
        let [above, here, below] = [0, 1, 2].map(|k| &excess[(y + k) * stride..][..stride]);
        for (((sum, above), here), below) in column.iter_mut().zip(above).zip(here).zip(below) {
            *sum = above + here + below;
        }
        around.extend(column.windows(3).map(|c| c[0] + c[1] + c[2]));
    }
    around
}

/// Memory for the pixels under an image.
#[derive(Default)]
pub(super) struct Weighed {
    weights: Vec<Lanes>,
    rests: Vec<Lanes>,
    terms: [Vec<Lanes>; 3],
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn matched(explained: &Explained, image: &UnitImage, room: &mut Weighed) -> [f64; 2] {
    explained.under(image, room);
    let share = &image.parts[0];
    for (weight, share) in room.weights.iter_mut().zip(share) {
        let (w, share) = (*weight, *share);
        *weight = array::from_fn(|k| w[k] * share[k]);
    }
    [dot(&room.rests, share), dot(&room.weights, share)]
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn fit(explained: &Explained, image: &UnitImage, room: &mut Weighed) -> Sums<3> {
    explained.under(image, room);
    let Weighed {
        weights,
        rests,
        terms,
    } = room;
    let [share, slope_x, slope_y] = &image.parts;
    sums(weights, rests, [slope_x, slope_y, share], terms)
}

/// The sums of equations with three terms at each pixel, of given weights and weighted values.
#[inline(always)]
fn sums(weights: &[Lanes], rests: &[Lanes], parts: [&[Lanes]; 3], terms: &mut [Vec<Lanes>; 3]) -> Sums<3> {
    for (terms, part) in terms.iter_mut().zip(parts) {
        terms.resize(weights.len(), [0.0; LANES]);
        for ((term, weight), part) in terms.iter_mut().zip(weights).zip(part) {
            let (weight, part) = (*weight, *part);
            *term = array::from_fn(|k| weight[k] * part[k]);
        }
    }
    let mut matrix = [[0.0; 3]; 3];
    for i in 0..3 {
        for j in 0..=i {
            matrix[i][j] = dot(&terms[i], parts[j]);
            matrix[j][i] = matrix[i][j];
        }
    }
    let right = [dot(rests, parts[0]), dot(rests, parts[1]), dot(rests, parts[2])];
    Sums { matrix, right }
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn widening(explained: &Explained, changes: &[Padded; 3]) -> Sums<3> {
    let [width, height] = explained.grey.size();
    let mut room = Weighed::default();
    let mut all = Sums {
        matrix: [[0.0; 3]; 3],
        right: [0.0; 3],
    };
    for y in 0..height {
        explained.weigh_row(y, width, &mut room);
        let parts = [changes[0].row(y), changes[1].row(y), changes[2].row(y)];
        let Weighed {
            weights,
            rests,
            terms,
        } = &mut room;
        let row = sums(weights, rests, parts, terms);
        for i in 0..3 {
            for j in 0..3 {
                all.matrix[i][j] += row.matrix[i][j];
            }
            all.right[i] += row.right[i];
        }
    }
    all
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn level(explained: &Explained) -> [f64; 2] {
    let [width, height] = explained.grey.size();
    let mut room = Weighed::default();
    let mut all = [0.0; 2];
    for y in 0..height {
        explained.weigh_row(y, width, &mut room);
        let weights = &room.weights;
        all[0] += dot(weights, &room.rests);
        all[1] += dot(weights, weights);
    }
    all
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn scatter(explained: &Explained) -> Sums<2> {
    let [width, height] = explained.grey.size();
    let scale = explained.noise[0];
    let mut room = Weighed::default();
    let [mut ones, mut once, mut twice, mut square, mut product] = [0.0; 5];
    for y in 0..height {
        explained.weigh_row(y, width, &mut room);
        let Weighed {
            weights,
            rests,
            terms: [lights, lit, _],
        } = &mut room;
        lights.clear();
        lights.extend(explained.signal.row(y).iter().map(|s| s.map(|s| s.max(0.0))));
        for (rest, weight) in rests.iter_mut().zip(&mut *weights) {
            let (r, w) = (*rest, *weight);
            // The square of what is left, w r² / w, times the weight squared; nothing beyond the
            // frame, where the weight is zero.
            *rest = array::from_fn(|k| scale * scale * (r[k] * r[k]).min(25.0 * w[k]));
            *weight = w.map(|w| scale * w);
        }
        lit.clear();
        lit.extend(
            lights
                .iter()
                .zip(&*weights)
                .map(|(s, w)| -> Lanes { array::from_fn(|k| s[k] * w[k]) }),
        );
        ones += dot(weights, weights);
        once += dot(weights, lit);
        twice += dot(lit, lit);
        square += rests
            .iter()
            .fold([0.0; LANES], |sum: Lanes, v| array::from_fn(|k| sum[k] + v[k]))
            .into_iter()
            .sum::<f64>();
        product += dot(rests, lights);
    }
    Sums {
        matrix: [[ones, once], [once, twice]],
        right: [square, product],
    }
}

/// Adds the three changes of an image of a brightness to the pixels under it.
#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(super) fn add_widening(changes: &mut [Padded; 3], image: &UnitImage, chunks: usize, light: f64) {
    for (k, changes) in changes.iter_mut().enumerate() {
        changes.add_part(image, chunks, k, light);
    }
}

/// Adds the light of an image of a brightness to the pixels under it.
#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(super) fn add_light(signal: &mut Padded, image: &UnitImage, chunks: usize, light: f64) {
    signal.add_part(image, chunks, 0, light);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refinement::{image_shape::ImageShape, particle_image::UnitImages};

    /// Slow plain reference: pixel by pixel, each with the neighbours that are in the frame
    /// (rounding).
    #[test]
    fn what_is_left_around_a_pixel_is_summed() {
        let (size, noise, background) = ([11, 7], [4.0, 0.5], 3.0);
        let images = UnitImages::new(&ImageShape::new([0.5, 0.0, 0.5]));
        let [mut grey, mut signal] = [0, 1].map(|_| Padded::default());
        let grey_at = |x: usize, y: usize| ((x * 7 + y * 13) % 11) as f64;
        let signal_at = |x: usize, y: usize| ((x * 5 + y * 3) % 7) as f64 - 1.0;
        for (plane, at) in [
            (&mut grey, &grey_at as &dyn Fn(usize, usize) -> f64),
            (&mut signal, &signal_at),
        ] {
            plane.clear(size, &images);
            for y in 0..size[1] {
                for (x, value) in plane.row_mut(y).as_flattened_mut()[..size[0]]
                    .iter_mut()
                    .enumerate()
                {
                    *value = at(x, y);
                }
            }
        }
        let explained = Explained {
            grey: &grey,
            signal: &signal,
            background,
            noise,
            chunks: images.chunks,
        };
        let around = explained.excess_around();
        assert_eq!(around.len(), size[0] * size[1]);
        for (n, found) in around.iter().enumerate() {
            let [x, y] = [n % size[0], n / size[0]];
            let mut expected = 0.0;
            for v in y.saturating_sub(1)..(y + 2).min(size[1]) {
                for u in x.saturating_sub(1)..(x + 2).min(size[0]) {
                    let variance = noise[0] + noise[1] * signal_at(u, v).max(0.0);
                    let left = grey_at(u, v) - background - signal_at(u, v);
                    expected += left / variance.sqrt() / 3.0;
                }
            }
            assert!((found - expected).abs() < 1e-12, "({x}, {y}): {found} {expected}");
        }
    }
}
