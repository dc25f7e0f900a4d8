//! The diffraction pattern of a circular aperture (Airy), integrated over the pixels.
//!
//! The pattern (2J₁(v)/v)² with v = √2 r/σ has the peak and the light (2πσ² times the peak) of the
//! Gaussian of standard deviation σ = d_τ/4, so both have the same diameter. Its rings fall off
//! slowly. It is drawn to 16 σ from the middle along each axis, where v = 22.6; outside the circle
//! of that radius lies the fraction J₀² + J₁² = 2.8 % of the light (Rayleigh; Born and Wolf,
//! *Principles of Optics*, 8.5.2), which is lost.
//!
//! The integral over a pixel is tabulated: the pattern is integrated over cells of σ/16 or less
//! (Gauss–Legendre, 2 × 2 points), the cells are summed over a pixel centred on each node of their
//! grid, and places between the nodes are interpolated by cubics along both axes.

use crate::raster::Raster;
use crate::spot::Spot;

/// Distance from the middle, in standard deviations, to which the pattern is drawn.
pub(crate) const REACH_SIGMAS: f64 = 16.0;
/// Least number of cells per standard deviation.
const CELLS_PER_SIGMA: f64 = 16.0;

/// Pixel integrals of the pattern of one width.
#[derive(Debug)]
pub(crate) struct Airy {
    /// Cells per pixel, an even number.
    cells: usize,
    /// Entries per side of the table.
    side: usize,
    /// Fraction of the light in a pixel whose centre is (i, j) cells from the middle of the
    /// pattern, i and j from −1 on.
    table: Vec<f32>,
    /// Distance to which the pattern is drawn, px.
    reach: f64,
}

impl Airy {
    /// The pattern with the peak and the light of a Gaussian of standard deviation `sigma_px`.
    pub(crate) fn new(sigma_px: f64) -> Airy {
        let half = (0.5 * CELLS_PER_SIGMA / sigma_px).ceil() as usize;
        let cells = 2 * half;
        let reach = REACH_SIGMAS * sigma_px;
        // All places to the reach, and one more on either side for the interpolation.
        let places = (reach * cells as f64).ceil() as usize + 3;
        let quarter = cell_light(sigma_px, cells, places + half);
        let count = places + half;
        // Sums of the cells over a pixel, along x and then along y; cell −1 − k mirrors cell k.
        let mirrored = |k: i64| if k < 0 { -1 - k } else { k } as usize;
        let sides = |place: usize| (place as i64 - half as i64..(place + half) as i64).map(mirrored);
        let mut rows = vec![0.0; count * places];
        for j in 0..count {
            for i in 0..places {
                rows[j * places + i] = sides(i).map(|k| quarter[j * count + k]).sum();
            }
        }
        let side = places + 1;
        let mut table = vec![0.0; side * side];
        for j in 0..places {
            for i in 0..places {
                let light: f64 = sides(j).map(|k| rows[k * places + i]).sum();
                table[(j + 1) * side + i + 1] = light as f32;
            }
        }
        // Place −1 mirrors place 1.
        for k in 0..side {
            table[k * side] = table[k * side + 2];
        }
        for k in 0..side {
            table[k] = table[2 * side + k];
        }
        Airy {
            cells,
            side,
            table,
            reach,
        }
    }

    /// Adds the light of `spots` to pixels.
    pub(crate) fn add(&self, raster: &mut Raster, spots: &[Spot]) {
        let ([width, height], stride, pixels) = raster.parts();
        let (mut across, mut down) = (Vec::new(), Vec::new());
        for spot in spots {
            let x = self.places(spot.x_px, width, &mut across);
            let y = self.places(spot.y_px, height, &mut down);
            for (row, (j, wy)) in down.iter().enumerate() {
                let start = (y + row) * stride + x;
                for (pixel, (i, wx)) in pixels[start..start + across.len()].iter_mut().zip(&across) {
                    let mut light = 0.0;
                    for (q, wy) in wy.iter().enumerate() {
                        let from = (j + q) * self.side + i;
                        let four = &self.table[from..from + 4];
                        light += wy * (four[0] * wx[0] + four[1] * wx[1] + four[2] * wx[2] + four[3] * wx[3]);
                    }
                    *pixel += spot.electrons * light;
                }
            }
        }
    }

    /// For each pixel along one axis within reach of `at`: where in the table its four entries
    /// begin, and their weights. Returns the first pixel.
    fn places(&self, at: f64, length: usize, places: &mut Vec<(usize, [f32; 4])>) -> usize {
        places.clear();
        let first = (at - self.reach).ceil().max(0.0);
        let last = (at + self.reach).floor().min(length as f64 - 1.0);
        if !at.is_finite() || last < first {
            return 0;
        }
        places.extend((first as usize..=last as usize).map(|k| {
            let place = (k as f64 - at).abs() * self.cells as f64;
            let whole = place.floor();
            let t = place - whole;
            // Lagrange's cubic through the places −1, 0, 1 and 2.
            let weights = [
                -t * (t - 1.0) * (t - 2.0) / 6.0,
                (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
                -(t + 1.0) * t * (t - 2.0) / 2.0,
                (t + 1.0) * t * (t - 1.0) / 6.0,
            ];
            (whole as usize, weights.map(|w| w as f32))
        }));
        first as usize
    }
}

/// Fraction of the light in each of `count` × `count` cells of side 1/`cells` px, from the middle
/// of the pattern right and down.
fn cell_light(sigma_px: f64, cells: usize, count: usize) -> Vec<f64> {
    let side = 1.0 / cells as f64;
    let half = 0.5 / libm::sqrt(3.0);
    let peak = 1.0 / (2.0 * std::f64::consts::PI * sigma_px * sigma_px);
    let brightness = |x: f64, y: f64| {
        let v = libm::hypot(x, y) * std::f64::consts::SQRT_2 / sigma_px;
        let amplitude = 2.0 * libm::j1(v) / v;
        peak * amplitude * amplitude
    };
    let mut light = vec![0.0; count * count];
    for j in 0..count {
        for i in 0..=j {
            let nodes = [-half, half];
            let sum: f64 = nodes
                .iter()
                .flat_map(|dy| {
                    nodes.map(|dx| brightness((i as f64 + 0.5 + dx) * side, (j as f64 + 0.5 + dy) * side))
                })
                .sum();
            light[j * count + i] = 0.25 * sum * side * side;
            light[i * count + j] = light[j * count + i];
        }
    }
    light
}

#[cfg(test)]
mod tests;
