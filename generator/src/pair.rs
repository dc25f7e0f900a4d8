//! The one entry: a scene and a seed become a pair of frames.

use ndarray::Array2;

use crate::exposure::expose;
use crate::random::Seed;
use crate::scene::{Scene, SceneError};
use crate::seeding::Volume;
use crate::splat;

/// Two frames, each height × width: grey levels (whole numbers), or expected photo-electrons without a sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Frame A, lit by the first pulse.
    pub a: Array2<f32>,
    /// Frame B, lit by the second pulse.
    pub b: Array2<f32>,
}

/// Renders the realisation `seed` of a scene.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn render(scene: &Scene, seed: Seed) -> Result<Pair, SceneError> {
    let Pair { mut a, mut b } = expected(scene, seed)?;
    if let Some(sensor) = &scene.sensor {
        sensor.read(&mut a, seed, 0);
        sensor.read(&mut b, seed, 1);
    }
    Ok(Pair { a, b })
}

/// The expected photo-electrons in each pixel, before the sensor adds its noise.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn expected(scene: &Scene, seed: Seed) -> Result<Pair, SceneError> {
    scene.validate()?;
    let [width, height] = scene.size;
    let mut frames = [-0.5, 0.5].map(|time| {
        (
            time,
            Array2::from_elem((height, width), scene.background_e as f32),
        )
    });
    let volume = Volume::of(scene);
    let (mut particles, mut spots) = (Vec::new(), Vec::new());
    for cell in volume.cells() {
        particles.clear();
        volume.fill(cell, scene.seeding_ppp, seed, &mut particles);
        for (time, frame) in &mut frames {
            spots.clear();
            for particle in &particles {
                expose(scene, particle.at, *time, &mut spots);
            }
            splat::add(frame, &spots, 0.25 * scene.diameter_px);
        }
    }
    let [(_, a), (_, b)] = frames;
    Ok(Pair { a, b })
}
