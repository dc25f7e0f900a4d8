//! Uncertainties against the errors they claim to know.

mod support;

use motefield_evaluator::statistics::{Confidence, Estimate, fraction};
use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Processing, Status, Weighting, correlate};
use support::{Frame, Scene, camera, moments};

/// Uncertainties and errors of all valid vectors of some noisy pairs.
fn pairs(number: u64, electrons: f64, weighting: Weighting) -> (Vec<f64>, Vec<f64>) {
    let processing = Processing {
        weighting,
        ..Processing::default()
    };
    let (mut uncertainties, mut errors) = (vec![], vec![]);
    for seed in 0..number {
        let scene = Scene {
            electrons,
            gaussian_sheet: true,
            ..Scene::new(256, 256, 0.03, 2.5)
        };
        let [a, b] = scene.frames(seed, |x, y| [[x - 1.65, y - 1.65], [x + 1.65, y + 1.65]]);
        let (a, b) = (
            camera(1000 + 2 * seed, &a, 20.0, 5.0),
            camera(1001 + 2 * seed, &b, 20.0, 5.0),
        );
        let field = correlate(a.view(), b.view(), &processing).unwrap();
        let found = estimate(
            a.view(),
            b.view(),
            &field,
            &processing,
            Estimator::CorrelationStatistics,
        )
        .unwrap();
        for (v, u) in field.vectors.iter().zip(found) {
            if v.status == Status::Valid {
                uncertainties.extend(u);
                errors.extend([v.dx_px - 3.3, v.dy_px - 3.3]);
            }
        }
    }
    (uncertainties, errors)
}

fn root_mean_square(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}

/// Requirement (issue 4): root mean square uncertainty over actual random error between 0.85 and 1.15 on the noise sweep, from light that
/// is plenty to light that is about to fail. 2523 vectors of either component, some 150 independent windows, know the random
/// error to 4 %. Without the gain of iteration the ratios are a quarter lower and miss the requirement.
///
/// The table prints the coverage at one standard uncertainty, 68.3 % were the errors normal with the uncertainty claimed, with Wilson's
/// interval on the number of independent windows. It is 56 to 68 %: the uncertainties of single windows, sums over few
/// particles, scatter about the right mean. (Recalled of correlation statistics in the literature: about 50 %.)
#[test]
fn uncertainty_follows_the_random_error_over_the_noise_sweep() {
    for weighting in [Weighting::TopHat, Weighting::Gaussian] {
        for electrons in [20_000.0, 5000.0, 1000.0, 300.0] {
            let (uncertainties, errors) = pairs(3, electrons, weighting);
            let (bias, random) = moments(&errors);
            let ratio = root_mean_square(&uncertainties) / random;
            let inside = uncertainties
                .iter()
                .zip(&errors)
                .filter(|(u, e)| (*e - bias).abs() <= **u);
            let covered = inside.count() as f64 / errors.len() as f64;
            // 64 windows side by side in each of 3 pairs, 2 components.
            let Estimate { value, lo, hi } = fraction(covered, 384.0, Confidence::USUAL);
            println!(
                "{weighting}, {electrons} electrons: random error {random:.4} px, ratio {ratio:.3}, \
                 coverage {value:.3} ({lo:.3} to {hi:.3})"
            );
            assert!(
                (0.85..=1.15).contains(&ratio),
                "{weighting}, {electrons} electrons: ratio {ratio}"
            );
        }
    }
}

fn one_pair() -> [Frame; 2] {
    let [a, b] = Scene::new(128, 128, 0.03, 2.5).uniform(3, [2.4, -1.1]);
    [a, b].map(|frame| frame.mapv(|v| (v + 20.0).round()))
}

fn uncertainties(a: &Frame, b: &Frame) -> Vec<f64> {
    let processing = Processing::default();
    let field = correlate(a.view(), b.view(), &processing).unwrap();
    let estimator = Estimator::CorrelationStatistics;
    let found = estimate(a.view(), b.view(), &field, &processing, estimator).unwrap();
    found.into_iter().flatten().collect()
}

/// Derived: the formula knows ratios of correlations only, so grey values of another gain and offset change nothing but rounding
/// (single precision through deformation: 1e-3 of the uncertainty).
#[test]
fn gain_and_offset_of_the_camera_do_not_matter() {
    let [a, b] = one_pair();
    let plain = uncertainties(&a, &b);
    let changed = uncertainties(&a.mapv(|v| 0.5 * v + 64.0), &b.mapv(|v| 3.0 * v - 8.0));
    for (p, c) in plain.iter().zip(&changed) {
        assert!(*p > 0.0 && (p - c).abs() < 1e-3 * p, "{p} px became {c} px");
    }
}

/// Derived: of two equal frames every term is zero, and so is the uncertainty (to the rounding of a deformation by about 1e-6 px); of
/// two without contrast there is none.
#[test]
fn equal_frames_are_certain_and_empty_ones_unknown() {
    let [a, _] = one_pair();
    assert!(uncertainties(&a, &a).iter().all(|u| *u < 1e-4));
    let empty = Frame::from_elem((128, 128), 3.0);
    assert!(uncertainties(&empty, &empty).iter().all(|u| u.is_nan()));
}

/// A field of larger images is refused with what is wrong and the remedy.
#[test]
fn field_of_other_images_is_refused() {
    let [a, b] = one_pair();
    let processing = Processing::default();
    let field = correlate(a.view(), b.view(), &processing).unwrap();
    let (small, _) = a.view().split_at(ndarray::Axis(0), 96);
    let estimator = Estimator::CorrelationStatistics;
    let error = estimate(small, small, &field, &processing, estimator).unwrap_err();
    let text = error.to_string();
    assert!(text.contains("does not fit into frames of 128x96 px"), "{text}");
}
