//! The predictor: a displacement at every pixel from the vectors of a pass, and frames deformed by it.

use ndarray::{Array2, ArrayView2};

use crate::error::ProcessingError;
use crate::field::{Vector, VectorField};
use crate::frames::Frames;
use crate::interpolate::{Interpolated, Interpolator};
use crate::least_squares::Normal;
use crate::named::named;
use crate::window::{Grid, Weighting, window_weights};

named! {
    /// How the vectors of a pass are smoothed before they serve the next one as predictor.
    ///
    /// With r the response of the window to a wave of displacement (the Fourier transform of its weights, `window_weights`) and F
    /// that of the filter, one pass makes of the measured amplitude R the next one, F R + r (1 - F R): it comes to rest at
    /// R = r / (1 - F + F r), and the iteration is stable if |F (1 - r)| < 1 for every wave that the grid of vectors can hold.
    ///
    /// At an overlap of 0.75, for a wave of length λ along one axis and windows of side D (computed from these formulas, which the
    /// tests find within 0.012 of what is measured):
    ///
    /// | weighting, filter     | R at D/λ = 0.25 | 0.5   | 0.75  | 1     | -10 % at λ/D | -3 dB | largest \|F (1 - r)\| |
    /// |-----------------------|-----------------|-------|-------|-------|--------------|-------|-------|
    /// | top-hat, one pass     | 0.900           | 0.637 | 0.300 | 0     | 3.99         | 2.26  | -     |
    /// | top-hat, none         | 1               | 1     | 1     | 0     | unstable     |       | 1.218 |
    /// | top-hat, b-spline     | 0.997           | 0.947 | 0.676 | 0     | 1.73         | 1.36  | 0.671 |
    /// | top-hat, regression   | 1.000           | 0.984 | 0.767 | 0     | 1.52         | 1.29  | 0.674 |
    /// | gaussian, none        | 1               | 1     | 1     | 1     | unstable     |       | 1.015 |
    /// | gaussian, b-spline    | 0.998           | 0.974 | 0.863 | 0.608 | 1.44         | 1.09  | 0.458 |
    /// | gaussian, regression  | 1.000           | 0.992 | 0.908 | 0.601 | 1.31         | 1.07  | 0.437 |
    /// | blackman, regression  | 1.000           | 0.998 | 0.978 | 0.900 | 1.00         | 0.78  | 0.254 |
    pub enum PredictorFilter {
        /// F = 1, the interpolating cubic spline. Unstable where r < 0: with a top-hat window for waves shorter than it, by a factor
        /// of up to 1.22 a pass.
        None = "none",
        /// The approximating cubic B-spline, F = (2 + cos ωx)/3 · (2 + cos ωy)/3 with ω the phase from one vector to the next.
        BSpline = "b-spline",
        /// The second-order polynomial fitted by least squares to the 5 x 5 vectors around each one (Schrijer & Scarano 2008),
        /// F = (17 + 24 cos ω - 6 cos 2ω)/35 for a wave along one axis.
        Regression = "regression",
    }
}

/// Both frames deformed by half of a displacement field, A backward and B forward: where the field is right they look alike, and
/// what they show is at the place where it was midway in time.
///
/// The pixel at (x, y) of the results is frame A at (x, y) - d/2 and frame B at (x, y) + d/2, with d the displacement at (x, y) by
/// the predictor that is laid through the vectors of `field` with `filter` (all vectors are used, whatever their status).
///
/// # Errors
/// If the frames differ in size or hold values that are not finite, or the field is not a whole grid of finite displacements.
pub fn deform(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    field: &VectorField,
    filter: PredictorFilter,
    interpolator: Interpolator,
) -> Result<[Array2<f32>; 2], ProcessingError> {
    let frames = Frames::new(a, b)?;
    let predictor = Predictor::from_field(field, filter)?;
    let [a, b] = frames.views().map(|frame| {
        let mut interpolated = Interpolated::new(frames.size, interpolator);
        interpolated.load(frame);
        interpolated
    });
    let [width, height] = frames.size;
    let [mut left, mut right] = [(); 2].map(|()| Array2::zeros((height, width)));
    if width > 0
        && let (Some(left), Some(right)) = (left.as_slice_mut(), right.as_slice_mut())
    {
        predictor.deform([&a, &b], frames.size, [left, right]);
    }
    Ok([left, right])
}

/// A smooth displacement field through (or near) vectors on a regular grid: a cubic spline along each axis, with no curvature at
/// the outermost vectors and straight beyond them.
pub(crate) struct Predictor {
    /// Position of the first vector, px.
    first: [f64; 2],
    spacing: [f64; 2],
    columns: usize,
    rows: usize,
    /// Spline coefficients, row by row.
    coefficients: Vec<[f64; 2]>,
}

impl Predictor {
    /// From the displacements (dx, dy), px, of `columns` x `rows` vectors, row by row, of which the first lies at `first`.
    pub fn new(
        first: [f64; 2],
        spacing: [usize; 2],
        [columns, rows]: [usize; 2],
        mut displacements: Vec<[f64; 2]>,
        filter: PredictorFilter,
    ) -> Self {
        if filter == PredictorFilter::Regression {
            displacements = regression(&displacements, columns, rows);
        }
        if filter != PredictorFilter::BSpline {
            for row in 0..rows {
                interpolating(&mut displacements, row * columns, 1, columns);
            }
            for column in 0..columns {
                interpolating(&mut displacements, column, columns, rows);
            }
        }
        Self {
            first,
            spacing: spacing.map(|s| s as f64),
            columns,
            rows,
            coefficients: displacements,
        }
    }

    /// From the vectors of a correlation.
    pub fn from_field(field: &VectorField, filter: PredictorFilter) -> Result<Self, ProcessingError> {
        let invalid = |what: String| Err(ProcessingError::Predictor { what });
        let VectorField {
            columns,
            rows,
            spacing,
            ref vectors,
            ..
        } = *field;
        if vectors.is_empty() || columns.checked_mul(rows) != Some(vectors.len()) {
            return invalid(format!(
                "{} vectors do not make {columns} columns and {rows} rows",
                vectors.len()
            ));
        }
        if spacing.contains(&0) {
            return invalid("its spacing is 0 px".to_owned());
        }
        let finite = |v: &Vector| [v.x_px, v.y_px, v.dx_px, v.dy_px].iter().all(|p| p.is_finite());
        if let Some(n) = vectors.iter().position(|v| !finite(v)) {
            return invalid(format!("vector {n} is not finite"));
        }
        let displacements = vectors.iter().map(|v| [v.dx_px, v.dy_px]).collect();
        Ok(Self::new(
            [vectors[0].x_px, vectors[0].y_px],
            spacing,
            [columns, rows],
            displacements,
            filter,
        ))
    }

    /// Displacement at a point, px.
    pub fn at(&self, x: f64, y: f64) -> [f64; 2] {
        let (i, along_x) = taps((x - self.first[0]) / self.spacing[0]);
        let (j, along_y) = taps((y - self.first[1]) / self.spacing[1]);
        let mut sum = [0.0; 2];
        for (n, wy) in along_y.iter().enumerate() {
            for (m, wx) in along_x.iter().enumerate() {
                let c = self.coefficient(i + m as isize, j + n as isize);
                sum = [sum[0] + wx * wy * c[0], sum[1] + wx * wy * c[1]];
            }
        }
        sum
    }

    /// Displacement at each pixel of images of `size`, row by row, px.
    pub fn at_pixels(&self, size: [usize; 2]) -> Vec<[f64; 2]> {
        (0..size[0] * size[1])
            .map(|n| self.at((n % size[0]) as f64, (n / size[0]) as f64))
            .collect()
    }

    /// Displacement averaged over each window of a grid in images of `size`, with the window's weights, px.
    pub fn averaged(&self, size: [usize; 2], grid: &Grid, weighting: Weighting) -> Vec<[f64; 2]> {
        let pixels = self.at_pixels(size);
        let [along_x, along_y] = grid.window.map(|side| window_weights(weighting, side));
        let average = |n: usize| {
            let [x, y] = grid.corner(n % grid.columns, n / grid.columns);
            let mut sum = [0.0; 2];
            for (row, wy) in pixels[y * size[0]..].chunks(size[0]).zip(&along_y) {
                for (d, wx) in row[x..].iter().zip(&along_x) {
                    sum = [sum[0] + wx * wy * d[0], sum[1] + wx * wy * d[1]];
                }
            }
            sum
        };
        (0..grid.len()).map(average).collect()
    }

    /// The coefficient of a column and row that may lie outside the grid, where it goes on in a straight line.
    fn coefficient(&self, column: isize, row: isize) -> [f64; 2] {
        let along_row = |row: usize| {
            straight(column, self.columns, |column| {
                self.coefficients[row * self.columns + column]
            })
        };
        straight(row, self.rows, along_row)
    }

    /// Deforms frame A by minus and frame B by plus half the displacement at each pixel.
    pub fn deform(&self, frames: [&Interpolated; 2], [width, height]: [usize; 2], deformed: [&mut [f32]; 2]) {
        let columns: Vec<(isize, [f32; 4])> = (0..width)
            .map(|x| {
                let (i, weights) = taps((x as f64 - self.first[0]) / self.spacing[0]);
                (i, weights.map(|w| w as f32))
            })
            .collect();
        // The leftmost and rightmost coefficients that any pixel needs.
        let start = columns[0].0;
        let needed = (columns[width - 1].0 + 4 - start) as usize;
        let mut line = vec![[0.0f32; 2]; needed];
        let (mut dx, mut dy) = (vec![0.0; width], vec![0.0; width]);
        let [a, b] = deformed;
        for (y, (a, b)) in a
            .chunks_exact_mut(width)
            .zip(b.chunks_exact_mut(width))
            .take(height)
            .enumerate()
        {
            let (j, along_y) = taps((y as f64 - self.first[1]) / self.spacing[1]);
            for (i, value) in line.iter_mut().enumerate() {
                let mut sum = [0.0; 2];
                for (n, wy) in along_y.iter().enumerate() {
                    let c = self.coefficient(start + i as isize, j + n as isize);
                    sum = [sum[0] + wy * c[0], sum[1] + wy * c[1]];
                }
                *value = sum.map(|s| s as f32);
            }
            for ((dx, dy), (i, weights)) in dx.iter_mut().zip(&mut dy).zip(&columns) {
                let near = &line[(i - start) as usize..][..4];
                let sum = |k: usize| {
                    weights[0] * near[0][k]
                        + weights[1] * near[1][k]
                        + weights[2] * near[2][k]
                        + weights[3] * near[3][k]
                };
                (*dx, *dy) = (sum(0), sum(1));
            }
            frames[0].sample_row(y, -0.5, [&dx, &dy], a);
            frames[1].sample_row(y, 0.5, [&dx, &dy], b);
        }
    }
}

/// The first of the four B-spline coefficients around a position in units of the spacing, and their weights.
fn taps(position: f64) -> (isize, [f64; 4]) {
    let floor = position.floor();
    let t = position - floor;
    let s = 1.0 - t;
    let weights = [
        s * s * s / 6.0,
        (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0,
        (4.0 - 6.0 * s * s + 3.0 * s * s * s) / 6.0,
        t * t * t / 6.0,
    ];
    (floor as isize - 1, weights)
}

/// Value number `index` of a sequence that goes on in a straight line before its first and after its last value.
fn straight(index: isize, length: usize, value: impl Fn(usize) -> [f64; 2]) -> [f64; 2] {
    let last = length - 1;
    let (end, inner, steps) = match usize::try_from(index) {
        Ok(index) if index <= last => return value(index),
        Ok(index) => (last, last.saturating_sub(1), (index - last) as f64),
        Err(_) => (0, 1.min(last), index.unsigned_abs() as f64),
    };
    let (end, inner) = (value(end), value(inner));
    [0, 1].map(|k| end[k] + steps * (end[k] - inner[k]))
}

/// Replaces `length` values, `step` apart from `start` on, by the coefficients of the cubic spline through them. Without
/// curvature at its ends the first and last coefficient are the values there; Thomas's algorithm finds those between from
/// c(i-1) + 4 c(i) + c(i+1) = 6 v(i).
fn interpolating(values: &mut [[f64; 2]], start: usize, step: usize, length: usize) {
    if length < 3 {
        return;
    }
    let at = |i: usize| start + i * step;
    let mut pivots = vec![1.0; length];
    for i in 1..length - 1 {
        let factor = if i == 1 { 1.0 } else { 1.0 / pivots[i - 1] };
        pivots[i] = if i == 1 { 4.0 } else { 4.0 - factor };
        let before = values[at(i - 1)];
        let value = &mut values[at(i)];
        *value = [0, 1].map(|k| 6.0 * value[k] - factor * before[k]);
    }
    for i in (1..length - 1).rev() {
        let after = values[at(i + 1)];
        let value = &mut values[at(i)];
        *value = [0, 1].map(|k| (value[k] - after[k]) / pivots[i]);
    }
}

/// Replaces every vector by the value there of the second-order polynomial fitted to the up to 5 x 5 vectors around it. A vector
/// with too few around it stays as it is.
fn regression(values: &[[f64; 2]], columns: usize, rows: usize) -> Vec<[f64; 2]> {
    let around = |centre: usize, length: usize| centre.saturating_sub(2)..(centre + 3).min(length);
    (0..rows * columns)
        .map(|n| {
            let (column, row) = (n % columns, n / columns);
            [0, 1].map(|k| {
                let mut normal = Normal::new();
                for j in around(row, rows) {
                    for i in around(column, columns) {
                        let (x, y) = (i as f64 - column as f64, j as f64 - row as f64);
                        normal.add([1.0, x, y, x * x, x * y, y * y], values[j * columns + i][k], 1.0);
                    }
                }
                normal.solve().map_or(values[n][k], |[mean, ..]| mean)
            })
        })
        .collect()
}
