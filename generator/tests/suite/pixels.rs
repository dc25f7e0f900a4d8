//! Pixel integration and streaks against independently computed values.
//!
//! The values of `reference/gaussian_and_streak_pixels.json` come from scipy's error functions and
//! adaptive quadrature, photutils' circular Gaussian PRF and GalSim's drawing by FFT, which agree
//! with one another to 5e-12 of the flux; the file records the differences. Rendered pixels must
//! agree to 1e-6 of the flux.

use std::sync::Arc;

use motefield_generator::flow::Uniform;
use motefield_generator::pair::particle_image;
use motefield_generator::{Exposure, Profile, Scene, Sheet};
use ndarray::Array2;
use serde_json::Value;

/// Allowed difference, over the flux.
const TOLERANCE: f64 = 1e-6;

fn reference() -> Value {
    serde_json::from_str(include_str!("reference/gaussian_and_streak_pixels.json")).unwrap()
}

fn number(case: &Value, key: &str) -> f64 {
    case[key].as_f64().unwrap()
}

/// A scene of 41 × 41 px for a single particle.
fn scene(sigma: f64, flux: f64, streak: [f64; 2]) -> Scene {
    Scene {
        size: [41, 41],
        particle_diameter_px: 4.0 * sigma,
        seeding_density_ppp: 0.0,
        electrons: flux,
        background_e: [0.0; 2],
        sheet: Sheet {
            profile: Profile::TopHat,
            thickness_px: 1.0,
            ..Sheet::default()
        },
        exposure: Exposure::Streak(streak),
        flow: Arc::new(Uniform {
            displacement_px: [0.0; 3],
        }),
        ..Scene::default()
    }
}

/// Draws a particle of brightness 1 at a place.
fn draw(scene: &Scene, [x, y]: [f64; 2]) -> Array2<f32> {
    particle_image(scene, [x, y, 0.0]).unwrap()
}

/// The largest difference from the reference over the flux. Pixel (0, 0) of the file is pixel (20,
/// 20) of the picture.
fn worst(case: &Value, values: &str, place: [f64; 2], streak: [f64; 2]) -> f64 {
    let (sigma, flux) = (number(case, "sigma"), number(case, "flux"));
    let image = draw(&scene(sigma, flux, streak), [place[0] + 20.0, place[1] + 20.0]);
    let rows = case[values].as_array().unwrap();
    let half = rows.len() / 2;
    let mut worst: f64 = 0.0;
    for (j, row) in rows.iter().enumerate() {
        for (i, value) in row.as_array().unwrap().iter().enumerate() {
            let got = f64::from(image[[20 + j - half, 20 + i - half]]);
            worst = worst.max((got - value.as_f64().unwrap()).abs() / flux);
        }
    }
    worst
}

#[test]
fn still_particles_match_the_reference() {
    for case in reference()["gaussian"].as_array().unwrap() {
        let place = [number(case, "x0"), number(case, "y0")];
        let worst = worst(case, "values_5x5", place, [0.0; 2]);
        assert!(worst < TOLERANCE, "{}: {worst:e}", case["name"]);
    }
}

#[test]
fn streaks_match_the_reference() {
    for case in reference()["streak"].as_array().unwrap() {
        let (length, angle) = (number(case, "length"), number(case, "angle_deg").to_radians());
        let place = [number(case, "x_mid"), number(case, "y_mid")];
        let worst = worst(
            case,
            "values_13x13",
            place,
            [length * angle.cos(), length * angle.sin()],
        );
        assert!(worst < TOLERANCE, "{}: {worst:e}", case["name"]);
    }
}

/// A streak of any length inside the picture keeps its light, but for the tails beyond the reach of
/// 2e-6 per axis.
#[test]
fn streaks_keep_their_light() {
    for length in [0.0, 0.01, 0.3, 1.0, 5.0, 17.0] {
        let image = draw(&scene(0.55, 1e4, [length * 0.8, length * 0.6]), [20.2, 19.7]);
        let sum: f64 = image.iter().map(|&e| f64::from(e)).sum();
        assert!((sum / 1e4 - 1.0).abs() < 1e-5, "{length} px: {sum}");
    }
}
