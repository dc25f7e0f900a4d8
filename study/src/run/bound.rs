//! The physical limit beside the error: the Cramér–Rao bound of the windows of the very pairs that
//! were measured.
//!
//! [`motefield_evaluator::bound`] has the theory. The noise-free pictures and their slopes with the
//! particles' position come from rendering the scene again, with all particles moved by a small
//! step. The noise is the sensor's: shot noise, dark noise, rounding. What the pixels' differences
//! (DSNU, PRNU, hot and dead ones) add is not in it, and the particles' own loss from frame A to
//! frame B is not either, so the bound is low where they matter.

use std::borrow::Cow;

use motefield_evaluator::bound::{ExpectedImage, PixelNoise, displacement_bound};
use motefield_evaluator::score::{ErrorSample, Errors, Score};
use motefield_evaluator::statistics::{Estimate, GridValues, ratio, root_mean_square};
use motefield_evaluator::{Grid, Processing};
use motefield_generator::pair::expected_moved;
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, Seed};
use ndarray::{Array2, Array3};

/// The bound at a point of a study, along x and y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoundAtPoint {
    /// Root mean square over the windows that gave a vector, px, with its 95 % interval.
    pub bound_px: [Estimate; 2],
    /// Bound over random error, with the interval that follows from those of both. (They share
    /// particles and tend to rise and fall together, so that it is rather too wide.)
    pub efficiency: [Estimate; 2],
}

impl BoundAtPoint {
    /// From the bounds of the first measurements of a sample.
    pub(super) fn new(sample: &ErrorSample, bounds: &[Option<Vec<[f64; 2]>>], score: &Score) -> BoundAtPoint {
        let pairs: Vec<(&Vec<[f64; 2]>, Cow<Errors>)> = bounds
            .iter()
            .enumerate()
            .filter_map(|(pair, bound)| Some((bound.as_ref()?, sample.pairs.pair(pair))))
            .collect();
        let [x, y] = [0, 1].map(|c| {
            // A window that gave no vector has no error, so its bound does not count beside the
            // others' errors.
            let square = |bound: &[[f64; 2]], errors: &Errors, k: usize| {
                let counts = sample.part.is_none_or(|part| part[k]) && errors.point_px[k][c].is_finite();
                if counts && bound[k][c].is_finite() {
                    bound[k][c].powi(2)
                } else {
                    f64::NAN
                }
            };
            let of_pair = |(bound, errors): &(&Vec<[f64; 2]>, Cow<Errors>)| -> Vec<f64> {
                (0..bound.len()).map(|k| square(bound, errors, k)).collect()
            };
            let squares = GridValues::new(sample.columns, sample.reach, pairs.iter().map(of_pair));
            let bound = root_mean_square(&squares, sample.confidence);
            let random = score.point[c].random_px;
            (bound, ratio(bound, random))
        });
        BoundAtPoint {
            bound_px: [x.0, y.0],
            efficiency: [x.1, y.1],
        }
    }
}

/// Step of the particles for the slopes, px.
const STEP_PX: f64 = 0.01;

/// The least standard deviation of the displacement, px, along x and y, of each window of the
/// processing's last pass, in the order of its vectors, for the realisation `seed` of a scene. Zero
/// for an ideal camera, which has no noise; infinite where the window does not fix the
/// displacement.
///
/// # Panics
/// When the scene or the processing do not validate.
pub fn of(scene: &Scene, processing: &Processing, seed: Seed) -> Vec<[f64; 2]> {
    let [width, height] = scene.size;
    let last = processing.passes.last().expect("at least one pass");
    let grid = Grid::new(width, height, last.window, last.overlap);
    let Some(sensor) = &scene.camera.sensor else {
        return vec![[0.0; 2]; grid.len()];
    };
    let charge = |by_px: [f64; 2]| {
        let mut pair = expected_moved(scene, seed, by_px).expect("a scene that was validated");
        sensor.charge(&mut pair.a, 0);
        sensor.charge(&mut pair.b, 1);
        [pair.a, pair.b].map(|frame| frame.mapv(f64::from))
    };
    let signal = charge([0.0; 2]);
    let slope = |by: [f64; 2]| {
        let (ahead, back) = (charge(by), charge(by.map(|step| -step)));
        [0, 1].map(|k| {
            let mut slope = (&ahead[k] - &back[k]) / (2.0 * STEP_PX);
            // A pixel that is full tells nothing.
            slope.zip_mut_with(&signal[k], |slope, charge| {
                if *charge >= sensor.saturation_e() {
                    *slope = 0.0;
                }
            });
            slope
        })
    };
    let (along_x, along_y): ([Array2<f64>; 2], [Array2<f64>; 2]) =
        (slope([STEP_PX, 0.0]), slope([0.0, STEP_PX]));
    let patterns = [0, 1].map(|k| ExpectedImage {
        signal: signal[k].view(),
        slope_x: along_x[k].view(),
        slope_y: along_y[k].view(),
    });
    let noise = PixelNoise {
        floor: sensor.floor_e2(),
        per_signal: 1.0,
    };
    let truth = TrueDisplacement::of_pair(scene);
    displacement_bound(patterns, noise, &grid, processing.weighting, |x, y| {
        truth.at(x, y).unwrap_or([0.0; 2])
    })
    .expect("frames of one size and the noise of a sensor that was validated")
}

/// The same as an array of shape 2 x rows x columns of windows.
///
/// # Panics
/// When the scene or the processing do not validate.
pub fn field(scene: &Scene, processing: &Processing, seed: Seed) -> Array3<f64> {
    let [width, height] = scene.size;
    let last = processing.passes.last().expect("at least one pass");
    let grid = Grid::new(width, height, last.window, last.overlap);
    let bound = of(scene, processing, seed);
    Array3::from_shape_fn((2, grid.rows, grid.columns), |(c, j, i)| {
        bound[j * grid.columns + i][c]
    })
}

/// The bound of several pairs measured together: their information adds up. (Each component by
/// itself, which leaves out how errors along x and y go together: second order for round particle
/// images.)
pub(super) fn ensemble(bounds: impl Iterator<Item = Vec<[f64; 2]>>) -> Vec<[f64; 2]> {
    let inverse = |b: [f64; 2]| b.map(|b| b.powi(-2));
    let sum = bounds
        .map(|windows| windows.into_iter().map(inverse).collect::<Vec<_>>())
        .reduce(|sum, windows| {
            let add = |(s, w): ([f64; 2], [f64; 2])| [s[0] + w[0], s[1] + w[1]];
            sum.into_iter().zip(windows).map(add).collect()
        })
        .unwrap_or_default();
    sum.into_iter()
        .map(|w| w.map(|information| information.powf(-0.5)))
        .collect()
}

#[cfg(test)]
mod tests;
