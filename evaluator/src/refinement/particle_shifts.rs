//! What each particle alone says of the displacement that the predictor misses.
//!
//! A particle found at X is expected at X - p/2 in frame A and at X + p/2 in B, and seen displaced
//! from there by a and b. With all other particles where they were found, and its brightness
//! eliminated, the pixels under its images give the normal equations I a = g of each of the two. The
//! missed displacement r = b - a then has the information J = (Iₐ⁻¹ + I_b⁻¹)⁻¹, and
//! J r = Iₐ (Iₐ + I_b)⁻¹ g_b - I_b (Iₐ + I_b)⁻¹ gₐ. A window takes the mean of its particles,
//! weighted by J and by the window's weights at X.
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A positive definite matrix and a right side, of numbers without pattern.
    fn sums<const N: usize>(seed: u64) -> Sums<N> {
        let mut state = seed;
        let mut number = || {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            (state >> 40) as f64 / (1u64 << 24) as f64 - 0.5
        };
        let terms: [[f64; N]; 8] = std::array::from_fn(|_| std::array::from_fn(|_| number()));
        let values: [f64; 8] = std::array::from_fn(|_| number());
        let sum = |term: &dyn Fn(usize) -> f64| (0..8).map(term).sum();
        Sums {
            matrix: std::array::from_fn(|i| std::array::from_fn(|j| sum(&|n| terms[n][i] * terms[n][j]))),
            right: std::array::from_fn(|i| sum(&|n| terms[n][i] * values[n])),
        }
    }

    /// Derived: eliminating the brightness leaves the place that the equations of both give
    /// (relative tolerance 1e-9: rounding, times a condition of the matrix of at most 1e3).
    #[test]
    fn brightness_is_eliminated() {
        for seed in 0..20 {
            let sums = sums::<3>(seed);
            let light = 3.5;
            let mut all = Normal::<3>::new();
            all.add_sums([0, 1, 2], [light, light, 1.0], &sums);
            let mut places = Normal::<2>::new();
            places.add_sums([0, 1], [1.0; 2], &without_brightness(&sums, light));
            let (all, places) = (all.solve().unwrap(), places.solve().unwrap());
            for k in 0..2 {
                assert!(
                    (all[k] - places[k]).abs() < 1e-9 * all[k].abs().max(1.0),
                    "{all:?} {places:?}"
                );
            }
        }
    }

    /// Derived: the difference is that of the places found in either frame, and the r of the
    /// equations of X and r together, with the places X - r/2 and X + r/2. Its information is right
    /// if rᵀ J r is what two places explain of the squares beyond what a common one does. Tolerance
    /// as above.
    #[test]
    fn places_of_both_frames_give_their_difference() {
        for seed in 0..20 {
            let (a, b) = (sums::<2>(seed), sums::<2>(seed + 100));
            let solved = |sums: &Sums<2>| {
                let mut normal = Normal::<2>::new();
                normal.add_sums([0, 1], [1.0; 2], sums);
                normal.solve().unwrap()
            };
            let (at_a, at_b) = (solved(&a), solved(&b));
            let found = difference(&a, &b).unwrap();
            let right = found.right();
            let r = found.solve().unwrap();
            // X and r together, the terms of r being half those of X, of opposite sign in A.
            let mut together = Normal::<4>::new();
            for (sums, half) in [(&a, -0.5), (&b, 0.5)] {
                let factors = [1.0, 1.0, half, half];
                let wide = Sums {
                    matrix: std::array::from_fn(|i| std::array::from_fn(|j| sums.matrix[i % 2][j % 2])),
                    right: std::array::from_fn(|i| sums.right[i % 2]),
                };
                together.add_sums([0, 1, 2, 3], factors, &wide);
            }
            let both = together.solve().unwrap();
            for k in 0..2 {
                let tolerance = 1e-9 * r[k].abs().max(1.0);
                assert!(
                    (r[k] - (at_b[k] - at_a[k])).abs() < tolerance,
                    "{r:?} {at_a:?} {at_b:?}"
                );
                assert!((r[k] - both[2 + k]).abs() < tolerance, "{r:?} {both:?}");
            }
            let square: f64 = r.iter().zip(right).map(|(r, right)| r * right).sum();
            let gain = |sums: &Sums<2>| {
                let place = solved(sums);
                place
                    .iter()
                    .zip(sums.right)
                    .map(|(place, right)| place * right)
                    .sum::<f64>()
            };
            let common = Sums {
                matrix: [0, 1].map(|i| [0, 1].map(|j| a.matrix[i][j] + b.matrix[i][j])),
                right: [0, 1].map(|i| a.right[i] + b.right[i]),
            };
            let expected = gain(&a) + gain(&b) - gain(&common);
            assert!((square - expected).abs() < 1e-9, "{square} {expected}");
        }
    }
}
