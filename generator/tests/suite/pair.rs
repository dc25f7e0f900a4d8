//! Whole pairs: seeding, light, noise, and the same bytes for the same seed.

use std::collections::BTreeMap;
use std::sync::Arc;

use motefield_generator::flow::{Carried, Flow, LambOseen, Spectrum, Turbulence, Uniform, VortexStreet};
use motefield_generator::pair::{Band, Bands, Shown, bands, expected, frame, series_bands, shown};
use motefield_generator::population::Brightness;
use motefield_generator::{
    Camera, Exposure, Glare, HotSpots, Profile, Reflections, Scene, SceneField, Seed, Sensor, Sheet, render,
    truth,
};
use ndarray::{Array2, Axis};

fn scene(displacement_px: [f64; 3]) -> Scene {
    Scene {
        size: [256, 192],
        particle_diameter_px: 2.2,
        seeding_density_ppp: 0.02,
        electrons: 5000.0,
        background_e: [20.0; 2],
        sheet: Sheet {
            profile: Profile::Gaussian,
            thickness_px: 20.0,
            ..Sheet::default()
        },
        exposure: Exposure::Fraction(0.1),
        flow: Arc::new(Uniform { displacement_px }),
        camera: Camera {
            sensor: Some(Sensor {
                bits: 12,
                gain_dn_per_e: 0.3,
                full_well_e: 12_000.0,
                dark_noise_e: 5.0,
                black_level_dn: 8.0,
                ..Sensor::default()
            }),
            ..Camera::default()
        },
        ..Scene::default()
    }
}

fn sum(image: &Array2<f32>) -> f64 {
    image.iter().map(|&v| f64::from(v)).sum()
}

fn correlation(a: &Array2<f32>, b: &Array2<f32>) -> f64 {
    let n = a.len() as f64;
    let (ma, mb) = (sum(a) / n, sum(b) / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (&a, &b) in a.iter().zip(b) {
        let (a, b) = (f64::from(a) - ma, f64::from(b) - mb);
        ab += a * b;
        aa += a * a;
        bb += b * b;
    }
    ab / (aa * bb).sqrt()
}

/// The mean light is seeding density × electrons × the mean brightness over the e⁻² thickness of
/// the sheet, √(π/8). The number of particles is Poisson, so the variance of the sum is n E[I²]
/// electrons² with n particles per thickness and ∫I² dz = √(π/16) Δz₀. Tolerance: four standard
/// errors over 40 pairs.
#[test]
fn mean_light_is_what_the_seeding_says() {
    let mut scene = scene([0.0; 3]);
    scene.camera.sensor = None;
    scene.background_e = [0.0; 2];
    let pairs = 40u32;
    let total: f64 = (0..pairs)
        .map(|k| {
            sum(&expected(
                &scene,
                Seed {
                    realisation: k.into(),
                    ..Seed::default()
                },
            )
            .unwrap()
            .a)
        })
        .sum();
    let inside = scene.seeding_density_ppp * 256.0 * 192.0 * f64::from(pairs);
    let pi = std::f64::consts::PI;
    let mean = inside * scene.electrons * (pi / 8.0).sqrt();
    let standard_error = (inside * (pi / 16.0).sqrt()).sqrt() * scene.electrons;
    assert!(
        (total - mean).abs() < 4.0 * standard_error,
        "{total} for {mean} ± {standard_error}"
    );
}

/// Two pictures of particles moved by Δz through a Gaussian sheet correlate as exp(−4Δz²/Δz₀²), the
/// product of two shifted Gaussians (Keane and Adrian's F_O for this profile). Within 0.01.
#[test]
fn out_of_plane_motion_decorrelates() {
    for part in [0.0, 0.25, 0.5] {
        let mut scene = scene([0.0, 0.0, part * 20.0]);
        scene.size = [1024, 1024];
        scene.seeding_density_ppp = 0.05;
        scene.camera.sensor = None;
        scene.exposure = Exposure::Fraction(0.0);
        let mean: f64 = (0..4)
            .map(|k| {
                let pair = expected(
                    &scene,
                    Seed {
                        realisation: k,
                        ..Seed::default()
                    },
                )
                .unwrap();
                correlation(&pair.a, &pair.b) / 4.0
            })
            .sum();
        let theory = (-4.0 * part * part).exp();
        assert!(
            (mean - theory).abs() < 0.01,
            "Δz/Δz₀ = {part}: {mean} for {theory}"
        );
    }
}

/// A displacement by whole pixels moves the noise-free picture exactly, to the rounding of single
/// precision.
#[test]
fn frames_are_the_same_picture_moved() {
    let mut scene = scene([4.0, -2.0, 0.0]);
    scene.camera.sensor = None;
    let pair = expected(&scene, Seed::default()).unwrap();
    for y in 10..150 {
        for x in 10..200 {
            let (a, b) = (pair.a[[y, x]], pair.b[[y - 2, x + 4]]);
            assert!((a - b).abs() < 1e-6 * 5000.0, "({x}, {y}): {a} {b}");
        }
    }
}

/// The sensor has the moments of the linear model of EMVA 1288 (release 4.0 Linear): μ = Kμ_e +
/// black, σ² = K²σ_d² + K²μ_e + 1/12. Means from 0 to 5000 e cover the exact Poisson numbers, the
/// change at 64 e and the approximation above it. Tolerance: four standard errors of 400 000
/// pixels.
#[test]
fn sensor_moments_follow_the_linear_model() {
    let sensor = Sensor {
        bits: 16,
        gain_dn_per_e: 4.0,
        full_well_e: 1e6,
        dark_noise_e: 2.5,
        black_level_dn: 100.0,
        ..Sensor::default()
    };
    for mean in [0.0, 0.3, 5.0, 31.7, 63.9, 64.0, 70.0, 500.0, 5000.0] {
        let mut image = Array2::from_elem((400, 1000), mean as f32);
        sensor.read(
            &mut image,
            Seed {
                study: 5,
                ..Seed::default()
            },
            0,
        );
        let n = image.len() as f64;
        let average = sum(&image) / n;
        let moment = |k: i32| {
            image
                .iter()
                .map(|&v| (f64::from(v) - average).powi(k))
                .sum::<f64>()
                / n
        };
        let (mean, variance) = (
            f64::from(mean as f32) * 4.0 + 100.0,
            16.0 * (6.25 + f64::from(mean as f32)) + 1.0 / 12.0,
        );
        assert!(
            (average - mean).abs() < 4.0 * (variance / n).sqrt(),
            "mean {average} for {mean}"
        );
        let spread = ((moment(4) / variance.powi(2) - 1.0) / n).sqrt();
        assert!(
            (moment(2) / variance - 1.0).abs() < 4.0 * spread,
            "variance {} for {variance}",
            moment(2)
        );
        // Third central moment of K × Poisson: K³ times its mean.
        let third = 64.0 * (mean - 100.0) / 4.0;
        let spread = variance.powf(1.5) * (15.0 / n).sqrt();
        assert!(
            (moment(3) - third).abs() < 4.0 * spread,
            "third moment {} for {third} ± {spread}",
            moment(3)
        );
    }
}

/// A pixel holds no more than its full well, and no grey level exceeds the converter's largest.
#[test]
fn sensor_saturates() {
    let sensor = Sensor {
        bits: 8,
        gain_dn_per_e: 0.01,
        full_well_e: 12_000.0,
        dark_noise_e: 0.0,
        black_level_dn: 3.0,
        ..Sensor::default()
    };
    let mut image = Array2::from_elem((4, 4), 1e6);
    sensor.read(&mut image, Seed::default(), 1);
    assert!(image.iter().all(|&v| v == 123.0));
    let mut image = Array2::from_elem((4, 4), 1e6);
    Sensor {
        gain_dn_per_e: 1.0,
        ..sensor
    }
    .read(&mut image, Seed::default(), 1);
    assert!(image.iter().all(|&v| v == 255.0));
}

/// A denser seeding keeps the particles of the thinner one, so its picture is brighter or equal
/// everywhere.
#[test]
fn denser_seeding_adds_particles() {
    let mut thin = scene([2.0, 0.0, 0.0]);
    thin.camera.sensor = None;
    let thick = Scene {
        seeding_density_ppp: 0.05,
        ..thin.clone()
    };
    let (thin, thick) = (
        expected(&thin, Seed::default()).unwrap(),
        expected(&thick, Seed::default()).unwrap(),
    );
    assert!(thin.a.iter().zip(&thick.a).all(|(a, b)| *b >= *a - 1e-3));
}

/// A longer pulse lights the same particles: long and short streaks share their middles, although a
/// larger volume is seeded for the long ones.
#[test]
fn pulse_length_moves_no_particle() {
    let mut short = scene([12.0, 0.0, 0.0]);
    short.camera.sensor = None;
    let long = Scene {
        exposure: Exposure::Fraction(0.9),
        ..short.clone()
    };
    let (short, long) = (
        expected(&short, Seed::default()).unwrap(),
        expected(&long, Seed::default()).unwrap(),
    );
    // Light moves by half a streak at most, and what enters and leaves at the borders cancels on
    // average.
    assert!((sum(&short.a) / sum(&long.a) - 1.0).abs() < 0.02);
    assert!(correlation(&short.a, &long.a) > 0.25);
}

/// In flows whose particles move in blocks, those of the picture stand at the same places, to the
/// bit, with a longer pulse, among denser seeding, and where larger images need a wider margin.
#[test]
fn blocks_move_no_particle() {
    let street = VortexStreet::new([120.0, 90.0], 3, 90.0, 25.0, 4.0, 12.0);
    let flows: [Arc<dyn Flow>; 2] = [
        Arc::new(Carried {
            flow: Arc::new(street),
            by_px: [9.0, 0.0, 1.0],
        }),
        Arc::new(Turbulence::new(Spectrum::new(2.0, 80.0, 25.0), 7)),
    ];
    for flow in flows {
        let plain = Scene {
            flow,
            exposure: Exposure::Fraction(0.0),
            ..scene([0.0; 3])
        };
        let longer = Scene {
            exposure: Exposure::Fraction(0.8),
            ..plain.clone()
        };
        let denser = Scene {
            seeding_density_ppp: 0.07,
            ..plain.clone()
        };
        let wider = Scene {
            particle_diameter_px: 12.0,
            ..plain.clone()
        };
        for k in 0..2 {
            let places = |scene: &Scene| -> BTreeMap<u64, [u64; 3]> {
                let shown = shown(scene, Seed::default(), k, false).unwrap();
                let bits = |p: &Shown| [p.x_px, p.y_px, p.z_px].map(f64::to_bits);
                shown.iter().map(|p| (p.id, bits(p))).collect()
            };
            let expected = places(&plain);
            assert!(expected.len() > 500);
            for other in [&longer, &denser, &wider] {
                let others = places(other);
                for (id, place) in &expected {
                    assert_eq!(others.get(id), Some(place), "{:?}", plain.flow);
                }
            }
        }
    }
}

/// The true displacement of a vortex that drifts is the chord of the arc plus the drift.
#[test]
fn truth_is_the_chord_of_the_arc() {
    let vortex = LambOseen {
        centre_px: [0.0, 0.0],
        peak_displacement_px: 6.0,
        core_radius_px: 40.0,
    };
    let flow = Carried {
        flow: Arc::new(vortex),
        by_px: [5.0, 0.0, 0.0],
    };
    let [dx, dy] = truth::displacement(&flow, 0.0, 40.0);
    let chord = 2.0 * 40.0 * (0.5 * 6.0 / 40.0_f64).sin();
    assert!(
        (dx - (5.0 - chord)).abs() < 1e-12 && dy.abs() < 1e-12,
        "{dx} {dy}"
    );
}

/// Pinned bytes: the same scene and seed give these on every machine. A change here changes every
/// published figure and belongs in the changelog.
#[test]
fn bytes_are_pinned() {
    let pair = render(
        &scene([3.3, 1.1, 2.0]),
        Seed {
            study: 7,
            point: 0,
            realisation: 3,
        },
    )
    .unwrap();
    let hash = |image: &Array2<f32>| {
        image.iter().fold(0xcbf2_9ce4_8422_2325u64, |h, v| {
            (h ^ u64::from(v.to_bits())).wrapping_mul(0x100_0000_01b3)
        })
    };
    assert_eq!(
        [hash(&pair.a), hash(&pair.b)],
        [8946269471773958949, 449639482808836901],
        "FNV-1a of the pixels' bits"
    );
}

/// The same for particles that are moved by series, through every step of them.
#[test]
fn bytes_of_series_are_pinned() {
    let street = VortexStreet::new([120.0, 90.0], 3, 90.0, 25.0, 4.0, 12.0);
    let turbulence = Turbulence::new(Spectrum::new(2.0, 80.0, 25.0), 7);
    let hash = |flow: Arc<dyn Flow>| {
        let truth = truth::dense(&Scene {
            flow,
            ..scene([0.0; 3])
        });
        truth.iter().fold(0xcbf2_9ce4_8422_2325u64, |h, v| {
            (h ^ v.to_bits()).wrapping_mul(0x100_0000_01b3)
        })
    };
    assert_eq!(
        [hash(Arc::new(street)), hash(Arc::new(turbulence))],
        [18040726097398754812, 5301769492055159124],
        "FNV-1a of the bits of the true displacement"
    );
}

#[test]
fn bad_scenes_are_named() {
    let mut bad = scene([0.0; 3]);
    bad.particle_diameter_px = -1.0;
    assert!(
        render(&bad, Seed::default())
            .unwrap_err()
            .to_string()
            .contains("particle image diameter is -1 px")
    );
    bad = scene([0.0; 3]);
    bad.exposure = Exposure::Fraction(1.5);
    assert!(
        render(&bad, Seed::default())
            .unwrap_err()
            .to_string()
            .contains("pulse")
    );
    bad = scene([0.0; 3]);
    bad.seeding_density_ppp = f64::NAN;
    assert!(render(&bad, Seed::default()).is_err());
}

/// Quantities that are given by frame, axis or kind have a field each.
#[test]
fn errors_tell_axes_and_frames_apart() {
    type Change = fn(&mut Scene);
    let cases: [(SceneField, Change); 8] = [
        (SceneField::BackgroundA, |s| s.background_e = [-1.0, 0.0]),
        (SceneField::BackgroundB, |s| s.background_e = [0.0, -1.0]),
        (SceneField::SheetTiltX, |s| s.sheet.slope = [-2.0, 0.0]),
        (SceneField::SheetTiltY, |s| s.sheet.slope = [0.0, f64::NAN]),
        (SceneField::GradientX, |s| s.population.gradient = [1.5, 0.0]),
        (SceneField::GradientY, |s| s.population.gradient = [0.0, -1.5]),
        (SceneField::BrightnessPower, |s| {
            s.population.brightness = Brightness::Power(20.0)
        }),
        (SceneField::BrightnessTable, |s| {
            s.population.brightness = Brightness::Table([1.0].into())
        }),
    ];
    for (field, change) in cases {
        let mut bad = scene([0.0; 3]);
        change(&mut bad);
        assert_eq!(bad.validate().unwrap_err().field, field);
    }
}

/// What would take more memory or time than there is, or a particle out of every picture, is
/// refused before anything is drawn; what is large but feasible is not.
#[test]
fn the_amount_is_bounded() {
    type Change = fn(&mut Scene);
    let cases: [(SceneField, Change); 5] = [
        (SceneField::ParticleDiameter, |s| s.particle_diameter_px = 1e-7),
        (SceneField::SheetThickness, |s| {
            s.sheet.thickness_px = 1e-6;
            s.sheet.slope = [0.2, 0.0];
        }),
        (SceneField::SeedingDensity, |s| {
            s.size = [16_384; 2];
            s.seeding_density_ppp = 10.0;
        }),
        (SceneField::Displacement, |s| {
            s.flow = Arc::new(Uniform {
                displacement_px: [2e4, 0.0, 0.0],
            });
        }),
        (SceneField::Displacement, |s| {
            s.flow = Arc::new(Uniform {
                displacement_px: [f64::NAN, 0.0, 0.0],
            });
        }),
    ];
    for (field, change) in cases {
        let mut bad = scene([3.0, 0.0, 0.0]);
        change(&mut bad);
        assert_eq!(bad.validate().unwrap_err().field, field);
    }
    let large = Scene {
        size: [16_384; 2],
        ..scene([3.0, 0.0, 0.0])
    };
    assert!(large.validate().is_ok() && large.cost().memory_bytes > 8e9);
}

/// A large picture is the same to the bit whether its thread shares it with the others or renders
/// it beside them.
#[test]
fn large_pictures_are_the_same_on_a_thread_of_a_pool() {
    let large = Scene {
        size: [2304, 2048],
        camera: Camera {
            sensor: Some(Sensor::default()),
            ..Camera::default()
        },
        ..scene([3.0, 1.0, 0.0])
    };
    let alone = render(&large, Seed::default()).unwrap();
    let pool = rayon::ThreadPoolBuilder::new().num_threads(2).build().unwrap();
    assert_eq!(pool.install(|| render(&large, Seed::default())).unwrap(), alone);
}

/// The bands of a picture taller than one band are its rows, to the bit, with everything that
/// reaches over their borders: streaks, crosstalk, reflections, perspective.
#[test]
fn bands_are_the_rows_of_the_picture() {
    let mut scene = scene([3.0, 9.0, 2.0]);
    scene.size = [64, 1100];
    scene.exposure = Exposure::Fraction(0.6);
    scene.camera.parasitic_sensitivity = 0.01;
    scene.camera.sensor.as_mut().unwrap().crosstalk = 0.1;
    scene.camera.sensor.as_mut().unwrap().prnu = 0.01;
    scene.imaging.distance_px = Some(3000.0);
    scene.light.reflections = Reflections {
        picture: Some(Arc::new(Array2::from_shape_fn((1100, 64), |(y, x)| {
            (x + y) as f32
        }))),
        glare: Some(Glare {
            peak_e: 300.0,
            at_px: [0.0, 20.0],
            angle_rad: 1.5,
            width_px: 4.0,
        }),
        hot_spots: Some(HotSpots {
            count: 300,
            peak_e: 500.0,
            diameter_px: 8.0,
        }),
    };
    let seed = Seed {
        study: 3,
        point: 1,
        realisation: 4,
    };
    let together = |bands: Bands, of: fn(&Band) -> &Vec<Array2<f32>>| {
        let bands: Vec<Band> = bands.collect();
        assert_eq!(
            bands.iter().map(|band| band.top).collect::<Vec<_>>(),
            [0, 512, 1024]
        );
        let frame = |k: usize| {
            let parts: Vec<_> = bands.iter().map(|band| of(band)[k].view()).collect();
            ndarray::concatenate(Axis(0), &parts).unwrap()
        };
        (0..of(&bands[0]).len()).map(frame).collect::<Vec<_>>()
    };
    let grey = together(bands(&scene, seed).unwrap(), |band| &band.grey);
    let pair = render(&scene, seed).unwrap();
    assert!(grey[0] == pair.a && grey[1] == pair.b);
    let light = together(bands(&scene, seed).unwrap(), |band| &band.expected);
    let pair = expected(&scene, seed).unwrap();
    assert!(light[0] == pair.a && light[1] == pair.b);
    let [light, grey] = frame(&scene, seed, 2).unwrap();
    let of_series = || series_bands(&scene, seed, 2).unwrap();
    assert!(together(of_series(), |band| &band.expected) == [light]);
    assert!(together(of_series(), |band| &band.grey) == [grey]);
}

/// All that is out of range is named, each with the range; of such a scene no amount is told.
#[test]
fn every_fault_of_a_scene_is_named() {
    let mut bad = scene([0.0; 3]);
    bad.electrons = 21_684_752_027_712.035;
    bad.seeding_density_ppp = 20.0;
    bad.sheet.slope = [-2.0, 0.0];
    bad.light.jitter = 0.5;
    bad.light.ambient_e = [0.0, -1.0];
    bad.camera.fill_factor = 0.0;
    bad.camera.sensor = Some(Sensor {
        bits: 20,
        prnu: 0.7,
        ..Sensor::default()
    });
    let faults = bad.faults();
    let fields: Vec<SceneField> = faults.iter().map(|fault| fault.field).collect();
    assert_eq!(
        fields,
        [
            SceneField::SeedingDensity,
            SceneField::Electrons,
            SceneField::SheetTiltX,
            SceneField::Jitter,
            SceneField::AmbientLight,
            SceneField::FillFactor,
            SceneField::Bits,
            SceneField::Prnu,
        ]
    );
    assert_eq!(
        faults[1].to_string(),
        "photo-electrons per particle is 2.16848e13 e, but must be 0 to 1e12 e"
    );
    assert_eq!(bad.validate().unwrap_err(), faults[0]);
    assert!(scene([0.0; 3]).faults().is_empty());
}
