//! Pulses, sheet and constant light against closed forms, derived beside each test.

use std::sync::Arc;

use motefield_generator::flow::Uniform;
use motefield_generator::pair::{expected, frame, particle_image, shown};
use motefield_generator::{
    Exposure, Glare, HotSpots, Light, Profile, Pulse, PulseShape, Reflections, Scene, Seed, Sheet, render,
    truth,
};
use ndarray::Array2;

fn scene(displacement_px: [f64; 3]) -> Scene {
    Scene {
        size: [256, 192],
        seeding_density_ppp: 0.05,
        sheet: Sheet {
            thickness_px: 20.0,
            ..Sheet::default()
        },
        flow: Arc::new(Uniform { displacement_px }),
        ..Scene::default()
    }
}

fn sum(image: &Array2<f32>) -> f64 {
    image.iter().map(|&v| f64::from(v)).sum()
}

fn with(mut scene: Scene, change: impl FnOnce(&mut Scene)) -> Scene {
    change(&mut scene);
    scene
}

fn correlation(a: &Array2<f32>, b: &Array2<f32>) -> f64 {
    let n = a.len() as f64;
    let (ma, mb) = (sum(a) / n, sum(b) / n);
    let dot = |a: &Array2<f32>, ma: f64, b: &Array2<f32>, mb: f64| -> f64 {
        a.iter()
            .zip(b)
            .map(|(&a, &b)| (f64::from(a) - ma) * (f64::from(b) - mb))
            .sum()
    };
    dot(a, ma, b, mb) / (dot(a, ma, a, ma) * dot(b, mb, b, mb)).sqrt()
}

/// A super-Gaussian has e⁻² at half its thickness for any order, is the Gaussian for order 2, and
/// its effective fraction is its integral (by Simpson's rule; for order 4 from tables: Γ(5/4)/2^¼ =
/// 0.906402477/1.189207115).
#[test]
fn sheet_profiles() {
    for order in [2.0, 4.0, 10.0] {
        let profile = Profile::SuperGaussian(order);
        assert!((profile.at(0.5) - (-2.0f64).exp()).abs() < 1e-15);
        let steps = 20_000;
        let integral: f64 = (0..=steps)
            .map(|k| {
                let weight = match k {
                    0 => 1.0,
                    k if k == steps => 1.0,
                    k if k % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                weight * profile.at(-2.0 + 4.0 * k as f64 / steps as f64)
            })
            .sum::<f64>()
            * 4.0
            / (3.0 * steps as f64);
        assert!(
            (integral - profile.effective_fraction()).abs() < 1e-9,
            "{order}: {integral}"
        );
    }
    assert!((Profile::SuperGaussian(2.0).at(0.3) - Profile::Gaussian.at(0.3)).abs() < 1e-15);
    let order_4 = Profile::SuperGaussian(4.0).effective_fraction();
    assert!((order_4 - 0.906_402_477 / 1.189_207_115).abs() < 1e-9);
}

/// A pulse of 0.3 of the energy gives 0.3 of the light everywhere, to the rounding of single
/// precision.
#[test]
fn energy_scales_light() {
    let scene = with(scene([0.0; 3]), |s| s.light.pulses[1].energy_ratio = 0.3);
    let pair = expected(&scene, Seed::default()).unwrap();
    for (a, b) in pair.a.iter().zip(&pair.b) {
        assert!((0.3 * a - b).abs() <= 1e-5 * a + 1e-3);
    }
}

/// Pulses whose sheets are offset or differ in thickness light different particles. The correlation
/// of two pictures of the same random particles with brightness g and h over depth is ∫gh/√(∫g²
/// ∫h²) (Campbell's theorem): exp(−4o²/Δz₀²) for Gaussians offset by o, √(2r/(1 + r²)) for the
/// thickness ratio r. Within 0.01.
#[test]
fn unlike_sheets_decorrelate() {
    let offset = [-2.5, 2.5].map(|offset_px| Pulse {
        offset_px,
        ..Pulse::default()
    });
    let thicker = [1.0, 2.0].map(|thickness| Pulse {
        thickness_ratio: thickness,
        ..Pulse::default()
    });
    for (pulses, theory) in [
        (offset, (-4.0f64 * 25.0 / 400.0).exp()),
        (thicker, (4.0f64 / 5.0).sqrt()),
    ] {
        let scene = with(scene([0.0; 3]), |s| {
            s.size = [1024, 1024];
            s.light.pulses = pulses;
        });
        let mean = (0..4)
            .map(|realisation| {
                let pair = expected(
                    &scene,
                    Seed {
                        realisation,
                        ..Seed::default()
                    },
                )
                .unwrap();
                correlation(&pair.a, &pair.b) / 4.0
            })
            .sum::<f64>();
        assert!((mean - theory).abs() < 0.01, "{mean} for {theory}");
    }
}

/// A sheet twice as thick at the same energy gives as much light in total, from more and dimmer
/// particles. The relative standard error of each sum is below 1/√n for n particles per thickness.
/// Tolerance: four of the two combined.
#[test]
fn thicker_sheets_keep_their_energy() {
    let scene = with(scene([0.0; 3]), |s| {
        s.size = [1024, 1024];
        s.light.pulses[1].thickness_ratio = 2.0;
    });
    let pair = expected(&scene, Seed::default()).unwrap();
    let n = scene.seeding_density_ppp * 1024.0 * 1024.0;
    let ratio = sum(&pair.b) / sum(&pair.a);
    assert!((ratio - 1.0).abs() < 4.0 * (2.0 / n).sqrt(), "{ratio}");
}

/// The middles of unequal pulses are 1 + (f_B − f_A)/2 separations apart, here 1 + (0.4 − 0.2)/2 =
/// 1.1, and the true displacement counts from middle to middle.
#[test]
fn truth_counts_from_middle_to_middle() {
    let scene = with(scene([5.0, -2.0, 0.0]), |s| {
        s.exposure = Exposure::Fraction(0.2);
        s.light.pulses[1].length_ratio = 2.0;
    });
    let [dx, dy] = truth::at(&scene, 40.0, 50.0).unwrap();
    assert!((dx - 5.5).abs() < 1e-12 && (dy + 2.2).abs() < 1e-12, "{dx} {dy}");
    // The particles in the pictures move as far.
    let [a, b] = [0, 1].map(|k| shown(&scene, Seed::default(), k, false).unwrap());
    let (p, q) = a
        .iter()
        .find_map(|p| b.iter().find(|q| q.id == p.id).map(|q| (p, q)))
        .unwrap();
    assert!((q.x_px - p.x_px - 5.5).abs() < 1e-9);
}

/// The second moment of a streak along its direction is σ² + 1/12 for the pixel + L²/12 for a
/// rectangular pulse or L²/(8 ln 2) for a Gaussian one of full width at half maximum L. (Sheppard's
/// 1/12 is exact to the sampling at σ ≥ 0.5 px.) Within 1e-3.
#[test]
fn pulse_shapes_have_their_second_moment() {
    for (shape, share) in [
        (PulseShape::Rectangular, 1.0 / 12.0),
        (PulseShape::Gaussian, 1.0 / (8.0 * 2.0f64.ln())),
    ] {
        for length in [0.5, 3.0] {
            let scene = Scene {
                size: [81, 81],
                exposure: Exposure::Fraction(0.1),
                light: Light {
                    pulse_shapes: [shape.clone(), shape.clone()],
                    ..Light::default()
                },
                ..scene([10.0 * length, 0.0, 0.0])
            };
            let image = particle_image(&scene, [40.2, 39.9, 0.0]).unwrap();
            let all = sum(&image);
            assert!((all / scene.electrons - 1.0).abs() < 1e-5, "{all}");
            let variance = image
                .indexed_iter()
                .map(|((_, x), e)| f64::from(*e) * (x as f64 - 40.2).powi(2))
                .sum::<f64>()
                / all;
            let theory = (0.25f64 * 2.5).powi(2) + 1.0 / 12.0 + share * length * length;
            assert!(
                (variance / theory - 1.0).abs() < 1e-3,
                "{shape:?} {length}: {variance} for {theory}"
            );
        }
    }
}

/// The jitter of each pulse moves particle images by u σ_j, so the displacement between the frames
/// has the standard deviation √2 u σ_j. The standard error of a standard deviation from 400 pairs
/// is 1/√800 of it. Tolerance: four of these.
#[test]
fn jitter_is_random_displacement() {
    let scene = with(scene([8.0, 0.0, 0.0]), |s| {
        s.light.jitter = 0.01;
        s.size = [64, 64];
    });
    let shifts: Vec<f64> = (0..400)
        .map(|realisation| {
            let seed = Seed {
                realisation,
                ..Seed::default()
            };
            let [a, b] = [0, 1].map(|k| shown(&scene, seed, k, false).unwrap());
            let (p, q) = a
                .iter()
                .find_map(|p| b.iter().find(|q| q.id == p.id).map(|q| (p, q)))
                .unwrap();
            q.x_px - p.x_px - 8.0
        })
        .collect();
    let n = shifts.len() as f64;
    let sd = (shifts.iter().map(|s| s * s).sum::<f64>() / n).sqrt();
    let theory = 2.0f64.sqrt() * 8.0 * 0.01;
    assert!(
        (sd / theory - 1.0).abs() < 4.0 / (2.0 * n).sqrt(),
        "{sd} for {theory}"
    );
}

/// Background and ambient light add up frame by frame, and the parasitic fraction of all light in
/// frame A shows in frame B.
#[test]
fn constant_and_parasitic_light() {
    let plain = scene([3.0, 0.0, 0.0]);
    let lit = with(plain.clone(), |s| {
        s.background_e = [10.0; 2];
        s.light.ambient_e = [5.0, 100.0];
        s.camera.parasitic_sensitivity = 0.25;
    });
    let (plain, lit) = (
        expected(&plain, Seed::default()).unwrap(),
        expected(&lit, Seed::default()).unwrap(),
    );
    for ((pa, pb), (la, lb)) in plain.a.iter().zip(&plain.b).zip(lit.a.iter().zip(&lit.b)) {
        assert!((la - pa - 15.0).abs() < 1e-5 * la);
        assert!((lb - pb - 110.0 - 0.25 * la).abs() < 1e-5 * (la + lb));
    }
}

/// Reflections alone: a glare line has peak × width × √(π/8) per pixel of its length, a hot spot
/// peak × π d²/8, a picture its own light; all in proportion to the energy of the pulse. Within
/// 1e-4, since the pixels sample Gaussians of σ ≥ 1 px.
#[test]
fn reflections_have_their_light() {
    let reflect = |reflections: Reflections| {
        with(scene([0.0; 3]), |s| {
            s.electrons = 0.0;
            s.light.reflections = reflections;
            s.light.pulses[1].energy_ratio = 0.5;
        })
    };
    let pi = std::f64::consts::PI;
    let glare = Glare {
        peak_e: 300.0,
        at_px: [10.0, 96.3],
        angle_rad: 0.0,
        width_px: 8.0,
    };
    let pair = expected(
        &reflect(Reflections {
            glare: Some(glare),
            ..Default::default()
        }),
        Seed::default(),
    )
    .unwrap();
    let theory = 256.0 * 300.0 * 8.0 * (pi / 8.0).sqrt();
    assert!((sum(&pair.a) / theory - 1.0).abs() < 1e-4);
    assert!((sum(&pair.b) / theory - 0.5).abs() < 1e-4);
    // Turned by a right angle, the line is vertical through its point.
    let upright = Glare {
        angle_rad: 0.5 * pi,
        at_px: [100.0, 3.0],
        ..glare
    };
    let pair = expected(
        &reflect(Reflections {
            glare: Some(upright),
            ..Default::default()
        }),
        Seed::default(),
    )
    .unwrap();
    assert!((pair.a[[150, 100]] - 300.0).abs() < 0.01 && pair.a[[150, 120]] < 0.01);
    let spots = HotSpots {
        count: 400,
        peak_e: 1000.0,
        diameter_px: 5.0,
    };
    let pair = expected(
        &reflect(Reflections {
            hot_spots: Some(spots),
            ..Default::default()
        }),
        Seed::default(),
    )
    .unwrap();
    // The border cuts off less than 2 % on average, so the light may only be lower.
    let share = sum(&pair.a) / (400.0 * 1000.0 * pi * 25.0 / 8.0);
    assert!(share > 0.96 && share <= 1.001, "{share}");
    let picture = Array2::from_shape_fn((192, 256), |(y, x)| (x + 2 * y) as f32);
    let pair = expected(
        &reflect(Reflections {
            picture: Some(Arc::new(picture.clone())),
            ..Default::default()
        }),
        Seed::default(),
    )
    .unwrap();
    assert_eq!(pair.a, picture);
}

/// A tilted sheet lights the particles on its plane: the depth of the lit particles follows x with
/// the slope of the sheet, by least squares. The standard error of that slope follows from the
/// spread of the depth, weighted by light: Δz₀/4/(√n σ_x). Tolerance: four of these.
#[test]
fn a_tilted_sheet_lights_its_plane() {
    let scene = with(scene([0.0; 3]), |s| s.sheet.slope = [0.5, 0.0]);
    let list = shown(&scene, Seed::default(), 0, false).unwrap();
    let weight: f64 = list.iter().map(|p| p.electrons).sum();
    let mean = |f: &dyn Fn(&motefield_generator::pair::Shown) -> f64| {
        list.iter().map(|p| p.electrons * f(p)).sum::<f64>() / weight
    };
    let (mx, mz) = (mean(&|p| p.x_px), mean(&|p| p.z_px));
    let (xx, xz) = (
        mean(&|p| (p.x_px - mx).powi(2)),
        mean(&|p| (p.x_px - mx) * (p.z_px - mz)),
    );
    let n = scene.seeding_density_ppp * 256.0 * 192.0;
    let error = 20.0 / 4.0 * 1.12 / (0.6 * n).sqrt() / xx.sqrt();
    assert!((xz / xx - 0.5).abs() < 4.0 * error, "{} ± {error}", xz / xx);
}

/// A sheet of limited height leaves the rest of the picture dark.
#[test]
fn height_limits_the_light() {
    let scene = with(scene([0.0; 3]), |s| {
        s.sheet.height = Some((Profile::TopHat, 100.0))
    });
    let pair = expected(&scene, Seed::default()).unwrap();
    let rows = |from: usize, to: usize| {
        pair.a
            .rows()
            .into_iter()
            .skip(from)
            .take(to - from)
            .map(|r| r.sum())
            .sum::<f32>()
    };
    assert_eq!(rows(0, 40) + rows(152, 192), 0.0);
    assert!(rows(60, 130) > 0.0);
}

/// Frames 0 and 1 of a time series are the frames of a pair, and in frame 2 the particles have
/// moved as far again.
#[test]
fn a_series_continues_the_pair() {
    let scene = with(scene([4.0, 0.0, 0.0]), |s| s.exposure = Exposure::Fraction(0.1));
    let pair = render(&scene, Seed::default()).unwrap();
    let [ideal, grey] = frame(&scene, Seed::default(), 0).unwrap();
    assert_eq!(pair.a, ideal);
    assert_eq!(grey, ideal);
    assert_eq!(pair.b, frame(&scene, Seed::default(), 1).unwrap()[0]);
    let third = &frame(&scene, Seed::default(), 2).unwrap()[0];
    for y in 10..180 {
        for x in 20..200 {
            assert!((third[[y, x + 8]] - pair.a[[y, x]]).abs() < 1e-6 * 5000.0);
        }
    }
}

#[test]
fn bad_light_is_named() {
    let named = |change: &dyn Fn(&mut Scene), word: &str| {
        let error = with(scene([0.0; 3]), |s| change(s))
            .validate()
            .unwrap_err()
            .to_string();
        assert!(error.contains(word), "{error}");
    };
    named(&|s| s.light.pulses[1].energy_ratio = -1.0, "energy ratio");
    named(&|s| s.light.pulses[0].thickness_ratio = 0.0, "thickness ratio");
    named(&|s| s.light.jitter = 0.5, "jitter");
    named(&|s| s.camera.parasitic_sensitivity = 1.5, "parasitic");
    named(&|s| s.sheet.slope = [2.0, 0.0], "tilt");
    named(&|s| s.sheet.profile = Profile::SuperGaussian(0.5), "order");
    named(
        &|s| {
            s.exposure = Exposure::Fraction(0.8);
            s.light.pulses[1].length_ratio = 2.0;
        },
        "length ratio",
    );
    named(
        &|s| s.light.reflections.picture = Some(Arc::new(Array2::zeros((3, 3)))),
        "reflection picture is 3 x 3 px",
    );
}
