//! Curves by which people compare pictures: histogram, spectrum, correlation.

use ndarray::{Array2, ArrayView2};

use super::{LOCAL_MEAN_REACH, covariance};
use crate::deform::{PredictorFilter, deform};
use crate::error::ProcessingError;
use crate::field::VectorField;
use crate::interpolate::Interpolator;
use crate::prepare::without_local_mean;

/// Curves of a pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Curves {
    /// Share of the pixels of both frames in equal parts of the range of grey levels.
    pub histogram: Vec<f64>,
    /// Power over spatial frequency, 0 to ½ per px in equal steps, along x and along y; grey levels
    /// squared.
    pub spectrum: [Vec<f64>; 2],
    /// Correlation coefficient of frame A with itself over the lag from 0, px, along x and along y.
    pub itself: [Vec<f64>; 2],
    /// Correlation coefficient of both frames with the displacement taken out, over lags from
    /// −[`REACH`] to [`REACH`] px along x and along y.
    pub between: [Vec<f64>; 2],
}

/// Longest lag of the correlations, px.
pub const REACH: usize = 8;
/// Parts of the histogram.
const PARTS: usize = 64;
/// Longest lag of the spectrum, px.
const LONGEST: usize = 32;

/// The curves of a pair in a range of grey levels, the displacement being that of a field.
///
/// # Errors
/// If the frames differ in size or contain values that are not finite, or the field is not
/// complete.
pub fn curves(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    field: &VectorField,
    [low, high]: [f64; 2],
) -> Result<Curves, ProcessingError> {
    let mut histogram = vec![0.0; PARTS];
    let share = 1.0 / (a.len() + b.len()) as f64;
    for v in a.iter().chain(&b) {
        let part = (f64::from(*v) - low) / (high - low).max(1e-30) * PARTS as f64;
        histogram[(part.max(0.0) as usize).min(PARTS - 1)] += share;
    }
    let level = |frame: &Array2<f32>| without_local_mean(&frame.mapv(f64::from), LOCAL_MEAN_REACH);
    let frame = level(&a.to_owned());
    let lag = |axis: usize, lag: isize| if axis == 0 { [lag, 0] } else { [0, lag] };
    let along = |axis: usize, count: usize| -> Vec<f64> {
        (0..count as isize)
            .map(|l| covariance(&frame, lag(axis, l)))
            .collect()
    };
    let itself = [0, 1].map(|axis| {
        let c = along(axis, REACH + 1);
        c.iter().map(|v| v / c[0].max(1e-300)).collect()
    });
    let spectrum = [0, 1].map(|axis| spectrum(&along(axis, LONGEST)));
    let [a, b] = deform(a, b, field, PredictorFilter::BSpline, Interpolator::Cubic)?.map(|f| level(&f));
    let scale = (covariance(&a, [0, 0]) * covariance(&b, [0, 0]))
        .sqrt()
        .max(1e-300);
    let reach = REACH as isize;
    let between = [0, 1].map(|axis| {
        let at = |l: isize| cross(&a, &b, lag(axis, l)) / scale;
        (-reach..=reach).map(at).collect()
    });
    Ok(Curves {
        histogram,
        spectrum,
        itself,
        between,
    })
}

/// Power spectrum of covariances over the lag, tapered by Hann's window (Blackman & Tukey 1958;
/// from memory).
fn spectrum(covariances: &[f64]) -> Vec<f64> {
    let n = covariances.len();
    let turn = std::f64::consts::PI / n as f64;
    (0..=n)
        .map(|k| {
            let term = |(l, c): (usize, &f64)| {
                let taper = 0.5 * (1.0 + (turn * l as f64).cos());
                let twice = if l == 0 { 1.0 } else { 2.0 };
                twice * taper * c * (turn * (k * l) as f64).cos()
            };
            covariances.iter().enumerate().map(term).sum()
        })
        .collect()
}

/// Mean product of a pixel of one frame and that `lag` (x, y) further in the other.
fn cross(a: &Array2<f64>, b: &Array2<f64>, [dx, dy]: [isize; 2]) -> f64 {
    let (height, width) = a.dim();
    let inside = |at: usize, by: isize, n: usize| at.checked_add_signed(by).filter(|to| *to < n);
    let (mut sum, mut count) = (0.0, 0.0f64);
    for ((y, x), value) in a.indexed_iter() {
        if let (Some(to_y), Some(to_x)) = (inside(y, dy, height), inside(x, dx, width)) {
            sum += value * b[[to_y, to_x]];
            count += 1.0;
        }
    }
    sum / count.max(1.0)
}
