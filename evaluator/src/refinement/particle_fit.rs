//! Refinement of vectors by fitting the particles of both windows together.
//!
//! Interpolation cannot restore what is aliased in small particle images, nor separate two
//! overlapping images of which one brightens and one fades; a description of the pair by its
//! particles ([`Particles`]) needs no interpolation. In each window the positions and brightnesses
//! of all particles, a background in either frame and the displacement r that the predictor misses
//! are fitted to the pixels at once, by weighted least squares (Gauss-Newton; the
//! maximum-likelihood estimate for normal noise of the variance found). A particle at X is seen at
//! X ∓ (p(X) + r)/2.
//!
//! The pixels have the weights of the window ([`crate::window_weights`]), divided by their
//! variance. Particles that are cut by the border of the window, or lie beside it, are fitted along
//! with the light that they contribute to it; what its pixels do not determine of them is held near
//! what the whole frames gave.
//!
//! With r last among the unknowns, the end of the triangular factor of the normal equations is the
//! information on r with all particles and backgrounds unknown (the Schur complement), by which the
//! fits of several pairs are weighted together.

use super::explained::add_light;
use super::images_as_found::ImagesAsFound;
use super::padded::Padded;
use super::particle_image::{Lanes, UnitImage, UnitImages};
use super::particles::{FittedParticle, Particles, displaced};
use super::window_sums::{Stamp, terms_of_rest, weigh};
use crate::least_squares::{BLOCK, BlockTriangle, Normal};
use crate::window::{Grid, Weighting, window_weights};

/// Greatest number of steps of a fit, and the length of the last step in standard deviations of r.
const STEPS: usize = 12;
const LAST: f64 = 0.1;

/// A step has the matrix of the one before, unless that one was longer than this fraction of its
/// predecessor.
const SHORTER: f64 = 0.3;

/// Greatest change per step: of the position of a particle or the window, px, and of the relative
/// brightness of a particle.
const STEP: [f64; 2] = [0.2, 0.5];

/// A fit is discarded if it leaves more than this many times the variance found in the whole
/// frames.
const WORST: f64 = 3.0;

/// Adds to `found` what window number `n` says about r, as two rows of equations; nothing if the
/// fit is discarded.
pub(crate) fn add(
    particles: &Particles,
    grid: &Grid,
    weighting: Weighting,
    n: usize,
    as_found: &mut ImagesAsFound,
    room: &mut Room,
    found: &mut Normal<2>,
) {
    let mut window = WindowFit::new(particles, grid, weighting, n, as_found, room);
    let (mut share, mut before, mut anew) = (1.0, f64::INFINITY, true);
    for step in 0..STEPS {
        let Some(scatter) = window.equations(room, anew) else {
            return;
        };
        if anew && !room.matrix.factorise() {
            return;
        }
        room.matrix.solve(&mut room.right);
        let [[a, _], [b, c]] = room.matrix.last_two();
        let residual = window.residual;
        window.step(&room.right, share);
        let [x, y] = [0, 1].map(|k| (window.residual[k] - residual[k]) / share);
        // In standard deviations: |Lᵀ step|.
        let length = (a * x + b * y).hypot(c * y);
        if length <= LAST {
            if scatter <= WORST {
                let [rx, ry] = window.residual;
                found.add([a, b], a * rx + b * ry, 1.0);
                found.add([0.0, c], c * ry, 1.0);
            }
            return;
        }
        // Steps that do not become much shorter overshoot.
        if length > 0.5 * before {
            share *= 0.5;
        }
        // The first step leaves so little that the second has its matrix, too.
        anew = step > 0 && length > SHORTER * before;
        before = length;
    }
}

/// Memory for the equations of one step after another.
#[derive(Default)]
pub(crate) struct Room {
    matrix: BlockTriangle,
    /// Of each particle the first that its image meets; at last 0, for backgrounds and r.
    met: Vec<usize>,
    right: Vec<[f64; BLOCK]>,
    frames: [FrameRoom; 2],
    signal: Padded,
    stamp: Stamp,
    under: Vec<Lanes>,
}

/// The pixels of the window in one frame.
#[derive(Default)]
struct FrameRoom {
    grey: Padded,
    /// Weight of each pixel before its variance is known, at most 1; 0 outside the frame.
    taper: Padded,
    /// The weight, and what is left of the pixel times that.
    weight: Padded,
    rest: Padded,
    /// Of each particle the image, and its first pixel: `None` if nothing of it is in the window.
    images: Vec<UnitImage>,
    first: Vec<Option<[isize; 2]>>,
}

impl FrameRoom {
    /// The image of particle `n` of a window.
    #[inline(always)]
    fn image<'b>(&'b self, window: &WindowFit<'b>, frame: usize, n: usize) -> &'b UnitImage {
        let found = window.as_found.get(window.numbers[n], frame);
        found.filter(|_| !window.moved).unwrap_or(&self.images[n])
    }
}

/// The state of a window's fit.
struct WindowFit<'a> {
    particles: &'a Particles<'a>,
    /// Which of them give light to the window.
    numbers: Vec<usize>,
    as_found: &'a ImagesAsFound,
    /// Whether they have left the places where they were found, at which their images are drawn.
    moved: bool,
    size: [usize; 2],
    /// In frame A and B.
    corners: [[isize; 2]; 2],
    held: Vec<FittedParticle>,
    fitted: Vec<FittedParticle>,
    background: [f64; 2],
    residual: [f64; 2],
}

impl<'a> WindowFit<'a> {
    fn new(
        particles: &'a Particles<'a>,
        grid: &Grid,
        weighting: Weighting,
        n: usize,
        as_found: &'a mut ImagesAsFound,
        room: &mut Room,
    ) -> Self {
        let (column, row) = (n % grid.columns, n / grid.columns);
        let [x, y] = grid.centre(column, row);
        let corners = displaced(
            grid.corner(column, row).map(|c| c as f64),
            particles.predictor.at(x, y),
        )
        .map(|corner| corner.map(|c| c.round() as isize));
        // Neighbouring particles are close together in the equations, so that these have few
        // elements far off the diagonal.
        let numbers = particles.shown(corners, grid.window);
        as_found.make(particles, &numbers, row);
        let held: Vec<FittedParticle> = numbers.iter().map(|n| particles.all[*n]).collect();
        let fit = Self {
            particles,
            numbers,
            as_found,
            moved: false,
            size: grid.window,
            corners,
            fitted: held.clone(),
            held,
            background: particles.background,
            residual: [0.0; 2],
        };
        fit.load(weighting, room);
        fit
    }

    /// Takes grey values and weights of the window's pixels in both frames.
    fn load(&self, weighting: Weighting, room: &mut Room) {
        let [along_x, along_y] = self.size.map(|side| window_weights(weighting, side));
        let greatest = |weights: &[f64]| weights.iter().copied().fold(0.0, f64::max);
        let most = greatest(&along_x) * greatest(&along_y);
        room.stamp.clear(&self.particles.images);
        for (k, room) in room.frames.iter_mut().enumerate() {
            let frame = self.particles.frames[k];
            let [corner_x, corner_y] = self.corners[k];
            let planes = [&mut room.grey, &mut room.taper, &mut room.weight, &mut room.rest];
            for plane in planes {
                plane.clear_part(self.corners[k], self.size, &self.particles.images);
            }
            for (y, weight_y) in along_y.iter().enumerate() {
                let Some(row) = row_inside(corner_y + y as isize, frame.size[1]) else {
                    continue;
                };
                let pixels = &frame.pixels[row * frame.size[0]..][..frame.size[0]];
                let grey = room.grey.row_mut(y).as_flattened_mut();
                let taper = room.taper.row_mut(y).as_flattened_mut();
                for (x, weight_x) in along_x.iter().enumerate() {
                    if let Some(column) = row_inside(corner_x + x as isize, frame.size[0]) {
                        grey[x] = f64::from(pixels[column]);
                        taper[x] = weight_x * weight_y / most;
                    }
                }
            }
        }
    }

    /// Leaves the right side of the normal equations in `room` and, if it is to be made anew, their
    /// matrix, and returns the weighted mean of the squared deviations divided by their variance.
    /// Unknowns: for each particle position x, y and brightness in A, B; two backgrounds; r.
    fn equations(&self, room: &mut Room, anew: bool) -> Option<f64> {
        let count = self.fitted.len();
        self.draw(room);
        let Room {
            matrix,
            met,
            right,
            frames,
            signal,
            stamp,
            under,
        } = room;
        if anew {
            find_met(met, &self.particles.images, frames);
            matrix.clear(met);
        }
        right.clear();
        right.resize(count + 1, [0.0; BLOCK]);
        let (mut scatter, mut total) = (0.0, 0.0);
        for (frame, room) in frames.iter_mut().enumerate() {
            signal.clear_part(self.corners[frame], self.size, &self.particles.images);
            for (n, particle) in self.fitted.iter().enumerate() {
                if room.first[n].is_some() {
                    let (image, chunks) = (room.image(self, frame, n), self.particles.images.chunks);
                    add_light(signal, image, chunks, particle.light[frame]);
                }
            }
            let left = weigh(
                [&room.grey, &room.taper, signal],
                self.background[frame],
                self.particles.noise,
                [&mut room.weight, &mut room.rest],
            );
            scatter += left.scatter;
            total += left.taper;
            let unit = self.particles.unit(0.0);
            right[count][frame] += unit * left.rest;
            if anew {
                matrix.block(count, count)[frame][frame] += unit * unit * left.weight;
            }
            self.add_particles(
                frame,
                room,
                right,
                under,
                anew.then_some((&mut *matrix, &met[..], &mut *stamp)),
            );
        }
        self.hold(right, anew.then_some(matrix));
        (total > 0.0).then(|| scatter / total)
    }

    /// Makes the images of all particles in both frames, unless they are where they were found.
    fn draw(&self, room: &mut Room) {
        let count = self.fitted.len();
        for (frame, room) in room.frames.iter_mut().enumerate() {
            room.images
                .resize(count.max(room.images.len()), UnitImage::default());
            room.first.clear();
            if !self.moved {
                let images = self.numbers.iter().map(|n| self.as_found.get(*n, frame));
                let firsts = images.map(|image| image.map(|image| image.first));
                room.first
                    .extend(firsts.map(|first| first.filter(|first| self.touches(frame, *first))));
            }
        }
        if !self.moved {
            return;
        }
        for (n, particle) in self.fitted.iter().enumerate() {
            let [x, y] = particle.place;
            let p = self.particles.predictor.at(x, y);
            let places = displaced(particle.place, [0, 1].map(|k| p[k] + self.residual[k]));
            for (frame, (room, place)) in room.frames.iter_mut().zip(places).enumerate() {
                let image = &mut room.images[n];
                let drawn = self
                    .particles
                    .images
                    .draw(place, self.particles.frames[frame].size, image);
                let touches = drawn && self.touches(frame, image.first);
                room.first.push(touches.then_some(image.first));
            }
        }
    }

    /// Whether something of an image with this first pixel is in the window.
    fn touches(&self, frame: usize, first: [isize; 2]) -> bool {
        let extent = self.particles.images.extent();
        (0..2).all(|k| {
            let from = first[k] - self.corners[frame][k];
            from > -(extent[k] as isize) && from < self.size[k] as isize
        })
    }

    /// Adds what the pixels of one frame say of the particles, and through them of r.
    fn add_particles(
        &self,
        frame: usize,
        room: &FrameRoom,
        right: &mut [[f64; BLOCK]],
        under: &mut Vec<Lanes>,
        mut matrix: Option<(&mut BlockTriangle, &[usize], &mut Stamp)>,
    ) {
        let count = self.fitted.len();
        let chunks = self.particles.images.chunks;
        let extent = self.particles.images.extent();
        let half = [-0.5, 0.5][frame];
        let of = [0, 1, 2 + frame];
        let factors = |n: usize| {
            let light = self.fitted[n].light[frame];
            [light, light, self.unit(n, frame)]
        };
        for n in 0..count {
            let Some(first) = room.first[n] else { continue };
            let (image, factor) = (room.image(self, frame, n), factors(n));
            let values = terms_of_rest(image, chunks, &room.rest, under);
            for k in 0..3 {
                right[n][of[k]] += factor[k] * values[k];
            }
            for k in 0..2 {
                right[count][2 + k] += half * factor[k] * values[k];
            }
            let Some((matrix, met, stamp)) = matrix.as_mut() else {
                continue;
            };
            let own = stamp.take(image, &self.particles.images, &room.weight);
            let unit = self.particles.unit(0.0);
            let border = matrix.block(count, n);
            for k in 0..3 {
                border[of[k]][frame] += unit * factor[k] * own[k];
            }
            let last = matrix.block(count, count);
            for k in 0..2 {
                last[frame][2 + k] += half * unit * factor[k] * own[k];
            }
            let meets = |m: usize| room.first[m].is_some_and(|other| overlap(first, other, extent));
            for m in (met[n]..=n).filter(|&m| meets(m)) {
                let mut products = stamp.products(room.image(self, frame, m), &self.particles.images);
                let of_other = factors(m);
                for i in 0..3 {
                    for j in 0..3 {
                        products[i][j] *= factor[i] * of_other[j];
                    }
                }
                add_products(matrix, [n, m, count], of, half, &products);
            }
        }
    }

    /// The unit of the brightness of a particle, the same for all steps.
    fn unit(&self, n: usize, frame: usize) -> f64 {
        self.particles.unit(self.held[n].light[frame])
    }

    /// Holds the particles near what the whole frames gave: as closely as the equations are linear.
    ///
    /// An image that stands out of the noise by h standard deviations and is moved by a fraction t
    /// of its width, or changed by t of its brightness, or both, differs by some t² of its light
    /// from what its slopes tell: by the noise, if t² = 1/h. That keeps two images on top of each
    /// other, which can be exchanged for one another, from wandering. Where an image is alone and
    /// both frames tell as much of it, r does not depend on how it is held.
    fn hold(&self, right: &mut [[f64; BLOCK]], mut matrix: Option<&mut BlockTriangle>) {
        for (n, (held, fitted)) in self.held.iter().zip(&self.fitted).enumerate() {
            let light = held.height;
            let place = light / self.particles.width().powi(2);
            for k in 0..2 {
                let unit = self.unit(n, k);
                right[n][k] += place * (held.place[k] - fitted.place[k]);
                right[n][2 + k] += light * (held.light[k] - fitted.light[k]) / unit;
                if let Some(matrix) = matrix.as_mut() {
                    let block = matrix.block(n, n);
                    block[k][k] += place;
                    block[2 + k][2 + k] += light;
                }
            }
        }
    }

    /// Takes a fraction of a step, of limited length.
    fn step(&mut self, unknowns: &[[f64; BLOCK]], share: f64) {
        self.moved = true;
        let limited = |step: f64, k: usize| share * step.clamp(-STEP[k], STEP[k]);
        for (n, step) in unknowns.iter().take(self.fitted.len()).enumerate() {
            let units = [0, 1].map(|frame| self.unit(n, frame));
            let particle = &mut self.fitted[n];
            for k in 0..2 {
                particle.place[k] += limited(step[k], 0);
                particle.light[k] += units[k] * limited(step[2 + k], 1);
            }
        }
        if let Some(last) = unknowns.last() {
            for k in 0..2 {
                self.background[k] += share * self.particles.unit(0.0) * last[k];
                self.residual[k] += limited(last[2 + k], 0);
            }
        }
    }
}

/// A row or column of a frame, unless it lies outside.
fn row_inside(at: isize, side: usize) -> Option<usize> {
    usize::try_from(at).ok().filter(|&at| at < side)
}

/// Whether two images of this extent share pixels, by the first pixel of each.
#[inline(always)]
fn overlap(one: [isize; 2], other: [isize; 2], extent: [usize; 2]) -> bool {
    (one[0].abs_diff(other[0]) < extent[0]) & (one[1].abs_diff(other[1]) < extent[1])
}

/// Finds for each particle the first whose image shares pixels with its own in either frame.
fn find_met(met: &mut Vec<usize>, images: &UnitImages, frames: &[FrameRoom; 2]) {
    let extent = images.extent();
    let count = frames[0].first.len();
    met.clear();
    met.resize(count + 1, 0);
    for (n, first_met) in met[..count].iter_mut().enumerate() {
        let own = frames.each_ref().map(|frame| (&frame.first[..n], frame.first[n]));
        // Particles stand from above to below, so most that are met come last; but they move.
        *first_met = own.into_iter().fold(n, |least, (before, own)| {
            let meets = |other: &Option<[isize; 2]>| match (own, other) {
                (Some(own), Some(other)) => overlap(own, *other, extent),
                _ => false,
            };
            before.iter().take(least).position(meets).unwrap_or(least)
        });
    }
}

/// Adds the products of the terms of particles `n` and `m`, and those of r with both.
fn add_products(
    matrix: &mut BlockTriangle,
    [n, m, last]: [usize; 3],
    of: [usize; 3],
    half: f64,
    products: &[[f64; 3]; 3],
) {
    let block = matrix.block(n, m);
    for i in 0..3 {
        for j in 0..3 {
            block[of[j]][of[i]] += products[i][j];
        }
    }
    let border = matrix.block(last, m);
    for k in 0..2 {
        for j in 0..3 {
            border[of[j]][2 + k] += half * products[k][j];
        }
    }
    let last_block = |i: usize, j: usize| half * half * products[i][j];
    let [xx, xy, yx, yy] = [[0, 0], [0, 1], [1, 0], [1, 1]].map(|[i, j]| last_block(i, j));
    if n != m {
        let border = matrix.block(last, n);
        for k in 0..2 {
            for i in 0..3 {
                border[of[i]][2 + k] += half * products[i][k];
            }
        }
    }
    let both = if n == m { 1.0 } else { 2.0 };
    let corner = matrix.block(last, last);
    corner[2][2] += both * xx;
    corner[2][3] += if n == m { xy } else { xy + yx };
    corner[3][3] += both * yy;
}
