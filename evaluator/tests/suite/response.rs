//! Spatial response: the measured amplitude of a sinusoidal shear over the true one.

use std::f64::consts::TAU;

use crate::support::{Frame, TestScene};
use motefield_evaluator::score::{
    Crossing, ErrorSample, Errors, MINUS_3_DB, MINUS_10_PERCENT, Truths, VectorTruth, amplitude_ratio,
    crossing, reach,
};
use motefield_evaluator::statistics::{Confidence, Estimate};
use motefield_evaluator::{
    Correlation, Correlator, Grid, Normalise, Pass, PredictorFilter, Processing, VectorField, Weighting,
    correlate, window_weights,
};

const AMPLITUDE_PX: f64 = 0.2;
const SIDE: usize = 32;

/// dy = A cos(2π x/λ): particles keep their x, so the displacement between the frames is exactly
/// that of the position midway. Noise-free. The gradient stays below 0.03 px per px, so the
/// variation over a window is small against the particle image.
fn pairs(number: u64, wavelength: f64) -> Vec<[Frame; 2]> {
    let half = |x: f64| 0.5 * AMPLITUDE_PX * (TAU * x / wavelength).cos();
    (0..number)
        .map(|seed| {
            TestScene::new(512, 192, 0.08, 2.5)
                .frames(seed, |x, y| [[x, y - half(x)], [x, y + half(x)]])
                .map(|frame| frame.mapv(|v| v as f32))
        })
        .collect()
}

/// Least-squares amplitude of cos(2π x/λ) in dy, away from the border, over that of the truth.
fn response(fields: &[VectorField], wavelength: f64) -> f64 {
    let (mut product, mut square) = (0.0, 0.0);
    for v in fields.iter().flat_map(|field| &field.vectors) {
        if (48.0..464.0).contains(&v.x_px) && (32.0..160.0).contains(&v.y_px) {
            let wave = (TAU * v.x_px / wavelength).cos();
            product += v.dy_px * wave;
            square += wave * wave;
        }
    }
    product / square / AMPLITUDE_PX
}

/// Without the bias toward zero of the finite window, which would take its share of the amplitude.
fn one_pass(weighting: Weighting, predictor_filter: PredictorFilter) -> Processing {
    Processing {
        passes: vec![Pass::square(SIDE, 0.75)],
        weighting,
        predictor_filter,
        correlation: Correlation::ZeroPadded,
        normalise: Normalise::Window,
        ..Processing::default()
    }
}

/// r(λ), the Fourier transform of the weights with which a window averages.
fn of_window(weighting: Weighting, wavelength: f64) -> f64 {
    let weights = window_weights(weighting, SIDE);
    let centre = (SIDE as f64 - 1.0) / 2.0;
    weights
        .iter()
        .enumerate()
        .map(|(i, w)| w * (TAU * (i as f64 - centre) / wavelength).cos())
        .sum()
}

/// Published (moving average; from memory and derived): sinc(D/λ) within 0.01 for D/λ <= 0.5. The
/// other weightings by the Fourier transform of their squared taper, relative to what they measure
/// of a uniform displacement: subtracting the mean of the window takes from the correlation a
/// constant of about the area of the peak over that of the window, which makes the peak look
/// steeper and displacements of a fraction of a pixel larger, by 0.6 % in the top-hat window of 32
/// px and by 1.7 % in the Blackman window.
#[test]
fn one_pass_averages_over_its_window() {
    let measure = |wavelength: f64| {
        let pairs = pairs(6, wavelength);
        Weighting::ALL.iter().map(move |&weighting| {
            let processing = one_pass(weighting, PredictorFilter::None);
            let one = |[a, b]: &[Frame; 2]| correlate(a.view(), b.view(), &processing).unwrap();
            response(&pairs.iter().map(one).collect::<Vec<_>>(), wavelength)
        })
    };
    let uniform: Vec<f64> = measure(1e9).collect();
    for ratio in [0.25, 0.5] {
        let wavelength = SIDE as f64 / ratio;
        for ((&weighting, measured), uniform) in Weighting::ALL.iter().zip(measure(wavelength)).zip(&uniform)
        {
            let expected = of_window(weighting, wavelength);
            println!("{weighting} D/λ = {ratio}: {measured:.4} of {uniform:.4}, expected {expected:.4}");
            if weighting == Weighting::TopHat {
                let angle = TAU / 2.0 * ratio;
                assert!(
                    (measured - angle.sin() / angle).abs() < 0.01,
                    "D/λ = {ratio}: {measured}"
                );
            }
            let error = measured / uniform - expected;
            assert!(error.abs() < 0.01, "{weighting} D/λ = {ratio}: off by {error}");
        }
    }
}

/// Derived: with the predictor filter F the measured wave becomes R' = F R + r (1 - F R) after the
/// next pass. Along one axis, with ω the phase from vector to vector: F = (2 + cos ω)/3 for the
/// cubic B-spline; (17 + 24 cos ω - 6 cos 2ω)/35 for the quadratic through five values. Tolerance
/// 0.03, as for the published series without a filter, .637 .868 .952 .983 at D/λ = .5.
#[test]
fn iterated_response_follows_the_recursion() {
    for ratio in [0.5, 0.8] {
        let wavelength = SIDE as f64 / ratio;
        let omega = TAU * 8.0 / wavelength;
        let pairs = pairs(2, wavelength);
        for weighting in [Weighting::TopHat, Weighting::Gaussian] {
            let r = of_window(weighting, wavelength);
            for (filter, f) in [
                (PredictorFilter::None, 1.0),
                (PredictorFilter::BSpline, (2.0 + omega.cos()) / 3.0),
                (
                    PredictorFilter::Regression,
                    (17.0 + 24.0 * omega.cos() - 6.0 * (2.0 * omega).cos()) / 35.0,
                ),
            ] {
                let processing = one_pass(weighting, filter);
                let mut correlator = Correlator::new(512, 192, &processing).unwrap();
                let mut fields: Vec<VectorField> = vec![];
                let mut expected = 0.0;
                for pass in 1..=4 {
                    let pass_over = |(n, [a, b]): (usize, &[Frame; 2])| match fields.get(n) {
                        None => correlator.correlate(a.view(), b.view()).unwrap(),
                        Some(before) => correlator.correlate_from(a.view(), b.view(), before).unwrap(),
                    };
                    fields = pairs.iter().enumerate().map(pass_over).collect();
                    expected = f * expected + r * (1.0 - f * expected);
                    let measured = response(&fields, wavelength);
                    println!(
                        "{weighting} {filter} D/λ = {ratio} pass {pass}: {measured:.4}, expected {expected:.4}"
                    );
                    assert!(
                        (measured - expected).abs() < 0.03,
                        "{weighting} {filter} D/λ = {ratio} pass {pass}: {measured}, not {expected}"
                    );
                }
            }
        }
    }
}

/// The same response by regression on the truth over the inner vectors, with its interval.
fn response_with_interval(number: u64, wavelength: f64) -> Estimate {
    let grid = Grid::new(512, 192, [SIDE; 2], 0.75);
    let truth = VectorTruth::new(&grid, Weighting::TopHat, 1, |x, _| {
        [0.0, AMPLITUDE_PX * (TAU * x / wavelength).cos()]
    });
    let processing = one_pass(Weighting::TopHat, PredictorFilter::None);
    let errors: Vec<Errors> = pairs(number, wavelength)
        .iter()
        .map(|[a, b]| {
            Errors::of(
                &correlate(a.view(), b.view(), &processing).unwrap().vectors,
                &truth,
            )
        })
        .collect();
    let inner: Vec<bool> = (0..grid.len())
        .map(|k| {
            let [x, y] = grid.centre(k % grid.columns, k / grid.columns);
            (48.0..464.0).contains(&x) && (32.0..160.0).contains(&y)
        })
        .collect();
    let sample = ErrorSample {
        columns: grid.columns,
        reach: reach(&grid),
        pairs: &errors,
        truths: Truths::Repeat,
        part: Some(&inner),
        confidence: Confidence::USUAL,
    };
    amplitude_ratio(&sample, &truth, 1)
}

/// Published (moving average; from memory and derived): sin(πr)/(πr) within 0.01 for r = D/λ <=
/// 0.5; -10 % at D/λ = 0.2504 and -3 dB at 0.4429, where 0.01 in the response is 0.01 over its
/// slope, (cos πr - sin(πr)/(πr))/r: 0.013 and 0.0084 in D/λ.
#[test]
fn moving_average_loses_a_tenth_at_a_quarter() {
    let points: Vec<(f64, Estimate)> = [0.1, 0.2, 0.3, 0.4, 0.5]
        .into_iter()
        .map(|ratio| (ratio, response_with_interval(3, SIDE as f64 / ratio)))
        .collect();
    for (ratio, found) in &points {
        let angle = TAU / 2.0 * ratio;
        println!("{ratio}: {found:?}, expected {}", angle.sin() / angle);
        assert!(
            (found.value - angle.sin() / angle).abs() < 0.01,
            "{ratio}: {found:?}"
        );
        assert!(found.hi - found.lo < 0.02, "{found:?}");
    }
    for (level, expected, tolerance) in [(MINUS_10_PERCENT, 0.2504, 0.013), (MINUS_3_DB, 0.4429, 0.0084)] {
        let Crossing::At(found) = crossing(&points, level) else {
            panic!("{level} is within the range");
        };
        println!("{level}: {found:?}");
        assert!((found.value - expected).abs() < tolerance, "{level}: {found:?}");
        assert!(
            found.lo < found.value && found.value < found.hi && found.hi - found.lo < 0.03,
            "{found:?}"
        );
    }
}

/// Derived: crossings of sin(πr)/(πr) itself, found from samples 0.1 apart to 0.002, the error of
/// linear interpolation in (D/λ)²: 0.13²/8 · π⁴/60 over the slope. Outside the samples the result
/// says so.
#[test]
fn crossings_of_the_closed_form() {
    let sinc = |x: f64| match x {
        0.0 => 1.0,
        x => (TAU / 2.0 * x).sin() / (TAU / 2.0 * x),
    };
    let points = |margin: f64, to: usize| -> Vec<(f64, Estimate)> {
        let one = |k: usize| {
            let value = sinc(0.1 * k as f64);
            (
                0.1 * k as f64,
                Estimate {
                    value,
                    lo: value - margin,
                    hi: value + margin,
                },
            )
        };
        (1..=to).map(one).collect()
    };
    for (level, expected) in [(0.95, 0.1757), (0.9, 0.2504), (MINUS_3_DB, 0.4429), (0.5, 0.6034)] {
        let Crossing::At(found) = crossing(&points(0.01, 8), level) else {
            panic!("{level} is within the range");
        };
        assert!((found.value - expected).abs() < 2e-3, "{level}: {found:?}");
        // Where the response is 0.01 more, and less.
        assert!((sinc(found.hi) - (level - 0.01)).abs() < 3e-3, "{found:?}");
        assert!((sinc(found.lo) - (level + 0.01)).abs() < 3e-3, "{found:?}");
    }
    assert_eq!(crossing(&points(0.01, 8), 0.99), Crossing::Below);
    assert_eq!(crossing(&points(0.01, 4), 0.5), Crossing::Beyond);
    assert_eq!(crossing(&[], 0.5), Crossing::Beyond);
    let Crossing::At(found) = crossing(&points(0.2, 6), 0.6) else {
        panic!("within the range");
    };
    assert!(found.hi == f64::INFINITY && found.lo > 0.1, "{found:?}");
}
