//! The particle population: sizes against tabulated quantiles, places against the laws of point
//! processes.

use std::sync::Arc;

use motefield_generator::flow::Uniform;
use motefield_generator::pair::{Shown, shown};
use motefield_generator::population::{Brightness, Diameters, Region};
use motefield_generator::{Population, Profile, Scene, Seed, Sheet};

fn scene(population: Population) -> Scene {
    Scene {
        size: [1024, 768],
        seeding_density_ppp: 0.02,
        sheet: Sheet {
            profile: Profile::TopHat,
            thickness_px: 200.0,
            ..Sheet::default()
        },
        flow: Arc::new(Uniform {
            displacement_px: [0.0; 3],
        }),
        population,
        ..Scene::default()
    }
}

fn list(scene: &Scene, realisation: u64) -> Vec<Shown> {
    let seed = Seed {
        realisation,
        ..Seed::default()
    };
    shown(scene, seed, 0, false).unwrap()
}

/// Quantiles of the truncated distributions with the relative standard deviation 0.3 and the limits
/// 0.5 and 1.6, from scipy 1.17.1: `truncnorm.ppf`, and `lognorm` with s² = ln(1 + 0.09) through
/// its distribution function. Within 1e-6; the normal quantile has an error of 1e-7.
#[test]
fn diameters_follow_their_distribution() {
    let ranks = [0.001, 0.1, 0.5, 0.9, 0.999];
    for (diameters, quantiles) in [
        (
            Diameters::Normal(0.3),
            [
                0.502_781_473_181_601_9,
                0.676_894_857_486_492_8,
                1.009_416_524_656_380_4,
                1.359_034_114_353_516_7,
                1.594_922_150_024_756_1,
            ],
        ),
        (
            Diameters::LogNormal(0.3),
            [
                0.503_939_487_316_241_4,
                0.666_153_682_506_892,
                0.948_410_295_905_635,
                1.324_302_388_866_131_4,
                1.594_923_944_765_867_6,
            ],
        ),
    ] {
        let population = Population {
            diameters,
            diameter_limits: [0.5, 1.6],
            ..Population::default()
        };
        for (rank, quantile) in ranks.iter().zip(quantiles) {
            let got = population.diameter(*rank);
            assert!(
                (got - quantile).abs() < 1e-6,
                "{diameters:?} at {rank}: {got} for {quantile}"
            );
        }
    }
}

/// Rendered particles have those diameters (Kolmogorov–Smirnov test; 1.95/√n is exceeded once in a
/// thousand times) and the brightness of the power law, or of the table.
#[test]
fn brightness_follows_diameter() {
    let population = Population {
        diameters: Diameters::LogNormal(0.3),
        diameter_limits: [0.5, 1.6],
        brightness: Brightness::Power(3.0),
        geometric_diameter_px: 1.0,
        ..Population::default()
    };
    let mut found: Vec<f64> = list(&scene(population.clone()), 0)
        .iter()
        .map(|p| {
            // d² = d_τ² + g² (r² − 1) gives the diameter back.
            let r = (p.diameter_px * p.diameter_px - 2.5 * 2.5 + 1.0).sqrt();
            assert!((p.electrons / 5000.0 - r.powi(3)).abs() < 1e-5, "{r}");
            r
        })
        .collect();
    found.sort_by(f64::total_cmp);
    let n = found.len() as f64;
    for (k, r) in found.iter().enumerate().step_by(100) {
        let (low, high) = (k as f64 / n - 1.95 / n.sqrt(), k as f64 / n + 1.95 / n.sqrt());
        assert!(
            population.diameter(low.max(1e-9)) <= r + 1e-9
                && population.diameter(high.min(1.0 - 1e-9)) >= r - 1e-9
        );
    }
    let table = Population {
        brightness: Brightness::Table([1.0, 3.0, 2.0].into()),
        diameter_limits: [0.5, 1.5],
        diameters: Diameters::Normal(0.2),
        ..Population::default()
    };
    for (r, b) in [(0.5, 1.0), (0.75, 2.0), (1.0, 3.0), (1.25, 2.5), (1.5, 2.0)] {
        assert!((table.brightness(r) - b).abs() < 1e-12);
    }
}

/// Thomas clusters of n particles: the number in windows much larger than a cluster has a variance
/// of (1 + n) times its mean, and the mean is that of the seeding (Thomas 1949; a Poisson sum of
/// Poisson numbers). Windows 128 px wide lose 2 % of the variance at their borders and 1 % at those
/// of the sheet for clusters of σ = 1 px. The variance over 1440 windows is known to √(2/1440) = 4
/// %. Tolerance: four of these.
#[test]
fn clusters_crowd_as_thomas_says() {
    for n in [0.0, 3.0] {
        let scene = scene(Population {
            cluster_size: n,
            cluster_radius_px: 1.0,
            ..Population::default()
        });
        let mut counts = Vec::new();
        for realisation in 0..30 {
            let mut windows = [0.0f64; 48];
            for p in list(&scene, realisation) {
                windows[(p.y_px + 0.5) as usize / 128 * 8 + (p.x_px + 0.5) as usize / 128] += 1.0;
            }
            counts.extend(windows);
        }
        let count = counts.len() as f64;
        let mean = counts.iter().sum::<f64>() / count;
        let variance = counts.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / (count - 1.0);
        let expected = 0.02 * 128.0 * 128.0;
        assert!(
            (mean - expected).abs() < 4.0 * (expected * (1.0 + n) / count).sqrt(),
            "{mean} for {expected}"
        );
        let ratio = variance / mean / (1.0 + n);
        assert!((ratio - 1.0).abs() < 0.16, "{n}: {ratio}");
    }
}

/// With a gradient of 0.8 the left half has 1 − 0.4 of the mean density and the right half 1 + 0.4.
/// Tolerance: four standard deviations of the Poisson law.
#[test]
fn density_follows_the_gradient() {
    let scene = scene(Population {
        gradient: [0.8, 0.0],
        ..Population::default()
    });
    let list = list(&scene, 0);
    let left = list.iter().filter(|p| p.x_px < 511.5).count() as f64;
    let right = list.len() as f64 - left;
    let half = 0.02 * 512.0 * 768.0;
    for (got, share) in [(left, 0.6), (right, 1.4)] {
        let expected = share * half;
        assert!(
            (got - expected).abs() < 4.0 * expected.sqrt(),
            "{got} for {expected}"
        );
    }
}

/// No particle is in an unseeded disc, a fifth of the seeding is in a disc that keeps 0.2 of it,
/// and no particle outside moves.
#[test]
fn regions_are_thinned() {
    let region = |share| Region {
        centre_px: [300.0, 400.0],
        radius_px: 200.0,
        share,
    };
    let with = |share| {
        list(
            &scene(Population {
                unseeded: vec![region(share)],
                ..Population::default()
            }),
            0,
        )
    };
    let inside = |p: &&Shown| (p.x_px - 300.0).hypot(p.y_px - 400.0) <= 200.0;
    assert_eq!(with(0.0).iter().filter(inside).count(), 0);
    let expected = 0.2 * 0.02 * std::f64::consts::PI * 200.0 * 200.0;
    let some = with(0.2).iter().filter(inside).count() as f64;
    assert!(
        (some - expected).abs() < 4.0 * expected.sqrt(),
        "{some} for {expected}"
    );
    let outside =
        |list: Vec<Shown>| -> Vec<u64> { list.iter().filter(|p| !inside(p)).map(|p| p.id).collect() };
    let places = |list: Vec<Shown>| -> Vec<[f64; 2]> {
        list.iter()
            .filter(|p| !inside(p))
            .map(|p| [p.x_px, p.y_px])
            .collect()
    };
    assert_eq!(places(with(0.0)), places(list(&scene(Population::default()), 0)));
    let ids = outside(list(&scene(Population::default()), 0));
    let distinct: std::collections::BTreeSet<u64> = ids.iter().copied().collect();
    assert_eq!(ids.len(), distinct.len(), "every particle has its own number");
}
