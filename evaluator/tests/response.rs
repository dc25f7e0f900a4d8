//! Spatial response: the measured amplitude of a sinusoidal shear over the true one.

mod support;

use std::f64::consts::TAU;

use motefield_evaluator::{
    Correlation, Normalise, Pass, PredictorFilter, Processing, Weighting, correlate, window_weights,
};
use support::{Frame, Scene};

const AMPLITUDE_PX: f64 = 0.2;
const SIDE: usize = 32;

/// dy = A sin(2π x/λ): particles keep their x, so the displacement between the frames is exactly that of the place midway. Noise-free.
/// The gradient stays below 0.03 px/px, so the variation over a window is small against the particle image.
fn pairs(wavelength: f64) -> Vec<[Frame; 2]> {
    let half = |x: f64| 0.5 * AMPLITUDE_PX * (TAU * x / wavelength).sin();
    (0..3)
        .map(|seed| {
            Scene::new(512, 256, 0.08, 2.5)
                .frames(seed, |x, y| [[x, y - half(x)], [x, y + half(x)]])
                .map(|frame| frame.mapv(|v| v as f32))
        })
        .collect()
}

/// Least-squares amplitude of sin(2π x/λ) in dy, away from the border, over that of the truth.
fn response(pairs: &[[Frame; 2]], wavelength: f64, processing: &Processing) -> f64 {
    let (mut product, mut square) = (0.0, 0.0);
    for [a, b] in pairs {
        for v in correlate(a.view(), b.view(), processing).unwrap().vectors {
            if (48.0..464.0).contains(&v.x_px) && (32.0..224.0).contains(&v.y_px) {
                let wave = (TAU * v.x_px / wavelength).sin();
                product += v.dy_px * wave;
                square += wave * wave;
            }
        }
    }
    product / square / AMPLITUDE_PX
}

/// Without the bias toward zero of the finite window, which would take its own share of the amplitude.
fn processing(passes: usize, weighting: Weighting, predictor_filter: PredictorFilter) -> Processing {
    Processing {
        passes: vec![Pass::square(SIDE, 0.75); passes],
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

/// Published (topic "spatial response", moving average, from memory and derived): sinc(D/λ) within 0.01 for D/λ <= 0.5; the other
/// weightings by the Fourier transform of their squared taper.
#[test]
fn one_pass_averages_over_its_window() {
    for ratio in [0.125, 0.25, 0.375, 0.5] {
        let wavelength = SIDE as f64 / ratio;
        let pairs = pairs(wavelength);
        for &weighting in Weighting::ALL {
            let measured = response(
                &pairs,
                wavelength,
                &processing(1, weighting, PredictorFilter::None),
            );
            let window = of_window(weighting, wavelength);
            if weighting == Weighting::TopHat {
                let angle = TAU / 2.0 * ratio;
                assert!((window - angle.sin() / angle).abs() < 1e-3);
            }
            println!("{weighting} D/λ = {ratio}: {measured:.4}, expected {window:.4}");
        }
    }
}

/// Derived: with the predictor filter F the measured wave is after the next pass R' = F R + r (1 - F R). Along one axis, with ω the phase
/// from vector to vector: F = (2 + cos ω)/3 for the cubic B-spline; (17 + 24 cos ω - 6 cos 2ω)/35 for the quadratic through five
/// values. Tolerance 0.03 (published-figure for the unfiltered series .637 .868 .952 .983 at D/λ = .5).
#[test]
fn iterated_response_follows_the_recursion() {
    for ratio in [0.25, 0.5, 0.8] {
        let wavelength = SIDE as f64 / ratio;
        let omega = TAU * 8.0 / wavelength;
        let pairs = pairs(wavelength);
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
                let mut expected = 0.0;
                for passes in 1..=4 {
                    expected = f * expected + r * (1.0 - f * expected);
                    let measured = response(&pairs, wavelength, &processing(passes, weighting, filter));
                    println!(
                        "{weighting} {filter} D/λ = {ratio} pass {passes}: {measured:.4}, expected {expected:.4}"
                    );
                }
            }
        }
    }
}
