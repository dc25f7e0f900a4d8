//! Pulses of any power over time: closed forms first (moments of triangles), then the plain
//! reference, a sum of resting images over many instants, then the renderer against both.

use std::sync::Arc;

use motefield_generator::flow::Uniform;
use motefield_generator::pair::{expected, particle_image, shown};
use motefield_generator::{Exposure, Light, LinearPulse, Pulse, PulseShape, Scene, Seed, truth};
use ndarray::Array2;

/// Displacement between the pulses, px; the pulse length is a tenth of their separation.
const DISPLACEMENT_PX: f64 = 40.0;
const FRACTION: f64 = 0.1;

fn linear(points: &[[f64; 2]]) -> PulseShape {
    PulseShape::Linear(LinearPulse::new(points).expect("a pulse"))
}

fn scene(shapes: [PulseShape; 2]) -> Scene {
    Scene {
        size: [81, 61],
        electrons: 1e6,
        exposure: Exposure::Fraction(FRACTION),
        flow: Arc::new(Uniform {
            displacement_px: [DISPLACEMENT_PX, 0.0, 0.0],
        }),
        light: Light {
            pulse_shapes: shapes,
            ..Light::default()
        },
        ..Scene::default()
    }
}

fn both(shape: PulseShape) -> Scene {
    scene([shape.clone(), shape])
}

/// Light of an image, its middle along x and its variance about that.
fn moments(image: &Array2<f32>) -> [f64; 3] {
    let sum = |of: &dyn Fn(f64) -> f64| -> f64 {
        let pixels = image.indexed_iter();
        pixels.map(|((_, x), e)| f64::from(*e) * of(x as f64)).sum()
    };
    let light = sum(&|_| 1.0);
    let middle = sum(&|x| x) / light;
    [light, middle, sum(&|x| (x - middle).powi(2)) / light]
}

/// A rectangle by two points is the rectangular pulse; to the rounding of single precision.
#[test]
fn a_rectangle_by_points_is_the_rectangle() {
    let at = [40.2, 29.7, 0.0];
    let plain = particle_image(&both(PulseShape::Rectangular), at).unwrap();
    let points = particle_image(&both(linear(&[[0.0, 7.0], [1.0, 7.0]])), at).unwrap();
    for (a, b) in plain.iter().zip(&points) {
        assert!((a - b).abs() < 1e-6 * 1e6, "{a} {b}");
    }
}

/// The image's light and its middle are those of a particle that rests where it is at the centroid
/// of the power, and its variance is σ² + 1/12 (the pixel) + u² var(t): base²/24 for a symmetric
/// triangle, base²/18 for a saw-tooth, (base² of each ramp and the flat part) for a trapezoid by
/// the moments of its three parts. (Sheppard's 1/12 is exact to the sampling at σ ≥ 0.5 px.)
#[test]
fn streaks_have_the_moments_of_their_pulse() {
    let drawn = FRACTION * DISPLACEMENT_PX;
    let trapezoid = [[-0.1, 0.0], [0.1, 1.0], [0.7, 1.0], [1.3, 0.0]];
    // Area, centroid and mean square of each part, about time 0: a rising ramp of base r has its
    // centroid at 2 r/3 and the variance r²/18.
    let parts = [
        (0.1, -0.1 + 0.4 / 3.0, 0.04 / 18.0),
        (0.6, 0.4, 0.36 / 12.0),
        (0.3, 0.7 + 0.2, 0.36 / 18.0),
    ];
    let area: f64 = parts.iter().map(|(a, ..)| a).sum();
    let centroid = parts.iter().map(|(a, c, _)| a * c).sum::<f64>() / area;
    let square = parts.iter().map(|(a, c, v)| a * (v + c * c)).sum::<f64>() / area;
    for (points, centre, variance) in [
        (vec![[0.0, 0.0], [0.6, 2.0], [1.2, 0.0]], 0.6, 1.44 / 24.0),
        (vec![[0.0, 3.0], [1.5, 0.0]], 0.5, 2.25 / 18.0),
        (trapezoid.to_vec(), centroid, square - centroid * centroid),
    ] {
        let shape = linear(&points);
        assert!((shape.centroid() - centre).abs() < 1e-14);
        let image = particle_image(&both(shape), [40.2, 29.7, 0.0]).unwrap();
        let [light, middle, width] = moments(&image);
        let theory = (0.25f64 * 2.5).powi(2) + 1.0 / 12.0 + variance * drawn * drawn;
        assert!((light / 1e6 - 1.0).abs() < 1e-5, "{light}");
        assert!((middle - 40.2).abs() < 1e-4, "{points:?}: {middle}");
        assert!(
            (width / theory - 1.0).abs() < 1e-3,
            "{points:?}: {width} for {theory}"
        );
    }
}

/// The slow reference: the sum over 8000 instants of the image of a particle that rests there,
/// weighted by the power of that instant, for a pulse with a spike, a gap and a tail. The midpoint
/// rule is off by less than 1e-6 there; single precision by 1e-6.
#[test]
fn streaks_are_the_sum_of_their_instants() {
    let points = [
        [-0.2, 0.0],
        [0.0, 1.0],
        [0.05, 0.2],
        [0.4, 0.0],
        [0.6, 0.0],
        [1.0, 0.6],
        [1.7, 0.0],
    ];
    let power = |t: f64| {
        let ends = points.windows(2).find(|ends| t < ends[1][0]).expect("within");
        let [[t0, p0], [t1, p1]] = [ends[0], ends[1]];
        p0 + (p1 - p0) * (t - t0) / (t1 - t0)
    };
    let shape = linear(&points);
    let centroid = shape.centroid();
    let scene = both(shape);
    let image = particle_image(&scene, [40.2, 29.7, 0.0]).unwrap();
    let resting = Scene {
        exposure: Exposure::Fraction(0.0),
        ..scene.clone()
    };
    const INSTANTS: usize = 8000;
    let mut sum = Array2::<f64>::zeros((61, 81));
    let mut all = 0.0;
    for k in 0..INSTANTS {
        let t = -0.2 + 1.9 * (k as f64 + 0.5) / INSTANTS as f64;
        let x = 40.2 + (t - centroid) * FRACTION * DISPLACEMENT_PX;
        let one = particle_image(&resting, [x, 29.7, 0.0]).unwrap();
        sum.zip_mut_with(&one, |sum, e| *sum += power(t) * f64::from(*e));
        all += power(t);
    }
    for (found, sum) in image.iter().zip(&sum) {
        let theory = sum / all;
        assert!(
            (f64::from(*found) - theory).abs() < 2e-6 * 1e6,
            "{found} {theory}"
        );
    }
}

/// Streaks of 25 px take their instants in several pieces, and are still whole and in their place.
#[test]
fn long_streaks_are_whole() {
    let mut scene = both(linear(&[[0.0, 3.0], [1.5, 0.0]]));
    scene.exposure = Exposure::Streak([25.0, 0.0]);
    let image = particle_image(&scene, [35.2, 29.7, 0.0]).unwrap();
    let [light, middle, width] = moments(&image);
    let theory = (0.25f64 * 2.5).powi(2) + 1.0 / 12.0 + 2.25 / 18.0 * 625.0;
    assert!((light / 1e6 - 1.0).abs() < 1e-5, "{light}");
    assert!((middle - 35.2).abs() < 1e-4, "{middle}");
    assert!((width / theory - 1.0).abs() < 1e-3, "{width} for {theory}");
}

/// Centroids c_A, c_B after starts that are one separation apart: the light of a particle moves by
/// u (1 + f_B c_B − f_A c_A) between the frames, and that is the true displacement. Equal pulses
/// leave u, however lopsided. Tolerance 1e-3 px: single precision of the pixels far from the image,
/// whose distance weighs in the first moment.
#[test]
fn displacement_counts_from_centroid_to_centroid() {
    let saw_tooth = linear(&[[0.0, 3.0], [1.5, 0.0]]);
    let triangle = linear(&[[0.0, 0.0], [1.0, 1.0], [2.0, 0.0]]);
    for (shapes, ratio, factor) in [
        ([saw_tooth.clone(), saw_tooth.clone()], 1.0, 1.0),
        ([saw_tooth.clone(), triangle], 1.0, 1.0 + FRACTION * (1.0 - 0.5)),
        (
            [saw_tooth.clone(), saw_tooth],
            2.0,
            1.0 + FRACTION * (2.0 * 0.5 - 0.5),
        ),
    ] {
        let mut scene = scene(shapes);
        scene.size = [161, 61];
        scene.seeding_density_ppp = 2e-4;
        scene.light.pulses[1] = Pulse {
            length_ratio: ratio,
            ..Pulse::default()
        };
        let [dx, dy] = truth::at(&scene, 80.0, 30.0).unwrap();
        let moved = factor * DISPLACEMENT_PX;
        assert!((dx - moved).abs() < 1e-12 && dy.abs() < 1e-12, "{dx} for {moved}");
        // A realisation with one particle alone in the middle of the picture.
        let seed = (0..1000)
            .map(|realisation| Seed {
                realisation,
                ..Seed::default()
            })
            .find(|seed| {
                let inside = |k: u32| {
                    let list = shown(&scene, *seed, k, false).unwrap();
                    let middle = |x: f64| (30.0..130.0).contains(&x);
                    list.len() == 1 && middle(list[0].x_px) && (15.0..45.0).contains(&list[0].y_px)
                };
                inside(0) && inside(1)
            })
            .expect("a realisation");
        let pair = expected(&scene, seed).unwrap();
        let [[_, a, _], [_, b, _]] = [moments(&pair.a), moments(&pair.b)];
        assert!((b - a - moved).abs() < 1e-3, "{} for {moved}", b - a);
    }
}
