//! The one entry: a scene and a seed become a pair of frames. The frames of a time series are made the same way, one by one.
//!
//! The cells of the seeding are drawn row by row, each row into strips of its own, and the strips are added to the frames in order: so
//! a large picture can be shared among threads and comes out bit for bit the same on any number of them.

use ndarray::{Array2, Axis, Slice};
use rayon::prelude::*;

use crate::exposure::{Exposer, Spot};
use crate::light::Flash;
use crate::random::Seed;
use crate::scene::{Scene, SceneError};
use crate::seeding::{Particle, Volume};
use crate::splat::{self, Brush};

/// Two frames, each height × width: grey levels (whole numbers), or expected photo-electrons without a sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// Frame A, lit by the first pulse.
    pub a: Array2<f32>,
    /// Frame B, lit by the second pulse.
    pub b: Array2<f32>,
}

/// A particle as it shows in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// Its number, the same in every frame.
    pub id: u64,
    /// Where it shows in the middle of the pulse, px.
    pub x_px: f64,
    /// Where it shows in the middle of the pulse, px.
    pub y_px: f64,
    /// Its depth, px.
    pub z_px: f64,
    /// e⁻² diameter of its image, px.
    pub diameter_px: f64,
    /// Photo-electrons it would give at rest.
    pub electrons: f64,
}

/// Renders the realisation `seed` of a scene.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn render(scene: &Scene, seed: Seed) -> Result<Pair, SceneError> {
    Ok(expected(scene, seed)?.read(scene, seed))
}

impl Pair {
    /// What the scene's sensor makes of expected photo-electrons; the same without a sensor.
    pub fn read(mut self, scene: &Scene, seed: Seed) -> Pair {
        if let Some(sensor) = &scene.camera.sensor {
            sensor.read(&mut self.a, seed, 0);
            sensor.read(&mut self.b, seed, 1);
        }
        self
    }
}

/// The expected photo-electrons in each pixel, before the sensor adds its noise.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn expected(scene: &Scene, seed: Seed) -> Result<Pair, SceneError> {
    expected_moved(scene, seed, [0.0; 2])
}

/// The same with all particle images, and nothing else, moved by `by_px` (x, y) in both frames: two such pairs, a little apart, give the
/// slope of the picture with the particles' position.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn expected_moved(scene: &Scene, seed: Seed, by_px: [f64; 2]) -> Result<Pair, SceneError> {
    scene.validate()?;
    let mut frames = light(scene, seed, &scene.flashes(seed), by_px).into_iter();
    let [a, mut b] = [0, 1].map(|k| frames.next().expect("two frames") + constant(scene, k));
    if scene.camera.parasitic_sensitivity > 0.0 {
        b.scaled_add(scene.camera.parasitic_sensitivity as f32, &a);
    }
    Ok(Pair { a, b })
}

/// Frame `k` of a time series of a scene: like frame A of a pair, `k` pulse separations later. Its expected photo-electrons, and the
/// same after the sensor.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn frame(scene: &Scene, seed: Seed, k: u32) -> Result<[Array2<f32>; 2], SceneError> {
    scene.validate()?;
    let flash = scene.flash(seed, k);
    let ideal = light(scene, seed, &[flash], [0.0; 2]).remove(0) + constant(scene, 0);
    let mut grey = ideal.clone();
    if let Some(sensor) = &scene.camera.sensor {
        sensor.read_series(&mut grey, seed, k);
    }
    Ok([ideal, grey])
}

/// The particles that shine in frame `k` of a pair (0 is A, 1 is B), or of a time series; in no particular order but always the same.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
pub fn shown(scene: &Scene, seed: Seed, k: u32, series: bool) -> Result<Vec<Shown>, SceneError> {
    scene.validate()?;
    let flash = match (series, scene.flashes(seed)) {
        (true, _) => scene.flash(seed, k),
        (false, flashes) => flashes[k.min(1) as usize],
    };
    let volume = Volume::of(scene, &[flash]);
    let exposer = Exposer::new(scene, flash);
    let mut particles = Vec::new();
    for cell in volume.rows().into_iter().flatten() {
        volume.fill(scene, cell, seed, &mut particles);
    }
    let [width, height] = scene.size.map(|n| n as f64 - 0.5);
    let show = |particle: &Particle| {
        let (spot, z_px) = exposer.at_rest(particle);
        let inside = spot.x_px >= -0.5 && spot.x_px < width && spot.y_px >= -0.5 && spot.y_px < height;
        (inside && spot.electrons > 0.0).then(|| Shown {
            id: particle.id,
            x_px: spot.x_px,
            y_px: spot.y_px,
            z_px,
            diameter_px: 4.0 * spot.sigma_px,
            electrons: f64::from(spot.electrons),
        })
    };
    Ok(particles.iter().filter_map(show).collect())
}

/// What shines in frame `k` without pulses, e a pixel.
fn constant(scene: &Scene, k: usize) -> f32 {
    (scene.background_e[k] + scene.light.ambient_e[k]) as f32
}

/// Pictures of more pixels than this are shared among threads; smaller ones come by the many, one a thread.
const SHARED_FROM: usize = 1 << 22;
/// Rows of cells whose strips are kept at a time.
const ROWS_AT_ONCE: usize = 16;

/// Whether a picture of this size (px) is shared among threads: render such one after the other.
pub fn shared([width, height]: [usize; 2]) -> bool {
    width * height > SHARED_FROM
}

/// The light of pulses: expected photo-electrons of particles, moved by `by_px`, and reflections in a frame each.
fn light(scene: &Scene, seed: Seed, flashes: &[Flash], by_px: [f64; 2]) -> Vec<Array2<f32>> {
    let [width, height] = scene.size;
    let reflections = scene.light.reflections.light(scene.size, seed);
    let mut frames: Vec<Array2<f32>> = flashes
        .iter()
        .map(|flash| match &reflections {
            Some(light) => light * flash.pulse.energy_ratio as f32,
            None => Array2::zeros((height, width)),
        })
        .collect();
    if scene.seeding_density_ppp == 0.0 || scene.electrons == 0.0 {
        return frames;
    }
    let volume = Volume::of(scene, flashes);
    let exposers: Vec<Exposer> = flashes.iter().map(|flash| Exposer::new(scene, *flash)).collect();
    let brush = scene.imaging.brush(scene);
    let strips = |cells: &Vec<[i64; 3]>| {
        let mut particles = Vec::new();
        for cell in cells {
            volume.fill(scene, *cell, seed, &mut particles);
        }
        strips(scene, &particles, &exposers, &brush, by_px)
    };
    for rows in volume.rows().chunks(ROWS_AT_ONCE) {
        let drawn: Vec<Vec<Strip>> = if shared(scene.size) {
            rows.par_iter().map(strips).collect()
        } else {
            rows.iter().map(strips).collect()
        };
        for row in drawn {
            for (frame, strip) in frames.iter_mut().zip(row) {
                let end = strip.top + strip.light.nrows();
                let mut part = frame.slice_axis_mut(Axis(0), Slice::from(strip.top..end));
                part += &strip.light;
            }
        }
    }
    frames
}

/// The light of one row of cells in a frame.
struct Strip {
    /// The frame's row on which it begins.
    top: usize,
    light: Array2<f32>,
}

fn strips(
    scene: &Scene,
    particles: &[Particle],
    exposers: &[Exposer],
    brush: &Brush,
    by_px: [f64; 2],
) -> Vec<Strip> {
    let [width, height] = scene.size;
    let draw = |exposer: &Exposer| {
        let mut spots: Vec<Spot> = Vec::new();
        for particle in particles {
            exposer.expose(particle, &mut spots);
        }
        for spot in &mut spots {
            spot.x_px += by_px[0];
            spot.y_px += by_px[1];
        }
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for spot in &spots {
            let reach = scene.imaging.reach_sigmas() * spot.sigma_px + 1.0;
            low = low.min(spot.y_px - reach);
            high = high.max(spot.y_px + reach);
        }
        // An `as` of a number out of range takes the nearest in it.
        let top = (low.floor() as usize).min(height);
        let end = ((high.ceil() + 1.0) as usize).clamp(top, height);
        for spot in &mut spots {
            spot.y_px -= top as f64;
        }
        let mut light = Array2::zeros((end - top, width));
        splat::add(&mut light, &spots, brush);
        Strip { top, light }
    };
    exposers.iter().map(draw).collect()
}
