//! Readings of invented sweeps whose best and whose crossings of the limit are known.

use motefield_evaluator::score::{ErrorSample, Errors, Truths};
use motefield_evaluator::statistics::Confidence;

use super::*;

const SIDE: usize = 16;

/// A point whose error vectors are `total_px` long, up to a tenth of scatter that all points share,
/// with a share `lost` of outliers.
fn point(total_px: f64, lost: f64) -> Point {
    let errors: Vec<Errors> = (0..3)
        .map(|pair| {
            let vector = |k: usize| {
                if (k as f64) < lost * (SIDE * SIDE) as f64 {
                    return [f64::NAN; 2];
                }
                // Directions and lengths spread evenly by the golden ratio; independent from place
                // to place.
                let turn = |n: usize| (n as f64 * 0.618_033_988_749_895).fract();
                let angle = std::f64::consts::TAU * turn(k + 1000 * pair);
                let length = total_px * (1.0 + 0.1 * (turn(7 * k + 300 * pair) - 0.5));
                [length * angle.cos(), length * angle.sin()]
            };
            let all: Vec<[f64; 2]> = (0..SIDE * SIDE).map(vector).collect();
            Errors {
                detected: all.iter().map(|e| e[0].is_finite()).collect(),
                point_px: all.clone(),
                window_px: all,
            }
        })
        .collect();
    let score = ErrorSample {
        columns: SIDE,
        reach: [0, 0],
        pairs: &errors,
        truths: Truths::Repeat,
        part: None,
        confidence: Confidence::USUAL,
    }
    .score();
    Point {
        tiles: None,
        score,
        fast: score,
        errors: std::sync::Arc::new(errors),
        columns: SIDE,
        reach: [0, 0],
        fast_displacement_px: 8.0,
        ensemble: 1,
        besides: crate::run::Besides::default(),
        common: None,
        caveats: Vec::new(),
    }
}

fn reading(points: &[(f64, Point)], limit_px: f64) -> PulseReading {
    let samples: Vec<PulseSample> = points
        .iter()
        .map(|(pulse_s, point)| PulseSample {
            pulse_s: *pulse_s,
            point,
        })
        .collect();
    PulseReading::of(&samples, limit_px, 0.95).expect("points were given")
}

fn close(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < 2e-3
}

/// Errors that run straight on logarithmic axes, 1/t before 1 ms and t after: the limit of 0.1 px
/// is crossed where algebra says.
#[test]
fn window_ends_where_the_limit_is_crossed() {
    let pulses = [1e-4, 3e-4, 1e-3, 3e-3, 1e-2];
    let points: Vec<_> = pulses
        .iter()
        .map(|&t| (t, point(0.03 * f64::max(1e-3 / t, t / 1e-3), 0.0)))
        .collect();
    let reading = reading(&points, 0.1);
    assert_eq!((reading.best, reading.usable), (2, true));
    let window = reading.window.unwrap();
    assert_eq!(window.walls, [true, true]);
    assert!(
        close(window.pulses_s[0], 3e-4) && close(window.pulses_s[1], 10.0 / 3.0 * 1e-3),
        "{window:?}"
    );
    // A tenth more error: a tenth of the pulse length to either side.
    let [from, to] = reading.about_as_good_s;
    assert!(close(from, 1e-3 / 1.1) && close(to, 1.1e-3), "{from} {to}");
    // Neighbours are three times worse on common particles: beyond doubt, and the interval stays
    // close to the best.
    let [from, to] = reading.best_interval_s;
    assert!(
        (8e-4..=1e-3).contains(&from) && (1e-3..1.25e-3).contains(&to),
        "{from} {to}"
    );
}

/// The range's ends are no walls, and points that differ by nothing cannot be told apart.
#[test]
fn flat_curve_has_no_walls() {
    let points: Vec<_> = [1e-4, 1e-3, 1e-2].map(|t| (t, point(0.05, 0.0))).into();
    let reading = reading(&points, 0.1);
    let window = reading.window.unwrap();
    assert_eq!((window.pulses_s, window.walls), ([1e-4, 1e-2], [false, false]));
    assert_eq!(reading.best_interval_s, [1e-4, 1e-2]);
}

/// A point with too many outliers is not the best however small the error of its other vectors, and
/// ends the window.
#[test]
fn lost_vectors_disqualify() {
    let points = vec![
        (1e-4, point(0.01, 0.2)),
        (1e-3, point(0.05, 0.0)),
        (1e-2, point(0.06, 0.0)),
    ];
    let reading = reading(&points, 0.1);
    assert_eq!(reading.best, 1);
    let window = reading.window.unwrap();
    assert_eq!(window.walls, [true, false]);
    assert!(window.pulses_s[0] > 1e-4 && window.pulses_s[0] <= 1e-3);
}

#[test]
fn nothing_meets_a_hard_limit() {
    let points = vec![
        (1e-4, point(0.3, 0.0)),
        (1e-3, point(0.2, 0.0)),
        (1e-2, point(0.4, 0.0)),
    ];
    let reading = reading(&points, 0.1);
    assert!(reading.window.is_none() && reading.best == 1 && reading.usable);
    let hopeless = vec![(1e-4, point(0.3, 0.5)), (1e-3, point(0.2, 0.4))];
    assert!(!self::reading(&hopeless, 0.1).usable);
}

/// Refinement goes between the best and its neighbours and to the crossings, never twice to nearly
/// the same pulse.
#[test]
fn refinement_looks_where_it_matters() {
    let pulses = [1e-4, 3e-4, 1e-3, 3e-3, 1e-2];
    let points: Vec<_> = pulses
        .iter()
        .map(|&t| (t, point(0.04 * f64::max(1e-3 / t, t / 1e-3), 0.0)))
        .collect();
    let samples: Vec<PulseSample> = points
        .iter()
        .map(|(pulse_s, point)| PulseSample {
            pulse_s: *pulse_s,
            point,
        })
        .collect();
    let more = PulseReading::of(&samples, 0.1, 0.95)
        .unwrap()
        .refinements(&samples);
    assert_eq!(more.len(), 4, "{more:?}");
    for (pulse, expected) in more.iter().zip([5.48e-4, 1.73e-3, 4e-4, 2.5e-3]) {
        assert!((pulse / expected - 1.0).abs() < 0.01, "{more:?}");
    }
}
