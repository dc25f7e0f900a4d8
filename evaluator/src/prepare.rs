//! Preparation of frames before correlation: background, bright spots, uneven light, masks.
//!
//! A [`Background`] is made once from many frames (those of one camera and one pulse together); [`Preparation::apply`] then
//! takes each frame through the steps that are asked for, in the order of the fields of [`Preparation`].

use ndarray::{Array2, ArrayView2, Zip};

use crate::error::Error;
use crate::named::named;

named! {
    /// What is taken as the background of many frames, pixel by pixel.
    pub enum Background {
        /// The least value: never darkens below zero, but lies below the true background by its noise.
        Minimum = "minimum",
        /// The mean value: contains the mean light of the particles too.
        Mean = "mean",
    }
}

impl Background {
    /// The background of frames of one shape.
    ///
    /// # Errors
    /// If there is no frame, or the shapes differ.
    pub fn of<'a>(self, frames: impl IntoIterator<Item = ArrayView2<'a, f32>>) -> Result<Array2<f32>, Error> {
        let mut frames = frames.into_iter();
        let mut background = frames.next().ok_or(Error::NoFrames)?.mapv(f64::from);
        let mut number = 1.0;
        for frame in frames {
            same_shape(background.dim(), frame.dim(), "a frame of the background")?;
            number += 1.0;
            background.zip_mut_with(&frame, |b, &f| {
                *b = match self {
                    Background::Minimum => b.min(f64::from(f)),
                    Background::Mean => *b + f64::from(f),
                }
            });
        }
        let divisor = if self == Background::Mean { number } else { 1.0 };
        Ok(background.mapv(|b| (b / divisor) as f32))
    }
}

/// The steps of preparation; those that are `None` are left out. [`Preparation::default`] does nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Preparation {
    /// Subtracted from the frame: see [`Background::of`], or any frame of the scene without particles.
    pub background: Option<Array2<f32>>,
    /// Values above median + n standard deviations are set to that, with the n given, above 0 (2 is usual): keeps few bright
    /// particles from deciding the correlation alone (intensity capping, Shavit, Lowe & Steinbuck 2007).
    pub intensity_cap: Option<f64>,
    /// Side of the square, px, whose mean is subtracted from its middle pixel; odd, several particle images wide.
    pub high_pass_px: Option<usize>,
    /// Side of the square, px, whose mean is subtracted from its middle pixel and by whose standard deviation it is then divided;
    /// odd, several particles wide: makes unevenly lit parts count alike. Zero where the square is uniform.
    pub local_normalisation_px: Option<usize>,
    /// Pixels not to be measured, true where masked: left out of every mean above, and in the end set to the mean of the others, so
    /// that windows that are masked altogether are uniform and give no peak.
    pub mask: Option<Array2<bool>>,
}

impl Preparation {
    /// Prepares one frame.
    ///
    /// # Errors
    /// If a side is even or zero, the cap is not above 0, or background or mask are not of the frame's shape.
    pub fn apply(&self, frame: ArrayView2<f32>) -> Result<Array2<f32>, Error> {
        let mut frame = frame.to_owned();
        let seen = match &self.mask {
            Some(mask) => {
                same_shape(frame.dim(), mask.dim(), "the mask")?;
                mask.mapv(|masked| !masked)
            }
            None => Array2::from_elem(frame.dim(), true),
        };
        if let Some(background) = &self.background {
            same_shape(frame.dim(), background.dim(), "the background")?;
            frame -= background;
        }
        if let Some(cap) = self.intensity_cap {
            if !(cap.is_finite() && cap > 0.0) {
                return Err(Error::Range {
                    field: "intensity_cap",
                    value: cap.to_string(),
                    range: "a number above 0",
                    remedy: "2 is usual",
                });
            }
            let highest = median_and_deviation(&frame, &seen, cap);
            frame.mapv_inplace(|v| v.min(highest));
        }
        if let Some(side) = self.high_pass_px {
            let reach = reach("high_pass_px", side)?;
            frame -= &local_mean(&frame.mapv(f64::from), &seen, reach).mapv(|v| v as f32);
        }
        if let Some(side) = self.local_normalisation_px {
            frame = normalised_locally(&frame, &seen, reach("local_normalisation_px", side)?);
        }
        let (sum, number) = Zip::from(&frame)
            .and(&seen)
            .fold((0.0, 0.0), |(sum, number), &v, &seen| {
                if seen {
                    (sum + f64::from(v), number + 1.0)
                } else {
                    (sum, number)
                }
            });
        let mean = if number > 0.0 { (sum / number) as f32 } else { 0.0 };
        frame.zip_mut_with(&seen, |v, &seen| *v = if seen { *v } else { mean });
        Ok(frame)
    }
}

fn same_shape(expected: (usize, usize), found: (usize, usize), what: &'static str) -> Result<(), Error> {
    if expected == found {
        return Ok(());
    }
    let size = |(height, width)| [width, height];
    Err(Error::Shape {
        what,
        found: size(found),
        expected: size(expected),
    })
}

/// Pixels on each side of the middle one.
fn reach(field: &'static str, side: usize) -> Result<usize, Error> {
    if side % 2 == 1 {
        return Ok(side / 2);
    }
    Err(Error::Range {
        field,
        value: side.to_string(),
        range: "an odd number of pixels",
        remedy: "use the next odd number",
    })
}

/// Median of the pixels that are seen, plus `factor` of their standard deviations.
fn median_and_deviation(frame: &Array2<f32>, seen: &Array2<bool>, factor: f64) -> f32 {
    let mut values: Vec<f32> = frame
        .iter()
        .zip(seen)
        .filter(|(_, seen)| **seen)
        .map(|(v, _)| *v)
        .collect();
    if values.is_empty() {
        return f32::INFINITY;
    }
    let number = values.len() as f64;
    let mean = values.iter().map(|&v| f64::from(v)).sum::<f64>() / number;
    let variance = values.iter().map(|&v| (f64::from(v) - mean).powi(2)).sum::<f64>() / number;
    let middle = values.len() / 2;
    let (_, median, _) = values.select_nth_unstable_by(middle, f32::total_cmp);
    (f64::from(*median) + factor * variance.sqrt()) as f32
}

fn normalised_locally(frame: &Array2<f32>, seen: &Array2<bool>, reach: usize) -> Array2<f32> {
    let values = frame.mapv(f64::from);
    let mean = local_mean(&values, seen, reach);
    let square = local_mean(&values.mapv(|v| v * v), seen, reach);
    Zip::from(&values)
        .and(&mean)
        .and(&square)
        .map_collect(|&v, &mean, &square| {
            let variance = square - mean * mean;
            // What rounding leaves of the variance of a uniform square is no contrast.
            if variance > 1e-10 * square {
                ((v - mean) / variance.sqrt()) as f32
            } else {
                0.0
            }
        })
}

/// Mean over the pixels that are seen within `reach` along both axes and inside the frame; zero where there are none.
fn local_mean(values: &Array2<f64>, seen: &Array2<bool>, reach: usize) -> Array2<f64> {
    let weights = seen.mapv(|seen| f64::from(u8::from(seen)));
    let sums = local_sum(&(values * &weights), reach);
    let numbers = local_sum(&weights, reach);
    Zip::from(&sums)
        .and(&numbers)
        .map_collect(|&sum, &number| if number > 0.5 { sum / number } else { 0.0 })
}

/// Sum over the square of `reach` pixels to each side, by running sums along one axis and then the other.
fn local_sum(values: &Array2<f64>, reach: usize) -> Array2<f64> {
    let mut sums = values.clone();
    for axis in [ndarray::Axis(0), ndarray::Axis(1)] {
        for mut lane in sums.lanes_mut(axis) {
            let length = lane.len();
            let mut running = vec![0.0; length + 1];
            for i in 0..length {
                running[i + 1] = running[i] + lane[i];
            }
            for i in 0..length {
                lane[i] = running[(i + reach + 1).min(length)] - running[i.saturating_sub(reach)];
            }
        }
    }
    sums
}
