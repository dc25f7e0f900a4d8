//! What frames look like: statistics by which a recording is known without a truth.
//!
//! Grey levels are modelled as a floor (black level and background), particle images of a common
//! shape at random places, and noise that is independent from pixel to pixel, whose variance rises
//! with the mean grey level. [`guess`](guess::guess) has closed forms for all of it;
//! [`appearance`] is a list of figures that a rendered pair must share with the recorded one if
//! it is to be its twin. The figures need not estimate anything: that both lists agree is what
//! counts, so that clipping, rounding, overlap of images and processing act on both alike.

pub mod curves;
pub mod grey_steps;
pub mod guess;

use std::ops::Range;

use ndarray::{Array2, ArrayView2};

use crate::deform::{PredictorFilter, deform};
use crate::error::ProcessingError;
use crate::field::VectorField;
use crate::interpolate::Interpolator;
use crate::prepare::without_local_mean;
use crate::statistics::{Confidence, Estimate, mean_of_independent};

/// Lags of the covariances, px: the shape of the particle images, across, along and aslant.
const LAGS: [[isize; 2]; 14] = [
    [2, 0],
    [0, 2],
    [1, 1],
    [1, -1],
    [2, 2],
    [2, -2],
    [3, 0],
    [0, 3],
    [3, 3],
    [3, -3],
    [4, 0],
    [0, 4],
    [6, 0],
    [0, 6],
];

/// Ends of the parts into which pixels are sorted by grey level, as shares of all pixels.
const PARTS: [f64; 7] = [0.0, 0.2, 0.5, 0.8, 0.95, 0.99, 0.999];

/// Ends of the parts into which pixels are sorted by local grey level for the noise.
const NOISE_PARTS: [f64; 5] = [0.0, 0.4, 0.8, 0.95, 1.0];

/// Half the side of the square whose mean is subtracted before covariances are taken, px.
const LOCAL_MEAN_REACH: usize = 16;

/// Number of figures in [`appearance`].
pub const FIGURES: usize = 2 * (PARTS.len() - 1) + (NOISE_PARTS.len() - 1) + 3 + LAGS.len() + 2;

/// The figures of one pair; frames have the shape (height, width) in grey levels. In their order,
/// averaged over both frames but for the last two:
///
/// - mean grey level of the darkest fifth of the pixels and of the further parts up to the
///   brightest thousandth, of the frame as it is and smoothed by the binomial 3 × 3 filter;
/// - logarithm of the mean square of the [`corner`] residual, in four parts of rising local mean;
/// - logarithm of the covariance of pixels beside and above each other, the root of the third
///   moment of the smoothed frame over that covariance, and the covariances at further lags over
///   it;
/// - correlation coefficient of both frames deformed by `field`, smoothed once and five times.
///
/// # Errors
/// If the frames differ in size or contain values that are not finite, or the field is not
/// complete.
pub fn appearance(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    field: &VectorField,
) -> Result<Vec<f64>, ProcessingError> {
    let [mut figures, other] = [a, b].map(|frame| of_frame(&frame));
    for (figure, other) in figures.iter_mut().zip(other) {
        *figure = 0.5 * (*figure + other);
    }
    let deformed = deform(a, b, field, PredictorFilter::BSpline, Interpolator::Cubic)?;
    let mut frames = deformed.map(|frame| binomial(&frame.mapv(f64::from)));
    for times in [0, 4] {
        for _ in 0..times {
            frames = frames.map(|frame| binomial(&frame));
        }
        let [a, b] = frames
            .each_ref()
            .map(|frame| without_local_mean(frame, LOCAL_MEAN_REACH));
        figures.push(coefficient(&a, &b));
    }
    Ok(figures)
}

fn of_frame(frame: &ArrayView2<f32>) -> Vec<f64> {
    let frame = frame.mapv(f64::from);
    let smooth = binomial(&frame);
    let mut figures = parts(&frame);
    figures.extend(parts(&smooth));
    figures.extend(
        noise_parts(&frame, &NOISE_PARTS)
            .iter()
            .map(|part| part.variance.ln()),
    );
    let level = without_local_mean(&frame, LOCAL_MEAN_REACH);
    let [x, y] = [[1, 0], [0, 1]].map(|lag| covariance(&level, lag));
    // A frame without particle images has covariances about 0: the logarithm stays finite.
    let least = 1e-9 * covariance(&level, [0, 0]).max(1e-300);
    let scale = (0.5 * (x + y)).max(least);
    figures.extend([x, y].map(|c| c.max(least).ln()));
    let level_smooth = without_local_mean(&smooth, LOCAL_MEAN_REACH);
    let third = level_smooth.iter().map(|v| v * v * v).sum::<f64>() / level_smooth.len() as f64;
    figures.push(third.cbrt() / scale.sqrt());
    figures.extend(LAGS.map(|lag| covariance(&level, lag) / scale));
    figures
}

/// Mean grey levels of the pixels sorted into [`PARTS`].
fn parts(frame: &Array2<f64>) -> Vec<f64> {
    let mut values: Vec<f64> = frame.iter().copied().collect();
    values.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| (share * values.len() as f64) as usize;
    let mean = |ends: &[f64]| {
        let part = &values[at(ends[0])..at(ends[1]).max(at(ends[0]) + 1)];
        part.iter().sum::<f64>() / part.len() as f64
    };
    PARTS.windows(2).map(mean).collect()
}

/// Noise of pixels of similar local grey level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoisePart {
    /// Mean grey level.
    pub mean: f64,
    /// Mean square of the [`corner`] residual.
    pub variance: f64,
}

/// The noise of a frame, with its pixels sorted by their local mean and parted at these shares.
///
/// The local mean has the squared weights of the residual, so that for noise with a variance
/// α + βm of a pixel with mean m the residual's mean square is α + β × local mean whatever the
/// weights are.
pub fn noise_parts(frame: &Array2<f64>, ends: &[f64]) -> Vec<NoisePart> {
    let residual = corner(frame);
    let squared = CORNER.map(|w| w * w / CORNER_SQUARES);
    let local = filtered(frame, &squared);
    let mut pixels: Vec<[f64; 2]> = local.iter().zip(&residual).map(|(m, r)| [*m, r * r]).collect();
    pixels.sort_unstable_by(|p, q| p[0].total_cmp(&q[0]));
    let at = |share: f64| (share * pixels.len() as f64) as usize;
    let part = |ends: &[f64]| {
        let part = &pixels[at(ends[0])..at(ends[1]).max(at(ends[0]) + 1).min(pixels.len())];
        let mean = |k: usize| part.iter().map(|p| p[k]).sum::<f64>() / part.len().max(1) as f64;
        NoisePart {
            mean: mean(0),
            variance: mean(1).max(1e-12),
        }
    };
    ends.windows(2).map(part).collect()
}

/// Fourth difference, and the sum of its squares.
const CORNER: [f64; 5] = [1.0, -4.0, 6.0, -4.0, 1.0];
const CORNER_SQUARES: f64 = 70.0;

/// What remains of a frame after the fourth difference along both axes, over the root of the sum
/// of its squared weights: white noise keeps its variance, and particle images of 2.5 px keep less
/// than 1e-3 of theirs, as the filter passes the corner of the spectrum alone.
pub fn corner(frame: &Array2<f64>) -> Array2<f64> {
    filtered(frame, &CORNER.map(|w| w / CORNER_SQUARES.sqrt()))
}

/// The frame filtered along both axes by five weights; without two pixels at each border.
fn filtered(frame: &Array2<f64>, weights: &[f64; 5]) -> Array2<f64> {
    let (height, width) = frame.dim();
    let [rows, columns] = [height, width].map(|n| n.saturating_sub(4));
    let along = Array2::from_shape_fn((height, columns), |(y, x)| {
        (0..5).map(|k| weights[k] * frame[[y, x + k]]).sum::<f64>()
    });
    Array2::from_shape_fn((rows, columns), |(y, x)| {
        (0..5).map(|k| weights[k] * along[[y + k, x]]).sum()
    })
}

/// Weights 1, 2, 1 over 4 along both axes; the border stands for what lies beyond it.
fn binomial(frame: &Array2<f64>) -> Array2<f64> {
    let (height, width) = frame.dim();
    let along = Array2::from_shape_fn((height, width), |(y, x)| {
        let (left, right) = (x.saturating_sub(1), (x + 1).min(width - 1));
        0.25 * (frame[[y, left]] + 2.0 * frame[[y, x]] + frame[[y, right]])
    });
    Array2::from_shape_fn((height, width), |(y, x)| {
        let (above, below) = (y.saturating_sub(1), (y + 1).min(height - 1));
        0.25 * (along[[above, x]] + 2.0 * along[[y, x]] + along[[below, x]])
    })
}

/// Mean product of pixels `lag` (x, y) apart, y at least 0, of a frame whose mean was subtracted.
pub(crate) fn covariance(frame: &Array2<f64>, [dx, dy]: [isize; 2]) -> f64 {
    let (height, width) = frame.dim();
    let (first, count) = (dx.min(0).unsigned_abs(), width.saturating_sub(dx.unsigned_abs()));
    let rows = if dy < 0 {
        return covariance(frame, [-dx, -dy]);
    } else {
        height.saturating_sub(dy as usize)
    };
    let other = (first as isize + dx) as usize;
    let mut sum = 0.0;
    for y in 0..rows {
        for x in 0..count {
            sum += frame[[y, first + x]] * frame[[y + dy as usize, other + x]];
        }
    }
    sum / (rows * count).max(1) as f64
}

/// Correlation coefficient of two frames whose means were subtracted.
fn coefficient(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
    let sum = |a: &Array2<f64>, b: &Array2<f64>| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let scale = (sum(a, a) * sum(b, b)).sqrt();
    if scale > 0.0 { sum(a, b) / scale } else { 0.0 }
}

/// Strength of the particle images of a frame, grey levels squared: the mean covariance of pixels
/// beside and above each other, to which noise adds nothing.
pub fn signal(frame: &ArrayView2<f32>) -> f64 {
    let level = without_local_mean(&frame.mapv(f64::from), LOCAL_MEAN_REACH);
    0.5 * (covariance(&level, [1, 0]) + covariance(&level, [0, 1]))
}

/// Least side of a block, px.
const BLOCK: usize = 64;

/// The pixels of each block of 64 x 64 px and somewhat more, so that the blocks cover all.
fn blocks<T: Copy>(frame: &ArrayView2<T>) -> Vec<Vec<T>> {
    let (height, width) = frame.dim();
    let number = |n: usize| (n / BLOCK).max(1);
    let part = |k: usize, n: usize| k * n / number(n)..(k + 1) * n / number(n);
    let rows = (0..number(height)).map(|j| part(j, height));
    let all = rows.flat_map(|y| (0..number(width)).map(move |i| (y.clone(), part(i, width))));
    let pixels = |(y, x): (Range<usize>, Range<usize>)| {
        y.flat_map(|y| x.clone().map(move |x| frame[[y, x]])).collect()
    };
    all.map(pixels).collect()
}

/// Mean grey level of the darkest fifth of the pixels in each block of 64 × 64 px.
pub fn darkest_by_blocks(frame: &ArrayView2<f32>) -> Vec<f64> {
    let darkest = |mut values: Vec<f32>| {
        values.sort_unstable_by(f32::total_cmp);
        let part = &values[..(values.len() / 5).max(1)];
        part.iter().map(|v| f64::from(*v)).sum::<f64>() / part.len() as f64
    };
    blocks(frame).into_iter().map(darkest).collect()
}

/// Standard deviation of what repeats at each pixel in all frames and is independent from pixel to
/// pixel, grey levels, with its interval: of the [`corner`] residuals' mean over the frames, less
/// the share of what changes from frame to frame, a part in as many of its variance. 0 where chance
/// explains all; without an interval where there is one block of 64 x 64 px only.
///
/// The interval is that of the mean over such blocks, which are independent but for the residuals
/// of two pixels on either side of their borders.
pub fn fixed_pattern(frames: &[ArrayView2<f32>], confidence: Confidence) -> Estimate {
    let n = frames.len() as f64;
    // Sums of the residuals and of their squares at each pixel.
    let mut sums: Option<[Array2<f64>; 2]> = None;
    for frame in frames {
        let residual = corner(&frame.mapv(f64::from));
        let squares = residual.mapv(|r| r * r);
        sums = Some(match sums {
            None => [residual, squares],
            Some([sum, all]) => [sum + residual, all + squares],
        });
    }
    let Some([sum, squares]) = sums.filter(|[sum, _]| frames.len() > 1 && !sum.is_empty()) else {
        return Estimate::unbounded(0.0).clamped(0.0, f64::INFINITY);
    };
    // The mean's square has the expectation p² + t²/n, a square p² + t².
    let variance = (sum.mapv(|s| s * s) / n - squares / n) / (n - 1.0);
    let mean = |block: Vec<f64>| block.iter().sum::<f64>() / block.len() as f64;
    let means: Vec<f64> = blocks(&variance.view()).into_iter().map(mean).collect();
    let found = match means[..] {
        [alone] => Estimate::unbounded(alone),
        _ => mean_of_independent(&means, confidence),
    };
    found.clamped(0.0, f64::INFINITY).map_rising(f64::sqrt)
}

#[cfg(test)]
mod tests;
