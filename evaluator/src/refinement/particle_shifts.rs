//! What each particle alone says of the displacement that the predictor misses.
//!
//! A particle found at X is expected at X - p/2 in frame A and at X + p/2 in B, and seen displaced
//! from there by a and b. With all other particles where they were found, and its brightness
//! eliminated, the pixels under its images give the normal equations I a = g of each of the two. The
//! missed displacement r = b - a then has the information J = (Iₐ⁻¹ + I_b⁻¹)⁻¹, and
//! J r = Iₐ (Iₐ + I_b)⁻¹ g_b - I_b (Iₐ + I_b)⁻¹ gₐ. A window takes the mean of its particles, weighted
//! by J and by the window's weights at X.
//!
//! This is the first step of the fit of all particles of a window together
//! ([`super::particle_fit`]) without the matrix that couples those that overlap: enough for a
//! predictor from which that fit is made.

use super::explained::Weighed;
use super::particles::{FittedParticle, PairOfImages, Particles};
use crate::least_squares::{Normal, Sums};
use crate::window::{Grid, Weighting, window_weights};

/// Adds to the equations of r in each window, with its number, what the particles within say.
pub(crate) fn add<'a>(
    particles: &Particles,
    grid: &Grid,
    weighting: Weighting,
    windows: impl Iterator<Item = (usize, &'a mut Normal<2>)>,
) {
    let (mut images, mut room) = (PairOfImages::default(), Weighed::default());
    let shift = |particle: &FittedParticle| {
        particles.draw(particle, &mut images);
        let mut seen = |frame: usize| {
            let sums = particles.explained(frame).fit(images[frame].as_ref()?, &mut room);
            Some(without_brightness(&sums, particle.light[frame]))
        };
        difference(&seen(0)?, &seen(1)?)
    };
    let shifts: Vec<Option<Normal<2>>> = particles.all.iter().map(shift).collect();
    let weights = grid.window.map(|side| window_weights(weighting, side));
    for (window, equations) in windows {
        let corner = grid.corner(window % grid.columns, window / grid.columns);
        let corner = corner.map(|c| c as f64);
        // Particles stand from above to below.
        let beside = |y: f64| particles.all.partition_point(|particle| particle.place[1] < y);
        let within = beside(corner[1] - 0.5)..beside(corner[1] - 0.5 + grid.window[1] as f64);
        for (particle, shift) in particles.all[within.clone()].iter().zip(&shifts[within]) {
            let [x, y] = [0, 1].map(|k| weight_at(&weights[k], particle.place[k] - corner[k]));
            if let Some(shift) = shift {
                equations.add_weighted(shift, x * y);
            }
        }
    }
}

/// The weight of the pixel in which a place lies, 0 outside the window.
fn weight_at(weights: &[f64], place: f64) -> f64 {
    let pixel = (place + 0.5).floor();
    if pixel < 0.0 {
        0.0
    } else {
        weights.get(pixel as usize).copied().unwrap_or(0.0)
    }
}

/// The equations of the place of an image, from the sums over its slopes along x and y and its
/// fraction of the `light`, which is unknown, too.
fn without_brightness(sums: &Sums<3>, light: f64) -> Sums<2> {
    let share = |k: usize| match sums.matrix[2][2] {
        0.0 => 0.0,
        own => sums.matrix[k][2] / own,
    };
    Sums {
        matrix: [0, 1]
            .map(|i| [0, 1].map(|j| light * light * (sums.matrix[i][j] - share(i) * sums.matrix[2][j]))),
        right: [0, 1].map(|i| light * (sums.right[i] - share(i) * sums.right[2])),
    }
}

/// The equations of b - a from those of a and b; `None` if neither place is determined.
fn difference(a: &Sums<2>, b: &Sums<2>) -> Option<Normal<2>> {
    let both = [0, 1].map(|i| [0, 1].map(|j| a.matrix[i][j] + b.matrix[i][j]));
    let determinant = both[0][0] * both[1][1] - both[0][1] * both[1][0];
    if determinant.is_nan() || determinant <= 0.0 {
        return None;
    }
    let inverse =
        [[both[1][1], -both[0][1]], [-both[1][0], both[0][0]]].map(|row| row.map(|v| v / determinant));
    // Iₐ (Iₐ + I_b)⁻¹ and I_b (Iₐ + I_b)⁻¹.
    let [of_a, of_b] = [a, b].map(|sums| product(&sums.matrix, &inverse));
    let right = [0, 1].map(|i| {
        let side = |shares: [f64; 2], right: [f64; 2]| shares[0] * right[0] + shares[1] * right[1];
        side(of_a[i], b.right) - side(of_b[i], a.right)
    });
    let mut equations = Normal::new();
    let matrix = product(&of_a, &b.matrix);
    equations.add_sums([0, 1], [1.0; 2], &Sums { matrix, right });
    Some(equations)
}

fn product(a: &[[f64; 2]; 2], b: &[[f64; 2]; 2]) -> [[f64; 2]; 2] {
    [0, 1].map(|i| [0, 1].map(|j| a[i][0] * b[0][j] + a[i][1] * b[1][j]))
}
