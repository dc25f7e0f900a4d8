//! The closed forms against sums written out, and the guess against frames made here from them.

use ndarray::Array2;

use super::grey_steps::grey_steps;
use super::guess::{axis_covariance, guess};
use super::{Confidence, corner, covariance, fixed_pattern, noise_parts};

/// A plain congruential generator (Knuth's MMIX constants; from memory) of numbers from 0 to 1.
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let (u, v) = (self.next().max(1e-300), self.next());
        (-2.0 * u.ln()).sqrt() * (2.0 * std::f64::consts::PI * v).cos()
    }
}

/// Light of a Gaussian image at `x` in the pixel `i`.
fn pixel(i: usize, x: f64, sigma: f64) -> f64 {
    let end = |e: f64| libm::erf((i as f64 + e - x) / (sigma * std::f64::consts::SQRT_2));
    0.5 * (end(0.5) - end(-0.5))
}

#[test]
fn the_covariance_along_an_axis_is_that_of_the_pixels() {
    for sigma in [0.3, 0.6, 1.2] {
        for lag in 0..4usize {
            // The mean over the places of an image of the sum over the pixels.
            let places = 400;
            let sum: f64 = (0..places)
                .map(|k| {
                    let x = 20.0 + (k as f64 + 0.5) / places as f64;
                    (0..40)
                        .map(|i| pixel(i, x, sigma) * pixel(i + lag, x, sigma))
                        .sum::<f64>()
                })
                .sum();
            let found = axis_covariance(lag as f64, sigma);
            assert!(
                (found - sum / places as f64).abs() < 1e-6,
                "{sigma} {lag}: {found}"
            );
        }
    }
}

/// White noise keeps its variance in the corner residual, and its dependence on the mean is a
/// straight line: α + βm. Of 10⁶ squares the relative standard error is √(2 × 2.6/10⁶) = 0.3 %
/// (neighbours share weights); a tenth of them 0.8 %. Hence 4 %, five times that.
#[test]
fn noise_is_told_by_its_mean() {
    let mut draw = Draw(1);
    let frame = Array2::from_shape_fn((1000, 1000), |(_, x)| {
        let mean = 100.0 + 0.1 * x as f64;
        mean + (9.0 + 0.4 * (mean - 100.0)).sqrt() * draw.normal()
    });
    for part in noise_parts(&frame, &[0.0, 0.1, 0.5, 1.0]) {
        let expected = 9.0 + 0.4 * (part.mean - 100.0);
        assert!(
            (part.variance / expected - 1.0).abs() < 0.04,
            "{part:?} {expected}"
        );
    }
    assert_eq!(corner(&frame).dim(), (996, 996));
}

#[test]
fn covariances_are_the_mean_products() {
    let frame = Array2::from_shape_fn((3, 4), |(y, x)| (x * x + 5 * y) as f64 - 9.0);
    for [dx, dy] in [[1isize, 0], [0, 1], [2, 1], [-2, 1]] {
        let mut products = Vec::new();
        for y in 0..3isize {
            for x in 0..4isize {
                if (0..3).contains(&(y + dy)) && (0..4).contains(&(x + dx)) {
                    let at = |x: isize, y: isize| frame[[y as usize, x as usize]];
                    products.push(at(x, y) * at(x + dx, y + dy));
                }
            }
        }
        let mean = products.iter().sum::<f64>() / products.len() as f64;
        assert!((covariance(&frame, [dx, dy]) - mean).abs() < 1e-12);
    }
}

/// A frame made here: images of 3 px in a Gaussian sheet with read and shot noise (as normal noise
/// of that variance). The figures rest on some 5000 images; their second and third cumulants
/// scatter by a few percent, and density and light with the square of these.
#[test]
fn the_guess_is_near_what_a_frame_was_made_of() {
    let (side, density, light, sigma) = (512usize, 0.02, 3000.0, 0.75);
    let mut draw = Draw(7);
    let mut frame = Array2::from_elem((side, side), 60.0);
    // Places across the sheet from -1 to 1 thickness hold twice the density.
    for _ in 0..(2.0 * density * (side * side) as f64) as usize {
        let [x, y] = [0; 2].map(|_| side as f64 * draw.next());
        let u = 2.0 * draw.next() - 1.0;
        let e = light * (-8.0 * u * u).exp();
        let near = |at: f64| (at as usize).saturating_sub(6)..(at as usize + 7).min(side);
        for j in near(y) {
            for i in near(x) {
                frame[[j, i]] += e * pixel(i, x, sigma) * pixel(j, y, sigma);
            }
        }
    }
    let frame = frame.mapv(|m: f64| (m + (16.0 + 0.5 * (m - 60.0)).sqrt() * draw.normal()) as f32);
    let found = guess(&[frame.view()]);
    for (name, value, expected, tolerance) in [
        ("diameter x", found.diameter_px[0], 3.0, 0.04),
        ("diameter y", found.diameter_px[1], 3.0, 0.04),
        ("density", found.seeding_density_ppp, density, 0.15),
        ("light", found.light_dn, light, 0.1),
        ("floor", found.floor_dn, 60.0, 0.1),
        ("noise", found.noise_dn, 4.0, 0.1),
        ("gain", found.gain_dn, 0.5, 0.2),
    ] {
        assert!(
            (value / expected - 1.0).abs() < tolerance,
            "{name}: {value}, made with {expected}"
        );
    }
}

#[test]
fn saturation_is_a_pile_at_the_top() {
    let mut draw = Draw(3);
    let ramp = Array2::from_shape_fn((100, 100), |_| (300.0 * draw.next()).floor().min(255.0) as f32);
    let found = grey_steps(&[ramp.view()]).unwrap();
    assert!((found.saturated - 0.15).abs() < 0.02, "{found:?}");
    assert_eq!(found.step, Some(1.0));
    let below = ramp.mapv(|v| v.min(250.0) + (v / 300.0).fract());
    assert_eq!(grey_steps(&[below.view()]).unwrap().step, None);
}

/// A pattern p under noise t = 3 that changes, 50 times: 44 intervals at least hold it (95 %, less
/// two and a half binomial standard errors). The mean of 10 frames varies by v = p² + t²/10; its
/// square over N = 60 516 residuals, of which neighbours correlate (squares of their correlations
/// add up to 6.9), is known to v √(2 · 6.9/N) = 0.015 v, so p to 0.0075 v/p: with Student's factor
/// for nine blocks an interval 0.035 v/p wide, here twice that at most.
#[test]
fn a_fixed_pattern_is_what_repeats() {
    for deviation in [0.5, 2.0] {
        let mut held = 0;
        for seed in 0..50 {
            let mut draw = Draw(seed);
            let pattern = Array2::from_shape_fn((250, 250), |_| deviation * draw.normal());
            let frames: Vec<Array2<f32>> = (0..10)
                .map(|_| pattern.mapv(|p| (100.0 + p + 3.0 * draw.normal()) as f32))
                .collect();
            let views: Vec<_> = frames.iter().map(|f| f.view()).collect();
            let found = fixed_pattern(&views, Confidence::USUAL);
            assert!((found.value - deviation).abs() < 0.1, "{found:?}");
            let wide = 0.035 * (deviation * deviation + 0.9) / deviation;
            assert!(found.hi - found.lo < 2.0 * wide, "{found:?}: {wide}");
            held += u32::from((found.lo..=found.hi).contains(&deviation));
        }
        assert!(held >= 44, "{deviation}: {held} of 50");
    }
}

/// Nothing repeats: the interval begins at zero. One block does not tell how blocks scatter.
#[test]
fn without_a_pattern_the_interval_holds_zero() {
    let mut draw = Draw(5);
    let mut frames = |side| -> Vec<Array2<f32>> {
        let one = |_| Array2::from_shape_fn((side, side), |_| draw.normal() as f32);
        (0..10).map(one).collect()
    };
    let of = |frames: &[Array2<f32>]| {
        let views: Vec<_> = frames.iter().map(|f| f.view()).collect();
        fixed_pattern(&views, Confidence::USUAL)
    };
    let large = of(&frames(250));
    assert!(large.lo == 0.0 && large.hi < 0.2, "{large:?}");
    assert_eq!(of(&frames(100)).hi, f64::INFINITY);
}
