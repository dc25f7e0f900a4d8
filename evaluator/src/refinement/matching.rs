//! Refinement of vectors by least-squares matching of the two windows.
//!
//! Frames deformed by a predictor p show the image F as A'(x) = F(x + r/2) and B'(x) = F(x - r/2),
//! with r the part of the displacement that p misses. As the differences are central,
//!
//! A' - B' = r · ∇M + s M + o,  M = (A' + B')/2,
//!
//! up to the third order in r; s and o account for differences of brightness and background between
//! the frames (the radiometric parameters of least-squares matching: Ackermann 1984, Gruen 1985;
//! from memory). The four unknowns are fitted to the pixels of a window with the weights of the
//! window ([`crate::window_weights`]), which is the maximum-likelihood estimate for normal noise
//! that is equal in all pixels.
//!
//! Both deformed frames are first smoothed by (1, 3, 1)/5 along x and y. Waves of nearly two
//! pixels' length, which are aliased in small particle images and which no interpolator restores,
//! contain little of the signal and most of the interpolation error.

use crate::frames::{FrameView, mirror};
use crate::interpolate::{Interpolated, Interpolator};
use crate::least_squares::Normal;
use crate::statistics::mean_and_deviation;
use crate::window::{Grid, Weighting, window_weights};

/// Half the distance of the samples whose difference is the gradient, px: gives the spline's slope
/// to 2e-3 at the shortest wave.
const HALF_STEP_PX: f32 = 0.03;

/// The unknowns: r along x and y, s, o.
pub(crate) type Equations = Normal<4>;

/// Matches the windows of pairs of one size.
pub(crate) struct Matching {
    size: [usize; 2],
    mean: Interpolated,
}

impl Matching {
    pub fn new(size: [usize; 2], interpolator: Interpolator) -> Self {
        Self {
            size,
            mean: Interpolated::new(size, interpolator),
        }
    }

    /// Adds the pixels of two deformed frames to the equations of each window.
    pub fn add(
        &mut self,
        deformed: [&[f32]; 2],
        grid: &Grid,
        weighting: Weighting,
        equations: &mut [Equations],
    ) {
        let [a, b] = deformed.map(|frame| smooth(frame, self.size));
        let mean: Vec<f32> = a.iter().zip(&b).map(|(a, b)| 0.5 * (a + b)).collect();
        let gradient = slopes(&mut self.mean, &mean, self.size);
        let [along_x, along_y] = grid.window.map(|side| window_weights(weighting, side));
        let [centre, spread] = mean_and_deviation(&mean);
        // In units of the contrast of the image, so that the unknowns are of one order of
        // magnitude.
        let scale = 1.0 / spread.max(f64::MIN_POSITIVE);
        for (n, equations) in equations.iter_mut().enumerate() {
            let [x0, y0] = grid.corner(n % grid.columns, n / grid.columns);
            for (y, wy) in (y0..).zip(&along_y) {
                let first = y * self.size[0] + x0;
                for (k, wx) in (first..).zip(&along_x) {
                    let slope = gradient.each_ref().map(|slope| scale * f64::from(slope[k]));
                    let level = scale * (f64::from(mean[k]) - centre);
                    let difference = scale * f64::from(a[k] - b[k]);
                    equations.add([slope[0], slope[1], level, 1.0], difference, wx * wy);
                }
            }
        }
    }
}

/// The slopes along x and y, at every pixel, of the interpolated surface, per px.
fn slopes(surface: &mut Interpolated, pixels: &[f32], size: [usize; 2]) -> [Vec<f32>; 2] {
    let [width, height] = size;
    surface.load(FrameView { pixels, size });
    let (step, rest) = (vec![HALF_STEP_PX; width], vec![0.0; width]);
    let mut ahead = vec![0.0; width];
    [[&step, &rest], [&rest, &step]].map(|[dx, dy]| {
        let mut slope = vec![0.0; width * height];
        for (y, row) in slope.chunks_exact_mut(width).enumerate() {
            surface.sample_row([0, y], 1.0, [dx, dy], &mut ahead);
            surface.sample_row([0, y], -1.0, [dx, dy], row);
            for (value, ahead) in row.iter_mut().zip(&ahead) {
                *value = (ahead - *value) / (2.0 * HALF_STEP_PX);
            }
        }
        slope
    })
}

/// The frame smoothed by (1, 3, 1)/5 along x and y.
fn smooth(frame: &[f32], [width, height]: [usize; 2]) -> Vec<f32> {
    let weigh = |before: f32, here: f32, after: f32| 0.2 * (before + after) + 0.6 * here;
    let across: Vec<f32> = frame
        .chunks_exact(width)
        .flat_map(|row| {
            let at = move |x: isize| row[mirror(x, width)];
            (0..width as isize).map(move |x| weigh(at(x - 1), at(x), at(x + 1)))
        })
        .collect();
    (0..height as isize)
        .flat_map(|y| {
            let [before, here, after] =
                [y - 1, y, y + 1].map(|y| &across[mirror(y, height) * width..][..width]);
            (0..width).map(move |x| weigh(before[x], here[x], after[x]))
        })
        .collect()
}
