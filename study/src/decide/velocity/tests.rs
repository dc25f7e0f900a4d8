use super::*;
use motefield_generator::flow::{SolidRotation, Uniform};
use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

fn budget(causes: Vec<(UncertaintyCause, f64)>, random_m_s: [f64; 2], mean_m_s: f64) -> VelocityBudget {
    VelocityBudget {
        causes,
        unknown: Vec::new(),
        mean_m_s,
        random_m_s,
    }
}

/// Closed form: ω² r toward the centre in solid-body rotation, none in uniform flow. The mean of r²
/// over the lattice is computed by hand.
#[test]
fn the_acceleration_of_a_rotation_is_centripetal() {
    let size = [65, 65];
    let rotation = SolidRotation {
        centre_px: [32.0, 32.0],
        turn_rad: 0.05,
    };
    // Offsets -32 to 32 in steps of 2: the mean of k² for k = -16 … 16 is 16 x 17/3.
    let square = 2.0 * 4.0 * 16.0 * 17.0 / 3.0;
    let wanted = 0.05f64.powi(2) * f64::sqrt(square);
    let found = acceleration(&rotation, size);
    assert!((found / wanted - 1.0).abs() < 1e-6, "{found} {wanted}");
    let uniform = Uniform {
        displacement_px: [5.0, 0.0, 0.0],
    };
    assert_eq!(acceleration(&uniform, size), 0.0);
}

/// By hand: 3 % of the field width and 5 % of the separation, rectangular.
#[test]
fn tolerances_of_scale_and_separation_are_rectangular() {
    let text = EMBEDDED
        .replace("magnification = 0.1", "magnification = \"0.1 +- 3 %\"")
        .replace("\"2.4 ms\"", "\"2.4 ms +- 5 %\"");
    let setup = Setup::from_text::<&str>(EMBEDDED_NAME, &text, &[]).unwrap();
    let scale = relative(&setup, |plan| plan.rig.px_per_m(), &SCALE)
        .unwrap()
        .unwrap();
    assert!((scale - 0.03 / 3f64.sqrt()).abs() < 1e-9, "{scale}");
    let separation = relative(&setup, |plan| plan.rig.setup.separation_s, &TIMING).unwrap();
    assert!((separation.unwrap() - 0.05 / 3f64.sqrt()).abs() < 1e-9);
    let plain = Setup::from_text::<&str>(EMBEDDED_NAME, EMBEDDED, &[]).unwrap();
    assert_eq!(
        relative(&plain, |plan| plan.rig.px_per_m(), &SCALE).unwrap(),
        None
    );
}

/// By hand: squares add, shares add up to one, and the mean of N pairs keeps what is systematic.
#[test]
fn squares_of_the_causes_add() {
    let causes = vec![(UncertaintyCause::Random, 4e-3), (UncertaintyCause::Bias, 3e-3)];
    let all = budget(causes, [4e-3 / 2f64.sqrt(); 2], 0.2);
    assert!((all.combined_m_s() - 5e-3).abs() < 1e-12);
    assert!((all.share(4e-3) - 0.64).abs() < 1e-12);
    // 16 + 9 against 10.6: 16/N = 1.6 (within rounding upward).
    let pairs = all.pairs_for((10.6e-6f64).sqrt()).unwrap();
    assert!((10..=11).contains(&pairs), "{pairs}");
    assert_eq!(all.pairs_for(2.9e-3), None);
    assert_eq!(all.pairs_for(1.0), Some(1));
}

/// By simulation of normal fluctuations with normal errors: mean, root mean square and shear stress
/// scatter about those of the flow as told. 4000 series fix a standard deviation to 1.1 %; three
/// times that is allowed, and as much for the next order in 1/N of the root mean square.
#[test]
fn averages_scatter_as_told() {
    let (random, mean, pairs) = ([0.03, 0.04], 1.0, 50);
    let told = budget(vec![(UncertaintyCause::Random, 0.05)], random, mean).averages(pairs, 0.1);
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let flow = Normal::new(0.0, 0.1).unwrap();
    let errors = random.map(|r| Normal::new(0.0, r).unwrap());
    let series = 4000;
    let (mut of_mean, mut of_rms, mut of_stress) = (0.0, [0.0; 2], 0.0);
    for _ in 0..series {
        let all: Vec<[f64; 2]> = (0..pairs)
            .map(|_| errors.map(|e| flow.sample(&mut rng) + e.sample(&mut rng)))
            .collect();
        let n = pairs as f64;
        let mean = [0, 1].map(|k| all.iter().map(|v| v[k]).sum::<f64>() / n);
        let rms =
            [0, 1].map(|k| (all.iter().map(|v| (v[k] - mean[k]).powi(2)).sum::<f64>() / (n - 1.0)).sqrt());
        let stress = all
            .iter()
            .map(|v| (v[0] - mean[0]) * (v[1] - mean[1]))
            .sum::<f64>()
            / (n - 1.0);
        of_mean += mean[0].powi(2) + mean[1].powi(2);
        for k in 0..2 {
            of_rms[k] += (rms[k] - 0.1).powi(2);
        }
        of_stress += stress.powi(2);
    }
    let spread = |sum: f64| (sum / f64::from(series)).sqrt();
    let close = |found: f64, wanted: f64| assert!((found / wanted - 1.0).abs() < 0.066, "{found} {wanted}");
    close(spread(of_mean), told.mean_m_s);
    close(spread(of_rms[0]).max(spread(of_rms[1])) / 0.1, told.rms);
    close(spread(of_stress) / 0.01, told.stress);
}
