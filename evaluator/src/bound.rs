//! The physical limit: how well the displacement of a window can be known at all.
//!
//! A frame shows the image F, displaced, with noise of variance v = `floor` + `per_signal` · F,
//! independent from pixel to pixel. The Fisher information of such a frame about the position of a
//! known image is
//!
//! J = Σ ∇F ∇Fᵀ / v
//!
//! over the pixels of the window. (Exact for Poisson counts with `floor` = 0; for normal noise up
//! to what the noise level itself reveals of the position, which is smaller by a factor of the
//! number of electrons.) The displacement is the difference of two positions, both known from noisy
//! frames, so no unbiased estimate has a covariance below (Cramér 1946, Rao 1945)
//!
//! C = J_A⁻¹ + J_B⁻¹.
//!
//! The limit is the same, 2 J⁻¹, whether the image is known or, as in practice, has to be found
//! from the same two frames: each pixel's difference between them has the slope ∇F and the variance
//! v_A + v_B.
//!
//! An estimate that weights the pixels by w (a window's taper squared, for example, to resolve its
//! middle) does not use all of that information. The best it can do is J_w⁻¹ (Σ w² ∇F ∇Fᵀ / v)
//! J_w⁻¹ with J_w = Σ w ∇F ∇Fᵀ / v in place of J⁻¹. For a top-hat window the two agree.

use ndarray::ArrayView2;

use crate::error::ProcessingError;
use crate::window::{Grid, Weighting, window_weights};

/// Variance of a pixel as a linear function of its signal (the linear camera of EMVA 1288).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PixelNoise {
    /// Variance without light, in squared units of the image: of the dark signal and of rounding
    /// (1/12 of a grey step squared).
    pub floor: f64,
    /// Variance added per unit of signal: 1 if the image is in electrons, the gain of the camera if
    /// it is in grey values.
    pub per_signal: f64,
}

/// A frame without noise, as recorded with unlimited light and a perfect sensor; arrays of shape
/// (height, width).
///
/// The slopes must be given and are not taken from the image: those of a surface interpolated
/// through the pixels of small particle images are wrong by a tenth and more. Render the scene
/// again with all particles moved by a small step h and take (moved by +h - moved by -h)/(2h) along
/// each axis; h = 0.01 px is suitable.
#[derive(Clone, Copy, Debug)]
pub struct ExpectedImage<'a> {
    /// Signal with background light, without the offset of the camera.
    pub signal: ArrayView2<'a, f64>,
    /// Change of the signal with the particles' position along x, per px.
    pub slope_x: ArrayView2<'a, f64>,
    /// Change of the signal with the particles' position along y, per px.
    pub slope_y: ArrayView2<'a, f64>,
}

/// The least standard deviation, px, along x and y, of the displacement of each window of `grid`,
/// in its order; infinite where the window's pixels do not determine it.
///
/// `images` are frame A and frame B; `displacement` gives the displacement from A to B, px, at a
/// place (x, y), px. The window is taken half the displacement back in frame A and half forward in
/// B, to the pixel; what lies beyond the frame is left out.
///
/// # Errors
/// If the arrays differ in size, or the noise is negative or not a number.
///
/// ```
/// use motefield_evaluator::bound::{ExpectedImage, PixelNoise, displacement_bound};
/// use motefield_evaluator::{Grid, Weighting};
/// use ndarray::Array2;
///
/// // A ramp of slope 1 along x and one along y, 16 pixels each: J = 16/v.
/// let (one, zero) = (Array2::ones((4, 4)), Array2::zeros((4, 4)));
/// let x = ndarray::concatenate![ndarray::Axis(1), one, zero];
/// let image = ExpectedImage {
///     signal: x.view(),
///     slope_x: x.view(),
///     slope_y: x.slice(ndarray::s![.., ..;-1]),
/// };
/// let noise = PixelNoise { floor: 0.04, per_signal: 0.0 };
/// let grid = Grid::new(8, 4, [8, 4], 0.0);
/// let limit =
///     displacement_bound([image; 2], noise, &grid, Weighting::TopHat, |_, _| [0.0; 2]).unwrap();
/// // Two frames of variance 0.04/16 each.
/// assert!((limit[0][0] - (2.0f64 * 0.04 / 16.0).sqrt()).abs() < 1e-12);
/// ```
pub fn displacement_bound(
    images: [ExpectedImage; 2],
    noise: PixelNoise,
    grid: &Grid,
    weighting: Weighting,
    displacement: impl Fn(f64, f64) -> [f64; 2],
) -> Result<Vec<[f64; 2]>, ProcessingError> {
    for (field, value) in [("floor", noise.floor), ("per_signal", noise.per_signal)] {
        if !(value.is_finite() && value >= 0.0) {
            return Err(ProcessingError::Range {
                field,
                value: value.to_string(),
                range: "a variance of at least 0",
                remedy: "give the camera's noise in the units of the images",
            });
        }
    }
    let size = |array: &ArrayView2<f64>| [array.ncols(), array.nrows()];
    let expected = size(&images[0].signal);
    for image in &images {
        for (what, array) in [
            ("the signal", &image.signal),
            ("slope_x", &image.slope_x),
            ("slope_y", &image.slope_y),
        ] {
            if size(array) != expected {
                return Err(ProcessingError::Shape {
                    what,
                    found: size(array),
                    expected,
                });
            }
        }
    }
    let information = images.map(|image| PixelInformation::new(&image, noise));
    let weights = grid.window.map(|side| window_weights(weighting, side));
    let window = |n: usize| {
        let (column, row) = (n % grid.columns, n / grid.columns);
        let [x, y] = grid.centre(column, row);
        let moved = displacement(x, y);
        let corner = grid.corner(column, row).map(|c| c as isize);
        let [a, b] = [(&information[0], -0.5), (&information[1], 0.5)].map(|(information, share)| {
            let shifted = [0, 1].map(|k| corner[k] + (share * moved[k]).round() as isize);
            information.position_variance(shifted, &weights)
        });
        [0, 1].map(|k| (a[k] + b[k]).sqrt())
    };
    Ok((0..grid.len()).map(window).collect())
}

/// ∇F ∇Fᵀ / v of every pixel of a frame: xx, xy, yy.
struct PixelInformation {
    size: [usize; 2],
    values: Vec<[f64; 3]>,
}

impl PixelInformation {
    fn new(image: &ExpectedImage, noise: PixelNoise) -> Self {
        let slopes = image.slope_x.iter().zip(&image.slope_y);
        let of_pixel = |(signal, (x, y)): (&f64, (&f64, &f64))| {
            let variance = noise.floor + noise.per_signal * signal.max(0.0);
            // A pixel without signal and noise holds no information.
            if variance > 0.0 {
                [x * x, x * y, y * y].map(|v| v / variance)
            } else {
                [0.0; 3]
            }
        };
        Self {
            size: [image.signal.ncols(), image.signal.nrows()],
            values: image.signal.iter().zip(slopes).map(of_pixel).collect(),
        }
    }

    /// Least variance of the position along x and y of what the window at `corner` shows, px².
    fn position_variance(&self, corner: [isize; 2], [along_x, along_y]: &[Vec<f64>; 2]) -> [f64; 2] {
        let [width, height] = self.size.map(|side| side as isize);
        let (mut once, mut twice) = ([0.0; 3], [0.0; 3]);
        for (y, wy) in (corner[1]..)
            .zip(along_y)
            .filter(|(y, _)| (0..height).contains(y))
        {
            for (x, wx) in (corner[0]..).zip(along_x).filter(|(x, _)| (0..width).contains(x)) {
                let (w, value) = (wx * wy, self.values[(y * width + x) as usize]);
                for k in 0..3 {
                    once[k] += w * value[k];
                    twice[k] += w * w * value[k];
                }
            }
        }
        let [xx, xy, yy] = once;
        let determinant = xx * yy - xy * xy;
        if determinant.is_nan() || determinant <= 1e-9 * (xx + yy).powi(2) {
            return [f64::INFINITY; 2];
        }
        // The diagonal of J⁻¹ K J⁻¹, each element as a row of J⁻¹ with K between.
        [[yy, -xy], [-xy, xx]].map(|[p, q]| {
            (p * p * twice[0] + 2.0 * p * q * twice[1] + q * q * twice[2]) / (determinant * determinant)
        })
    }
}
