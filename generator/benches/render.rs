//! How long a 1024 × 1024 pair takes, with and without the sensor, still and with a streak; a large
//! one; and what moving the particles takes in flows that have no closed pathline, beside the
//! integrated path. Run: `cargo bench -p motefield-generator`.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use motefield_generator::flow::{Carried, Flow, Spectrum, Turbulence, Uniform, VortexStreet};
use motefield_generator::pair::{expected, shown};
use motefield_generator::truth::{self, TrueDisplacement};
use motefield_generator::{Camera, Exposure, Profile, Scene, Seed, Sensor, Sheet, render};
use ndarray::Array2;

fn scene(streak_px: f64) -> Scene {
    Scene {
        size: [1024, 1024],
        particle_diameter_px: 2.2,
        seeding_density_ppp: 0.05,
        electrons: 5000.0,
        background_e: [20.0; 2],
        sheet: Sheet {
            profile: Profile::Gaussian,
            thickness_px: 20.0,
            ..Sheet::default()
        },
        exposure: Exposure::Streak([streak_px, 0.0]),
        flow: Arc::new(Uniform {
            displacement_px: [3.3, 0.0, 0.0],
        }),
        camera: Camera {
            sensor: Some(Sensor::default()),
            ..Camera::default()
        },
        ..Scene::default()
    }
}

fn benches(c: &mut Criterion) {
    let mut group = c.benchmark_group("1024 x 1024 pair, 0.05 ppp");
    group.sample_size(10);
    for streak in [0.0, 1.0, 5.0] {
        let scene = scene(streak);
        group.bench_function(format!("light only, streak {streak} px"), |b| {
            b.iter(|| expected(black_box(&scene), Seed::default()).unwrap());
        });
        group.bench_function(format!("with noise, streak {streak} px"), |b| {
            b.iter(|| render(black_box(&scene), Seed::default()).unwrap());
        });
    }
    let sensor = scene(0.0).camera.sensor.expect("the scene has a sensor");
    for mean in [20.0, 500.0] {
        group.bench_function(format!("noise alone, two frames of {mean} e"), |b| {
            b.iter(|| {
                for frame in 0..2 {
                    let mut image = Array2::from_elem((1024, 1024), mean);
                    sensor.read(&mut image, Seed::default(), frame);
                    black_box(image);
                }
            });
        });
    }
    group.finish();
    let large = Scene {
        size: [4096, 4096],
        exposure: Exposure::Fraction(0.1),
        ..scene(0.0)
    };
    let mut group = c.benchmark_group("4096 x 4096 pair, 0.05 ppp, all threads");
    group.sample_size(10);
    group.bench_function("with noise", |b| {
        b.iter(|| render(black_box(&large), Seed::default()).unwrap());
    });
}

/// Flows whose particles move by series: a drifting street of six vortices, and turbulence.
fn curved() -> [(&'static str, Arc<dyn Flow>); 2] {
    let street = VortexStreet::new([512.0, 512.0], 3, 400.0, 113.0, 2.6, 44.0);
    let drifting = Carried {
        flow: Arc::new(street),
        by_px: [9.0, 0.0, 0.15],
    };
    [
        ("street", Arc::new(drifting)),
        (
            "turbulence",
            Arc::new(Turbulence::new(Spectrum::new(2.0, 80.0, 20.0), 7)),
        ),
    ]
}

/// Stage by stage: moving elements to both frames one by one and at once, drawing particles and
/// moving them, all of a pair, the dense truth.
fn stages(c: &mut Criterion) {
    let still: Arc<dyn Flow> = Arc::new(Uniform {
        displacement_px: [3.3, 0.0, 0.0],
    });
    let points: Vec<[f64; 2]> = (0..4096)
        .map(|k| [f64::from(k % 64) * 16.0, f64::from(k / 64) * 16.0])
        .collect();
    for (name, flow) in curved().into_iter().chain([("uniform", still)]) {
        let mut group = c.benchmark_group(format!("stages, {name}, 1024 x 1024 px, 0.05 ppp"));
        group.sample_size(10);
        let scene = |streak| Scene {
            flow: flow.clone(),
            ..scene(streak)
        };
        let pulsed = Scene {
            exposure: Exposure::Fraction(0.1),
            ..scene(0.0)
        };
        group.bench_function("4096 displacements, integrated", |b| {
            b.iter(|| -> Vec<[f64; 2]> {
                let along = |[x, y]: &[f64; 2]| truth::displacement(flow.as_ref(), *x, *y);
                points.iter().map(along).collect()
            });
        });
        group.bench_function("4096 displacements at once", |b| {
            b.iter(|| TrueDisplacement::of_pair(&pulsed).at_all(black_box(&points)));
        });
        group.bench_function("particles of frame A, drawn and moved", |b| {
            b.iter(|| shown(black_box(&pulsed), Seed::default(), 0, false).unwrap());
        });
        for streak in [0.0, 2.0] {
            let scene = scene(streak);
            group.bench_function(format!("light of a pair, streak {streak} px"), |b| {
                b.iter(|| expected(black_box(&scene), Seed::default()).unwrap());
            });
        }
        group.bench_function("light of a pair, streaks along the paths", |b| {
            b.iter(|| expected(black_box(&pulsed), Seed::default()).unwrap());
        });
        group.bench_function("dense truth, all threads", |b| {
            b.iter(|| truth::dense(black_box(&pulsed)));
        });
        group.finish();
    }
}

criterion_group!(all, benches, stages);
criterion_main!(all);
