//! Renders a pair of a vortex and prints some figures of it.
//!
//! Run: `cargo run --release -p motefield-generator --example render_pair`

use std::sync::Arc;

use motefield_generator::flow::LambOseen;
use motefield_generator::pair::shown;
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Camera, Exposure, Scene, SceneError, Seed, Sensor, render};

fn main() -> Result<(), SceneError> {
    let scene = Scene {
        size: [256, 256],
        background_e: [20.0; 2],
        exposure: Exposure::Fraction(0.1),
        flow: Arc::new(LambOseen {
            centre_px: [127.5, 127.5],
            peak_displacement_px: 6.0,
            core_radius_px: 40.0,
        }),
        camera: Camera {
            sensor: Some(Sensor::default()),
            ..Camera::default()
        },
        ..Scene::default()
    };
    let seed = Seed::default();
    let pair = render(&scene, seed)?;
    for (name, frame) in [("A", &pair.a), ("B", &pair.b)] {
        let mean = frame.mean().unwrap_or(0.0);
        let brightest = frame.iter().copied().fold(0.0, f32::max);
        println!("frame {name}: mean {mean:.1} DN, brightest pixel {brightest:.0} DN");
    }
    println!("particles in frame A: {}", shown(&scene, seed, 0, false)?.len());
    let truth = TrueDisplacement::of_pair(&scene);
    for x in [127.5, 147.5, 167.5, 207.5] {
        if let Some([dx, dy]) = truth.at(x, 127.5) {
            println!("true displacement at ({x}, 127.5): ({dx:.3}, {dy:.3}) px");
        }
    }
    Ok(())
}
