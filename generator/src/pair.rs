//! Pairs of frames and time series, rendered from a scene and a seed.

mod bands;
mod crops;
mod draw;

use ndarray::Array2;

use crate::error::SceneError;
use crate::exposure::{Exposer, Paths};
use crate::flash::Flash;
use crate::flow::Vec3;
use crate::random::Seed;
use crate::raster::Raster;
use crate::scene::Scene;
use crate::seeding::{Particle, Volume};
use crate::sensor::ReadRegion;
use crate::splat::{self, Brush};
pub use crate::threads::shared;
use crate::threads::side_by_side;
pub use bands::{Band, Bands, bands, series_bands};
pub use crops::Crops;
use draw::Drawing;

/// Two frames of one size, each height × width: grey levels (whole numbers, DN) with a sensor,
/// expected photo-electrons without.
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
    /// Place of its image along x in the middle of the pulse, px.
    pub x_px: f64,
    /// Place of its image along y in the middle of the pulse, px.
    pub y_px: f64,
    /// Its depth in the middle of the pulse, px.
    pub z_px: f64,
    /// e⁻² diameter of its image, px.
    pub diameter_px: f64,
    /// Photo-electrons of its image if it rested there.
    pub electrons: f64,
}

/// Renders one pair of a scene: the realisation that `seed` names.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
///
/// ```
/// use motefield_generator::{Scene, Seed, render};
///
/// let scene = Scene { size: [32, 32], ..Scene::default() };
/// let pair = |realisation| render(&scene, Seed { study: 7, point: 0, realisation });
/// assert_eq!(pair(0)?, pair(0)?);
/// assert_ne!(pair(0)?, pair(1)?);
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
pub fn render(scene: &Scene, seed: Seed) -> Result<Pair, SceneError> {
    Ok(expected(scene, seed)?.read(scene, seed))
}

impl Pair {
    /// Grey levels that the scene's sensor makes of expected photo-electrons; unchanged without a
    /// sensor.
    ///
    /// # Panics
    /// When a frame is not in standard (row-major) layout.
    pub fn read(mut self, scene: &Scene, seed: Seed) -> Pair {
        if let Some(sensor) = &scene.camera.sensor {
            let (a, b) = (&mut self.a, &mut self.b);
            side_by_side(|| sensor.read(a, seed, 0), || sensor.read(b, seed, 1));
        }
        self
    }
}

/// Expected photo-electrons of each pixel of a pair: what [`render`] gives without a sensor.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
///
/// ```
/// use motefield_generator::pair::expected;
/// use motefield_generator::{Scene, Seed};
///
/// let scene = Scene {
///     size: [32, 32],
///     seeding_density_ppp: 0.0,
///     background_e: [20.0, 25.0],
///     ..Scene::default()
/// };
/// let pair = expected(&scene, Seed::default())?;
/// assert_eq!((pair.a[[3, 4]], pair.b[[3, 4]]), (20.0, 25.0));
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
pub fn expected(scene: &Scene, seed: Seed) -> Result<Pair, SceneError> {
    expected_moved(scene, seed, [0.0; 2])
}

/// Expected photo-electrons of a pair in which all particle images, and nothing else, are moved by
/// `by_px` (x, y) in both frames. Two such pairs, a little apart, give the slope of each pixel's
/// light with the position of the particles.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
#[allow(clippy::missing_panics_doc, reason = "there are two frames")]
pub fn expected_moved(scene: &Scene, seed: Seed, by_px: [f64; 2]) -> Result<Pair, SceneError> {
    scene.validate()?;
    let mut frames = whole(scene, seed, &scene.flashes(seed), by_px).into_iter();
    let [a, b] = [(); 2].map(|()| frames.next().expect("two frames"));
    Ok(Pair { a, b })
}

/// Frame `k` of a time series: like frame A of a pair, `k` pulse separations later. Returns the
/// expected photo-electrons and the grey levels (the same without a sensor), each height × width.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
///
/// ```
/// use motefield_generator::flow::Uniform;
/// use motefield_generator::pair::frame;
/// use motefield_generator::{Scene, Seed, render};
///
/// let flow = std::sync::Arc::new(Uniform { displacement_px: [2.0, 0.0, 0.0] });
/// let scene = Scene { size: [32, 32], flow, ..Scene::default() };
/// let pair = render(&scene, Seed::default())?;
/// let [expected, grey] = frame(&scene, Seed::default(), 1)?;
/// assert_eq!((&expected, &expected), (&grey, &pair.b));
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
pub fn frame(scene: &Scene, seed: Seed, k: u32) -> Result<[Array2<f32>; 2], SceneError> {
    scene.validate()?;
    let flash = scene.flash(seed, k);
    let ideal = whole(scene, seed, &[flash], [0.0; 2]).remove(0);
    let mut grey = ideal.clone();
    if let Some(sensor) = &scene.camera.sensor {
        let part = ReadRegion::whole(&grey);
        sensor.read_series(&mut grey, part, seed, k);
    }
    Ok([ideal, grey])
}

/// The particles that shine in the picture in frame `k` of a pair (0 is A, 1 is B), or of a time
/// `series`. Their order has no meaning but is always the same.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
///
/// ```
/// use motefield_generator::pair::shown;
/// use motefield_generator::{Scene, Seed};
///
/// let scene = Scene { size: [64, 64], seeding_density_ppp: 0.05, ..Scene::default() };
/// let particles = shown(&scene, Seed::default(), 0, false)?;
/// assert!(particles.iter().all(|p| p.x_px >= -0.5 && p.x_px < 63.5 && p.electrons > 0.0));
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
pub fn shown(scene: &Scene, seed: Seed, k: u32, series: bool) -> Result<Vec<Shown>, SceneError> {
    scene.validate()?;
    let flash = match (series, scene.flashes(seed)) {
        (true, _) => scene.flash(seed, k),
        (false, flashes) => flashes[k.min(1) as usize],
    };
    let volume = Volume::of(scene, &[flash]);
    let exposers = [Exposer::new(scene, flash)];
    let mut particles = Vec::new();
    for cell in volume.rows().into_iter().flatten() {
        volume.fill(scene, cell, seed, &mut particles);
    }
    let [width, height] = scene.size.map(|n| n as f64 - 0.5);
    let paths = Paths::of(&exposers, &particles);
    let show = |(number, particle): (usize, &Particle)| {
        let path = paths.arc(&exposers[0], 0, number, particle);
        let (spot, z_px) = exposers[0].at_rest(particle, &path);
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
    Ok(particles.iter().enumerate().filter_map(show).collect())
}

/// Expected photo-electrons, height × width, of a single particle in the light of pulse A, without
/// background and reflections. The particle has mean diameter and brightness 1 and is at `at` (x,
/// y, z in px) in the middle of the pulse, which is at time 0.
///
/// # Errors
/// When the scene does not [validate](Scene::validate).
///
/// ```
/// use motefield_generator::Scene;
/// use motefield_generator::pair::particle_image;
///
/// let scene = Scene { size: [16, 16], electrons: 1000.0, ..Scene::default() };
/// let image = particle_image(&scene, [7.0, 8.0, 0.0])?;
/// assert!((image.sum() - 1000.0).abs() < 0.1);
/// # Ok::<(), motefield_generator::SceneError>(())
/// ```
pub fn particle_image(scene: &Scene, at: Vec3) -> Result<Array2<f32>, SceneError> {
    scene.validate()?;
    let particle = Particle {
        id: 0,
        at,
        diameter: 1.0,
        brightness: 1.0,
    };
    let flash = Flash {
        middle: 0.0,
        pulse: scene.light.pulses[0],
        shape: 0,
        walk: None,
    };
    let mut spots = Vec::new();
    let exposers = [Exposer::new(scene, flash)];
    let paths = Paths::of(&exposers, &[particle]);
    exposers[0].expose_all(&paths, 0, &[particle], &mut spots);
    let mut raster = Raster::dark(scene.size, Vec::new());
    splat::add(&mut raster, &spots, &Brush::of(scene));
    Ok(raster.picture())
}

/// Expected photo-electrons of whole frames.
fn whole(scene: &Scene, seed: Seed, flashes: &[Flash], by_px: [f64; 2]) -> Vec<Array2<f32>> {
    let [_, height] = scene.size;
    let mut drawing = Drawing::new(scene, seed, flashes, by_px);
    drawing.draw(height);
    with_steady_light(scene, drawing.take(height))
}

/// Adds the light that is there without pulses, and what frame B of a pair holds of frame A's.
fn with_steady_light(scene: &Scene, mut frames: Vec<Array2<f32>>) -> Vec<Array2<f32>> {
    for (k, frame) in frames.iter_mut().enumerate() {
        *frame += (scene.background_e[k] + scene.light.ambient_e[k]) as f32;
    }
    if let [a, b] = &mut frames[..]
        && scene.camera.parasitic_sensitivity > 0.0
    {
        b.scaled_add(scene.camera.parasitic_sensitivity as f32, a);
    }
    frames
}
