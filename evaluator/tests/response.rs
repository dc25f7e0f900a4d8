//! Spatial response: the measured amplitude of a sinusoidal shear over the true one.

mod support;

use std::f64::consts::TAU;

use motefield_evaluator::{
    Correlation, Correlator, Normalise, Pass, PredictorFilter, Processing, VectorField, Weighting, correlate,
    window_weights,
};
use support::{Frame, Scene};

const AMPLITUDE_PX: f64 = 0.2;
const SIDE: usize = 32;

/// dy = A cos(2π x/λ): particles keep their x, so the displacement between the frames is exactly that of the place midway. Noise-free.
/// The gradient stays below 0.03 px/px, so the variation over a window is small against the particle image.
fn pairs(number: u64, wavelength: f64) -> Vec<[Frame; 2]> {
    let half = |x: f64| 0.5 * AMPLITUDE_PX * (TAU * x / wavelength).cos();
    (0..number)
        .map(|seed| {
            Scene::new(512, 192, 0.08, 2.5)
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

/// Without the bias toward zero of the finite window, which would take its own share of the amplitude.
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

/// Published (moving average; from memory and derived): sinc(D/λ) within 0.01 for D/λ <= 0.5. The other weightings by the Fourier transform
/// of their squared taper, over what they measure of a uniform displacement: a window's own mean takes from the correlation a
/// constant of about the peak's area over the window's, which makes the peak look steeper and displacements of a fraction of a
/// pixel larger, by 0.6 % in the top-hat window of 32 px and by 1.7 % in the Blackman window.
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

/// Derived: with the predictor filter F the measured wave is after the next pass R' = F R + r (1 - F R). Along one axis, with ω the phase
/// from vector to vector: F = (2 + cos ω)/3 for the cubic B-spline; (17 + 24 cos ω - 6 cos 2ω)/35 for the quadratic through five
/// values. Tolerance 0.03 (published-figure for the unfiltered series .637 .868 .952 .983 at D/λ = .5).
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
