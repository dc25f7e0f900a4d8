//! Brownian motion of the particles against the mean square displacement 2 D Δt along each axis
//! (Einstein, Ann. Phys. 17 (1905) 549), first of the particles, then of their rendered images.
//!
//! Limits are four standard errors: of a mean σ/√n, of a variance σ² √(2/n), of a correlation 1/√n.

use std::collections::BTreeMap;
use std::sync::Arc;

use motefield_generator::flow::Uniform;
use motefield_generator::pair::{expected, shown};
use motefield_generator::population::Diameters;
use motefield_generator::{Population, Profile, Scene, Seed, Sheet, truth};

const SD: f64 = 0.6;
const MOVE: [f64; 3] = [3.0, -2.0, 1.0];

/// A thick sheet of even light, in which hardly a particle is lost.
fn scene() -> Scene {
    Scene {
        size: [400, 400],
        seeding_density_ppp: 0.05,
        sheet: Sheet {
            profile: Profile::TopHat,
            thickness_px: 60.0,
            ..Sheet::default()
        },
        population: Population {
            brownian_px: SD,
            ..Population::default()
        },
        flow: Arc::new(Uniform {
            displacement_px: MOVE,
        }),
        ..Scene::default()
    }
}

/// Places of the particles in a frame, by their numbers, and the diameters of their images.
fn places(scene: &Scene, realisation: u64, k: u32, series: bool) -> BTreeMap<u64, ([f64; 3], f64)> {
    let seed = Seed {
        study: 3,
        point: 0,
        realisation,
    };
    let shown = shown(scene, seed, k, series).unwrap();
    let place = |p: motefield_generator::pair::Shown| (p.id, ([p.x_px, p.y_px, p.z_px], p.diameter_px));
    shown.into_iter().map(place).collect()
}

/// What particles moved beyond the flow between two frames, each `steps` pulse separations apart.
fn wandered(scene: &Scene, frames: [u32; 2], series: bool) -> Vec<([f64; 3], f64)> {
    let [a, b] = frames.map(|k| places(scene, 0, k, series));
    let steps = f64::from(frames[1] - frames[0]);
    let pairs = a.iter().filter_map(|(id, (from, diameter))| {
        let (to, _) = b.get(id)?;
        let by = [0, 1, 2].map(|i| to[i] - from[i] - steps * MOVE[i]);
        Some((by, *diameter))
    });
    pairs.collect()
}

fn variance(all: impl ExactSizeIterator<Item = f64>) -> f64 {
    let n = all.len() as f64;
    all.map(|v| v * v).sum::<f64>() / n
}

#[test]
fn displacements_have_einsteins_variance() {
    let scene = scene();
    let all = wandered(&scene, [0, 1], false);
    let n = all.len() as f64;
    assert!(n > 6000.0, "{n}");
    for i in 0..3 {
        let mean = all.iter().map(|(by, _)| by[i]).sum::<f64>() / n;
        assert!(mean.abs() < 4.0 * SD / n.sqrt(), "axis {i}: mean {mean}");
        let found = variance(all.iter().map(|(by, _)| by[i]));
        let allowed = 4.0 * SD * SD * (2.0 / n).sqrt();
        assert!((found - SD * SD).abs() < allowed, "axis {i}: {found} {}", SD * SD);
        let j = (i + 1) % 3;
        let together = all.iter().map(|(by, _)| by[i] * by[j]).sum::<f64>() / (n * SD * SD);
        assert!(together.abs() < 4.0 / n.sqrt(), "axes {i} and {j}: {together}");
    }
    // The truth is the displacement of the fluid.
    let [dx, dy] = truth::at(&scene, 200.0, 150.0).unwrap();
    assert!((dx - MOVE[0]).abs() < 1e-12 && (dy - MOVE[1]).abs() < 1e-12);
}

/// In a series the variance grows with time, and successive steps are independent.
#[test]
fn series_wander_on() {
    let scene = scene();
    let [short, long] = [[1, 2], [0, 4]].map(|frames| wandered(&scene, frames, true));
    for (all, steps) in [(&short, 1.0), (&long, 4.0)] {
        let (n, expected) = (all.len() as f64, steps * SD * SD);
        for i in 0..3 {
            let found = variance(all.iter().map(|(by, _)| by[i]));
            assert!(
                (found - expected).abs() < 4.0 * expected * (2.0 / n).sqrt(),
                "{steps}: {found}"
            );
        }
    }
    let frames = [0, 1, 2].map(|k| places(&scene, 0, k, true));
    let mut products = Vec::new();
    for (id, (a, _)) in &frames[0] {
        if let (Some((b, _)), Some((c, _))) = (frames[1].get(id), frames[2].get(id)) {
            products.push((b[0] - a[0] - MOVE[0]) * (c[0] - b[0] - MOVE[0]) / (SD * SD));
        }
    }
    let n = products.len() as f64;
    let together = products.iter().sum::<f64>() / n;
    assert!(together.abs() < 4.0 / n.sqrt(), "{together}");
}

/// Each particle diffuses by its own diameter: D is in proportion to one over it.
#[test]
fn small_particles_wander_farther() {
    let mut scene = scene();
    scene.population.diameters = Diameters::LogNormal(0.5);
    scene.population.diameter_limits = [0.4, 3.0];
    scene.particle_diameter_px = 5.0;
    scene.population.geometric_diameter_px = 4.0;
    let relative = |diameter: f64| ((diameter * diameter - 9.0) / 16.0).sqrt();
    let all = wandered(&scene, [0, 1], false);
    for [low, high] in [[0.4, 0.8], [0.8, 1.2], [1.2, 3.0]] {
        let scaled: Vec<f64> = (all.iter().map(|(by, d)| (by[0], relative(*d))))
            .filter(|(_, r)| (low..high).contains(r))
            .map(|(x, r)| x * r.sqrt())
            .collect();
        let n = scaled.len() as f64;
        let found = variance(scaled.into_iter());
        assert!(
            n > 300.0 && (found - SD * SD).abs() < 4.0 * SD * SD * (2.0 / n).sqrt(),
            "{low}: {found}"
        );
    }
}

/// Another pair of the study wanders otherwise, the same pair again alike.
#[test]
fn pairs_are_independent() {
    let scene = scene();
    let [once, again, other] = [0, 0, 1].map(|r| [0, 1].map(|k| places(&scene, r, k, false)));
    assert_eq!(once, again);
    let by = |pair: &[BTreeMap<u64, ([f64; 3], f64)>; 2], id: &u64| {
        Some(pair[1].get(id)?.0[0] - pair[0].get(id)?.0[0] - MOVE[0])
    };
    let products: Vec<f64> = once[0]
        .keys()
        .filter_map(|id| Some(by(&once, id)? * by(&other, id)? / (SD * SD)))
        .collect();
    let n = products.len() as f64;
    assert!(n > 3000.0 && (products.iter().sum::<f64>() / n).abs() < 4.0 / n.sqrt());
}

/// The rendered images stand where the particles wandered: the variance of the displacement between
/// the centroids of isolated images is Einstein's. What a centroid is off, below 0.01 px for images
/// cut off at 6 px, adds less than a thousandth.
#[test]
fn rendered_images_wander() {
    const HALF: i64 = 6;
    let mut scene = scene();
    scene.size = [512, 512];
    scene.seeding_density_ppp = 5e-4;
    let mut all = Vec::new();
    for realisation in 0..24 {
        let seed = Seed {
            study: 3,
            point: 0,
            realisation,
        };
        let pair = expected(&scene, seed).unwrap();
        let [a, b] = [0, 1].map(|k| places(&scene, realisation, k, false));
        let alone = |all: &BTreeMap<u64, ([f64; 3], f64)>, id: u64, at: [f64; 3]| {
            let inside = at[..2].iter().all(|v| *v > 8.0 && *v < 503.0);
            inside
                && all.iter().all(|(other, (p, _))| {
                    *other == id || (p[0] - at[0]).abs() > 14.0 || (p[1] - at[1]).abs() > 14.0
                })
        };
        let centroid = |frame: &ndarray::Array2<f32>, at: [f64; 3]| {
            let [x, y] = [at[0].round() as i64, at[1].round() as i64];
            let (mut sum, mut first) = (0.0, [0.0; 2]);
            for dy in -HALF..=HALF {
                for dx in -HALF..=HALF {
                    let light = f64::from(frame[[(y + dy) as usize, (x + dx) as usize]]);
                    sum += light;
                    first = [
                        first[0] + light * (x + dx) as f64,
                        first[1] + light * (y + dy) as f64,
                    ];
                }
            }
            first.map(|m| m / sum)
        };
        for (id, (from, _)) in &a {
            let Some((to, _)) = b.get(id) else { continue };
            if alone(&a, *id, *from) && alone(&b, *id, *to) {
                let (p, q) = (centroid(&pair.a, *from), centroid(&pair.b, *to));
                all.extend([0, 1].map(|i| q[i] - p[i] - MOVE[i]));
            }
        }
    }
    let n = all.len() as f64;
    let found = variance(all.into_iter());
    let allowed = 4.0 * SD * SD * (2.0 / n).sqrt();
    assert!(
        n > 2000.0 && (found - SD * SD).abs() < allowed,
        "{n}: {found} {}",
        SD * SD
    );
}
