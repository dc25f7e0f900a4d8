//! Interpolation and deformation of frames. Chain of evidence: polynomials, sinusoids in closed
//! form, particle images rendered again at the displaced positions.

use std::f64::consts::TAU;

use crate::support::TestScene;
use motefield_evaluator::{Interpolator, PredictorFilter, Vector, VectorField, VectorStatus, deform};
use ndarray::Array2;

/// A field of `columns` x `rows` vectors every 16 px, starting at (8, 8).
fn field([columns, rows]: [usize; 2], displacement: impl Fn(f64, f64) -> [f64; 2]) -> VectorField {
    let vectors = (0..columns * rows).map(|n| {
        let (x_px, y_px) = (
            8.0 + 16.0 * (n % columns) as f64,
            8.0 + 16.0 * (n / columns) as f64,
        );
        let [dx_px, dy_px] = displacement(x_px, y_px);
        Vector {
            x_px,
            y_px,
            dx_px,
            dy_px,
            peak_ratio: 2.0,
            status: VectorStatus::Valid,
        }
    });
    VectorField {
        columns,
        rows,
        window: [32, 32],
        spacing: [16, 16],
        vectors: vectors.collect(),
    }
}

fn uniform(dx: f64, dy: f64) -> VectorField {
    field([1, 1], |_, _| [dx, dy])
}

fn image([width, height]: [usize; 2], value: impl Fn(f64, f64) -> f64) -> Array2<f32> {
    Array2::from_shape_fn((height, width), |(y, x)| value(x as f64, y as f64) as f32)
}

/// A frame deformed backward and forward by half of an unsmoothed field.
fn moved(frame: &Array2<f32>, field: &VectorField, interpolator: Interpolator) -> [Array2<f32>; 2] {
    deform(
        frame.view(),
        frame.view(),
        field,
        PredictorFilter::None,
        interpolator,
    )
    .unwrap()
}

/// Greatest difference between an image and a function of the place, over pixels at least `border`
/// from the edge.
fn worst(image: &Array2<f32>, border: usize, expected: impl Fn(f64, f64) -> f64) -> f64 {
    let (height, width) = image.dim();
    let inside = |(y, x): (usize, usize)| {
        (border..width - border).contains(&x) && (border..height - border).contains(&y)
    };
    image
        .indexed_iter()
        .filter(|(place, _)| inside(*place))
        .map(|((y, x), v)| (f64::from(*v) - expected(x as f64, y as f64)).abs())
        .fold(0.0, f64::max)
}

/// Derived: an interpolating B-spline of degree n reproduces polynomials of degree n, up to the
/// mirrored border, whose influence falls per pixel by the filter's largest pole (0.54 at most):
/// 1e-11 over 40 px. The Lanczos weights of sum 1 reproduce constants. Tolerance: single precision
/// of values up to 1, through two filters and a sum of up to 64 products.
#[test]
fn polynomials_are_reproduced() {
    for (interpolator, degree) in [
        (Interpolator::Bilinear, 1),
        (Interpolator::Cubic, 3),
        (Interpolator::Quintic, 5),
        (Interpolator::Septic, 7),
        (Interpolator::Lanczos3, 0),
        (Interpolator::Lanczos4, 0),
    ] {
        let value = |x: f64, y: f64| {
            let (u, v) = ((x - 55.0) / 60.0, (y - 50.0) / 60.0);
            0.5 * u.powi(degree) + 0.3 * v.powi(degree) + 0.2
        };
        let frame = image([110, 101], value);
        for (dx, dy) in [(0.0, 0.0), (1.0, 0.3), (-2.7, 5.1), (7.9, -0.02)] {
            let field = uniform(dx, dy);
            let [a, b] = moved(&frame, &field, interpolator);
            let error_a = worst(&a, 44, |x, y| value(x - dx / 2.0, y - dy / 2.0));
            let error_b = worst(&b, 44, |x, y| value(x + dx / 2.0, y + dy / 2.0));
            assert!(
                error_a.max(error_b) < 2e-6,
                "{interpolator} by {dx}, {dy}: {error_a:e} {error_b:e}"
            );
        }
    }
}

/// Derived (Poisson's sum over the spectrum of the B-spline, which is sinc to the power n + 1):
/// through samples of the wave exp(2πi f j) the spline of degree n takes at j + t the value exp(2πi
/// f j) · P(t), P(t) = sum over k of exp(2πi (f + k) t) / (f + k)^(n+1), divided by the same sum at
/// t = 0. Tolerance: single precision (6e-8) of coefficients that reach 20 times the amplitude of
/// the wave at degree 7 near half a cycle per pixel, with a few roundings each.
#[test]
fn waves_take_the_values_of_the_spline_in_closed_form() {
    for (interpolator, degree) in [
        (Interpolator::Cubic, 3),
        (Interpolator::Quintic, 5),
        (Interpolator::Septic, 7),
    ] {
        for f in [0.05, 0.2, 0.35, 0.45] {
            // What 200 terms leave out is below 1e-9 of the sum.
            let sum = |t: f64| -> [f64; 2] {
                (-200..=200).fold([0.0; 2], |sum, k| {
                    let weight = (f + f64::from(k)).powi(-degree - 1);
                    let (sin, cos) = (TAU * (f + f64::from(k)) * t).sin_cos();
                    [sum[0] + weight * cos, sum[1] + weight * sin]
                })
            };
            let frame = image([160, 24], |x, _| (TAU * f * x).cos());
            for t in [0.1, 0.25, 0.5, 0.8] {
                let scale = sum(0.0)[0];
                let [re, im] = sum(t).map(|s| s / scale);
                let [_, b] = deform(
                    frame.view(),
                    frame.view(),
                    &uniform(2.0 * t, 0.0),
                    PredictorFilter::None,
                    interpolator,
                )
                .unwrap();
                for x in 60..100 {
                    let (sin, cos) = (TAU * f * x as f64).sin_cos();
                    let error = (f64::from(b[[12, x]]) - (re * cos - im * sin)).abs();
                    assert!(
                        error < 5e-6,
                        "{interpolator} f = {f} t = {t} x = {x}: off by {error:e}"
                    );
                }
            }
        }
    }
}

/// Derived: Lanczos weights sinc(x) sinc(x/a) divided by their sum, written out in double
/// precision.
#[test]
fn lanczos_takes_its_defining_weights() {
    let sinc = |x: f64| {
        if x == 0.0 {
            1.0
        } else {
            (TAU / 2.0 * x).sin() / (TAU / 2.0 * x)
        }
    };
    let values: Vec<f64> = (0..64)
        .map(|j| f64::from(((j * j * 7 + 3 * j) % 23) as f32 / 23.0))
        .collect();
    let frame = image([64, 9], |x, _| values[x as usize]);
    for (interpolator, a) in [(Interpolator::Lanczos3, 3), (Interpolator::Lanczos4, 4)] {
        for t in [0.0, 0.17, 0.5, 0.93] {
            let field = uniform(2.0 * t, 0.0);
            let [_, b] = moved(&frame, &field, interpolator);
            for x in 10..50 {
                let weights: Vec<(f64, f64)> = (1 - a..=a)
                    .map(|k| (f64::from(k), t - f64::from(k)))
                    .map(|(k, d)| (values[(x as f64 + k) as usize], sinc(d) * sinc(d / f64::from(a))))
                    .collect();
                let sum: f64 = weights.iter().map(|(_, w)| w).sum();
                let expected = weights.iter().map(|(v, w)| v * w).sum::<f64>() / sum;
                let error = (f64::from(b[[4, x]]) - expected).abs();
                assert!(error < 2e-6, "{interpolator} t = {t} x = {x}: off by {error:e}");
            }
        }
    }
}

/// Beyond the border the frame is mirrored at its outermost pixels (derived: whole shifts read
/// whole pixels).
#[test]
fn frames_are_mirrored_beyond_their_border() {
    let frame = image([20, 16], |x, y| x + 100.0 * y);
    for &interpolator in Interpolator::ALL {
        for shift in [1.0, 7.0, 19.0, 45.0] {
            let field = uniform(2.0 * shift, -2.0 * shift);
            let [a, b] = moved(&frame, &field, interpolator);
            let mirrored = |p: f64, length: f64| {
                let period = 2.0 * (length - 1.0);
                let p = p.rem_euclid(period);
                p.min(period - p)
            };
            for (frame, sign) in [(&a, -1.0), (&b, 1.0)] {
                let error = worst(frame, 0, |x, y| {
                    mirrored(x + sign * shift, 20.0) + 100.0 * mirrored(y - sign * shift, 16.0)
                });
                assert!(error < 2e-3, "{interpolator} {shift}: off by {error:e} of 1500");
            }
        }
    }
}

/// The ramp image shows the predictor itself. Derived: a cubic spline reproduces straight lines,
/// here also beyond its outermost vectors and after each smoothing, since straight lines pass
/// through all of the filters unchanged; unsmoothed it passes through its vectors.
#[test]
fn predictor_is_a_spline_through_the_vectors_and_straight_outside() {
    let ramp = image([96, 96], |x, _| x / 96.0);
    // Gradients of up to 0.02 px per px; the field covers 8..56, the rest is beyond it.
    let line = |x: f64, y: f64| 0.3 + 0.02 * x - 0.01 * y;
    for &filter in PredictorFilter::ALL {
        let field = field([4, 4], |x, y| [line(x, y), 0.0]);
        let [_, b] = deform(ramp.view(), ramp.view(), &field, filter, Interpolator::Cubic).unwrap();
        let error = 96.0 * worst(&b, 8, |x, y| (x + line(x, y) / 2.0) / 96.0);
        assert!(error < 1e-4, "{filter}: off by {error:e} px");
    }
    let rough = |x: f64, y: f64| ((x * 0.7).sin() + (y * 0.9).cos()) * 0.5;
    let field = field([5, 5], |x, y| [rough(x, y), 0.0]);
    let [_, b] = moved(&ramp, &field, Interpolator::Cubic);
    for v in &field.vectors[5..] {
        let at = [v.y_px as usize, v.x_px as usize];
        let found = 2.0 * (f64::from(b[at]) * 96.0 - v.x_px);
        assert!(
            (found - v.dx_px).abs() < 2e-4 || v.x_px < 12.0,
            "at {at:?}: {found}, not {}",
            v.dx_px
        );
    }
}

/// Root mean square of what no interpolator can restore when particle images are shifted by `t` px,
/// over their contrast. Derived: the spectrum S(f) = exp(-2 (π σ f)²) sinc f beyond half a cycle
/// per pixel is aliased to f + k, so a shift gives that part the phase 2π (f + k) t instead of 2π f
/// t: an error of 2 |sin πkt| times its amplitude.
fn folding(d: f64, t: f64) -> f64 {
    let (mut error, mut whole) = (0.0, 0.0);
    for n in 0..4000 {
        let f = (f64::from(n) + 0.5) / 2000.0;
        let sinc = (TAU / 2.0 * f).sin() / (TAU / 2.0 * f);
        let power = (-(TAU * d / 4.0 * f).powi(2)).exp() * sinc * sinc;
        error += power * (2.0 * (TAU / 2.0 * f.round() * t).sin()).powi(2);
        whole += power;
    }
    (error / whole).sqrt()
}

/// Particle images displaced by 3.3 and 1.4 px (no noise) are brought into coincidence. Derived:
/// the same particles rendered at their positions midway. The better the interpolator, the closer
/// to what aliasing alone leaves, and the default one adds less than half of its energy, so that
/// the pixels set the limit, not the interpolator. The order of the interpolators is that of their
/// degree (Astarita & Cardone 2005, from memory).
#[test]
fn deformed_particle_images_meet_midway() {
    let (dx, dy) = (3.3, 1.4);
    for d in [2.5, 4.0] {
        let scene = TestScene::new(128, 128, 0.03, d);
        let [a, b] = scene.uniform(11, [dx, dy]);
        let [midway, _] = scene.uniform(11, [0.0, 0.0]);
        let contrast = f64::from(midway.std(0.0));
        let mut before = f64::INFINITY;
        for interpolator in [
            Interpolator::Bilinear,
            Interpolator::Cubic,
            Interpolator::Quintic,
            Interpolator::Septic,
        ] {
            let field = uniform(dx, dy);
            let [a, b] = deform(a.view(), b.view(), &field, PredictorFilter::None, interpolator).unwrap();
            let error = |frame: &Array2<f32>| {
                let inner = |(y, x): (usize, usize)| (8..120).contains(&x) && (8..120).contains(&y);
                let squares: Vec<f64> = frame
                    .indexed_iter()
                    .filter(|(place, _)| inner(*place))
                    .map(|(place, v)| f64::from(v - midway[place]).powi(2))
                    .collect();
                (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
            };
            let relative = error(&a).max(error(&b)) / contrast;
            assert!(
                relative < before,
                "d = {d} {interpolator}: {relative} after {before}"
            );
            before = relative;
        }
        let floor = folding(d, dx / 2.0).hypot(folding(d, dy / 2.0));
        println!("{floor}");
        assert!(
            before < 1.5f64.sqrt() * floor,
            "d = {d}: septic leaves {before}, folding {floor}"
        );
    }
}
