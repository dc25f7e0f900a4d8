//! Draws the light of all particles on the frames.
//!
//! The cells of the seeding are drawn row by row, each row into strips of its own, and the strips
//! are added to the frames in order. Threads can share the rows of a large picture, and the result
//! is the same to the bit on any number of them.

use ndarray::{Array2, Axis, Slice};
use rayon::prelude::*;

use crate::exposure::{Exposer, Paths};
use crate::flash::Flash;
use crate::random::Seed;
use crate::scene::Scene;
use crate::seeding::{Particle, Volume};
use crate::splat::{self, Brush, reach_sigmas};
use crate::spot::Spot;
use crate::threads::shares;

/// Rows of cells whose strips are in memory at a time.
const ROWS_AT_ONCE: usize = 16;

/// Expected photo-electrons of particles, moved by `by_px`, and of reflections: a frame of
/// height × width for each pulse.
pub(super) fn light(scene: &Scene, seed: Seed, flashes: &[Flash], by_px: [f64; 2]) -> Vec<Array2<f32>> {
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
    let brush = Brush::of(scene);
    let strips = |cells: &Vec<[i64; 3]>| {
        let mut particles = Vec::new();
        for cell in cells {
            volume.fill(scene, *cell, seed, &mut particles);
        }
        strips(scene, &particles, &exposers, &brush, by_px)
    };
    for rows in volume.rows().chunks(ROWS_AT_ONCE) {
        let drawn: Vec<Vec<Strip>> = if shares(scene.size) {
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

/// Light of one row of cells in a frame.
struct Strip {
    /// Row of the frame at which the strip begins.
    top: usize,
    light: Array2<f32>,
}

/// The strips of some particles, one for each pulse.
fn strips(
    scene: &Scene,
    particles: &[Particle],
    exposers: &[Exposer],
    brush: &Brush,
    by_px: [f64; 2],
) -> Vec<Strip> {
    let [width, height] = scene.size;
    let paths = Paths::of(exposers, particles);
    let draw = |(pulse, exposer): (usize, &Exposer)| {
        let mut spots: Vec<Spot> = Vec::new();
        for (number, particle) in particles.iter().enumerate() {
            let path = paths.arc(exposer, pulse, number, particle);
            exposer.expose(particle, &path, &mut spots);
        }
        for spot in &mut spots {
            spot.x_px += by_px[0];
            spot.y_px += by_px[1];
        }
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for spot in &spots {
            let reach = reach_sigmas(scene.imaging.pattern) * spot.sigma_px + 1.0;
            low = low.min(spot.y_px - reach);
            high = high.max(spot.y_px + reach);
        }
        // Casting a number that is out of range with `as` gives the nearest one in range.
        let top = (low.floor() as usize).min(height);
        let end = ((high.ceil() + 1.0) as usize).clamp(top, height);
        for spot in &mut spots {
            spot.y_px -= top as f64;
        }
        let mut light = Array2::zeros((end - top, width));
        splat::add(&mut light, &spots, brush);
        Strip { top, light }
    };
    exposers.iter().enumerate().map(draw).collect()
}
