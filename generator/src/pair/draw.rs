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
    let draw = |cells: &Vec<[i64; 3]>, room: &mut Room| {
        room.particles.clear();
        for cell in cells {
            volume.fill(scene, *cell, seed, &mut room.particles);
        }
        strips(scene, &exposers, &brush, by_px, room)
    };
    let mut room = Room::default();
    let all_rows = volume.rows();
    let at_once = if shares(scene.size) { ROWS_AT_ONCE } else { 1 };
    for rows in all_rows.chunks(at_once) {
        let drawn: Vec<Vec<Strip>> = match rows {
            [cells] => vec![draw(cells, &mut room)],
            rows => rows
                .par_iter()
                .map(|cells| draw(cells, &mut Room::default()))
                .collect(),
        };
        for row in drawn {
            for (frame, strip) in frames.iter_mut().zip(row) {
                let end = strip.top + strip.light.nrows();
                let mut part = frame.slice_axis_mut(Axis(0), Slice::from(strip.top..end));
                part += &strip.light;
                room.take_back(strip.light);
            }
        }
    }
    frames
}

/// Memory that one row of cells after another is drawn in.
#[derive(Default)]
struct Room {
    particles: Vec<Particle>,
    spots: Vec<Spot>,
    strips: Vec<Vec<f32>>,
}

impl Room {
    /// A dark strip.
    fn strip(&mut self, height: usize, width: usize) -> Array2<f32> {
        let mut pixels = self.strips.pop().unwrap_or_default();
        pixels.clear();
        pixels.resize(height * width, 0.0);
        Array2::from_shape_vec((height, width), pixels).expect("as many pixels as the strip has")
    }

    fn take_back(&mut self, strip: Array2<f32>) {
        self.strips.push(strip.into_raw_vec_and_offset().0);
    }
}

/// Light of one row of cells in a frame.
struct Strip {
    /// Row of the frame at which the strip begins.
    top: usize,
    light: Array2<f32>,
}

/// The strips of the particles in `room`, one for each pulse.
fn strips(
    scene: &Scene,
    exposers: &[Exposer],
    brush: &Brush,
    by_px: [f64; 2],
    room: &mut Room,
) -> Vec<Strip> {
    let [width, height] = scene.size;
    let paths = Paths::of(exposers, &room.particles);
    let mut draw = |(pulse, exposer): (usize, &Exposer)| {
        let spots = &mut room.spots;
        spots.clear();
        exposer.expose_all(&paths, pulse, &room.particles, spots);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for spot in &mut *spots {
            spot.x_px += by_px[0];
            spot.y_px += by_px[1];
            let reach = reach_sigmas(scene.imaging.pattern) * spot.sigma_px + 1.0;
            low = low.min(spot.y_px - reach);
            high = high.max(spot.y_px + reach);
        }
        // Casting a number that is out of range with `as` gives the nearest one in range.
        let top = (low.floor() as usize).min(height);
        let end = ((high.ceil() + 1.0) as usize).clamp(top, height);
        for spot in spots {
            spot.y_px -= top as f64;
        }
        let mut light = room.strip(end - top, width);
        splat::add(&mut light, &room.spots, brush);
        Strip { top, light }
    };
    exposers.iter().enumerate().map(&mut draw).collect()
}
