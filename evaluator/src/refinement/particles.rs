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

use super::particle_image::{ImageShape, UnitImage};
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
}

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

/// A pixel is examined if it stands out by this fraction of what a particle must: a fifth, as the
/// pixel in the middle of even a long streak contains more than that of what the matched filter
/// sums.
const GLANCE: f64 = 0.2;

/// Greatest change of a particle per step: of its position, px, and of its relative brightness.
const STEP: [f64; 2] = [0.3, 0.7];

/// A pair described by its particles.
pub(crate) struct Particles<'a> {
    pub frames: [FrameView<'a>; 2],
    pub predictor: &'a Predictor,
    /// The predictor at every pixel, px.
    predicted: Vec<[f64; 2]>,
    pub shape: ImageShape,
    /// Variance without light, and the variance added per grey value above the background.
    noise: [f64; 2],
    /// Least variance without light: that of rounding in the numbers.
    least: f64,
    pub background: [f64; 2],
    pub all: Vec<FittedParticle>,
    /// Where they are in frame A and B by the predictor, px.
    pub seen: Vec<[[f64; 2]; 2]>,
    /// The signal of all particles in the pixels of both frames.
    signal: [Vec<f64>; 2],
}

impl<'a> Particles<'a> {
    /// The particles of two frames, displaced by about `predictor`.
    pub fn find(frames: [FrameView<'a>; 2], predictor: &'a Predictor) -> Self {
        let mut found = Self::first_guess(frames, predictor);
        for round in 0..ROUNDS {
            let new = found.search(if round < BRIGHT_ROUNDS { BRIGHT } else { FAINT });
            for _ in 0..3 {
                found.fit_each();
            }
            found.reshape();
            found.fit_each();
            found.weigh_noise();
            found.give_up();
            if round > BRIGHT_ROUNDS && (new as f64) <= FEW * found.all.len() as f64 {
                break;
            }
        }
        found.seen = found
            .all
            .iter()
            .map(|particle| found.places(particle.place))
            .collect();
        found
    }

    /// Without particles: the background is the grey value below which three tenths of the pixels
    /// lie, the noise is the scatter below it, the shape that of the sharper peaks (the wider ones
    /// are several images).
    fn first_guess(frames: [FrameView<'a>; 2], predictor: &'a Predictor) -> Self {
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
            frames,
            predictor,
            predicted: predictor.at_pixels(frames[0].size),
            shape: ImageShape::new([variances[0], 0.0, variances[1]]),
            noise: [floor, 0.0],
            least,
            background,
            all: vec![],
            seen: vec![],
            signal: frames.map(|frame| vec![0.0; frame.pixels.len()]),
        }
    }

    /// The positions of a particle in frame A and B by the predictor.
    fn places(&self, place: [f64; 2]) -> [[f64; 2]; 2] {
        displaced(place, self.predictor.at(place[0], place[1]))
    }

    fn images(&self, place: [f64; 2]) -> [UnitImage; 2] {
        self.places(place).map(|place| UnitImage::new(&self.shape, place))
    }

    fn lit<'i>(&self, image: &'i UnitImage) -> impl Iterator<Item = (usize, [f64; 3])> + use<'i> {
        image.inside([0, 0], self.frames[0].size)
    }

    /// Variance of a pixel with `signal` above the background.
    pub fn variance(&self, signal: f64) -> f64 {
        self.noise[0] + self.noise[1] * signal.max(0.0)
    }

    /// The residual of a pixel, and its variance.
    fn rest(&self, frame: usize, pixel: usize) -> (f64, f64) {
        let signal = self.signal[frame][pixel];
        let grey = f64::from(self.frames[frame].pixels[pixel]);
        (grey - self.background[frame] - signal, self.variance(signal))
    }

    fn draw(&mut self, images: &[UnitImage; 2], light: [f64; 2]) {
        let size = self.frames[0].size;
        for ((signal, image), light) in self.signal.iter_mut().zip(images).zip(light) {
            for (pixel, [share, ..]) in image.inside([0, 0], size) {
                signal[pixel] += light * share;
            }
        }
    }

    fn redraw(&mut self) {
        self.signal.iter_mut().for_each(|signal| signal.fill(0.0));
        for n in 0..self.all.len() {
            let FittedParticle { place, light } = self.all[n];
            self.draw(&self.images(place), light);
        }
    }

    /// Adds the particles that stand out of the residual by `threshold`, and counts them.
    fn search(&mut self, threshold: f64) -> usize {
        let [width, height] = self.frames[0].size;
        let excess = |frame: usize, [x, y]: [f64; 2]| {
            let inside = |v: f64, side: usize| (v.round().max(0.0) as usize).min(side - 1);
            let (rest, variance) = self.rest(frame, inside(y, height) * width + inside(x, width));
            rest / variance.sqrt()
        };
        // By how much a particle at each pixel would stand out, and its brightness.
        let answer = |n: usize| {
            let place = [(n % width) as f64, (n / width) as f64];
            let [a, b] = displaced(place, self.predicted[n]);
            if excess(0, a) + excess(1, b) < GLANCE * threshold {
                return [0.0; 2];
            }
            let (mut projection, mut information) = (0.0, 0.0);
            for (frame, image) in self.images(place).iter().enumerate() {
                for (pixel, [share, ..]) in self.lit(image) {
                    let (rest, variance) = self.rest(frame, pixel);
                    projection += share * rest / variance;
                    information += share * share / variance;
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
                });
            }
        }
        self.redraw();
        self.all.len() - before
    }

    /// Fits each particle in turn to what the others leave.
    fn fit_each(&mut self) {
        for n in 0..self.all.len() {
            let FittedParticle { place, light } = self.all[n];
            let images = self.images(place);
            let unit = light.map(|light| self.unit(light));
            let mut normal = Normal::<4>::new();
            for (frame, image) in images.iter().enumerate() {
                for (pixel, [share, slope_x, slope_y]) in self.lit(image) {
                    let (rest, variance) = self.rest(frame, pixel);
                    let mut terms = [light[frame] * slope_x, light[frame] * slope_y, 0.0, 0.0];
                    terms[2 + frame] = unit[frame] * share;
                    normal.add(terms, rest, 1.0 / variance);
                }
            }
            let Some(step) = normal.solve() else { continue };
            let fitted = FittedParticle {
                place: [0, 1].map(|k| place[k] + step[k].clamp(-STEP[0], STEP[0])),
                light: [0, 1].map(|k| light[k] + unit[k] * step[2 + k].clamp(-STEP[1], STEP[1])),
            };
            self.draw(&images, light.map(|light| -light));
            self.draw(&self.images(fitted.place), fitted.light);
            self.all[n] = fitted;
        }
    }

    /// The unit in which a brightness is fitted: itself, or the noise if that is larger.
    pub fn unit(&self, light: f64) -> f64 {
        light.abs().max(self.noise[0].sqrt())
    }

    /// Corrects the shape by the second moments of the residual.
    fn reshape(&mut self) {
        let size = self.frames[0].size;
        let mut normal = Normal::<3>::new();
        for frame in 0..2 {
            let mut changes = vec![[0.0; 3]; self.signal[frame].len()];
            for particle in &self.all {
                let image = UnitImage::widening(&self.shape, self.places(particle.place)[frame]);
                for (pixel, change) in image.inside([0, 0], size) {
                    for (sum, change) in changes[pixel].iter_mut().zip(change) {
                        *sum += particle.light[frame] * change;
                    }
                }
            }
            for (pixel, terms) in changes.into_iter().enumerate() {
                let (rest, variance) = self.rest(frame, pixel);
                normal.add(terms, rest, 1.0 / variance);
            }
        }
        if let Some(step) = normal.solve() {
            let [xx, _, yy] = self.shape.covariance();
            let most = 0.3 * (xx + yy);
            let covariance = self.shape.covariance();
            self.shape = ImageShape::new([0, 1, 2].map(|k| covariance[k] + step[k].clamp(-most, most)));
        }
        self.redraw();
    }

    /// Corrects the background by the mean and the noise by the scatter of the residual, both
    /// weighted by the noise; scatter beyond five standard deviations is a particle yet to be
    /// found.
    fn weigh_noise(&mut self) {
        for frame in 0..2 {
            let (mut sum, mut weights) = (0.0, 0.0);
            for pixel in 0..self.signal[frame].len() {
                let (rest, variance) = self.rest(frame, pixel);
                sum += rest / (variance * variance);
                weights += 1.0 / (variance * variance);
            }
            self.background[frame] += sum / weights;
        }
        for _ in 0..3 {
            let mut normal = Normal::<2>::new();
            let scale = 1.0 / self.noise[0];
            for frame in 0..2 {
                for (pixel, signal) in self.signal[frame].iter().enumerate() {
                    let (rest, variance) = self.rest(frame, pixel);
                    let square = (rest * rest).min(25.0 * variance);
                    normal.add([1.0, signal.max(0.0)], square, (scale * variance).powi(-2));
                }
            }
            if let Some([floor, slope]) = normal.solve() {
                self.noise = [floor.max(0.1 * self.noise[0]).max(self.least), slope.max(0.0)];
            }
        }
    }

    /// Removes the particles that do not stand out of the noise.
    fn give_up(&mut self) {
        let stands_out = |particle: &FittedParticle| {
            let mut square = 0.0;
            for (frame, image) in self.images(particle.place).iter().enumerate() {
                let light = particle.light[frame];
                for (pixel, [share, ..]) in self.lit(image) {
                    square += light * light.abs() * share * share / self.rest(frame, pixel).1;
                }
            }
            square > LOST * LOST
        };
        self.all = self
            .all
            .iter()
            .filter(|particle| stands_out(particle))
            .copied()
            .collect();
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
