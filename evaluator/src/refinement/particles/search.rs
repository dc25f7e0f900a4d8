//! The search for particles in what the description leaves of both frames.

use super::{FittedParticle, PairOfImages, Particles, displaced};
use crate::refinement::explained::Weighed;
use crate::refinement::particle_image::UnitImage;

/// How sure the first look is, in standard deviations: of the particles that just stand out enough
/// one in 700 is passed over, of those that stand out more, fewer.
const GLANCE: f64 = 3.0;

/// What the nine pixels must stand out by in any case, which noise alone does not do in two thirds
/// of all places. With streaks of 10 px one in 40 of the faintest particles is passed over by it.
const LEAST: f64 = 0.5;

impl Particles<'_> {
    /// Adds the particles that stand out of the residual by `threshold`, and counts them.
    ///
    /// Every pixel is taken for the position of a particle, and the light that it would have found
    /// by the matched filter. A first look at the nine pixels around tells where that can be left
    /// out: their sum, in standard deviations, goes with the filter's by the correlation of the
    /// image with a square.
    pub(super) fn search(&mut self, threshold: f64) -> usize {
        let [width, height] = self.frames[0].size;
        let explained = [self.explained(0), self.explained(1)];
        let around = explained.each_ref().map(|explained| explained.excess_around());
        let alike = self.images.likeness_to_square();
        let least = (alike * threshold - GLANCE * (1.0 - alike * alike).sqrt()).max(LEAST);
        let glance = |frame: usize, [x, y]: [f64; 2]| {
            let inside = |v: f64, side: usize| ((v + 0.5).max(0.0) as usize).min(side - 1);
            around[frame][inside(y, height) * width + inside(x, width)]
        };
        let predicted = self.predictor.at_pixels([width, height]);
        let (mut image, mut room) = (UnitImage::default(), Weighed::default());
        // By how much a particle at each pixel would stand out, and its brightness.
        let answer = |n: usize| {
            let place = [(n % width) as f64, (n / width) as f64];
            let places = displaced(place, predicted[n]);
            if glance(0, places[0]) + glance(1, places[1]) < least * f64::sqrt(2.0) {
                return [0.0; 2];
            }
            let (mut projection, mut information) = (0.0, 0.0);
            for (explained, place) in explained.iter().zip(places) {
                if self.images.draw(place, [width, height], &mut image) {
                    let [of_rest, of_image] = explained.matched(&image, &mut room);
                    projection += of_rest;
                    information += of_image;
                }
            }
            if information > 0.0 {
                [projection / information.sqrt(), projection / information]
            } else {
                [0.0; 2]
            }
        };
        let answers: Vec<[f64; 2]> = (0..width * height).map(answer).collect();
        let neighbours = |n: usize| {
            let (x, y) = (n % width, n / width);
            let near = |at: usize, side: usize| at.saturating_sub(1)..(at + 2).min(side);
            near(y, height).flat_map(move |y| near(x, width).map(move |x| y * width + x))
        };
        let before = self.all.len();
        for (n, [height, light]) in answers.iter().enumerate() {
            if *height >= threshold && neighbours(n).all(|m| answers[m][0] <= *height) {
                self.all.push(FittedParticle {
                    place: [(n % width) as f64, (n / width) as f64],
                    light: [*light; 2],
                    height: *height,
                });
            }
        }
        let mut images = PairOfImages::default();
        for n in before..self.all.len() {
            self.draw(&self.all[n], &mut images);
            self.add_to_signal(&images, self.all[n].light);
        }
        self.all.len() - before
    }
}
