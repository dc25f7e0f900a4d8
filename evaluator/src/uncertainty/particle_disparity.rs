//! Uncertainty by particle disparity, or image matching (Sciacchitano, Wieneke & Scarano 2013,
//! Meas. Sci. Technol. 24, 045302; formula from memory).
//!
//! In two windows I₁, I₂ that match, the two images of every particle should coincide. Pairs of
//! images are found at the local maxima of the product Π = I₁ I₂, the position of each image to a
//! fraction of a pixel by the three-point Gaussian fit around the frame's own maximum within a
//! pixel, and the difference of the two positions is the disparity d. With the weights c = √Π times
//! that of the window,
//!
//! μ = Σ c d / Σ c,  σ² = Σ c (d - μ)² / Σ c,  δ = √(μ² + σ²/N).
//!
//! The scatter σ is the random part that the vector inherits from its particles, the mean μ what it
//! missed of their displacement. N is (Σ c)²/Σ c², which for equal weights is the number of pairs
//! (Kish 1965; derived: the variance of a weighted mean).
//!
//! What counts as an image: grey values are taken above the median of the window, and a maximum of
//! √Π below three times the noise of the frames, 1.48 times the median distance from that median,
//! or below a tenth of the highest in the window is not a particle.

use super::Windows;
use crate::correlation::gaussian3;
use crate::statistics::median_high;

/// Number of image pairs below which their scatter is not known (Sciacchitano, Wieneke & Scarano
/// 2013; from memory).
const FEWEST: usize = 6;

/// Images farther apart than this along x or y, px, do not belong to one particle (from memory: a
/// radius of about a pixel).
const FARTHEST_PX: f64 = 1.0;

/// Least height of an image relative to the noise, and relative to the highest one.
const HEIGHT: [f64; 2] = [3.0, 0.1];

/// The standard deviation of normal noise over the median of its absolute values.
const DEVIATION: f64 = 1.4826;

/// Standard uncertainty along x and y, px, of the window at `corner`; `NaN` if fewer than 6
/// particles are seen in both frames.
pub(super) fn of(windows: &Windows, corner: [usize; 2]) -> [f64; 2] {
    let pairs = pairs(windows, corner);
    if pairs.len() < FEWEST {
        return [f64::NAN; 2];
    }
    let sum = |value: &dyn Fn(&ImagePair) -> f64| pairs.iter().map(value).sum::<f64>();
    let total = sum(&|pair| pair.window * pair.height);
    let number = sum(&|pair| pair.window).powi(2) / sum(&|pair| pair.window * pair.window);
    [0, 1].map(|k| {
        let mean = sum(&|pair| pair.window * pair.height * pair.disparity[k]) / total;
        let variance = sum(&|pair| pair.window * pair.height * (pair.disparity[k] - mean).powi(2)) / total;
        (mean * mean + variance / number).sqrt()
    })
}

/// Two images of one particle.
struct ImagePair {
    /// Weight of the window there.
    window: f64,
    /// √Π.
    height: f64,
    /// From the image in the first window to that in the second, px.
    disparity: [f64; 2],
}

/// All pairs of images in the window.
fn pairs(windows: &Windows, corner: [usize; 2]) -> Vec<ImagePair> {
    let [width, height] = windows.weights.each_ref().map(Vec::len);
    // The window with a rim of two pixels, for the neighbours of the maxima and the maxima a pixel
    // away; no image is found at the edge of the frame.
    let images = windows
        .deformed
        .map(|frame| WindowImage::new(frame, windows, corner));
    let noise: f64 = images.iter().map(|image| image.noise).product::<f64>().sqrt();
    let product = |x, y| images[0].at(x, y) * images[1].at(x, y);
    let places = || (0..height as isize).flat_map(|y| (0..width as isize).map(move |x| (x, y)));
    let highest = places().map(|(x, y)| product(x, y)).fold(0.0, f64::max).sqrt();
    let least = (HEIGHT[0] * noise).max(HEIGHT[1] * highest);
    let mut found = vec![];
    for (x, y) in places() {
        let top = product(x, y).sqrt();
        if !(top > least && is_maximum(&product, x, y)) {
            continue;
        }
        let [Some(first), Some(second)] = images.each_ref().map(|image| image.centre(x, y)) else {
            continue;
        };
        let disparity = [0, 1].map(|k| second[k] - first[k]);
        if disparity.iter().any(|d| d.abs() > FARTHEST_PX) {
            continue;
        }
        found.push(ImagePair {
            window: (windows.weights[0][x as usize] * windows.weights[1][y as usize]).powi(2),
            height: top,
            disparity,
        });
    }
    found
}

fn is_maximum(value: &impl Fn(isize, isize) -> f64, x: isize, y: isize) -> bool {
    let top = value(x, y);
    (-1..=1).all(|j| (-1..=1).all(|i| value(x + i, y + j) <= top))
}

/// A window's pixels in one frame, and those around it, above their background.
struct WindowImage<'a> {
    frame: &'a [f32],
    size: [usize; 2],
    corner: [usize; 2],
    background: f64,
    noise: f64,
}

impl<'a> WindowImage<'a> {
    fn new(frame: &'a [f32], windows: &Windows, corner: [usize; 2]) -> Self {
        let [width, height] = windows.weights.each_ref().map(Vec::len);
        let rows = (corner[1]..corner[1] + height).map(|y| &frame[y * windows.width + corner[0]..][..width]);
        let mut pixels: Vec<f32> = rows.flatten().copied().collect();
        let background = median_high(&mut pixels);
        pixels.iter_mut().for_each(|p| *p = (*p - background).abs());
        Self {
            frame,
            size: [windows.width, frame.len() / windows.width],
            corner,
            background: background.into(),
            noise: DEVIATION * f64::from(median_high(&mut pixels)),
        }
    }

    /// Grey value above the background, zero below it and outside the frame; `x` and `y` are
    /// relative to the corner of the window.
    fn at(&self, x: isize, y: isize) -> f64 {
        let place = [x + self.corner[0] as isize, y + self.corner[1] as isize];
        if (0..2).any(|k| place[k] < 0 || place[k] >= self.size[k] as isize) {
            return 0.0;
        }
        let grey = self.frame[place[1] as usize * self.size[0] + place[0] as usize];
        (f64::from(grey) - self.background).max(0.0)
    }

    /// The position of the image whose maximum lies within a pixel of (x, y).
    fn centre(&self, x: isize, y: isize) -> Option<[f64; 2]> {
        let at = |x, y| self.at(x, y);
        let near = (-1..=1).flat_map(|j| (-1..=1).map(move |i| (x + i, y + j)));
        let (x, y) = near
            .filter(|&(x, y)| is_maximum(&at, x, y))
            .max_by(|a, b| at(a.0, a.1).total_cmp(&at(b.0, b.1)))?;
        let along = |step: [isize; 2]| gaussian3([-1, 0, 1].map(|n| at(x + n * step[0], y + n * step[1])));
        Some([x as f64 + along([1, 0]), y as f64 + along([0, 1])])
    }
}
