//! Uncertainties of derived figures: against the scatter of many simulated ones, whose dependence
//! is known in closed form, then of real correlations.

use crate::support::{TestScene, camera, moments};
use motefield_evaluator::statistics::{Confidence, GridValues};
use motefield_evaluator::uncertainty::{
    effective_number, error_correlation, of_mean, of_shear_stress, of_variance, of_vorticity,
    overlap_correlation,
};
use motefield_evaluator::{Pass, Processing, Vector, VectorStatus, Weighting, correlate, window_weights};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

/// Two series of standard deviations 0.5 and 0.2 whose autocorrelation is `phi` to the power of the
/// lag and whose correlation is `rho`.
fn series(rng: &mut ChaCha8Rng, n: usize, phi: f64, rho: f64) -> [Vec<f64>; 2] {
    let mut draw = |scale: f64, state: [f64; 2]| {
        let (x, y) = (normal(rng), normal(rng));
        let new = [x, rho * x + (1.0 - rho * rho).sqrt() * y];
        [0, 1].map(|k| phi * state[k] + scale * new[k])
    };
    let mut state = draw(1.0, [0.0; 2]);
    (0..n)
        .map(|_| {
            state = draw((1.0 - phi * phi).sqrt(), state);
            (0.5 * state[0], 0.2 * state[1])
        })
        .unzip()
        .into()
}

/// Derived: in a first-order autoregression Σρ over all lags is (1 + φ)/(1 - φ), for squares and
/// products (1 + φ²)/(1 - φ²). The scatter of 2000 means, variances and stresses is known to 1.6 %;
/// the tolerance is three times that, which leaves room for terms of 1/N.
#[test]
fn time_averages_of_an_autoregression() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for (phi, rho) in [(0.0, 0.0), (0.6, -0.4), (0.9, 0.7)] {
        let n = 1600;
        let independent = n as f64 * (1.0 - phi) / (1.0 + phi);
        let of_squares = n as f64 * (1.0 - phi * phi) / (1.0 + phi * phi);
        let mut found = [const { vec![] }; 3];
        for _ in 0..2000 {
            let [u, v] = series(&mut rng, n, phi, rho);
            let ((u_mean, _), (v_mean, _)) = (moments(&u), moments(&v));
            let stress = |a: &[f64], a_mean: f64, b: &[f64], b_mean: f64| {
                a.iter()
                    .zip(b)
                    .map(|(a, b)| (a - a_mean) * (b - b_mean))
                    .sum::<f64>()
                    / (n as f64 - 1.0)
            };
            found[0].push(u_mean);
            found[1].push(stress(&u, u_mean, &u, u_mean));
            found[2].push(stress(&u, u_mean, &v, v_mean));
        }
        let expected = [
            of_mean(0.5, independent),
            of_variance(0.25, of_squares),
            of_shear_stress([0.5, 0.2], rho, of_squares),
        ];
        for (found, expected) in found.iter().zip(expected) {
            let ratio = moments(found).1 / expected;
            println!("φ = {phi}, ρ = {rho}: {ratio:.4}");
            assert!((ratio - 1.0).abs() < 0.05, "φ = {phi}, ρ = {rho}: {ratio}");
        }
    }
}

/// The same effective numbers from the series themselves. The 95 % intervals contain the closed
/// form in 95 % of 400 studies: three binomial standard errors are 3.3 points, and four more are
/// allowed for the truncation of the sum; the mean over the studies is within 5 %.
#[test]
fn effective_number_of_an_autoregression() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    for phi in [0.0, 0.5, 0.9] {
        let n = 4000;
        let studies = 400;
        let expected = [
            n as f64 * (1.0 - phi) / (1.0 + phi),
            n as f64 * (1.0 - phi * phi) / (1.0 + phi * phi),
        ];
        let (mut sum, mut hits) = ([0.0; 2], [0; 2]);
        for _ in 0..studies {
            let [u, _] = series(&mut rng, n, phi, 0.0);
            let squares: Vec<f64> = u.iter().map(|v| v * v).collect();
            for (k, values) in [u, squares].iter().enumerate() {
                let got = effective_number(values, Confidence::USUAL);
                sum[k] += got.value / f64::from(studies);
                hits[k] += u32::from(got.lo <= expected[k] && expected[k] <= got.hi);
            }
        }
        for k in 0..2 {
            let coverage = f64::from(hits[k]) / f64::from(studies);
            println!("φ = {phi}: {:.1} for {:.1}, {coverage}", sum[k], expected[k]);
            assert!(
                (sum[k] / expected[k] - 1.0).abs() < 0.05,
                "φ = {phi}: {} for {}",
                sum[k],
                expected[k]
            );
            assert!(coverage > 0.95 - 0.033 - 0.04, "φ = {phi}: {coverage}");
        }
    }
    assert!(effective_number(&[1.0; 5], Confidence::USUAL).value.is_nan());
    assert!(effective_number(&[1.0; 50], Confidence::USUAL).value.is_nan());
    assert!(
        effective_number(&[f64::NAN; 50], Confidence::USUAL)
            .value
            .is_nan()
    );
}

const SIDE: usize = 24;

/// Standard normal values, averaged over `over` × `over` neighbours.
fn field(rng: &mut ChaCha8Rng, over: usize) -> Vec<f64> {
    let wide = SIDE + over - 1;
    let noise: Vec<f64> = (0..wide * wide).map(|_| normal(rng)).collect();
    (0..SIDE * SIDE)
        .map(|k| {
            let places = (0..over * over).map(|m| (k / SIDE + m / over) * wide + k % SIDE + m % over);
            places.map(|m| noise[m]).sum::<f64>() / over as f64
        })
        .collect()
}

/// Central differences of two components on a grid of `spacing`, away from the border.
fn vorticities(u: &[f64], v: &[f64], columns: usize, spacing: f64) -> Vec<f64> {
    (0..u.len())
        .filter(|k| (1..columns - 1).contains(&(k % columns)) && (columns..u.len() - columns).contains(k))
        .map(|k| (v[k + 1] - v[k - 1] - u[k + columns] + u[k - columns]) / (2.0 * spacing))
        .collect()
}

/// Derived: among moving averages over four neighbours values two apart share half, ρ = ½. The
/// scatter over 400 fields is that of the formula within three standard errors, 3 %; the
/// correlation as measured is ½ within its interval at 99.9 %.
#[test]
fn vorticity_of_overlapping_values() {
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    let (mut found, mut values) = (vec![], vec![]);
    for _ in 0..400 {
        let (u, v) = (field(&mut rng, 4), field(&mut rng, 4));
        let v: Vec<f64> = v.iter().map(|v| 0.5 * v).collect();
        found.extend(vorticities(&u, &v, SIDE, 8.0));
        values.push(
            u.iter()
                .enumerate()
                .map(|(k, u)| u + (k % 7) as f64)
                .collect::<Vec<f64>>(),
        );
    }
    let expected = of_vorticity([0.5; 2], [1.0; 2], [8.0; 2], [0.5; 2]);
    let ratio = moments(&found).1 / expected;
    println!("{ratio:.4}");
    assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
    assert!((of_vorticity([0.1; 2], [0.1; 2], [8.0; 2], [0.5; 2]) - 0.1 / 8.0 * 0.5f64.sqrt()).abs() < 1e-15);
    let values = GridValues::new(SIDE, [3, 3], values);
    for (lag, expected) in [([2, 0], 0.5), ([0, 2], 0.5), ([1, 1], 0.5625), ([5, 0], 0.0)] {
        let got = error_correlation(&values, lag, Confidence::new(0.999).unwrap());
        println!("{lag:?}: {got:?}");
        assert!(
            got.lo <= expected && expected <= got.hi && got.hi - got.lo < 0.07,
            "{lag:?}: {got:?}"
        );
    }
}

/// The interval of the correlation contains it in 95 % of 300 studies of 8 pairs: three binomial
/// standard errors are 3.8 points, two more are allowed.
#[test]
fn correlation_intervals_cover() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let studies = 300;
    let hits = (0..studies)
        .filter(|_| {
            let values = GridValues::new(SIDE, [3, 3], (0..8).map(|_| field(&mut rng, 4)));
            let got = error_correlation(&values, [2, 0], Confidence::USUAL);
            got.lo <= 0.5 && 0.5 <= got.hi
        })
        .count();
    let coverage = hits as f64 / f64::from(studies);
    println!("{coverage}");
    assert!((coverage - 0.95).abs() < 0.058, "{coverage}");
}

/// Derived by hand: half of a top-hat window, and triangles.
#[test]
fn overlap_by_hand() {
    let top_hat = window_weights(Weighting::TopHat, 32);
    assert!((overlap_correlation(&top_hat, 16) - 0.5).abs() < 1e-12);
    assert!((overlap_correlation(&top_hat, 0) - 1.0).abs() < 1e-12);
    assert_eq!(overlap_correlation(&top_hat, 40), 0.0);
    assert!((overlap_correlation(&[1.0, 2.0, 1.0], 1) - 4.0 / 6.0).abs() < 1e-12);
}

/// Published (Sciacchitano & Wieneke 2016, from memory of the abstract): the uncertainty of a
/// vorticity from that of the vectors and the correlation between overlapping windows agrees with
/// the actual error to 5 to 10 %, for different windows and overlaps. Here the uncertainty of the
/// vectors is their actual random error, away from the border, and ten pairs determine the ratio to
/// about 3 %.
#[test]
fn vorticity_of_real_correlations() {
    for weighting in [Weighting::TopHat, Weighting::Gaussian] {
        for (overlap, passes) in [(0.5, 1), (0.75, 1), (0.5, 3), (0.75, 3)] {
            let processing = Processing {
                passes: vec![Pass::square(32, overlap); passes],
                weighting,
                ..Processing::default()
            };
            let (mut errors, mut vorticity) = ([vec![], vec![]], vec![]);
            let (mut columns, mut spacing) = (0, 0.0);
            for seed in 0..10 {
                let scene = TestScene::new(256, 256, 0.05, 2.5);
                let [a, b] = scene.frames(seed, |x, y| [[x - 1.65, y - 0.6], [x + 1.65, y + 0.6]]);
                let (a, b) = (
                    camera(100 + 2 * seed, &a, 20.0, 5.0),
                    camera(101 + 2 * seed, &b, 20.0, 5.0),
                );
                let field = correlate(a.view(), b.view(), &processing).unwrap();
                // Without two rows and columns at each border.
                let inner = |k: usize, v: &Vector| {
                    assert_eq!(v.status, VectorStatus::Valid);
                    let [i, j] = [k % field.columns, k / field.columns];
                    (2..field.columns - 2).contains(&i) && (2..field.rows - 2).contains(&j)
                };
                let (u, v): (Vec<f64>, Vec<f64>) = (field.vectors.iter().enumerate())
                    .filter(|(k, v)| inner(*k, v))
                    .map(|(_, v)| (v.dx_px - 3.3, v.dy_px - 1.2))
                    .unzip();
                (columns, spacing) = (field.columns - 4, field.spacing[0] as f64);
                vorticity.extend(vorticities(&u, &v, columns, spacing));
                errors[0].push(u);
                errors[1].push(v);
            }
            let actual = moments(&vorticity).1;
            let deviation = [0, 1].map(|k| moments(&errors[k].concat()).1);
            let ratio = |rho: [f64; 2]| {
                of_vorticity([deviation[1]; 2], [deviation[0]; 2], [spacing; 2], rho) / actual
            };
            let theory = overlap_correlation(&window_weights(weighting, 32), 2 * spacing as usize);
            let [u, v] = errors
                .map(|values| GridValues::new(columns, [(1.0 / (1.0 - overlap)) as usize - 1; 2], values));
            let usual = Confidence::USUAL;
            let measured = [
                error_correlation(&v, [2, 0], usual),
                error_correlation(&u, [0, 2], usual),
            ];
            println!(
                "{weighting}, overlap {overlap}, {passes} passes: ρ {theory:.3} in theory, {:.3} and {:.3} measured; ratio {:.3} and {:.3}",
                measured[0].value,
                measured[1].value,
                ratio([theory; 2]),
                ratio(measured.map(|m| m.value)),
            );
            assert!((ratio(measured.map(|m| m.value)) - 1.0).abs() < 0.1);
        }
    }
}
