//! The particles of a pair: where they are, and how bright in either frame.
//!
//! The pair is described as particle images of one [`ImageShape`] over a background, each at a
//! position X midway in time, which the predictor p places at X - p/2 in frame A and at X + p/2 in
//! B, with a separate brightness in either frame, so that particles may enter and leave the light
//! sheet. The variance of the pixels is a linear function of their signal (the linear camera of
//! EMVA 1288). All of it is found from the frames in rounds:
//!
//! 1. What the description leaves unexplained is searched for further particles: those that stand
//!    out of the noise in both frames together (the matched filter). Thus faint images beside
//!    bright ones, and the second of two that overlap, are found after the others.
//! 2. Each particle in turn is fitted to what the others leave (weighted least squares in position
//!    and brightness).
//! 3. The shape is corrected by the second moments of the residual, the background and the noise by
//!    its mean and scatter.
//!
//! (As in crowded-field photometry in astronomy: Stetson 1987; from memory.)

mod search;

use super::explained::{Explained, Weighed, add_light, add_widening};
use super::image_shape::ImageShape;
use super::padded::Padded;
use super::particle_image::{UnitImage, UnitImages};
use crate::deform::Predictor;
use crate::frames::FrameView;
use crate::least_squares::Normal;
use crate::statistics::quantile_low;

/// One particle.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FittedParticle {
    /// Position midway in time, px.
    pub place: [f64; 2],
    /// Brightness in frame A and B, grey values summed over the image.
    pub light: [f64; 2],
    /// By how many standard deviations both images stand out of the noise.
    pub height: f64,
}

/// The images of a particle in frame A and B; `None` where nothing of it is in the frame.
pub(crate) type PairOfImages = [Option<UnitImage>; 2];

/// Greatest number of rounds, and the fraction of new particles below which no further one is made.
const ROUNDS: usize = 10;
const FEW: f64 = 0.005;

/// Standard deviations by which a particle must stand out of the noise: in the first rounds, while
/// the bright ones are still being described, and afterwards. In noise alone 4.5 would take one
/// pixel in 300,000 for a particle.
const BRIGHT_ROUNDS: usize = 3;
const BRIGHT: f64 = 8.0;
const FAINT: f64 = 4.5;

/// A particle that stands out by less than this is given up again.
const LOST: f64 = 3.0;

/// A particle rests, until the others have been fitted, if it moved by no more than this many
/// standard deviations.
const REST: f64 = 0.1;

/// Greatest change of a particle per step: of its position, px, and of its relative brightness.
const STEP: [f64; 2] = [0.3, 0.7];

/// A pair described by its particles.
pub(crate) struct Particles<'a> {
    pub frames: [FrameView<'a>; 2],
    pub predictor: &'a Predictor,
    pub shape: ImageShape,
    /// Variance without light, and the variance added per grey value above the background.
    pub noise: [f64; 2],
    /// Least variance without light: that of rounding in the numbers.
    least: f64,
    pub background: [f64; 2],
    pub all: Vec<FittedParticle>,
    /// Where the particles are in frame A and B by the predictor, px, from above to below, and
    /// their numbers.
    seen: [Vec<([f64; 2], usize)>; 2],
    /// Makes the images of the shape.
    pub images: UnitImages,
    grey: [Padded; 2],
    /// The signal of all particles in the pixels of both frames.
    signal: [Padded; 2],
}

/// What describes a pair: the particles, how their images look, and what lies under them.
pub(crate) struct PairDescription {
    shape: ImageShape,
    noise: [f64; 2],
    least: f64,
    background: [f64; 2],
    all: Vec<FittedParticle>,
}

impl PairDescription {
    /// Without particles: the background is the grey value below which three tenths of the pixels
    /// lie, the noise is the scatter below it, the shape that of the sharper peaks (the wider ones
    /// are several images).
    fn first_guess(frames: &[FrameView; 2]) -> Self {
        const SHARE: f64 = 0.3;
        let background =
            frames.map(|frame| quantile_low(frame.pixels.iter().map(|p| f64::from(*p)).collect(), SHARE));
        let above = |k: usize| {
            frames[k]
                .pixels
                .iter()
                .map(move |p| f64::from(*p) - background[k])
        };
        let contrast = above(0).chain(above(1)).fold(0.0, f64::max);
        let below = above(0)
            .chain(above(1))
            .filter(|v| *v <= 0.0)
            .map(f64::abs)
            .collect();
        let least = if contrast > 0.0 {
            (1e-4 * contrast).powi(2)
        } else {
            1.0
        };
        let floor = (1.5 * quantile_low(below, 0.5)).powi(2).max(least);
        let variances = [0, 1].map(|axis| {
            let peaks = peak_variances(&frames[0], background[0], 10.0 * floor.sqrt(), axis);
            if peaks.is_empty() {
                0.5
            } else {
                (quantile_low(peaks, SHARE) - 1.0 / 12.0).max(0.05)
            }
        });
        Self {
            shape: ImageShape::new([variances[0], 0.0, variances[1]]),
            noise: [floor, 0.0],
            least,
            background,
            all: vec![],
        }
    }
}

impl<'a> Particles<'a> {
    /// The particles of two frames, displaced by about `predictor`. Where the pair was described
    /// before, with nearly the same predictor, they are those and, if that is asked for, what a
    /// further search finds.
    pub fn find(
        frames: [FrameView<'a>; 2],
        predictor: &'a Predictor,
        known: Option<PairDescription>,
        search: bool,
    ) -> Self {
        let rounds = match known {
            None => 0..ROUNDS,
            Some(_) if search => BRIGHT_ROUNDS + 1..ROUNDS,
            Some(_) => 0..0,
        };
        let is_known = known.is_some();
        let description = known.unwrap_or_else(|| PairDescription::first_guess(&frames));
        let mut found = Self::described(frames, predictor, description);
        if is_known {
            found.fit();
        }
        for round in rounds {
            let new = found.search(if round < BRIGHT_ROUNDS { BRIGHT } else { FAINT });
            found.fit();
            found.reshape();
            let mut resting = vec![false; found.all.len()];
            found.fit_each(&mut resting);
            found.weigh_noise();
            found.give_up();
            if round > BRIGHT_ROUNDS && (new as f64) <= FEW * found.all.len() as f64 {
                break;
            }
        }
        found.all.sort_by(|a, b| a.place[1].total_cmp(&b.place[1]));
        found.seen = [0, 1].map(|frame| {
            let places = found
                .all
                .iter()
                .map(|particle| found.places(particle.place)[frame]);
            let mut seen: Vec<([f64; 2], usize)> = places.zip(0..).collect();
            seen.sort_by(|([_, a], _), ([_, b], _)| a.total_cmp(b));
            seen
        });
        found
    }

    /// The numbers of the particles that give light to a window of `size` pixels with its corner at
    /// `corners` in frame A and B, in either of them, from above to below.
    pub fn shown(&self, corners: [[isize; 2]; 2], size: [usize; 2]) -> Vec<usize> {
        let reach = self.shape.reach();
        let mut numbers = vec![];
        for (seen, corner) in self.seen.iter().zip(corners) {
            let [across, down] = [0, 1].map(|k| {
                let from = corner[k] as f64 - reach[k];
                from..from + size[k] as f64 + 2.0 * reach[k]
            });
            let first = seen.partition_point(|([_, y], _)| *y < down.start);
            let below = seen[first..].iter().take_while(|([_, y], _)| *y < down.end);
            numbers.extend(
                below
                    .filter(|([x, _], _)| across.contains(x))
                    .map(|(_, number)| *number),
            );
        }
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }

    fn described(frames: [FrameView<'a>; 2], predictor: &'a Predictor, description: PairDescription) -> Self {
        let PairDescription {
            shape,
            noise,
            least,
            background,
            all,
        } = description;
        let mut particles = Self {
            frames,
            predictor,
            images: UnitImages::new(&shape),
            shape,
            noise,
            least,
            background,
            all,
            seen: Default::default(),
            grey: Default::default(),
            signal: Default::default(),
        };
        particles.take_shape(shape);
        particles
    }

    /// What was found, without the frames.
    pub fn description(self) -> PairDescription {
        PairDescription {
            shape: self.shape,
            noise: self.noise,
            least: self.least,
            background: self.background,
            all: self.all,
        }
    }

    /// Makes images of this shape from now on.
    fn take_shape(&mut self, shape: ImageShape) {
        self.shape = shape;
        self.images = UnitImages::new(&shape);
        for (grey, frame) in self.grey.iter_mut().zip(&self.frames) {
            grey.clear(frame.size, &self.images);
            for (y, pixels) in frame.pixels.chunks_exact(frame.size[0]).enumerate() {
                for (grey, &pixel) in grey.row_mut(y).as_flattened_mut().iter_mut().zip(pixels) {
                    *grey = f64::from(pixel);
                }
            }
        }
        self.redraw();
    }

    /// The positions of a particle in frame A and B by the predictor.
    fn places(&self, place: [f64; 2]) -> [[f64; 2]; 2] {
        displaced(place, self.predictor.at(place[0], place[1]))
    }

    pub(super) fn explained(&self, frame: usize) -> Explained<'_> {
        Explained {
            grey: &self.grey[frame],
            signal: &self.signal[frame],
            background: self.background[frame],
            noise: self.noise,
            chunks: self.images.chunks,
        }
    }

    /// Makes the images of a particle at its place in both frames.
    pub fn draw(&self, particle: &FittedParticle, images: &mut PairOfImages) {
        let places = self.places(particle.place);
        for ((image, place), frame) in images.iter_mut().zip(places).zip(&self.frames) {
            let mut made = image.take().unwrap_or_default();
            *image = self.images.draw(place, frame.size, &mut made).then_some(made);
        }
    }

    /// Makes the signal anew.
    fn redraw(&mut self) {
        for (signal, frame) in self.signal.iter_mut().zip(&self.frames) {
            signal.clear(frame.size, &self.images);
        }
        let mut images = PairOfImages::default();
        for n in 0..self.all.len() {
            self.draw(&self.all[n], &mut images);
            self.add_to_signal(&images, self.all[n].light);
        }
    }

    /// Adds the light of a particle to the signal.
    fn add_to_signal(&mut self, images: &PairOfImages, light: [f64; 2]) {
        for (frame, image) in images.iter().enumerate() {
            if let Some(image) = image {
                add_light(&mut self.signal[frame], image, self.images.chunks, light[frame]);
            }
        }
    }

    /// Fits each particle up to three times.
    fn fit(&mut self) {
        let mut resting = vec![false; self.all.len()];
        for _ in 0..3 {
            self.fit_each(&mut resting);
        }
    }

    /// Fits each particle in turn to what the others leave, but for those that rest: whose last
    /// step was short.
    fn fit_each(&mut self, resting: &mut [bool]) {
        let (mut images, mut room) = (PairOfImages::default(), Weighed::default());
        for (n, rests) in resting.iter_mut().enumerate() {
            if *rests {
                continue;
            }
            let FittedParticle { place, light, height } = self.all[n];
            let unit = light.map(|light| self.unit(light));
            let mut normal = Normal::<4>::new();
            self.draw(&self.all[n], &mut images);
            for (frame, image) in images.iter().enumerate() {
                let Some(image) = image else { continue };
                let sums = self.explained(frame).fit(image, &mut room);
                normal.add_sums(
                    [0, 1, 2 + frame],
                    [light[frame], light[frame], unit[frame]],
                    &sums,
                );
            }
            let right = normal.right();
            let Some(step) = normal.solve() else { continue };
            // |Lᵀ step|², the square of the step in standard deviations.
            let square: f64 = step.iter().zip(right).map(|(step, right)| step * right).sum();
            *rests = square <= REST * REST;
            self.add_to_signal(&images, light.map(|light| -light));
            self.all[n] = FittedParticle {
                place: [0, 1].map(|k| place[k] + step[k].clamp(-STEP[0], STEP[0])),
                light: [0, 1].map(|k| light[k] + unit[k] * step[2 + k].clamp(-STEP[1], STEP[1])),
                height,
            };
            self.draw(&self.all[n], &mut images);
            self.add_to_signal(&images, self.all[n].light);
        }
    }

    /// Standard deviation of the images, px: of their mean width.
    pub fn width(&self) -> f64 {
        let [xx, _, yy] = self.shape.covariance();
        (0.5 * (xx + yy)).sqrt()
    }

    /// The unit in which a brightness is fitted: itself, or the noise if that is larger.
    pub fn unit(&self, light: f64) -> f64 {
        light.abs().max(self.noise[0].sqrt())
    }

    /// Corrects the shape by the second moments of the residual.
    fn reshape(&mut self) {
        let size = self.frames[0].size;
        let mut normal = Normal::<3>::new();
        let mut image = UnitImage::default();
        for frame in 0..2 {
            let mut changes: [Padded; 3] = Default::default();
            changes
                .iter_mut()
                .for_each(|changes| changes.clear(size, &self.images));
            for particle in &self.all {
                let place = self.places(particle.place)[frame];
                if self.images.draw_widening(place, size, &mut image) {
                    add_widening(&mut changes, &image, self.images.chunks, particle.light[frame]);
                }
            }
            let sums = self.explained(frame).widening(&changes);
            normal.add_sums([0, 1, 2], [1.0; 3], &sums);
        }
        let shape = match normal.solve() {
            Some(step) => {
                let covariance = self.shape.covariance();
                let most = 0.3 * (covariance[0] + covariance[2]);
                ImageShape::new([0, 1, 2].map(|k| covariance[k] + step[k].clamp(-most, most)))
            }
            None => self.shape,
        };
        self.take_shape(shape);
    }

    /// Corrects the background by the mean and the noise by the scatter of the residual, both
    /// weighted by the noise; scatter beyond five standard deviations is a particle yet to be
    /// found.
    fn weigh_noise(&mut self) {
        for frame in 0..2 {
            let [sum, weights] = self.explained(frame).level();
            self.background[frame] += sum / weights;
        }
        for _ in 0..3 {
            let mut normal = Normal::<2>::new();
            for frame in 0..2 {
                normal.add_sums([0, 1], [1.0; 2], &self.explained(frame).scatter());
            }
            if let Some([floor, slope]) = normal.solve() {
                self.noise = [floor.max(0.1 * self.noise[0]).max(self.least), slope.max(0.0)];
            }
        }
    }

    /// Removes the particles that do not stand out of the noise.
    fn give_up(&mut self) {
        let (mut images, mut room) = (PairOfImages::default(), Weighed::default());
        let mut all = std::mem::take(&mut self.all);
        for particle in &mut all {
            self.draw(particle, &mut images);
            let mut square = 0.0;
            for (frame, image) in images.iter().enumerate() {
                let Some(image) = image else { continue };
                let light = particle.light[frame];
                square += light * light.abs() * self.explained(frame).matched(image, &mut room)[1];
            }
            particle.height = f64::max(square, 0.0).sqrt();
        }
        all.retain(|particle| particle.height > LOST);
        self.all = all;
        self.redraw();
    }
}

/// The positions in frame A and B of a particle that moves by `d`.
pub(crate) fn displaced(place: [f64; 2], d: [f64; 2]) -> [[f64; 2]; 2] {
    [-0.5, 0.5].map(|half| [0, 1].map(|k| place[k] + half * d[k]))
}

/// The variance along an axis of each peak higher than `least`: that of the Gaussian through three
/// pixels.
fn peak_variances(frame: &FrameView, background: f64, least: f64, axis: usize) -> Vec<f64> {
    let [width, height] = frame.size;
    let at = |x: usize, y: usize| f64::from(frame.pixels[y * width + x]) - background;
    let mut variances = vec![];
    for y in 1..height.saturating_sub(1) {
        for x in 1..width.saturating_sub(1) {
            let top = at(x, y);
            let is_peak = || (y - 1..y + 2).all(|j| (x - 1..x + 2).all(|i| at(i, j) <= top));
            if top < least || !is_peak() {
                continue;
            }
            let [before, after] = if axis == 0 {
                [at(x - 1, y), at(x + 1, y)]
            } else {
                [at(x, y - 1), at(x, y + 1)]
            };
            let curvature = 2.0 * top.ln() - before.ln() - after.ln();
            if before > 0.0 && after > 0.0 && curvature > 0.0 {
                variances.push(1.0 / curvature);
            }
        }
    }
    variances
}
