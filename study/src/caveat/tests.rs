//! Each caveat at its limit.

use std::sync::atomic::AtomicBool;

use motefield_evaluator::score::{ErrorSample, Errors, VectorTruth};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::{Processing, Vector, VectorField, VectorStatus};
use motefield_generator::{Camera, Scene, Sensor};

use super::Caveat;
use crate::run::{Effort, Experiment, Silent, run};

fn vectors(statuses: &[VectorStatus], peak_ratio: f64) -> Vec<Vector> {
    let vector = |(k, status): (usize, &VectorStatus)| Vector {
        x_px: k as f64,
        y_px: 0.0,
        dx_px: 3.0 + 0.01 * k as f64,
        dy_px: 0.0,
        peak_ratio,
        status: *status,
    };
    statuses.iter().enumerate().map(vector).collect()
}

/// Identifiers of what a score of two pairs says, of windows of which some have no truth.
fn of_score(statuses: &[VectorStatus], known: usize) -> Vec<&'static str> {
    let truth = |k: usize| if k < known { [3.0, 0.0] } else { [f64::NAN; 2] };
    let point_px: Vec<[f64; 2]> = (0..statuses.len()).map(truth).collect();
    let truth = VectorTruth {
        window_px: point_px.clone(),
        point_px,
    };
    let part: Vec<bool> = (0..statuses.len()).map(|k| k < known).collect();
    let errors = Errors::of(&vectors(statuses, 2.0), &truth);
    let pairs = [errors.clone(), errors];
    let sample = ErrorSample {
        columns: statuses.len(),
        reach: [0, 0],
        pairs: &pairs,
        truths: motefield_evaluator::score::Truths::Repeat,
        part: Some(&part),
        confidence: Confidence::USUAL,
    };
    let windows = 2 * statuses.len();
    Caveat::of_score(&sample.score(), windows)
        .iter()
        .map(|c| c.id())
        .collect()
}

#[test]
fn a_score_says_what_it_lacks() {
    use VectorStatus::{Outlier, Valid};
    assert!(of_score(&[Valid; 8], 8).is_empty());
    assert_eq!(of_score(&[Outlier; 8], 8), ["no-vector"]);
    assert_eq!(of_score(&[Valid; 8], 0), ["no-truth"]);
    let mixed = [Valid, Valid, Valid, Outlier, Outlier, Outlier, Outlier, Outlier];
    assert_eq!(of_score(&mixed, 8), ["mostly-outliers"]);
    assert_eq!(of_score(&mixed[..6], 6), [""; 0]);
    assert_eq!(of_score(&[Valid; 8], 6), [""; 0]);
    assert_eq!(of_score(&[Valid; 8], 5), ["truth-missing"]);
}

#[test]
fn windows_say_what_they_cannot_do() {
    let of = |particles, largest, range| {
        let all = Caveat::of_windows(particles, largest, range);
        all.iter().map(|c| c.id()).collect::<Vec<_>>()
    };
    assert!(of(5.0, 15.0, 15.0).is_empty());
    assert_eq!(of(4.9, 15.1, 15.0), ["few-particles", "beyond-search-range"]);
    assert_eq!(Caveat::of_saturation(0.01), None);
    assert_eq!(Caveat::of_saturation(0.02), Some(Caveat::Saturated(0.02)));
}

#[test]
fn a_field_like_chance_says_so() {
    use VectorStatus::{Outlier, Valid};
    let of = |statuses: &[VectorStatus], peak_ratio: f64| {
        let field = VectorField {
            columns: statuses.len(),
            rows: 1,
            window: [32, 32],
            spacing: [16, 16],
            vectors: vectors(statuses, peak_ratio),
        };
        Caveat::of_field(&field)
            .iter()
            .map(|c| c.id())
            .collect::<Vec<_>>()
    };
    assert!(of(&[Valid; 4], 1.2).is_empty());
    assert_eq!(of(&[Valid; 4], 1.19), ["like-noise"]);
    assert_eq!(of(&[Valid, Outlier, Outlier], 2.0), ["mostly-outliers"]);
    assert_eq!(of(&[Outlier; 3], 1.1), ["no-vector"]);
}

/// Of a uniform flow by a whole number of pixels, to a tenth of one, it is said; not of one
/// between, of one that varies, of one at rest, and of none.
#[test]
fn whole_pixels_are_told() {
    let said = |truths: &[[f64; 2]]| Caveat::of_displacements(truths);
    let whole = Some(Caveat::WholePixels([14.0, -3.0]));
    assert_eq!(said(&[[14.09, -3.0], [13.91, -2.95]]), whole);
    assert_eq!(said(&[[14.0, -3.0], [14.11, -3.0]]), None);
    assert_eq!(said(&[[14.0, -3.5]; 2]), None);
    assert_eq!(said(&[[14.0, -3.0], [15.0, -3.0]]), None);
    assert_eq!(said(&[[0.0, 0.05]; 2]), None);
    assert_eq!(said(&[]), None);
}

/// Full pixels are told wherever they are enough to speak of, also of a sensor that bends as much
/// as one may; of pictures far from full nothing is told.
#[test]
fn full_pixels_are_told() {
    let told = |electrons: f64, nonlinearity: f64| {
        let experiment = Experiment {
            scene: Scene {
                size: [96, 96],
                seeding_density_ppp: 0.1,
                particle_diameter_px: 3.0,
                electrons,
                camera: Camera {
                    sensor: Some(Sensor {
                        nonlinearity,
                        ..Sensor::default()
                    }),
                    ..Camera::default()
                },
                ..Scene::default()
            },
            processing: Processing::default(),
        };
        let effort = Effort {
            first_pairs: 2,
            most_pairs: 2,
            ..Effort::default()
        };
        let points = run(&[experiment], &effort, &Silent, &AtomicBool::new(false));
        let caveats = points[0]
            .as_ref()
            .expect("a study that nobody stops")
            .caveats
            .clone();
        caveats.iter().find_map(|caveat| match caveat {
            Caveat::Saturated(share) => Some(*share),
            _ => None,
        })
    };
    for nonlinearity in [0.0, 0.3] {
        let share = told(150_000.0, nonlinearity).expect("full pixels");
        assert!((0.01..0.9).contains(&share), "{share}");
        assert_eq!(told(2_000.0, nonlinearity), None);
    }
}
