//! Draws the light of all particles on the frames, from the top of the picture down.
//!
//! The cells of the seeding are drawn row by row, each row into strips of its own, and the strips
//! are added to the frames in order. Threads can share the rows of a large picture, and the result
//! is the same to the bit on any number of them. A row of pixels is finished as soon as all cells
//! are drawn whose particles can reach it, so that no more than a band of a large picture need be
//! in memory.

use ndarray::Array2;
use rayon::prelude::*;

use crate::crop::Crop;
use crate::exposure::{Exposer, Paths};
use crate::flash::Flash;
use crate::random::Seed;
use crate::raster::Raster;
use crate::scene::Scene;
use crate::seeding::{Particle, Volume};
use crate::splat::{self, Brush, reach_sigmas};
use crate::spot::Spot;
use crate::threads::{shares, side_by_side};

/// Rows of cells whose strips are in memory at a time.
const ROWS_AT_ONCE: usize = 16;

/// The frames of a scene's pulses while they are drawn: expected photo-electrons of particles and
/// of reflections.
pub(super) struct Drawing<'a> {
    scene: &'a Scene,
    /// What is drawn of the picture; rows and columns below are counted in it.
    crop: Crop,
    seed: Seed,
    /// By how much all particle images are moved, px.
    by_px: [f64; 2],
    exposers: Vec<Exposer<'a>>,
    brush: Brush,
    /// None without particles.
    volume: Option<Volume>,
    /// Rows of cells, and how many of them are drawn.
    cells: Vec<Vec<[i64; 3]>>,
    drawn: usize,
    frames: Vec<Canvas>,
    room: DrawingRoom,
}

impl<'a> Drawing<'a> {
    /// Of the whole picture.
    pub(super) fn new(scene: &'a Scene, seed: Seed, flashes: &[Flash], by_px: [f64; 2]) -> Drawing<'a> {
        let volume = || Volume::of(scene, flashes);
        Drawing::of(scene, seed, flashes, by_px, Crop::whole(scene), volume)
    }

    /// Of a part of the picture, with the volume whose particles show in it.
    pub(super) fn of(
        scene: &'a Scene,
        seed: Seed,
        flashes: &[Flash],
        by_px: [f64; 2],
        crop: Crop,
        volume: impl Fn() -> Volume,
    ) -> Drawing<'a> {
        let dark = scene.seeding_density_ppp == 0.0 || scene.electrons == 0.0;
        let volume = (!dark).then(volume);
        let energy = flashes.iter().map(|flash| flash.pulse.energy_ratio as f32);
        Drawing {
            scene,
            crop,
            seed,
            by_px,
            exposers: flashes.iter().map(|flash| Exposer::new(scene, *flash)).collect(),
            brush: Brush::of(scene),
            cells: volume.as_ref().map_or_else(Vec::new, Volume::rows),
            volume,
            drawn: 0,
            frames: energy.map(Canvas::new).collect(),
            room: DrawingRoom::default(),
        }
    }

    /// Finishes the rows of pixels above `end`.
    pub(super) fn draw(&mut self, end: usize) {
        let Some(volume) = &self.volume else {
            return self.open(end);
        };
        let last = volume.last_row_above(self.scene, end);
        let due = self.cells[self.drawn..]
            .iter()
            .take_while(|row| row.first().is_some_and(|cell| cell[1] <= last))
            .count();
        let due = self.drawn..self.drawn + due;
        self.drawn = due.end;
        let cells = std::mem::take(&mut self.cells);
        let mut room = std::mem::take(&mut self.room);
        let at_once = if shares(self.crop.size) { ROWS_AT_ONCE } else { 1 };
        let [width, _] = self.crop.size;
        self.frames
            .iter_mut()
            .for_each(|frame| frame.make_room(end, width));
        for rows in cells[due].chunks(at_once) {
            let drawn: Vec<Vec<Strip>> = match rows {
                [row] => vec![self.strips(row, &mut room)],
                rows => rows
                    .par_iter()
                    .map(|row| self.strips(row, &mut DrawingRoom::default()))
                    .collect(),
            };
            for row in drawn {
                self.open(row.iter().map(Strip::end).max().unwrap_or(0));
                for (k, (frame, strip)) in self.frames.iter_mut().zip(row).enumerate() {
                    frame.add(&strip);
                    if let Some(room) = room.pulses.get_mut(k) {
                        room.strip = strip.light.light;
                    }
                }
            }
        }
        self.room = room;
        self.cells = cells;
        self.open(end);
    }

    /// Opens the rows of pixels above `end`, with the reflected light on them.
    fn open(&mut self, end: usize) {
        let [width, _] = self.crop.size;
        let opened = self.frames[0].end(width);
        if end <= opened {
            return;
        }
        let [left, top] = self.crop.origin;
        let part = [left..left + width, top + opened..top + end];
        let reflected = (self.scene.light.reflections).part(self.scene.size, part, self.seed);
        for frame in &mut self.frames {
            frame.open((end - opened) * width, reflected.as_ref());
        }
    }

    /// Takes the rows of pixels above `end` out of the drawing: a frame for each pulse.
    ///
    /// # Panics
    /// When they are not [drawn](Drawing::draw).
    pub(super) fn take(&mut self, end: usize) -> Vec<Array2<f32>> {
        let [width, _] = self.crop.size;
        self.frames
            .iter_mut()
            .map(|frame| frame.take(end, width))
            .collect()
    }

    /// A copy of the first row of pixels not taken yet: one for each pulse.
    ///
    /// # Panics
    /// When it is not [drawn](Drawing::draw).
    pub(super) fn next_row(&self) -> Vec<Array2<f32>> {
        let [width, _] = self.crop.size;
        let row = |frame: &Canvas| Array2::from_shape_fn((1, width), |(_, x)| frame.light[x]);
        self.frames.iter().map(row).collect()
    }

    /// The strips of a row of cells, one for each pulse.
    fn strips(&self, cells: &[[i64; 3]], room: &mut DrawingRoom) -> Vec<Strip> {
        room.particles.clear();
        if let Some(volume) = &self.volume {
            for cell in cells {
                volume.fill(self.scene, *cell, self.seed, &mut room.particles);
            }
        }
        strips(
            self.scene,
            self.crop,
            &self.exposers,
            &self.brush,
            self.by_px,
            room,
        )
    }
}

/// Rows of pixels of one frame that are being drawn.
struct Canvas {
    /// First row.
    top: usize,
    light: Vec<f32>,
    /// Energy of the pulse, over that of the reflected light.
    energy_ratio: f32,
}

impl Canvas {
    fn new(energy_ratio: f32) -> Canvas {
        Canvas {
            top: 0,
            light: Vec::new(),
            energy_ratio,
        }
    }

    fn end(&self, width: usize) -> usize {
        self.top + self.light.len() / width
    }

    /// Asks for the memory of the rows above `end` at once.
    fn make_room(&mut self, end: usize, width: usize) {
        let rows = end.saturating_sub(self.end(width));
        self.light.reserve_exact(rows * width);
    }

    fn open(&mut self, pixels: usize, reflected: Option<&Array2<f32>>) {
        match reflected {
            Some(light) => self.light.extend(light.iter().map(|e| e * self.energy_ratio)),
            None => self.light.resize(self.light.len() + pixels, 0.0),
        }
    }

    /// Adds a strip. Rows that were taken already lie out of its particles' reach.
    fn add(&mut self, strip: &Strip) {
        let width = strip.light.width;
        let taken = self.top.saturating_sub(strip.top).min(strip.light.height);
        let start = (strip.top + taken - self.top.min(strip.top + taken)) * width;
        let rows = self.light[start..].chunks_exact_mut(width);
        for (row, light) in rows.zip(strip.light.rows(taken)) {
            for (pixel, light) in row.iter_mut().zip(light) {
                *pixel += light;
            }
        }
    }

    fn take(&mut self, end: usize, width: usize) -> Array2<f32> {
        let rows = end - self.top;
        let rest = self.light.split_off(rows * width);
        let light = std::mem::replace(&mut self.light, rest);
        self.top = end;
        Array2::from_shape_vec((rows, width), light).expect("whole rows")
    }
}

/// Memory that one row of cells after another is drawn in.
#[derive(Default)]
struct DrawingRoom {
    particles: Vec<Particle>,
    /// For each pulse.
    pulses: Vec<PulseRoom>,
}

#[derive(Default)]
struct PulseRoom {
    spots: Vec<Spot>,
    /// Of a strip that was added to its frame.
    strip: Vec<f32>,
}

/// Light of one row of cells in a frame.
struct Strip {
    /// Row of the frame at which the strip begins.
    top: usize,
    light: Raster,
}

impl Strip {
    fn end(&self) -> usize {
        self.top + self.light.height
    }
}

/// The strips of the particles in `room`, one for each pulse; a thread that has nothing else to do
/// may draw one of them.
fn strips(
    scene: &Scene,
    crop: Crop,
    exposers: &[Exposer],
    brush: &Brush,
    by_px: [f64; 2],
    room: &mut DrawingRoom,
) -> Vec<Strip> {
    let DrawingRoom { particles, pulses } = room;
    pulses.resize_with(exposers.len(), PulseRoom::default);
    let paths = Paths::of(exposers, particles);
    let sigmas = reach_sigmas(scene.imaging.pattern);
    let draw = |pulse: usize, room: &mut PulseRoom| {
        room.spots.clear();
        exposers[pulse].expose_all(&paths, pulse, particles, &mut room.spots);
        strip(crop, brush, by_px, sigmas, room)
    };
    match &mut pulses[..] {
        [a, b] => {
            let (a, b) = side_by_side(|| draw(0, a), || draw(1, b));
            vec![a, b]
        }
        pulses => pulses
            .iter_mut()
            .enumerate()
            .map(|(k, room)| draw(k, room))
            .collect(),
    }
}

/// The light of the spots in `room`, each moved by `by_px` and reaching so many standard deviations.
fn strip(crop: Crop, brush: &Brush, by_px: [f64; 2], sigmas: f64, room: &mut PulseRoom) -> Strip {
    let [width, height] = crop.size;
    let [left, above] = crop.origin.map(|n| n as f64);
    let PulseRoom { spots, strip } = room;
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for spot in &mut *spots {
        spot.x_px = spot.x_px + by_px[0] - left;
        spot.y_px += by_px[1];
        let reach = sigmas * spot.sigma_px + 1.0;
        let (above, below) = (spot.y_px - reach, spot.y_px + reach);
        low = if above < low { above } else { low };
        high = if below > high { below } else { high };
    }
    // Casting a number that is out of range with `as` gives the nearest one in range.
    let top = ((low.floor() - above) as usize).min(height);
    let end = ((high.ceil() + 1.0 - above) as usize).clamp(top, height);
    for spot in &mut *spots {
        spot.y_px -= above + top as f64;
    }
    let mut light = Raster::dark([width, end - top], std::mem::take(strip));
    splat::add(&mut light, spots, brush);
    Strip { top, light }
}
