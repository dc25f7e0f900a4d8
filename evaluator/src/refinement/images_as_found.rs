//! Images of a pair's particles where they were found, from which the fit of each window starts.
//!
//! A particle is seen by all windows that overlap there, and its image there is the same for all of
//! them. Particles and windows come from above to below, so images are made when a window first
//! needs them and dropped when a whole row of windows did not: those of all particles at once would
//! take several times the memory of the frames.

use super::particle_image::UnitImage;
use super::particles::{PairOfImages, Particles};

/// The images that windows need, by number of the particle.
#[derive(Default)]
pub(crate) struct ImagesAsFound {
    images: Vec<Option<Box<PairOfImages>>>,
    row: usize,
    /// The first particle whose images are kept, and the first that this row of windows needs.
    kept: usize,
    needed: usize,
}

impl ImagesAsFound {
    /// Sees to the images of these particles, which a window in this row of windows needs.
    pub fn make(&mut self, particles: &Particles, numbers: &[usize], row: usize) {
        self.images.resize_with(particles.all.len(), || None);
        if row != self.row {
            self.images[self.kept..self.needed.max(self.kept)].fill_with(|| None);
            (self.row, self.kept, self.needed) = (row, self.needed, particles.all.len());
        }
        for &n in numbers {
            self.needed = self.needed.min(n);
            self.images[n].get_or_insert_with(|| {
                let mut images = Box::default();
                particles.draw(&particles.all[n], &mut images);
                images
            });
        }
    }

    /// The image of a particle in a frame, if anything of it is there.
    #[inline(always)]
    pub fn get(&self, n: usize, frame: usize) -> Option<&UnitImage> {
        self.images[n].as_ref()?[frame].as_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deform::{Predictor, PredictorFilter};
    use crate::frames::FrameView;
    use crate::refinement::{image_shape::ImageShape, particle_image::UnitImages};

    /// Slow plain reference: what a window gets is what is drawn for it alone, and of a picture of
    /// many rows of windows only the images of a few are there at any time: a window of 32 px shows
    /// at most 9 particles that stand 5 px apart, and those that the row before needed stay.
    #[test]
    fn images_are_those_drawn_anew_and_few_are_kept() {
        let size = [24, 200];
        let images = UnitImages::new(&ImageShape::new([0.6, 0.0, 0.6]));
        let mut pixels = vec![10.0f32; size[0] * size[1]];
        let mut image = UnitImage::default();
        for n in 0..40 {
            let place = [7.3 + (n % 3) as f64 * 4.1, 2.6 + 5.0 * n as f64];
            assert!(images.draw(place, size, &mut image));
            for (k, share) in image.parts[0].as_flattened().iter().enumerate() {
                let at = [k % images.columns(), k / images.columns()];
                let [x, y] = [0, 1].map(|k| usize::try_from(image.first[k] + at[k] as isize));
                if let (Ok(x @ 0..24), Ok(y @ 0..200)) = (x, y) {
                    pixels[y * size[0] + x] += (1e4 * share) as f32;
                }
            }
        }
        let frame = FrameView {
            size,
            pixels: &pixels,
        };
        let predictor = Predictor::new(
            [0.0; 2],
            [8; 2],
            [3, 25],
            vec![[0.0; 2]; 75],
            PredictorFilter::BSpline,
        );
        let particles = Particles::find([frame; 2], &predictor, None, true);
        assert!(particles.all.len() >= 40, "{} found", particles.all.len());
        let mut kept = ImagesAsFound::default();
        for row in 0..=21 {
            let numbers = particles.shown([[0, 8 * row]; 2], [24, 32]);
            kept.make(&particles, &numbers, row as usize);
            for n in numbers {
                let mut expected = PairOfImages::default();
                particles.draw(&particles.all[n], &mut expected);
                for (frame, expected) in expected.iter().enumerate() {
                    let [found, expected] = [kept.get(n, frame), expected.as_ref()]
                        .map(|image| image.map(|image| (image.first, image.parts.clone())));
                    assert_eq!(found, expected, "particle {n}, row {row}");
                }
            }
            let there = kept.images.iter().flatten().count();
            assert!(there <= 16, "{there} particles have images in row {row}");
        }
    }
}
