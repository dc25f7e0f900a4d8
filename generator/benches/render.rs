//! How long a 1024 × 1024 pair takes, with and without the sensor, still and with a streak; and a
//! large one. Run: `cargo bench -p motefield-generator`.

use std::hint::black_box;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use motefield_generator::flow::Uniform;
use motefield_generator::pair::expected;
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

criterion_group!(all, benches);
criterion_main!(all);
