//! A few pairs at one setting with their vectors and errors, to be looked at. Of a large picture
//! that is a part in its middle: more vectors than that the eye does not tell apart, and they take
//! long.

use motefield_evaluator::correlation::{Plane, find_peaks};
use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Processing, Vector, VectorField, VectorStatus, correlate, correlation_plane};
use motefield_generator::pair::Crops;
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Crop, Pair, Scene, Seed};
use ndarray::Array2;

use crate::StudyError;
use crate::run::tiles;

/// Longest side of what is looked at of a picture that is measured by tiles, px.
const PART_PX: usize = 1024;

fn refused(error: impl std::fmt::Display) -> StudyError {
    StudyError::Request(error.to_string())
}

/// A pair, its vectors and their errors.
#[derive(Debug, Clone)]
pub struct Look {
    /// The pair, or the part of it.
    pub pair: Pair,
    /// Width and height of the picture, px.
    pub picture_px: [usize; 2],
    /// How the part is measured.
    pub processing: Processing,
    /// Its vectors.
    pub field: VectorField,
    /// Measured minus true, px; `NaN` where the vector is lost or inside a body.
    pub errors_px: Vec<[f64; 2]>,
}

impl Look {
    /// Renders and measures pair `number` of a study's seed, or its part.
    ///
    /// # Errors
    /// When the scene or the processing is refused.
    pub fn at(scene: &Scene, processing: &Processing, seed: u64, number: u64) -> Result<Look, StudyError> {
        let seed = Seed {
            study: seed,
            realisation: number,
            ..Seed::default()
        };
        let part = part_of(scene.size);
        let around = with_surroundings(part, scene.size, processing);
        let wide = Crops::of(scene, vec![around]).map_err(refused)?.render(0, seed);
        let [a, b] = [wide.a.view(), wide.b.view()];
        let field = correlate(a, b, &tiles::cut(processing, around)).map_err(refused)?;
        let corner = [0, 1].map(|k| part.origin[k] - around.origin[k]);
        let field = field_in(&field, corner, part.size);
        let inner = Crop {
            origin: corner,
            size: part.size,
        };
        let pair = Pair {
            a: tiles::part(&wide.a, inner),
            b: tiles::part(&wide.b, inner),
        };
        let place = |v: &Vector| [v.x_px + part.origin[0] as f64, v.y_px + part.origin[1] as f64];
        let places: Vec<[f64; 2]> = field.vectors.iter().map(place).collect();
        let truths = TrueDisplacement::of_pair(scene).at_all(&places);
        let errors = field.vectors.iter().zip(truths);
        let errors = errors.map(|(vector, truth)| match truth {
            Some([x, y]) if vector.status == VectorStatus::Valid => [vector.dx_px - x, vector.dy_px - y],
            _ => [f64::NAN; 2],
        });
        Ok(Look {
            errors_px: errors.collect(),
            picture_px: scene.size,
            processing: tiles::cut(processing, part),
            pair,
            field,
        })
    }

    /// Whether this is a part of the picture.
    pub fn is_part(&self) -> bool {
        let (height, width) = self.pair.a.dim();
        self.picture_px != [width, height]
    }

    /// Standard uncertainty of each vector that correlation statistics tell without the truth, px.
    ///
    /// # Errors
    /// When the processing is one that the estimator does not know.
    pub fn uncertainties_px(&self) -> Result<Vec<[f64; 2]>, StudyError> {
        let [a, b] = [self.pair.a.view(), self.pair.b.view()];
        let estimator = Estimator::CorrelationStatistics;
        estimate(a, b, &self.field, &self.processing, estimator).map_err(refused)
    }
}

/// What is looked at of a picture: all of it, or its middle.
fn part_of(size: [usize; 2]) -> Crop {
    let whole = size[0] * size[1] <= tiles::WHOLE_UP_TO;
    let part = size.map(|side| if whole { side } else { side.min(PART_PX) });
    Crop {
        origin: [0, 1].map(|k| (size[k] - part[k]) / 2),
        size: part,
    }
}

/// A part with what lies around it in the picture, so that its border is none to the windows: as
/// much as the first of them is wide.
fn with_surroundings(part: Crop, size: [usize; 2], processing: &Processing) -> Crop {
    let reach = processing.passes.first().map_or([0; 2], |pass| pass.window);
    let origin = [0, 1].map(|k| part.origin[k].saturating_sub(reach[k]));
    let size = [0, 1].map(|k| (part.end(k) + reach[k]).min(size[k]) - origin[k]);
    Crop { origin, size }
}

/// The vectors whose windows lie in a part of the pictures, by its first pixel and size.
fn field_in(field: &VectorField, corner: [usize; 2], size: [usize; 2]) -> VectorField {
    let half = field.window.map(|side| 0.5 * (side as f64 - 1.0));
    let inside = |centre: f64, k: usize| {
        let first = centre - half[k] - corner[k] as f64;
        first >= 0.0 && first + field.window[k] as f64 <= size[k] as f64
    };
    let kept = |v: &&Vector| inside(v.x_px, 0) && inside(v.y_px, 1);
    let moved = |v: &Vector| Vector {
        x_px: v.x_px - corner[0] as f64,
        y_px: v.y_px - corner[1] as f64,
        ..*v
    };
    let vectors: Vec<Vector> = field.vectors.iter().filter(kept).map(moved).collect();
    let rows = field.vectors.iter().step_by(field.columns.max(1));
    let rows = rows.filter(|v| inside(v.y_px, 1)).count();
    VectorField {
        columns: vectors.len() / rows.max(1),
        rows,
        vectors,
        ..field.clone()
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
    ///
    /// # Errors
    /// When the processing is refused.
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
        let uncertainties_px = look.uncertainties_px().unwrap();
        assert_eq!(uncertainties_px.len(), look.field.vectors.len());
    }

    /// Of a large picture the middle is looked at: the pixels there, whose vectors have the errors
    /// that they have in a flow which differs from place to place.
    #[test]
    fn of_a_large_picture_the_middle_is_looked_at() {
        let vortex = motefield_generator::flow::Turbulence::new(
            motefield_generator::flow::Spectrum::new(2.0, 150.0, 40.0),
            5,
        );
        let scene = Scene {
            size: [1300, 900],
            flow: Arc::new(vortex),
            ..scene()
        };
        let processing = Processing::default();
        let look = Look::at(&scene, &processing, 1, 0).unwrap();
        assert!(look.is_part());
        assert_eq!(look.pair.a.dim(), (900, 1024));
        let whole = motefield_generator::render(
            &scene,
            Seed {
                study: 1,
                ..Seed::default()
            },
        )
        .unwrap();
        // What a part leaves out of any particle image is a hundred thousandth of its light.
        let there = tiles::part(&whole.a, part_of(scene.size));
        let alike = |(a, b): (&f32, &f32)| f64::from((a - b).abs()) <= 1e-5 * scene.electrons;
        assert!(look.pair.a.iter().zip(&there).all(alike));
        let squares = look.errors_px.iter().map(|[x, y]| x * x + y * y);
        let found: Vec<f64> = squares.filter(|s| s.is_finite()).collect();
        let rms = (found.iter().sum::<f64>() / found.len() as f64).sqrt();
        // The flow's own displacement has an rms of 2 px: a truth of another place would show.
        assert!(rms < 0.5, "{rms}");
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
