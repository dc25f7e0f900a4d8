//! Draws points of light on the pixels.
//!
//! The image of a point is a Gaussian of standard deviation σ = d/4, integrated over the sensitive
//! square of each pixel: the product of two differences of error functions, one per axis. The
//! diffraction pattern, as an alternative, is in [`crate::airy`].

use multiversion::multiversion;

use crate::airy::{self, Airy};
use crate::imaging::ImagePattern;
use crate::raster::Raster;
use crate::scene::Scene;
use crate::spot::Spot;

/// Distance from a point, in standard deviations of its image, to which it is drawn: 1e-6 of the
/// light lies beyond on either side.
pub(crate) const REACH_SIGMAS: f64 = 4.75;

/// The same for the pattern of a particle image.
pub(crate) fn reach_sigmas(pattern: ImagePattern) -> f64 {
    match pattern {
        ImagePattern::Gaussian => REACH_SIGMAS,
        ImagePattern::Airy => airy::REACH_SIGMAS,
    }
}

/// Image of a point of light on the pixels.
#[derive(Debug)]
pub(crate) enum Brush {
    /// A Gaussian of the spot's own width, on pixels whose sensitive square has this side, px.
    Gaussian(f64),
    /// The diffraction pattern, of one width for all spots.
    Airy(Airy),
}

impl Brush {
    /// What the particle images of a scene are drawn with.
    pub(crate) fn of(scene: &Scene) -> Brush {
        match scene.imaging.pattern {
            ImagePattern::Gaussian => Brush::Gaussian(libm::sqrt(scene.camera.fill_factor)),
            ImagePattern::Airy => Brush::Airy(Airy::new(0.25 * scene.particle_diameter_px)),
        }
    }
}

/// Adds the photo-electrons of `spots` to pixels. Light beyond the border is lost, as in a camera.
pub(crate) fn add(raster: &mut Raster, spots: &[Spot], brush: &Brush) {
    match brush {
        Brush::Gaussian(side) if *side == 1.0 => add_spots(raster, spots),
        Brush::Gaussian(side) => add_sparse(raster, spots, *side),
        Brush::Airy(airy) => airy.add(raster, spots),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_spots(raster: &mut Raster, spots: &[Spot]) {
    let ([width, height], stride, pixels) = raster.parts();
    let (mut across, mut down) = (Vec::new(), Vec::new());
    let mut small = WaitingSpots::<8>::new();
    let mut large = WaitingSpots::<16>::new();
    for spot in spots {
        let pen = Pen::new(spot.sigma_px);
        // Most particle images fit into a patch of 7 × 7 or 15 × 15 pixels inside the picture,
        // whose size is known to the compiler.
        if pen.reach <= 3.0 {
            large.draw(pixels, stride);
            if small.put(&pen, spot, [width, height], stride) {
                if small.count == AT_ONCE {
                    small.draw(pixels, stride);
                }
                continue;
            }
        } else if pen.reach <= 7.0 {
            small.draw(pixels, stride);
            if large.put(&pen, spot, [width, height], stride) {
                if large.count == AT_ONCE {
                    large.draw(pixels, stride);
                }
                continue;
            }
        }
        if !pen.shows(spot, [width, height]) {
            continue;
        }
        // In their order: it is part of the sums' last digits.
        small.draw(pixels, stride);
        large.draw(pixels, stride);
        let (x, columns) = pen.shares(spot.x_px, width, &mut across);
        let (y, rows) = pen.shares(spot.y_px, height, &mut down);
        outer(
            pixels,
            stride,
            [x, y],
            spot.electrons,
            &across[..columns],
            &down[..rows],
        );
    }
    small.draw(pixels, stride);
    large.draw(pixels, stride);
}

/// Points of light whose error functions are computed at once.
const AT_ONCE: usize = 8;

/// Points of light that wait to be drawn, each on a patch of `EDGES` − 1 pixels per side.
struct WaitingSpots<const EDGES: usize> {
    count: usize,
    /// The pixel at the patch's corner, and the photo-electrons.
    at: [(usize, f32); AT_ONCE],
    /// The pixels' edges along x and y, in σ√2 from the point.
    edges: [[[f32; EDGES]; 2]; AT_ONCE],
}

impl<const EDGES: usize> WaitingSpots<EDGES> {
    fn new() -> Self {
        WaitingSpots {
            count: 0,
            at: [(0, 0.0); AT_ONCE],
            edges: [[[0.0; EDGES]; 2]; AT_ONCE],
        }
    }

    /// Takes a point of light; false, and nothing else, when its patch is not inside the picture.
    #[inline(always)]
    fn put(&mut self, pen: &Pen, spot: &Spot, [width, height]: [usize; 2], stride: usize) -> bool {
        let first = [spot.x_px, spot.y_px].map(|at| (at - pen.reach + 0.5).floor());
        let fits = |first: f64, length: usize| first >= 0.0 && first + EDGES as f64 <= length as f64;
        if !fits(first[0], width) || !fits(first[1], height) {
            return false;
        }
        let start = [(spot.x_px, first[0]), (spot.y_px, first[1])]
            .map(|(at, first)| ((first - 0.5 - at) * pen.inverse) as f32);
        let step = pen.inverse as f32;
        for (edges, start) in self.edges[self.count].iter_mut().zip(start) {
            for (k, edge) in edges.iter_mut().enumerate() {
                *edge = start + step * k as f32;
            }
        }
        self.at[self.count] = (first[1] as usize * stride + first[0] as usize, spot.electrons);
        self.count += 1;
        true
    }

    /// Draws what waits.
    #[inline(always)]
    fn draw(&mut self, pixels: &mut [f32], stride: usize) {
        for edge in self.edges[..self.count].as_flattened_mut().as_flattened_mut() {
            *edge = erf(*edge);
        }
        for (&(corner, electrons), [x, y]) in self.at.iter().zip(&self.edges).take(self.count) {
            let mut across = [0.0f32; EDGES];
            for k in 0..EDGES - 1 {
                across[k] = 0.5 * (x[k + 1] - x[k]);
            }
            for row in 0..EDGES - 1 {
                let light = electrons * (0.5 * (y[row + 1] - y[row]));
                let start = corner + row * stride;
                for (pixel, share) in pixels[start..start + EDGES].iter_mut().zip(&across) {
                    *pixel += light * share;
                }
            }
        }
        self.count = 0;
    }
}

/// As `add_spots`, for pixels that are sensitive only in a middle square of side `side`.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "aarch64+neon"))]
fn add_sparse(raster: &mut Raster, spots: &[Spot], side: f64) {
    let ([width, height], stride, pixels) = raster.parts();
    let (mut across, mut down) = (Vec::new(), Vec::new());
    for spot in spots {
        let pen = Pen::new(spot.sigma_px);
        let x = pen.sparse_shares(spot.x_px, width, side, &mut across);
        let y = pen.sparse_shares(spot.y_px, height, side, &mut down);
        outer(pixels, stride, [x, y], spot.electrons, &across, &down);
    }
}

/// Adds `light` times the product of its fractions in the columns and in the rows, from the pixel
/// `corner` on.
#[inline(always)]
fn outer(pixels: &mut [f32], stride: usize, corner: [usize; 2], light: f32, across: &[f32], down: &[f32]) {
    for (row, share) in down.iter().enumerate() {
        let light = light * share;
        let start = (corner[1] + row) * stride + corner[0];
        for (pixel, share) in pixels[start..start + across.len()].iter_mut().zip(across) {
            *pixel += light * share;
        }
    }
}

/// Pixels of an axis whose fractions are computed at once.
const SIDE_BY_SIDE: usize = 8;

/// A Gaussian of one width.
struct Pen {
    /// 1/(σ√2), 1/px.
    inverse: f64,
    /// Distance to which it is drawn, px.
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

    /// Whether any of the light falls on a picture.
    #[inline(always)]
    fn shows(&self, spot: &Spot, [width, height]: [usize; 2]) -> bool {
        self.pixels(spot.x_px, width).is_some() && self.pixels(spot.y_px, height).is_some()
    }

    /// First and last pixel, along an axis of `length` pixels, of the image of a point at `at`.
    #[inline(always)]
    fn pixels(&self, at: f64, length: usize) -> Option<(f64, f64)> {
        let first = (at - self.reach + 0.5).floor().max(0.0);
        let last = (at + self.reach + 0.5).floor().min(length as f64 - 1.0);
        (at.is_finite() && last >= first).then_some((first, last))
    }

    /// Fractions of the light in the pixels along an axis of `length` pixels, in `edges`. Returns
    /// the first pixel and the number of pixels.
    fn shares(&self, at: f64, length: usize, edges: &mut Vec<f32>) -> (usize, usize) {
        let Some((first, last)) = self.pixels(at, length) else {
            return (0, 0);
        };
        let count = (last - first) as usize + 1;
        let (start, step) = (((first - 0.5 - at) * self.inverse) as f32, self.inverse as f32);
        edges.clear();
        edges.extend((0..=count).map(|k| erf(start + step * k as f32)));
        for k in 0..count {
            edges[k] = 0.5 * (edges[k + 1] - edges[k]);
        }
        (first as usize, count)
    }

    /// As `shares`, for pixels sensitive over the middle `side` of their width, normalised so that
    /// the fractions sum to 1 on average over places. Returns the first pixel.
    #[inline(always)]
    fn sparse_shares(&self, at: f64, length: usize, side: f64, shares: &mut Vec<f32>) -> usize {
        shares.clear();
        let Some((first, last)) = self.pixels(at, length) else {
            return 0;
        };
        let (first, count) = (first as usize, (last - first) as usize + 1);
        let per_side = (0.5 / side) as f32;
        shares.resize(count.next_multiple_of(SIDE_BY_SIDE), 0.0);
        for (n, shares) in shares.as_chunks_mut::<SIDE_BY_SIDE>().0.iter_mut().enumerate() {
            for (lane, share) in shares.iter_mut().enumerate() {
                let k = (first + n * SIDE_BY_SIDE + lane) as f64;
                let edge = |k: f64| erf(((k - at) * self.inverse) as f32);
                *share = (edge(k + 0.5 * side) - edge(k - 0.5 * side)) * per_side;
            }
        }
        shares.truncate(count);
        first
    }
}

/// Error function in single precision: x P(x²)/Q(x²), both of degree 5, a minimax fit on |x| ≤ 3.92
/// with an error of at most 5e-7 including rounding; a test compares with `libm`. There are no
/// branches, so that the compiler can make vector code, and no fused multiply-add, so that every
/// machine gives the same bits.
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
pub(crate) mod tests;
