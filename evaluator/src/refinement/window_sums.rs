//! Weighted sums over the pixels of a window, from which the equations of its fit are made.
//!
//! All of them in lanes, in a fixed order.

use multiversion::multiversion;

use super::padded::{Padded, across, lanes};
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
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn weigh(
    [grey, taper, signal]: [&Padded; 3],
    background: f64,
    noise: [f64; 2],
    [weight, rest]: [&mut Padded; 2],
) -> Left {
    let [width, height] = grey.size();
    let mut sums = [[0.0; LANES]; 4];
    for y in 0..height {
        let (grey, taper, signal) = (grey.row(y), taper.row(y), signal.row(y));
        let (weight, rest) = (weight.row_mut(y), rest.row_mut(y));
        let mut add = |x: usize, lane: usize| {
            let left = grey[x] - background - signal[x];
            let w = taper[x] / (noise[0] + noise[1] * signal[x].max(0.0));
            (weight[x], rest[x]) = (w, w * left);
            for (sum, value) in sums.iter_mut().zip([w * left * left, taper[x], w, w * left]) {
                sum[lane] += value;
            }
        };
        let whole = width - width % LANES;
        for x in (0..whole).step_by(LANES) {
            for lane in 0..LANES {
                add(x + lane, lane);
            }
        }
        for x in whole..width {
            add(x, x - whole);
        }
    }
    let [scatter, taper, weight, rest] = across(sums);
    Left {
        scatter,
        taper,
        weight,
        rest,
    }
}

/// Sums over an image of slope along x, slope along y and fraction of the light, times `rest`.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
pub(super) fn terms_of_rest(image: &UnitImage, chunks: usize, rest: &Padded) -> [f64; 3] {
    let mut sums = [[0.0; LANES]; 3];
    for (y, pixels) in image.pixels.chunks_exact(chunks).enumerate() {
        for (chunk, [share, x, y_slope]) in pixels.iter().enumerate() {
            let rest = rest.under(image, y, chunk);
            for (sum, term) in sums.iter_mut().zip([x, y_slope, share]) {
                for lane in 0..LANES {
                    sum[lane] += term[lane] * rest[lane];
                }
            }
        }
    }
    across(sums)
}

/// The terms of one image times the weights of the pixels, in rows with room on either side, so that
/// they can be multiplied by those of an image beside it.
#[derive(Default)]
pub(super) struct Stamp {
    first: [isize; 2],
    /// Of slope along x, slope along y and fraction of the light.
    terms: [Vec<f64>; 3],
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
        stamp(&mut self.terms, image, images.chunks, weight)
    }

    /// Sums of the products of each term of the image that was taken and each of another.
    pub fn products(&self, other: &UnitImage, images: &UnitImages) -> [[f64; 3]; 3] {
        let columns = images.columns();
        let shift = [0, 1].map(|k| other.first[k] - self.first[k]);
        let from = columns.wrapping_add_signed(shift[0]);
        let rows = (-shift[1]).max(0) as usize..images.rows - shift[1].max(0) as usize;
        let down = shift[1];
        products(&self.terms, other, images.chunks, [from, 3 * columns], rows, down)
    }
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn stamp(terms: &mut [Vec<f64>; 3], image: &UnitImage, chunks: usize, weight: &Padded) -> [f64; 3] {
    let columns = chunks * LANES;
    let mut sums = [[0.0; LANES]; 3];
    for (y, pixels) in image.pixels.chunks_exact(chunks).enumerate() {
        for (chunk, [share, slope_x, slope_y]) in pixels.iter().enumerate() {
            let weight = weight.under(image, y, chunk);
            let at = (3 * y + 1) * columns + chunk * LANES;
            for (k, term) in [slope_x, slope_y, share].into_iter().enumerate() {
                let to = &mut terms[k][at..][..LANES];
                for lane in 0..LANES {
                    to[lane] = weight[lane] * term[lane];
                    sums[k][lane] += to[lane];
                }
            }
        }
    }
    across(sums)
}

#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn products(
    terms: &[Vec<f64>; 3],
    other: &UnitImage,
    chunks: usize,
    [from, stride]: [usize; 2],
    rows: std::ops::Range<usize>,
    down: isize,
) -> [[f64; 3]; 3] {
    let mut sums = [[[0.0; LANES]; 3]; 3];
    for y in rows {
        let start = y.wrapping_add_signed(down) * stride + from;
        for (chunk, [share, slope_x, slope_y]) in other.pixels[y * chunks..][..chunks].iter().enumerate() {
            let of_other: [&Lanes; 3] = [slope_x, slope_y, share];
            for i in 0..3 {
                let own = lanes(&terms[i][start + chunk * LANES..]);
                for j in 0..3 {
                    for lane in 0..LANES {
                        sums[i][j][lane] += own[lane] * of_other[j][lane];
                    }
                }
            }
        }
    }
    sums.map(across)
}
