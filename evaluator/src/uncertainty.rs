//! Uncertainty of vectors, estimated from the images alone as an experimenter has to; how reliable
//! such estimates are; and what follows for means, variances and derivatives.
//!
//! There is one file per estimator, with its formula and reference.

mod caution;
mod correlation_statistics;
mod iteration;
mod particle_disparity;
mod peak_ratio;
mod propagation;
mod reliability;

use ndarray::ArrayView2;

use crate::deform::Predictor;
use crate::error::ProcessingError;
use crate::field::{Vector, VectorField, VectorStatus};
use crate::frames::Frames;
use crate::interpolate::Interpolated;
use crate::named::named;
use crate::processing::Processing;

pub use caution::{Caution, cautions};
pub use propagation::{
    effective_number, error_correlation, of_mean, of_shear_stress, of_variance, of_vorticity,
    overlap_correlation,
};
pub use reliability::{Reliability, ReliabilityClass, reliability};

named! {
    /// How the uncertainty of a vector is estimated.
    pub enum Estimator {
        /// From the scatter of the pixels' contributions to the asymmetry of the correlation
        /// (Wieneke 2015). Responds to noise and loss of particles, not to bias, nor to errors that
        /// both frames share.
        CorrelationStatistics = "correlation-statistics",
        /// From the scatter of the distances between the two images of every particle
        /// (Sciacchitano, Wieneke & Scarano 2013). Correct within a quarter where loss of particles
        /// prevails. Too large, by up to 4 times, where images are bright and small: the position
        /// of a single image that overlaps others scatters by 0.03 to 0.1 px, whatever the
        /// correlation makes of them together. A fifth too small where more than a third of the
        /// particles are lost. Not available where fewer than 6 particles show.
        ParticleDisparity = "particle-disparity",
        /// From the ratio of the two highest peaks by a published curve (Charonko & Vlachos 2013),
        /// fitted to another correlation. Responds to false peaks; nearly the same for all vectors
        /// whose peak stands out.
        PeakRatio = "peak-ratio",
    }
}

/// The standard uncertainty, px, along x and y, of every vector of `field`, in its order; `NaN`
/// where the images give none (windows without contrast, or without a correlation peak).
///
/// `a` and `b` are the frames, of shape (height, width), in which `field` was measured with
/// `processing`, whose weighting, filter and interpolator are used again. Both frames are deformed
/// by the field, so it should be that of the last pass and converged: what the field misses counts
/// as scatter. Correlation statistics give the uncertainty of a single correlation, which is
/// multiplied by what the iteration of deforming passes adds (1.3 by default). The other two
/// estimators are as published.
///
/// # Errors
/// If the frames differ in size or contain values that are not finite, or the field is not a
/// complete grid of finite displacements with its windows inside the frames.
///
/// ```
/// use motefield_evaluator::uncertainty::{Estimator, estimate};
/// use motefield_evaluator::{Pass, Processing, correlate};
/// use ndarray::Array2;
///
/// let processing = Processing {
///     passes: vec![Pass::square(16, 0.0)],
///     ..Processing::default()
/// };
/// // Forty particle images.
/// let places: Vec<[i32; 2]> = (0..40).map(|k| [(13 * k + k * k) % 31, (7 * k * k) % 29]).collect();
/// let frame = Array2::from_shape_fn((32, 32), |(y, x)| {
///     let light = |[px, py]: &[i32; 2]| {
///         let square = (x as i32 - px).pow(2) + (y as i32 - py).pow(2);
///         (-0.5 * square as f32).exp()
///     };
///     places.iter().map(light).sum()
/// });
/// let field = correlate(frame.view(), frame.view(), &processing)?;
/// let estimator = Estimator::CorrelationStatistics;
/// let found = estimate(frame.view(), frame.view(), &field, &processing, estimator)?;
/// // Two identical frames: nothing scatters but for rounding.
/// assert!(found.iter().flatten().all(|u| *u < 1e-5));
/// # Ok::<(), motefield_evaluator::ProcessingError>(())
/// ```
pub fn estimate(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    field: &VectorField,
    processing: &Processing,
    estimator: Estimator,
) -> Result<Vec<[f64; 2]>, ProcessingError> {
    let prepared = processing.preparation.apply(&[[a, b]])?;
    let [a, b] = match prepared.as_deref() {
        Some([[a, b]]) => [a.view(), b.view()],
        _ => [a, b],
    };
    let frames = Frames::new(a, b)?;
    let [width, height] = frames.size;
    let predictor = Predictor::from_field(field, processing.predictor_filter)?;
    let corners = corners(field, frames.size)?;
    let mut deformed = [(); 2].map(|()| vec![0.0; width * height]);
    let interpolated = frames.views().map(|frame| {
        let mut interpolated = Interpolated::new(frames.size, processing.interpolator);
        interpolated.load(frame);
        interpolated
    });
    let [left, right] = &mut deformed;
    let whole = frames.size.map(|side| 0..side);
    predictor.deform([&interpolated[0], &interpolated[1]], width, whole, [left, right]);
    let weights = field.window.map(|side| processing.weighting.taper(side));
    let windows = Windows {
        deformed: [left, right],
        width,
        weights: &weights,
    };
    let gain = iteration::noise_gain(processing, field.window, field.spacing);
    let single: &dyn Fn([usize; 2], &Vector) -> [f64; 2] = match estimator {
        Estimator::CorrelationStatistics => {
            &|corner, _| correlation_statistics::of(&windows, corner).map(|u| gain * u)
        }
        Estimator::ParticleDisparity => &|corner, _| particle_disparity::of(&windows, corner),
        Estimator::PeakRatio => &|_, vector| [peak_ratio::of(vector.peak_ratio); 2],
    };
    let of_vector = |(corner, vector): ([usize; 2], &Vector)| match vector.status {
        VectorStatus::NoPeak => [f64::NAN; 2],
        _ => single(corner, vector),
    };
    Ok(corners.into_iter().zip(&field.vectors).map(of_vector).collect())
}

/// The upper-left pixel of each vector's window, in frames of a width and height.
fn corners(field: &VectorField, [width, height]: [usize; 2]) -> Result<Vec<[usize; 2]>, ProcessingError> {
    let mut corners = Vec::with_capacity(field.vectors.len());
    for vector in &field.vectors {
        let corner = [(vector.x_px, 0), (vector.y_px, 1)]
            .map(|(centre, k)| (centre - 0.5 * (field.window[k] as f64 - 1.0)).round());
        let inside =
            (0..2).all(|k| corner[k] >= 0.0 && corner[k] as usize + field.window[k] <= [width, height][k]);
        if !inside {
            return Err(ProcessingError::Predictor {
                what: format!(
                    "the window at ({}, {}) px does not fit into frames of {width}x{height} px",
                    vector.x_px, vector.y_px
                ),
            });
        }
        corners.push(corner.map(|c| c as usize));
    }
    Ok(corners)
}

/// Two frames that match, and the tapers of a window along x and y.
struct Windows<'a> {
    deformed: [&'a [f32]; 2],
    width: usize,
    weights: &'a [Vec<f64>; 2],
}

impl Windows<'_> {
    /// The pixels of both windows at `corner`, minus their weighted mean and tapered as for the
    /// correlation.
    fn tapered(&self, corner: [usize; 2]) -> [Vec<f64>; 2] {
        let [along_x, along_y] = self.weights;
        let total: f64 = along_x.iter().sum::<f64>() * along_y.iter().sum::<f64>();
        self.deformed.map(|frame| {
            let pixel = |x: usize, y: usize| f64::from(frame[(corner[1] + y) * self.width + corner[0] + x]);
            let places = || (0..along_y.len()).flat_map(|y| (0..along_x.len()).map(move |x| (x, y)));
            let mean = places()
                .map(|(x, y)| along_x[x] * along_y[y] * pixel(x, y))
                .sum::<f64>()
                / total;
            places()
                .map(|(x, y)| (pixel(x, y) - mean) * along_x[x] * along_y[y])
                .collect()
        })
    }
}
