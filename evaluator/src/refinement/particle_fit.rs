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

use super::particle_image::UnitImage;
use super::particles::{FittedParticle, Particles, displaced};
use crate::least_squares::{LowerTriangle, Normal, solve_triangular};
use crate::window::{Grid, Weighting, window_weights};

/// Greatest number of steps of a fit, and the length of the last step in standard deviations of r.
const STEPS: usize = 12;
const LAST: f64 = 0.1;

/// How closely the particles are held to what the whole frames gave: standard deviation of the
/// position, px, and of the relative brightness.
const HELD: [f64; 2] = [0.3, 0.5];

/// Greatest change per step: of the position of a particle or the window, px, and of the relative
/// brightness of a particle.
const STEP: [f64; 2] = [0.2, 0.5];

/// A fit is discarded if it leaves more than this many times the variance found in the whole
/// frames.
const WORST: f64 = 3.0;

/// Adds to `found` what window number `n` says about r, as two rows of equations; nothing if the
/// fit is discarded.
pub(crate) fn add(particles: &Particles, grid: &Grid, weighting: Weighting, n: usize, found: &mut Normal<2>) {
    let mut window = WindowFit::new(particles, grid, weighting, n);
    let mut room = Room::default();
    let (mut share, mut before) = (1.0, f64::INFINITY);
    for _ in 0..STEPS {
        let Some(scatter) = window.equations(&mut room) else {
            return;
        };
        let Room { matrix, right, .. } = &mut room;
        if solve_triangular(matrix, right).is_none() {
            return;
        }
        let [[a, _], [b, c]] = matrix.last_two(right.len());
        let residual = window.residual;
        window.step(right, share);
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
        before = length;
    }
}

/// Memory for the equations of one step after another.
#[derive(Default)]
struct Room {
    matrix: LowerTriangle,
    right: Vec<f64>,
    signal: Vec<f64>,
    /// For each pixel the last of its entries in `lights`.
    last: Vec<Option<usize>>,
    lights: Vec<Light>,
    terms: Vec<(usize, f64)>,
}

/// What a particle contributes to a pixel.
struct Light {
    /// Number of the particle.
    particle: usize,
    /// By its position along x and y, and by its brightness.
    terms: [f64; 3],
    /// The pixel's entry before this one.
    before: Option<usize>,
}

/// The state of a window's fit.
struct WindowFit<'a> {
    particles: &'a Particles<'a>,
    size: [usize; 2],
    /// In frame A and B.
    corners: [[isize; 2]; 2],
    /// Of the pixels, at most 1.
    weights: Vec<f64>,
    held: Vec<FittedParticle>,
    fitted: Vec<FittedParticle>,
    background: [f64; 2],
    residual: [f64; 2],
}

impl<'a> WindowFit<'a> {
    fn new(particles: &'a Particles<'a>, grid: &Grid, weighting: Weighting, n: usize) -> Self {
        let (column, row) = (n % grid.columns, n / grid.columns);
        let [x, y] = grid.centre(column, row);
        let corners = displaced(
            grid.corner(column, row).map(|c| c as f64),
            particles.predictor.at(x, y),
        )
        .map(|corner| corner.map(|c| c.round() as isize));
        let [along_x, along_y] = grid.window.map(|side| window_weights(weighting, side));
        let weights: Vec<f64> = along_y
            .iter()
            .flat_map(|y| along_x.iter().map(move |x| x * y))
            .collect();
        let greatest = weights.iter().copied().fold(0.0, f64::max);
        let reach = particles.shape.reach();
        let shows = |places: &[[f64; 2]; 2]| {
            places.iter().zip(&corners).any(|(place, corner)| {
                (0..2).all(|k| {
                    let from = corner[k] as f64 - reach[k];
                    (from..from + grid.window[k] as f64 + 2.0 * reach[k]).contains(&place[k])
                })
            })
        };
        // Neighbouring particles are close together in the equations, so that these have few
        // elements far off the diagonal.
        let all = particles.all.iter().zip(&particles.seen);
        let mut held: Vec<FittedParticle> = all
            .filter(|(_, places)| shows(places))
            .map(|(particle, _)| *particle)
            .collect();
        held.sort_by(|a, b| a.place[1].total_cmp(&b.place[1]));
        Self {
            particles,
            size: grid.window,
            corners,
            weights: weights.iter().map(|w| w / greatest).collect(),
            fitted: held.clone(),
            held,
            background: particles.background,
            residual: [0.0; 2],
        }
    }

    /// Leaves the normal equations in `room` (the lower triangle of their matrix and the right side)
    /// and returns the weighted mean of the squared deviations divided by their variance. Unknowns:
    /// for each particle position x, y and brightness in A, B; two backgrounds; r.
    fn equations(&self, room: &mut Room) -> Option<f64> {
        let count = self.fitted.len();
        let unknowns = 4 * count + 4;
        let Room {
            matrix,
            right,
            signal,
            last,
            lights,
            terms,
        } = room;
        matrix.clear(unknowns);
        right.clear();
        right.resize(unknowns, 0.0);
        let (mut scatter, mut total) = (0.0, 0.0);
        let [width, height] = self.particles.frames[0].size.map(|side| side as isize);
        let place = |particle: &FittedParticle| {
            let p = self.particles.predictor.at(particle.place[0], particle.place[1]);
            displaced(particle.place, [0, 1].map(|k| p[k] + self.residual[k]))
        };
        let places: Vec<[[f64; 2]; 2]> = self.fitted.iter().map(place).collect();
        for (frame, half) in [-0.5, 0.5].into_iter().enumerate() {
            lights.clear();
            last.clear();
            last.resize(self.weights.len(), None);
            signal.clear();
            signal.resize(self.weights.len(), 0.0);
            // Backwards, so that a pixel's entries are read in the order of the unknowns.
            for (n, particle) in self.fitted.iter().enumerate().rev() {
                let image = UnitImage::new(&self.particles.shape, places[n][frame]);
                let light = particle.light[frame];
                let unit = self.particles.unit(light);
                for (pixel, [share, slope_x, slope_y]) in image.inside(self.corners[frame], self.size) {
                    signal[pixel] += light * share;
                    lights.push(Light {
                        particle: n,
                        terms: [light * slope_x, light * slope_y, unit * share],
                        before: last[pixel],
                    });
                    last[pixel] = Some(lights.len() - 1);
                }
            }
            for (pixel, last) in last.iter().enumerate() {
                let [x, y] = [pixel % self.size[0], pixel / self.size[0]].map(|at| at as isize);
                let [x, y] = [x + self.corners[frame][0], y + self.corners[frame][1]];
                if !(0..width).contains(&x) || !(0..height).contains(&y) {
                    continue;
                }
                let grey = f64::from(self.particles.frames[frame].pixels[(y * width + x) as usize]);
                let rest = grey - self.background[frame] - signal[pixel];
                let variance = self.particles.variance(signal[pixel]);
                let weight = self.weights[pixel] / variance;
                scatter += weight * rest * rest;
                total += self.weights[pixel];
                let mut slopes = [0.0; 2];
                terms.clear();
                let mut next = *last;
                while let Some(entry) = next {
                    let Light {
                        particle: n,
                        terms: [x, y, light],
                        before,
                    } = lights[entry];
                    slopes = [slopes[0] + x, slopes[1] + y];
                    terms.extend([(4 * n, x), (4 * n + 1, y), (4 * n + 2 + frame, light)]);
                    next = before;
                }
                terms.push((4 * count + frame, self.particles.unit(0.0)));
                terms.extend([0, 1].map(|k| (4 * count + 2 + k, half * slopes[k])));
                for (m, (row, a)) in terms.iter().enumerate() {
                    let a = weight * a;
                    right[*row] += a * rest;
                    let row = matrix.row_mut(*row);
                    for (column, b) in &terms[..=m] {
                        row[*column] += a * b;
                    }
                }
            }
        }
        for (n, (held, fitted)) in self.held.iter().zip(&self.fitted).enumerate() {
            for k in 0..2 {
                let [place, light] = HELD.map(|held| held.powi(-2));
                let unit = self.particles.unit(fitted.light[k]);
                let (at, of) = (4 * n + k, 4 * n + 2 + k);
                matrix.row_mut(at)[at] += place;
                matrix.row_mut(of)[of] += light;
                right[at] += place * (held.place[k] - fitted.place[k]);
                right[of] += light * (held.light[k] - fitted.light[k]) / unit;
            }
        }
        (total > 0.0).then(|| scatter / total)
    }

    /// Takes a fraction of a step, of limited length.
    fn step(&mut self, unknowns: &[f64], share: f64) {
        let count = self.fitted.len();
        let limited = |step: f64, k: usize| share * step.clamp(-STEP[k], STEP[k]);
        for (particle, step) in self.fitted.iter_mut().zip(unknowns.chunks_exact(4)) {
            for k in 0..2 {
                particle.place[k] += limited(step[k], 0);
                particle.light[k] += self.particles.unit(particle.light[k]) * limited(step[2 + k], 1);
            }
        }
        for k in 0..2 {
            self.background[k] += share * self.particles.unit(0.0) * unknowns[4 * count + k];
            self.residual[k] += limited(unknowns[4 * count + 2 + k], 0);
        }
    }
}
