//! Refinement of vectors that the correlation has found, by fitting the pixels or the particles.

mod explained;
mod image_shape;
pub(crate) mod images_as_found;
pub(crate) mod matching;
mod padded;
pub(crate) mod particle_fit;
mod particle_image;
pub(crate) mod particle_shifts;
pub(crate) mod particles;
mod window_sums;

use crate::named::named;

named! {
    /// How the vectors of the last pass are refined.
    pub enum Refinement {
        /// Not at all: the vectors are those of the correlation.
        None = "none",
        /// By least-squares matching: the frames are deformed once more, by the vectors of the last
        /// pass, and the remaining displacement is fitted to the pixels' differences, allowing for
        /// unequal brightness and background. A vector that is not valid, that cannot be fitted or
        /// that would move by more than half a pixel stays as it is.
        LeastSquares = "least-squares",
        /// By fitting the particles of both windows together, each with a position and a brightness
        /// in either frame, with one image shape for all and one displacement (maximum likelihood).
        /// Needs no interpolation, weights bright and dim pixels by their noise, and allows for
        /// particles that enter and leave the light sheet. Nearest to the bound ([`crate::bound`])
        /// in bright pictures, from 500 electrons in a particle's brightest pixel, and in very dim
        /// ones, at 30; from 60 to 240 the total error is that of no refinement to 8 % less (a
        /// single component up to 4 % more), with streaks of 2 to 7 px 4 to 8 % less, and with
        /// streaks of 10 px 7 % more, as its image shape is not made for them
        /// (`results/processing`). Slow: 0.2 to 0.3 s for a pair of 256 x 256 px with 0.03 particles
        /// per pixel, three to four times that with streaks of 4 px (on one core; the correlation
        /// takes 0.01 s). A vector that is not valid, whose fit does not converge in 12 steps or
        /// leaves more than 3 times the variance found in the whole frames, or that would move by
        /// more than half a pixel stays as it is.
        ParticleFit = "particle-fit",
    }
}

/// Greatest distance of a refined vector from that of the correlation, px; beyond it the first
/// order of the expansion does not hold.
pub(crate) const FARTHEST_PX: f64 = 0.5;
