//! Weighted sums over the pixels of a window, from which the equations of its fit are made.
//!
//! All of them in lanes, in a fixed order.

use std::ops::Range;

use multiversion::multiversion;

use super::padded::{Padded, across, copy_rows, dot};
use super::particle_image::{LANES, Lanes, UnitImage, UnitImages};

/// Sums over the pixels of a window.
pub(super) struct Left {
    /// Of weight times the square of what is left.
    pub scatter: f64,
    pub taper: f64,
    pub weight: f64,
    /// Of weight times what is left.
    pub rest: f64,
}

/// From grey values, taper and signal makes the weight of every pixel, taper over variance, and
/// what is left of it times that weight.
#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(super) fn weigh(
    [grey, taper, signal]: [&Padded; 3],
    background: f64,
    noise: [f64; 2],
    [weight, rest]: [&mut Padded; 2],
) -> Left {
    let [_, height] = grey.size();
    let [mut scatter, mut tapers, mut weights, mut rests] = [[0.0; LANES]; 4];
    for y in 0..height {
        let [grey, taper, signal] = [grey, taper, signal].map(|plane| plane.row(y));
        let (weight, rest) = (weight.row_mut(y), rest.row_mut(y));
        for n in 0..grey.len() {
            let (grey, taper, signal) = (grey[n], taper[n], signal[n]);
            let left: Lanes = std::array::from_fn(|k| grey[k] - background - signal[k]);
            let w: Lanes = std::array::from_fn(|k| taper[k] / (noise[0] + noise[1] * signal[k].max(0.0)));
            let weighted: Lanes = std::array::from_fn(|k| w[k] * left[k]);
            (weight[n], rest[n]) = (w, weighted);
            for k in 0..LANES {
                scatter[k] += weighted[k] * left[k];
            }
            for k in 0..LANES {
                tapers[k] += taper[k];
            }
            for k in 0..LANES {
                weights[k] += w[k];
            }
            for k in 0..LANES {
                rests[k] += weighted[k];
            }
        }
    }
    Left {
        scatter: across(scatter),
        taper: across(tapers),
        weight: across(weights),
        rest: across(rests),
    }
}

/// The parts of an image in the order of the unknowns: slope along x, slope along y, fraction of
/// the light.
const PARTS: [usize; 3] = [1, 2, 0];

/// Sums over an image of slope along x, slope along y and fraction of the light, times `rest`.
#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
pub(super) fn terms_of_rest(
    image: &UnitImage,
    chunks: usize,
    rest: &Padded,
    under: &mut Vec<Lanes>,
) -> [f64; 3] {
    rest.copy_under(image, chunks, under);
    let mut sums = [0.0; 3];
    for k in 0..3 {
        sums[k] = dot(under, &image.parts[PARTS[k]]);
    }
    sums
}

/// The terms of one image times the weights of the pixels, in rows with room on either side, so
/// that they can be multiplied by those of an image beside it.
#[derive(Default)]
pub(super) struct Stamp {
    first: [isize; 2],
    /// Of slope along x, slope along y and fraction of the light.
    terms: [Vec<f64>; 3],
    /// Memory for what lies under an image.
    beside: Vec<Lanes>,
}

impl Stamp {
    /// Makes room for images made by `images`; the memory is used again.
    pub fn clear(&mut self, images: &UnitImages) {
        for terms in &mut self.terms {
            terms.clear();
            terms.resize(3 * images.columns() * images.rows, 0.0);
        }
    }

    /// Takes an image, and returns the sums of its weighted terms.
    pub fn take(&mut self, image: &UnitImage, images: &UnitImages, weight: &Padded) -> [f64; 3] {
        self.first = image.first;
        stamp(&mut self.terms, image, images.chunks, weight, &mut self.beside)
    }

    /// Sums of the products of each term of the image that was taken and each of another.
    pub fn products(&mut self, other: &UnitImage, images: &UnitImages) -> [[f64; 3]; 3] {
        let columns = images.columns();
        let shift = [0, 1].map(|k| other.first[k] - self.first[k]);
        let rows = (-shift[1]).max(0) as usize..images.rows - shift[1].max(0) as usize;
        let start = rows.start.wrapping_add_signed(shift[1]) * 3 * columns;
        let start = start + columns.wrapping_add_signed(shift[0]);
        let Self { terms, beside, .. } = self;
        products(terms, other, images.chunks, start, rows, beside)
    }
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn stamp(
    stamped: &mut [Vec<f64>; 3],
    image: &UnitImage,
    chunks: usize,
    weight: &Padded,
    under: &mut Vec<Lanes>,
) -> [f64; 3] {
    let columns = chunks * LANES;
    weight.copy_under(image, chunks, under);
    let mut sums = [0.0; 3];
    for k in 0..3 {
        let part = &image.parts[PARTS[k]];
        let mut start = columns;
        for (terms, weights) in part.chunks_exact(chunks).zip(under.chunks_exact(chunks)) {
            for chunk in 0..chunks {
                let to = &mut stamped[k][start + chunk * LANES..].as_chunks_mut::<LANES>().0[0];
                let (weight, term) = (weights[chunk], terms[chunk]);
                *to = std::array::from_fn(|lane| weight[lane] * term[lane]);
            }
            start += 3 * columns;
        }
        sums[k] = dot(under, part);
    }
    sums
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn products(
    terms: &[Vec<f64>; 3],
    other: &UnitImage,
    chunks: usize,
    start: usize,
    rows: Range<usize>,
    beside: &mut Vec<Lanes>,
) -> [[f64; 3]; 3] {
    let among = rows.start * chunks..rows.end * chunks;
    beside.resize(among.len(), [0.0; LANES]);
    let mut products = [[0.0; 3]; 3];
    for i in 0..3 {
        copy_rows(&terms[i][start..], 3 * chunks * LANES, chunks, beside);
        for j in 0..3 {
            products[i][j] = dot(beside, &other.parts[PARTS[j]][among.clone()]);
        }
    }
    products
}
