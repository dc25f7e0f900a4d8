use super::*;
use crate::decide::worth::base::{Answered, FreeAxis, Judged, TriedSetting};
use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME, Setup};

fn grid(square: f64) -> GridValues<'static> {
    GridValues::new(2, [0, 0], vec![vec![square; 4]])
}

/// Closed form. The logarithm of the squared error is a parabola about x = p + c with p the
/// logarithm of a power known to ± 20 % (±0.2 in steps of 1): the best goes as far as p does, so
/// its standard uncertainty is 0.2/√3 and the interval ± 2 × 0.2/√3. A second tolerance of half
/// that has a fifth of the squared uncertainty. The parabola looks alike on both sides, so the
/// robust choice stays.
#[test]
fn the_interval_follows_the_rectangular_distribution() {
    let text = EMBEDDED
        .replace("\"2.5 W\"", "\"2.5 W +- 20 %\"")
        .replace("\"f/4\"", "\"f/4 +- 10 %\"");
    let setup = Setup::from_text::<&str>(EMBEDDED_NAME, &text, &[]).unwrap();
    let at = [-1.0, 0.0, 1.0];
    let square = |x: f64, by: f64| (0.4 * (x - by).powi(2)).exp();
    let tried = at.map(|x| TriedSetting::for_test(x, grid(square(x, 0.0))));
    let base = Answered {
        setup: &setup,
        standing: None,
        judged: Judged::Displacement,
        axes: vec![FreeAxis::for_test("light.pulse_length", "1 ms")],
        tried: tried.to_vec(),
        best: 1,
        own_over_common: 1.0,
        pairs: 3,
    };
    let settings = base.settings();
    assert_eq!(settings, [1, 0, 2]);
    let of = |by: f64| {
        settings
            .iter()
            .map(|k| grid(square(at[*k], by)))
            .collect::<Vec<_>>()
    };
    // In the order of their keys.
    let paths: Vec<&str> = setup.tolerances.iter().map(|t| t.path.as_str()).collect();
    assert_eq!(paths, ["lens.aperture", "light.power"]);
    let probes = [of(-0.1), of(0.1), of(-0.2), of(0.2)];
    let found = spread(&base, &settings, &setup.tolerances, &probes, &of(0.0));
    let best = &found.best[0];
    let half = 2.0 * ((0.2f64.powi(2) + 0.1f64.powi(2)) / 3.0).sqrt();
    let number = |value: &crate::vary::SweepValue| value.number.parse::<f64>().unwrap();
    for (value, wanted) in best.interval.iter().zip([(-half).exp(), half.exp()]) {
        // Three digits.
        assert!((number(value) / wanted - 1.0).abs() < 5e-3, "{value:?} {wanted}");
    }
    assert!((best.shares[0] - 0.2).abs() < 1e-9 && (best.shares[1] - 0.8).abs() < 1e-9);
    assert_eq!(number(&best.best[1]), 1.0);
    // Simpson's mean of exp(0.4 p²) at its ends and its middle, less what stands.
    let adds = [0.1f64, 0.2].map(|a| 2.0 * ((0.4 * a * a).exp() - 1.0) / 6.0);
    let wanted = (1.0 + adds[0] + adds[1]).sqrt();
    assert!((found.mean_error_ratio - wanted).abs() < 1e-12);
}

/// An error that rises faster toward one side makes the robust choice keep away from it.
#[test]
fn the_robust_choice_keeps_away_from_the_steep_side() {
    let text = EMBEDDED.replace("\"2.5 W\"", "\"2.5 W +- 20 %\"");
    let setup = Setup::from_text::<&str>(EMBEDDED_NAME, &text, &[]).unwrap();
    let at = [-1.0, 0.0, 1.0];
    let base = Answered {
        setup: &setup,
        standing: None,
        judged: Judged::Displacement,
        axes: vec![FreeAxis::for_test("light.pulse_length", "1 ms")],
        tried: at
            .map(|x| TriedSetting::for_test(x, grid((0.4 * x * x).exp())))
            .to_vec(),
        best: 1,
        own_over_common: 1.0,
        pairs: 3,
    };
    let of = |factors: [f64; 3]| {
        // In the order of the settings: the best, below, above.
        [1, 0, 2]
            .iter()
            .map(|k| grid((0.4f64 * at[*k] * at[*k]).exp() * factors[*k]))
            .collect::<Vec<_>>()
    };
    // Long pulses suffer at the upper end of the power, and gain little at the lower.
    let probes = [of([1.0, 1.0, 0.9]), of([1.0, 1.0, 2.0])];
    let found = spread(&base, &[1, 0, 2], &setup.tolerances, &probes, &of([1.0; 3]));
    let number = |value: &crate::vary::SweepValue| value.number.parse::<f64>().unwrap();
    assert!(number(&found.best[0].best[1]) < 0.95, "{:?}", found.best[0]);
}
