//! Preparation of frames before correlation: background, bright spots, uneven light, masks.
//!
//! The frames of pairs that are measured together go through the requested steps in the order of
//! the fields of [`Preparation`]. Frames A and frames B have separate backgrounds, as the two
//! pulses and exposures differ.

use std::sync::Arc;

use ndarray::{Array2, ArrayView2, Zip};

use crate::error::ProcessingError;
use crate::named::named;
use crate::statistics::{mean_and_deviation, median_high};

named! {
    /// How the background is made from many frames, pixel by pixel.
    pub enum Statistic {
        /// The least value: leaves no pixel below zero, but lies below the true background by its
        /// noise.
        Minimum = "minimum",
        /// The mean value: also contains the mean light of the particles.
        Mean = "mean",
    }
}

impl Statistic {
    /// The background made from frames of one shape (height, width), in grey values.
    ///
    /// # Errors
    /// If there is no frame, or the shapes differ.
    ///
    /// ```
    /// use motefield_evaluator::prepare::Statistic;
    /// use ndarray::array;
    ///
    /// let frames = [array![[1.0, 5.0]], array![[3.0, 4.0]]];
    /// let of = |statistic: Statistic| statistic.of(frames.iter().map(|f| f.view())).unwrap();
    /// assert_eq!(of(Statistic::Minimum), array![[1.0, 4.0]]);
    /// assert_eq!(of(Statistic::Mean), array![[2.0, 4.5]]);
    /// ```
    pub fn of<'a>(
        self,
        frames: impl IntoIterator<Item = ArrayView2<'a, f32>>,
    ) -> Result<Array2<f32>, ProcessingError> {
        let mut frames = frames.into_iter();
        let mut background = frames.next().ok_or(ProcessingError::NoFrames)?.mapv(f64::from);
        let mut number = 1.0;
        for frame in frames {
            same_shape(background.dim(), frame.dim(), "a frame of the background")?;
            number += 1.0;
            background.zip_mut_with(&frame, |b, &f| {
                *b = match self {
                    Statistic::Minimum => b.min(f64::from(f)),
                    Statistic::Mean => *b + f64::from(f),
                }
            });
        }
        let divisor = if self == Statistic::Mean { number } else { 1.0 };
        Ok(background.mapv(|b| (b / divisor) as f32))
    }
}

/// What is subtracted from the frames.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Background {
    /// Nothing is subtracted.
    #[default]
    None,
    /// A picture made from the frames that are measured together, at least two.
    Made(Statistic),
    /// These pictures, for frames A and for frames B: made from more frames, or recorded without
    /// particles.
    Given([Arc<Array2<f32>>; 2]),
}

/// The steps of preparation; those that are `None` are left out. [`Preparation::default`] does
/// nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Preparation {
    /// Subtracted from the frame.
    pub background: Background,
    /// Number n of standard deviations, above 0 (2 is usual): values above median + n standard
    /// deviations are set to that limit. Keeps a few bright particles from dominating the
    /// correlation (intensity capping, Shavit, Lowe & Steinbuck 2007).
    pub intensity_cap: Option<f64>,
    /// Side, px, of the square whose mean is subtracted from its middle pixel; odd, several
    /// particle images wide.
    pub high_pass_px: Option<usize>,
    /// Side, px, of the square whose mean is subtracted from its middle pixel, which is then
    /// divided by the standard deviation in the square; odd, several particle images wide. Gives
    /// unevenly lit parts the same weight. Zero where the square is uniform.
    pub local_normalisation_px: Option<usize>,
    /// Pixels not to be measured, true where masked, of shape (height, width). They are left out of
    /// all means above and in the end set to the mean of the other pixels, so that fully masked
    /// windows are uniform and give no peak.
    pub mask: Option<Arc<Array2<bool>>>,
}

impl Preparation {
    /// Prepares pairs of frames A and B that are measured together, all of one shape (height,
    /// width); `None` if there is nothing to do.
    ///
    /// # Errors
    /// As [`Preparation::validate`]; if the frames differ in shape, or a background is to be made
    /// from a single pair.
    ///
    /// ```
    /// use motefield_evaluator::prepare::{Background, Preparation, Statistic};
    /// use ndarray::array;
    ///
    /// let preparation = Preparation {
    ///     background: Background::Made(Statistic::Minimum),
    ///     ..Preparation::default()
    /// };
    /// let (one, two) = (array![[1.0, 5.0]], array![[3.0, 4.0]]);
    /// let pairs = [[one.view(), one.view()], [two.view(), two.view()]];
    /// let prepared = preparation.apply(&pairs).unwrap().unwrap();
    /// assert_eq!(prepared[0][0], array![[0.0, 1.0]]);
    /// ```
    pub fn apply(
        &self,
        pairs: &[[ArrayView2<f32>; 2]],
    ) -> Result<Option<Vec<[Array2<f32>; 2]>>, ProcessingError> {
        if *self == Preparation::default() {
            return Ok(None);
        }
        let Some([first, _]) = pairs.first() else {
            return Ok(Some(Vec::new()));
        };
        self.validate(first.ncols(), first.nrows())?;
        let background = match &self.background {
            Background::None => None,
            Background::Given(given) => Some(given.clone()),
            Background::Made(_) if pairs.len() < 2 => return Err(ProcessingError::LoneFrame),
            Background::Made(statistic) => {
                let [a, b] = [0, 1].map(|k| statistic.of(pairs.iter().map(|pair| pair[k].view())));
                Some([Arc::new(a?), Arc::new(b?)])
            }
        };
        let seen = match &self.mask {
            Some(mask) => mask.mapv(|masked| !masked),
            None => Array2::from_elem(first.dim(), true),
        };
        let prepare = |pair: &[ArrayView2<f32>; 2]| {
            let [a, b] = [0, 1].map(|k| {
                same_shape(first.dim(), pair[k].dim(), "a frame")?;
                let background = background.as_ref().map(|both| both[k].as_ref());
                Ok(self.frame(pair[k].to_owned(), background, &seen))
            });
            Ok([a?, b?])
        };
        pairs.iter().map(prepare).collect::<Result<_, _>>().map(Some)
    }

    /// Checks that frames of `width` x `height` px can be prepared this way.
    ///
    /// # Errors
    /// If a side is even or zero, the cap is not above 0, or the background or mask has another
    /// shape than the frames.
    pub fn validate(&self, width: usize, height: usize) -> Result<(), ProcessingError> {
        if let Some(cap) = self.intensity_cap
            && !(cap.is_finite() && cap > 0.0)
        {
            return Err(ProcessingError::Range {
                field: "intensity_cap",
                value: cap.to_string(),
                range: "a number above 0",
                remedy: "2 is usual",
            });
        }
        for (field, side) in [
            ("high_pass_px", self.high_pass_px),
            ("local_normalisation_px", self.local_normalisation_px),
        ] {
            if let Some(side) = side.filter(|side| side % 2 == 0) {
                return Err(ProcessingError::Range {
                    field,
                    value: side.to_string(),
                    range: "an odd number of pixels",
                    remedy: "use the next odd number",
                });
            }
        }
        if let Some(mask) = &self.mask {
            same_shape((height, width), mask.dim(), "the mask")?;
        }
        if let Background::Given(given) = &self.background {
            for background in given {
                same_shape((height, width), background.dim(), "the background")?;
            }
        }
        Ok(())
    }

    fn frame(
        &self,
        mut frame: Array2<f32>,
        background: Option<&Array2<f32>>,
        seen: &Array2<bool>,
    ) -> Array2<f32> {
        if let Some(background) = background {
            frame -= background;
        }
        if let Some(cap) = self.intensity_cap {
            let highest = median_and_deviation(&frame, seen, cap);
            frame.mapv_inplace(|v| v.min(highest));
        }
        // A square of odd side extends equally far to both sides of its middle pixel.
        if let Some(side) = self.high_pass_px {
            frame -= &local_mean(&frame.mapv(f64::from), seen, side / 2).mapv(|v| v as f32);
        }
        if let Some(side) = self.local_normalisation_px {
            frame = normalised_locally(&frame, seen, side / 2);
        }
        let (sum, number) = Zip::from(&frame)
            .and(seen)
            .fold((0.0, 0.0), |(sum, number), &v, &seen| {
                if seen {
                    (sum + f64::from(v), number + 1.0)
                } else {
                    (sum, number)
                }
            });
        let mean = if number > 0.0 { (sum / number) as f32 } else { 0.0 };
        frame.zip_mut_with(seen, |v, &seen| *v = if seen { *v } else { mean });
        frame
    }
}

fn same_shape(
    expected: (usize, usize),
    found: (usize, usize),
    what: &'static str,
) -> Result<(), ProcessingError> {
    if expected == found {
        return Ok(());
    }
    let size = |(height, width)| [width, height];
    Err(ProcessingError::Shape {
        what,
        found: size(found),
        expected: size(expected),
    })
}

/// Median of the unmasked pixels, plus `factor` of their standard deviations.
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
    let [_, deviation] = mean_and_deviation(&values);
    (f64::from(median_high(&mut values)) + factor * deviation) as f32
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
            // What rounding leaves of the variance of a uniform square is not contrast.
            if variance > 1e-10 * square {
                ((v - mean) / variance.sqrt()) as f32
            } else {
                0.0
            }
        })
}

/// The frame less its mean within `reach` along both axes and inside the frame.
pub(crate) fn without_local_mean(frame: &Array2<f64>, reach: usize) -> Array2<f64> {
    frame - local_mean(frame, &Array2::from_elem(frame.dim(), true), reach)
}

/// Mean over the unmasked pixels within `reach` along both axes and inside the frame; zero where
/// there are none.
fn local_mean(values: &Array2<f64>, seen: &Array2<bool>, reach: usize) -> Array2<f64> {
    let weights = seen.mapv(|seen| f64::from(u8::from(seen)));
    let sums = local_sum(&(values * &weights), reach);
    let numbers = local_sum(&weights, reach);
    Zip::from(&sums)
        .and(&numbers)
        .map_collect(|&sum, &number| if number > 0.5 { sum / number } else { 0.0 })
}

/// Sum over the square of `reach` pixels to each side, by running sums along one axis and then
/// along the other.
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
