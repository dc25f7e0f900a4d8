//! The normalised median test.

use crate::support::TestScene;
use motefield_evaluator::normalised_residual;
use motefield_evaluator::{Processing, VectorStatus, correlate};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Derived by hand: medians of an even number are the mean of the two in the middle.
#[test]
fn residuals_by_hand() {
    // Median 4.5; deviations 3.5 2.5 1.5 .5 .5 1.5 2.5 3.5, their median 2.
    let mut eight = [8.0, 1.0, 7.0, 2.0, 6.0, 3.0, 5.0, 4.0];
    assert_eq!(normalised_residual(10.5, &mut eight, 0.0), Some(3.0));
    // Median 2; deviations 1 0 5, their median 1, and 1 more from epsilon.
    assert_eq!(normalised_residual(-4.0, &mut [1.0, 2.0, 7.0], 1.0), Some(3.0));
    // Equal neighbours: epsilon is the scale.
    let residual = normalised_residual(3.3, &mut [3.0; 5], 0.1).unwrap();
    assert!((residual - 3.0).abs() < 1e-12);
    assert_eq!(normalised_residual(3.3, &mut [3.0; 2], 0.1), None);
}

/// Derived outside by quadrature with scipy (`tests/outside/normalised_median.py`, its values in
/// `reference/normalised_median.json`): the fraction of independent normal vectors above the
/// threshold 2, by component and of two components in quadrature. With ε = 0, and with ε = 0.1 px
/// where the noise is 0.5 px and 0.1 px. Tolerance 0.003; the statistical error of 10⁶ fields is
/// below 0.0005.
#[test]
fn share_of_normal_fields_above_the_threshold() {
    let reference: Vec<serde_json::Value> =
        serde_json::from_str(include_str!("reference/normalised_median.json")).unwrap();
    let counts = [(1.0, 0.0), (0.5, 0.1), (0.1, 0.1)].map(|(noise_px, epsilon_px)| {
        let mut rng = ChaCha8Rng::seed_from_u64(8);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let mut residual = || {
            let mut neighbours: [f64; 8] = std::array::from_fn(|_| noise_px * normal());
            normalised_residual(noise_px * normal(), &mut neighbours, epsilon_px).unwrap()
        };
        let (mut one, mut two) = (0, 0);
        for _ in 0..1_000_000 {
            let (x, y) = (residual(), residual());
            one += u32::from(x > 2.0) + u32::from(y > 2.0);
            two += u32::from(x.hypot(y) > 2.0);
        }
        let row = reference
            .iter()
            .find(|row| (row["epsilon"].as_f64().unwrap() - epsilon_px / noise_px).abs() < 1e-12)
            .unwrap();
        for (share, what) in [
            (f64::from(one) / 2e6, "one_component"),
            (f64::from(two) / 1e6, "two_components"),
        ] {
            let expected = row[what].as_f64().unwrap();
            println!("{row}: {share}");
            assert!(
                (share - expected).abs() < 0.003,
                "{what}: {share}, not {expected}"
            );
        }
        (one, two)
    });
    // The random sequence is pinned.
    assert_eq!(counts[0], (627_366, 588_732));
}

/// A patch of frame B replaced by other particles: its vectors are rejected, at the border of the
/// field as inside, and those around are measured as if it were not there.
#[test]
fn vectors_of_unrelated_particles_are_flagged() {
    let scene = TestScene::new(192, 192, 0.05, 2.4);
    let [a, b] = scene.uniform(1, [3.3, -1.2]);
    let [_, other] = scene.uniform(2, [0.0, 0.0]);
    for [x0, y0] in [[80, 80], [0, 70], [160, 160]] {
        let mut spoiled = b.clone();
        for ((y, x), value) in spoiled.indexed_iter_mut() {
            if (x0..x0 + 32).contains(&x) && (y0..y0 + 32).contains(&y) {
                *value = other[[y, x]];
            }
        }
        let field = correlate(a.view(), spoiled.view(), &Processing::default()).unwrap();
        let mut inside = 0;
        for v in &field.vectors {
            let distance = [v.x_px - x0 as f64 - 15.5, v.y_px - y0 as f64 - 15.5].map(f64::abs);
            let error = (v.dx_px - 3.3).hypot(v.dy_px + 1.2);
            if distance[0].max(distance[1]) > 40.0 {
                assert!(v.status == VectorStatus::Valid && error < 0.1, "{v:?}");
            }
            if distance[0].max(distance[1]) < 4.0 {
                inside += 1;
                assert!(v.status != VectorStatus::Valid || error < 0.5, "{v:?}");
            }
        }
        assert!(inside > 0);
    }
}
