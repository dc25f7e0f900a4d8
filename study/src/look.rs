//! A few pairs at one setting with their vectors and errors, to be looked at.

use motefield_evaluator::correlation::{Plane, find_peaks};
use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Processing, VectorField, VectorStatus, correlate, correlation_plane};
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Pair, Scene, Seed, render};
use ndarray::Array2;

use crate::StudyError;

fn refused(error: impl std::fmt::Display) -> StudyError {
    StudyError::Request(error.to_string())
}

/// A pair, its vectors and their errors.
#[derive(Debug, Clone)]
pub struct Look {
    /// The pair.
    pub pair: Pair,
    /// Its vectors.
    pub field: VectorField,
    /// Measured minus true, px; `NaN` where the vector is lost or inside a body.
    pub errors_px: Vec<[f64; 2]>,
}

impl Look {
    /// Renders and measures pair `number` of a study's seed.
    pub fn at(scene: &Scene, processing: &Processing, seed: u64, number: u64) -> Result<Look, StudyError> {
        let seed = Seed {
            study: seed,
            realisation: number,
            ..Seed::default()
        };
        let pair = render(scene, seed).map_err(refused)?;
        let [a, b] = [pair.a.view(), pair.b.view()];
        let field = correlate(a, b, processing).map_err(refused)?;
        let places: Vec<[f64; 2]> = field.vectors.iter().map(|v| [v.x_px, v.y_px]).collect();
        let truths = TrueDisplacement::of_pair(scene).at_all(&places);
        let errors = field.vectors.iter().zip(truths);
        let errors = errors.map(|(vector, truth)| match truth {
            Some([x, y]) if vector.status == VectorStatus::Valid => [vector.dx_px - x, vector.dy_px - y],
            _ => [f64::NAN; 2],
        });
        Ok(Look {
            errors_px: errors.collect(),
            pair,
            field,
        })
    }

    /// Standard uncertainty of each vector that correlation statistics tell without the truth, px.
    pub fn uncertainties_px(&self, processing: &Processing) -> Result<Vec<[f64; 2]>, StudyError> {
        let [a, b] = [self.pair.a.view(), self.pair.b.view()];
        let estimator = Estimator::CorrelationStatistics;
        estimate(a, b, &self.field, processing, estimator).map_err(refused)
    }
}

/// The correlation plane of the window in the middle of a pair.
#[derive(Debug, Clone)]
pub struct MiddlePlane {
    /// The plane.
    pub plane: Plane,
    /// True displacement in the middle of the window, px; none inside a body.
    pub truth_px: Option<[f64; 2]>,
    /// The highest peak over the second-highest; none where there are not two.
    pub peak_ratio: Option<f64>,
}

impl MiddlePlane {
    /// Of the first pass's window, in which the displacement must be found without a guess; none
    /// where the window holds nothing.
    pub fn of(
        pair: &Pair,
        scene: &Scene,
        processing: &Processing,
    ) -> Result<Option<MiddlePlane>, StudyError> {
        let Some(pass) = processing.passes.first() else {
            return Ok(None);
        };
        let (height, width) = pair.a.dim();
        let [w, h] = [pass.window[0].min(width), pass.window[1].min(height)];
        let [left, top] = [(width - w) / 2, (height - h) / 2];
        let cut = |frame: &Array2<f32>| Array2::from_shape_fn((h, w), |(j, i)| frame[[top + j, left + i]]);
        let [a, b] = [cut(&pair.a), cut(&pair.b)];
        let plane = correlation_plane(a.view(), b.view(), processing).map_err(refused)?;
        let middle = [
            left as f64 + 0.5 * (w as f64 - 1.0),
            top as f64 + 0.5 * (h as f64 - 1.0),
        ];
        Ok(plane.map(|plane| {
            let heights =
                find_peaks(&plane).map(|peak| peak.map(|p| f64::from(plane.at(p.lag[0], p.lag[1]))));
            let peak_ratio = match heights {
                [Some(first), Some(second)] if second > 0.0 => Some(first / second),
                _ => None,
            };
            MiddlePlane {
                truth_px: TrueDisplacement::of_pair(scene).at(middle[0], middle[1]),
                peak_ratio,
                plane,
            }
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_generator::flow::Uniform;
    use std::sync::Arc;

    fn scene() -> Scene {
        Scene {
            size: [96, 96],
            seeding_density_ppp: 0.05,
            particle_diameter_px: 2.5,
            flow: Arc::new(Uniform {
                displacement_px: [3.0, -2.0, 0.0],
            }),
            ..Scene::default()
        }
    }

    /// The flow is known: every error is what the vector has beyond it.
    #[test]
    fn errors_are_measured_minus_true() {
        let look = Look::at(&scene(), &Processing::default(), 1, 0).unwrap();
        for (vector, error) in look.field.vectors.iter().zip(&look.errors_px) {
            if vector.status == VectorStatus::Valid {
                assert!((vector.dx_px - 3.0 - error[0]).abs() < 1e-9);
                assert!((vector.dy_px + 2.0 - error[1]).abs() < 1e-9);
            } else {
                assert!(error[0].is_nan());
            }
        }
        let uncertainties_px = look.uncertainties_px(&Processing::default()).unwrap();
        assert_eq!(uncertainties_px.len(), look.field.vectors.len());
    }

    /// The peak of a steady displacement stands at it, to half a pixel.
    #[test]
    fn the_plane_has_its_peak_at_the_displacement() {
        let scene = scene();
        let processing = Processing::default();
        let look = Look::at(&scene, &processing, 1, 0).unwrap();
        let found = MiddlePlane::of(&look.pair, &scene, &processing).unwrap().unwrap();
        assert_eq!(find_peaks(&found.plane)[0].unwrap().lag, [3, -2]);
        assert_eq!(found.truth_px, Some([3.0, -2.0]));
    }
}
