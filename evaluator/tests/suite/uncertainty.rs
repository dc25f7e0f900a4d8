//! Estimated uncertainties, compared with the errors.

use crate::support::{Frame, TestParticle, TestScene, camera, moments, render};
use motefield_evaluator::statistics::{Confidence, Estimate, fraction};
use motefield_evaluator::uncertainty::{Estimator, cautions, estimate};
use motefield_evaluator::{Processing, Vector, VectorField, VectorStatus, Weighting, correlate};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// The valid vectors of some noisy pairs, displaced by 3.3 px: the error of each along an axis
/// minus the mean error, and the uncertainties of the estimators, in the order of `Estimator::ALL`.
struct EstimatorTrial {
    errors: Vec<f64>,
    uncertainties: Vec<Vec<f64>>,
}

impl EstimatorTrial {
    fn new(electrons: f64, out_of_plane: f64, weighting: Weighting) -> Self {
        let processing = Processing {
            weighting,
            ..Processing::default()
        };
        let mut errors = vec![];
        let mut uncertainties = vec![vec![]; Estimator::ALL.len()];
        for seed in 0..3 {
            let scene = TestScene {
                electrons,
                gaussian_sheet: true,
                out_of_plane,
                ..TestScene::new(256, 256, 0.03, 2.5)
            };
            let [a, b] = scene.frames(seed, |x, y| [[x - 1.65, y - 1.65], [x + 1.65, y + 1.65]]);
            let (a, b) = (
                camera(1000 + 2 * seed, &a, 20.0, 5.0),
                camera(1001 + 2 * seed, &b, 20.0, 5.0),
            );
            let field = correlate(a.view(), b.view(), &processing).unwrap();
            let valid = |n: &usize| field.vectors[*n].status == VectorStatus::Valid;
            for n in (0..field.vectors.len()).filter(valid) {
                let v = &field.vectors[n];
                errors.extend([v.dx_px - 3.3, v.dy_px - 3.3]);
            }
            for (all, &estimator) in uncertainties.iter_mut().zip(Estimator::ALL) {
                let found = estimate(a.view(), b.view(), &field, &processing, estimator).unwrap();
                all.extend((0..found.len()).filter(valid).flat_map(|n| found[n]));
            }
        }
        let (bias, _) = moments(&errors);
        Self {
            errors: errors.into_iter().map(|e| e - bias).collect(),
            uncertainties,
        }
    }

    /// The uncertainties, and the errors of the vectors that have one.
    fn of(&self, estimator: Estimator) -> (Vec<f64>, Vec<f64>) {
        let number = Estimator::ALL.iter().position(|e| *e == estimator).unwrap();
        let pairs = self.uncertainties[number].iter().zip(&self.errors);
        pairs.filter(|(u, _)| u.is_finite()).unzip()
    }

    /// Root mean square uncertainty over that of the errors.
    fn ratio(&self, estimator: Estimator) -> f64 {
        let (uncertainties, errors) = self.of(estimator);
        root_mean_square(&uncertainties) / root_mean_square(&errors)
    }

    /// Fraction of the errors within `factor` uncertainties, with Wilson's interval for the number
    /// of independent windows: 64 windows side by side in each of 3 pairs, 2 components.
    fn coverage(&self, estimator: Estimator, factor: f64) -> Estimate {
        let (uncertainties, errors) = self.of(estimator);
        let inside = uncertainties
            .iter()
            .zip(&errors)
            .filter(|(u, e)| e.abs() <= factor * **u);
        fraction(
            inside.count() as f64 / errors.len() as f64,
            384.0,
            Confidence::USUAL,
        )
    }

    fn print(&self, what: &str) {
        println!("{what}: random error {:.4} px", root_mean_square(&self.errors));
        for &estimator in Estimator::ALL {
            let [one, two] = [1.0, 2.0].map(|factor| self.coverage(estimator, factor));
            println!(
                "    {estimator:<23} ratio {:.2}, coverage {:.3} ({:.3} to {:.3}) at one, {:.3} ({:.3} to {:.3}) at two",
                self.ratio(estimator),
                one.value,
                one.lo,
                one.hi,
                two.value,
                two.lo,
                two.hi
            );
        }
    }
}

fn root_mean_square(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}

/// Requirement: root mean square uncertainty by correlation statistics over actual random error
/// between 0.85 and 1.15, from ample light to light that hardly suffices. 2523 vectors of either
/// component, some 150 independent windows, determine the random error to 4 %. Without the gain of
/// the iteration the ratios are a quarter lower and miss the requirement.
///
/// The coverage at one standard uncertainty would be 68.3 %, at two 95.4 %, if the errors were
/// normal with the claimed uncertainty. By correlation statistics it is 52 to 68 % and 80 to 92 %:
/// the uncertainties of single windows, sums over few particles, scatter about the right mean. (The
/// literature reports about 50 %; from memory.) While this estimator may be trusted on average but
/// not for the single vector, particle disparity must not claim too little: a ratio of at least
/// 0.85, and a coverage not below that of the normal law by more than the 5 points that 1000
/// windows leave open. The peak ratio gives nearly the same for every pair and so is wrong for
/// most: its uncertainties vary less than a third as much as the errors (as in the literature, from
/// memory).
#[test]
fn uncertainties_over_the_noise_sweep() {
    for weighting in [Weighting::TopHat, Weighting::Gaussian] {
        let mut extremes = vec![];
        for electrons in [20_000.0, 5000.0, 1000.0, 300.0] {
            let measured = EstimatorTrial::new(electrons, 0.0, weighting);
            measured.print(&format!("{weighting}, {electrons} electrons"));
            let ratio = measured.ratio(Estimator::CorrelationStatistics);
            assert!(
                (0.85..=1.15).contains(&ratio),
                "{weighting}, {electrons} electrons: ratio {ratio}"
            );
            assert!(measured.ratio(Estimator::ParticleDisparity) >= 0.85);
            for (factor, normal) in [(1.0, 0.683), (2.0, 0.954)] {
                let covered = measured.coverage(Estimator::ParticleDisparity, factor).value;
                assert!(
                    covered >= normal - 0.05,
                    "{weighting}, {electrons} electrons: {covered} within {factor}"
                );
            }
            let by_peaks = root_mean_square(&measured.of(Estimator::PeakRatio).0);
            extremes.push([root_mean_square(&measured.errors), by_peaks]);
        }
        let [errors, by_peaks] = [0, 1].map(|k| extremes[3][k] / extremes[0][k]);
        assert!(
            by_peaks < errors / 3.0,
            "errors grow by {errors}, uncertainties by {by_peaks}"
        );
    }
}

/// Loss of particles through the sheet, the regime for which particle disparity was made (its
/// authors found it to follow the error over out-of-plane motion; from the abstract), up to the
/// quarter of the sheet that is the usual rule. Both estimators are within the 0.8 to 1.25 usually
/// asked of synthetic pairs (common practice) where the loss prevails; where it is small, disparity
/// is off to the safe side only. Without its limit of a pixel between the images of a pair it comes
/// to 1.5 at 0.2 of the sheet.
#[test]
fn uncertainties_over_the_loss_through_the_sheet() {
    for (out_of_plane, prevails) in [(0.1, false), (0.2, true), (0.25, true)] {
        let measured = EstimatorTrial::new(5000.0, out_of_plane, Weighting::Gaussian);
        measured.print(&format!("{out_of_plane} of the sheet"));
        let [statistics, disparity] = [Estimator::CorrelationStatistics, Estimator::ParticleDisparity]
            .map(|estimator| measured.ratio(estimator));
        assert!((0.8..=1.25).contains(&statistics), "{out_of_plane}: {statistics}");
        assert!(disparity >= 0.8, "{out_of_plane}: {disparity}");
        assert!(!prevails || disparity <= 1.25, "{out_of_plane}: {disparity}");
    }
}

/// A field of one window over frames of its size, without displacement.
fn still(side: usize) -> VectorField {
    let centre = 0.5 * (side as f64 - 1.0);
    VectorField {
        columns: 1,
        rows: 1,
        window: [side; 2],
        spacing: [side; 2],
        vectors: vec![Vector {
            x_px: centre,
            y_px: centre,
            dx_px: 0.0,
            dy_px: 0.0,
            peak_ratio: 5.0,
            status: VectorStatus::Valid,
        }],
    }
}

/// Closed form: isolated images that have been displaced by known amounts have the disparity of the
/// mean and scatter of those amounts, √(μ² + σ²/N). Images of 4 px are located to 0.01 px by the
/// three-point fit, a tenth of the scatter: 1 % in quadrature; their heights, which are their
/// weights, differ by up to 10 % with their position on the pixels: 5 % allows for both. Below 6
/// pairs there is no result.
#[test]
fn disparity_is_the_mean_and_scatter_of_known_displacements() {
    let processing = Processing {
        weighting: Weighting::TopHat,
        ..Processing::default()
    };
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    for (mean, spread, rows) in [(0.0, 0.1, 6), (0.2, 0.1, 6), (0.0, 0.25, 6), (0.0, 0.1, 1)] {
        let mut particles = [vec![], vec![]];
        let mut moved: [Vec<f64>; 2] = [vec![], vec![]];
        for row in 0..rows {
            for column in 0..5 {
                let place = [column, row].map(|n| 6.0 + 10.0 * f64::from(n) + rng.random::<f64>());
                let by = [0, 1].map(|_| mean + spread * Normal::new(0.0, 1.0).unwrap().sample(&mut rng));
                for (particles, half) in particles.iter_mut().zip([-0.5, 0.5]) {
                    let [x, y] = [0, 1].map(|k| place[k] + half * by[k]);
                    let electrons = 1e4;
                    particles.push(TestParticle { x, y, electrons });
                }
                moved.iter_mut().zip(by).for_each(|(moved, by)| moved.push(by));
            }
        }
        let [a, b] = particles.map(|particles| render(64, 64, 4.0, &particles).mapv(|v| v as f32 + 20.0));
        let found = estimate(
            a.view(),
            b.view(),
            &still(64),
            &processing,
            Estimator::ParticleDisparity,
        );
        for (found, moved) in found.unwrap()[0].iter().zip(&moved) {
            let number = moved.len() as f64;
            let (mean, spread) = moments(moved);
            let variance = spread * spread * (number - 1.0) / number;
            let expected = (mean * mean + variance / number).sqrt();
            if rows == 1 {
                assert!(found.is_nan(), "{found} px from five particles");
            } else {
                assert!(
                    (found / expected - 1.0).abs() < 0.05,
                    "{found} px, expected {expected} px"
                );
            }
        }
    }
}

fn one_pair() -> [Frame; 2] {
    let [a, b] = TestScene::new(128, 128, 0.03, 2.5).uniform(3, [2.4, -1.1]);
    [a, b].map(|frame| frame.mapv(|v| (v + 20.0).round()))
}

fn uncertainties(a: &Frame, b: &Frame) -> Vec<f64> {
    let processing = Processing::default();
    let field = correlate(a.view(), b.view(), &processing).unwrap();
    let estimator = Estimator::CorrelationStatistics;
    let found = estimate(a.view(), b.view(), &field, &processing, estimator).unwrap();
    found.into_iter().flatten().collect()
}

/// Derived: the formula contains only ratios of correlations, so grey values of another gain and
/// offset change nothing but rounding (single precision through deformation: 1e-3 of the
/// uncertainty). The formula leaves out covariances below 5 % of the variance, which is a step: of
/// some 40 covariances of each of 392 uncertainties one or two may stand so near to it that
/// rounding decides.
#[test]
fn gain_and_offset_of_the_camera_do_not_matter() {
    let [a, b] = one_pair();
    let plain = uncertainties(&a, &b);
    let changed = uncertainties(&a.mapv(|v| 0.5 * v + 64.0), &b.mapv(|v| 3.0 * v - 8.0));
    assert!(plain.iter().all(|p| *p > 0.0));
    let differ = |(p, c): &(&f64, &f64)| (*p - *c).abs() >= 1e-3 * *p;
    let apart: Vec<_> = plain.iter().zip(&changed).filter(differ).collect();
    assert!(apart.len() <= 2, "px that became others: {apart:?}");
}

/// Derived: for two equal frames every term is zero, and so is the uncertainty (up to the rounding
/// of a deformation by about 1e-6 px); for two without contrast there is none.
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

/// The gradients from which the estimators are wrong are those of `results/uncertainty`:
/// correlation statistics from 0.05 px per px, particle disparity from 0.1. A field of that shear
/// is named, at every vector that has neighbours; half of it is not. What the vectors do not tell
/// is always said.
#[test]
fn cautions_name_the_gradient() {
    let sheared = |shear: f64| VectorField {
        columns: 4,
        rows: 4,
        window: [32, 32],
        spacing: [8, 16],
        vectors: (0..16)
            .map(|k| Vector {
                x_px: 15.5 + 8.0 * (k % 4) as f64,
                y_px: 15.5 + 16.0 * (k / 4) as f64,
                dx_px: 0.0,
                dy_px: shear * 16.0 * (k / 4) as f64,
                peak_ratio: 3.0,
                // The vectors above and below a lost one have a neighbour on one side only.
                status: if k == 5 {
                    VectorStatus::Outlier
                } else {
                    VectorStatus::Valid
                },
            })
            .collect(),
    };
    let share = |estimator, shear: f64| {
        let found = cautions(estimator, &sheared(shear));
        let gradient = found.iter().find(|c| c.regime == "gradient");
        assert!(found.len() > usize::from(gradient.is_some()));
        gradient.map(|c| c.share.unwrap())
    };
    let statistics = Estimator::CorrelationStatistics;
    // Six vectors have valid neighbours along y, where the displacement changes, and five more
    // along x only, where it does not.
    assert_eq!(share(statistics, 0.05), Some(6.0 / 11.0));
    assert_eq!(share(statistics, 0.025), None);
    assert!(share(Estimator::ParticleDisparity, 0.1).is_some());
    assert_eq!(share(Estimator::ParticleDisparity, 0.05), None);
    assert_eq!(share(Estimator::PeakRatio, 0.2), None);
}
