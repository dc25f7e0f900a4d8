//! Points of light to photo-electrons on the pixel grid.
//!
//! A particle image is a Gaussian of standard deviation σ = d/4, integrated over each pixel's sensitive square: the product of
//! two differences of error functions, one an axis. (The diffraction pattern itself: [`crate::airy`].) Light is additive.

use multiversion::multiversion;
use ndarray::Array2;

use crate::airy::Airy;
use crate::exposure::Spot;

/// Pixels farther than this from the point of light, in standard deviations, get nothing: 1e-6 of the light lies beyond
/// on either side.
pub(crate) const REACH_SIGMAS: f64 = 4.75;

/// What a point of light looks like to the pixels.
#[derive(Debug)]
pub enum Brush {
    /// A Gaussian of the spot's own width, on pixels whose sensitive square has this side, px.
    Gaussian(f64),
    /// The diffraction pattern of one width for all spots.
    Airy(Airy),
}

/// Adds the light of `spots` to `image` (photo-electrons; height × width). Light beyond the image's border is lost, as in a camera.
pub fn add(image: &mut Array2<f32>, spots: &[Spot], brush: &Brush) {
    let (height, width) = image.dim();
    let pixels = image.as_slice_mut().expect("an image in standard layout");
    match brush {
        Brush::Gaussian(side) if *side == 1.0 => add_spots(pixels, width, height, spots),
        Brush::Gaussian(side) => add_sparse(pixels, width, height, spots, *side),
        Brush::Airy(airy) => airy.add(pixels, width, height, spots),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_spots(pixels: &mut [f32], width: usize, height: usize, spots: &[Spot]) {
    let (mut across, mut down) = (Vec::new(), Vec::new());
    for spot in spots {
        let pen = Pen::new(spot.sigma_px);
        // Most particle images fit a patch of 7 or 15 pixels inside the picture, of a size known to the compiler.
        let drawn = if pen.reach <= 3.0 {
            pen.patch::<8, 16>(pixels, width, height, spot)
        } else {
            pen.reach <= 7.0 && pen.patch::<16, 32>(pixels, width, height, spot)
        };
        if !drawn {
            let (x, columns) = pen.shares(spot.x_px, width, &mut across);
            let (y, rows) = pen.shares(spot.y_px, height, &mut down);
            outer(
                pixels,
                width,
                [x, y],
                spot.electrons,
                &across[..columns],
                &down[..rows],
            );
        }
    }
}

/// The same for pixels that are sensitive in a middle square of side `side` only.
fn add_sparse(pixels: &mut [f32], width: usize, height: usize, spots: &[Spot], side: f64) {
    let (mut across, mut down) = (Vec::new(), Vec::new());
    for spot in spots {
        let pen = Pen::new(spot.sigma_px);
        let x = pen.sparse_shares(spot.x_px, width, side, &mut across);
        let y = pen.sparse_shares(spot.y_px, height, side, &mut down);
        outer(pixels, width, [x, y], spot.electrons, &across, &down);
    }
}

/// Adds `light` times the product of the shares of columns and rows, from the pixel `corner` on.
#[inline(always)]
fn outer(pixels: &mut [f32], width: usize, corner: [usize; 2], light: f32, across: &[f32], down: &[f32]) {
    for (row, share) in down.iter().enumerate() {
        let light = light * share;
        let start = (corner[1] + row) * width + corner[0];
        for (pixel, share) in pixels[start..start + across.len()].iter_mut().zip(across) {
            *pixel += light * share;
        }
    }
}

/// How light spreads about its point: 1/(σ√2) and how far, px.
struct Pen {
    inverse: f64,
    reach: f64,
}

impl Pen {
    #[inline(always)]
    fn new(sigma_px: f64) -> Pen {
        Pen {
            inverse: 1.0 / (sigma_px * std::f64::consts::SQRT_2),
            reach: REACH_SIGMAS * sigma_px,
        }
    }

    /// Adds one point of light to a patch of `EDGES` − 1 pixels a side (`BOTH` is twice `EDGES`); false, and nothing done, when
    /// the patch leaves the picture.
    #[inline(always)]
    fn patch<const EDGES: usize, const BOTH: usize>(
        &self,
        pixels: &mut [f32],
        width: usize,
        height: usize,
        spot: &Spot,
    ) -> bool {
        let first = [spot.x_px, spot.y_px].map(|at| (at - self.reach + 0.5).floor());
        let fits = |first: f64, length: usize| first >= 0.0 && first + EDGES as f64 <= length as f64;
        if !fits(first[0], width) || !fits(first[1], height) {
            return false;
        }
        let start = [(spot.x_px, first[0]), (spot.y_px, first[1])]
            .map(|(at, first)| ((first - 0.5 - at) * self.inverse) as f32);
        let step = self.inverse as f32;
        let mut edges = [0.0f32; BOTH];
        for k in 0..EDGES {
            edges[k] = start[0] + step * k as f32;
            edges[EDGES + k] = start[1] + step * k as f32;
        }
        for edge in &mut edges {
            *edge = erf(*edge);
        }
        let mut across = [0.0f32; EDGES];
        for k in 0..EDGES - 1 {
            across[k] = 0.5 * (edges[k + 1] - edges[k]);
        }
        let corner = first[1] as usize * width + first[0] as usize;
        for row in 0..EDGES - 1 {
            let light = spot.electrons * (0.5 * (edges[EDGES + row + 1] - edges[EDGES + row]));
            let start = corner + row * width;
            for (pixel, share) in pixels[start..start + EDGES].iter_mut().zip(&across) {
                *pixel += light * share;
            }
        }
        true
    }

    /// The light's share in each pixel along one axis of `length` pixels: the first pixel, and how many of `edges` are
    /// filled.
    fn shares(&self, at: f64, length: usize, edges: &mut Vec<f32>) -> (usize, usize) {
        let first = (at - self.reach + 0.5).floor().max(0.0);
        let last = (at + self.reach + 0.5).floor().min(length as f64 - 1.0);
        if !at.is_finite() || last < first {
            return (0, 0);
        }
        let count = (last - first) as usize + 1;
        let (start, step) = (((first - 0.5 - at) * self.inverse) as f32, self.inverse as f32);
        edges.clear();
        edges.extend((0..=count).map(|k| erf(start + step * k as f32)));
        for k in 0..count {
            edges[k] = 0.5 * (edges[k + 1] - edges[k]);
        }
        (first as usize, count)
    }

    /// As `shares`, for pixels sensitive over the middle `side` of their width; normalised so that the shares sum to 1 on average
    /// over places. Fills `shares` and gives the first pixel.
    fn sparse_shares(&self, at: f64, length: usize, side: f64, shares: &mut Vec<f32>) -> usize {
        shares.clear();
        let first = (at - self.reach + 0.5).floor().max(0.0);
        let last = (at + self.reach + 0.5).floor().min(length as f64 - 1.0);
        if !at.is_finite() || last < first {
            return 0;
        }
        let edge = |k: f64| erf(((k - at) * self.inverse) as f32);
        shares.extend((first as usize..=last as usize).map(|k| {
            let k = k as f64;
            (edge(k + 0.5 * side) - edge(k - 0.5 * side)) * (0.5 / side) as f32
        }));
        first as usize
    }
}

/// Error function in single precision: x P(x²)/Q(x²), both of degree 5, fitted on |x| ≤ 3.92 (own minimax fit; error at
/// most 5e-7 with rounding, held by a test against `libm`). Branch-free, so that the compiler turns it into vector code;
/// without fused multiply-add, so that every machine gives the same bits.
#[inline(always)]
fn erf(x: f32) -> f32 {
    let x = x.clamp(-3.92, 3.92);
    let t = x * x;
    let p = ((((2.034_768_4e-6 * t + 2.874_781e-4) * t + 3.868_22e-3) * t + 5.306_014_4e-2) * t
        + 1.927_613_9e-1)
        * t
        + std::f32::consts::FRAC_2_SQRT_PI;
    let q = ((((3.807_092_4e-5 * t + 1.188_091_4e-3) * t + 1.517_207_7e-2) * t + 1.150_835_3e-1) * t
        + 5.041_62e-1)
        * t
        + 1.0;
    x * p / q
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against `libm`'s double-precision error function. 5e-7: two shares of half that make the 1e-6 that rendering
    /// must keep, with as much again to spare.
    #[test]
    fn erf_agrees_with_libm() {
        let worst = (-60_000..=60_000)
            .map(|k| k as f32 * 1e-4)
            .map(|x| (f64::from(erf(x)) - libm::erf(f64::from(x))).abs())
            .fold(0.0, f64::max);
        assert!(worst < 5e-7, "{worst:e}");
        assert_eq!(erf(-0.3), -erf(0.3));
    }
}
