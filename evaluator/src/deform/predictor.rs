//! The predictor: a smooth displacement at every pixel, from vectors on a grid.

use std::ops::Range;

use multiversion::multiversion;

use super::PredictorFilter;
use super::spline::{extended, interpolating, regression, taps};
use crate::error::ProcessingError;
use crate::field::{Vector, VectorField};
use crate::interpolate::Interpolated;
use crate::window::{Grid, Weighting, window_weights};

/// A smooth displacement field through (or near) vectors on a regular grid: a cubic spline along
/// each axis, without curvature at the outermost vectors and straight beyond them.
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
    /// From the displacements (dx, dy), px, of `columns` x `rows` vectors, row by row, the first at
    /// `first`.
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
    ///
    /// # Errors
    /// When they make no grid, or some are not finite.
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
        let inside = |first: isize, length: usize| first >= 0 && first as usize + along_x.len() <= length;
        let mut sum = [0.0; 2];
        let mut add = |weight: f64, c: [f64; 2]| sum = [sum[0] + weight * c[0], sum[1] + weight * c[1]];
        if inside(i, self.columns) && inside(j, self.rows) {
            let rows = self.coefficients[j as usize * self.columns..].chunks(self.columns);
            for (wy, row) in along_y.iter().zip(rows) {
                for (wx, c) in along_x.iter().zip(&row[i as usize..]) {
                    add(wx * wy, *c);
                }
            }
        } else {
            for (n, wy) in along_y.iter().enumerate() {
                for (m, wx) in along_x.iter().enumerate() {
                    add(wx * wy, self.coefficient(i + m as isize, j + n as isize));
                }
            }
        }
        sum
    }

    /// Displacement at each pixel of images of `size`, row by row, px.
    pub fn at_pixels(&self, size: [usize; 2]) -> Vec<[f64; 2]> {
        let along_x: Vec<(isize, [f64; 4])> = (0..size[0])
            .map(|x| taps((x as f64 - self.first[0]) / self.spacing[0]))
            .collect();
        let column_of = |taps: Option<&(isize, [f64; 4])>| taps.map_or(0, |(column, _)| *column);
        let columns = column_of(along_x.first())..column_of(along_x.last()) + 4;
        let mut displacements = Vec::with_capacity(size[0] * size[1]);
        for y in 0..size[1] {
            let (j, along_y) = taps((y as f64 - self.first[1]) / self.spacing[1]);
            let line: Vec<[f64; 2]> = columns.clone().map(|i| self.down(i, j, &along_y)).collect();
            displacements.extend(along_x.iter().map(|(i, weights)| {
                let near = &line[(i - columns.start) as usize..].as_chunks::<4>().0[0];
                [0, 1].map(|k| (0..4).map(|n| weights[n] * near[n][k]).sum::<f64>())
            }));
        }
        displacements
    }

    /// The four coefficients of a column from `row` on, summed with the weights of a row of pixels.
    fn down(&self, column: isize, row: isize, along_y: &[f64; 4]) -> [f64; 2] {
        let mut sum = [0.0; 2];
        for (n, wy) in along_y.iter().enumerate() {
            let c = self.coefficient(column, row + n as isize);
            sum = [sum[0] + wy * c[0], sum[1] + wy * c[1]];
        }
        sum
    }

    /// Displacement averaged over each window of a grid in images of `size`, with the window's
    /// weights, px.
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

    /// The coefficient of a column and row that may lie outside the grid, where it continues in a
    /// straight line.
    fn coefficient(&self, column: isize, row: isize) -> [f64; 2] {
        let along_row = |row: usize| {
            extended(column, self.columns, |column| {
                self.coefficients[row * self.columns + column]
            })
        };
        extended(row, self.rows, along_row)
    }

    /// Deforms frame A by minus half and frame B by plus half the displacement at each pixel of
    /// these columns and rows of frames of a width.
    pub fn deform(
        &self,
        frames: [&Interpolated; 2],
        width: usize,
        [part_x, part_y]: [Range<usize>; 2],
        deformed: [&mut [f32]; 2],
    ) {
        let along_x = ColumnTaps::new(
            part_x
                .clone()
                .map(|x| (x as f64 - self.first[0]) / self.spacing[0]),
        );
        let mut line = vec![[0.0f32; 2]; along_x.needed];
        let (mut dx, mut dy) = (vec![0.0; part_x.len()], vec![0.0; part_x.len()]);
        let [a, b] = deformed;
        let rows = a.chunks_exact_mut(width).zip(b.chunks_exact_mut(width));
        for (y, (a, b)) in rows.enumerate().take(part_y.end).skip(part_y.start) {
            let (j, along_y) = taps((y as f64 - self.first[1]) / self.spacing[1]);
            for (i, value) in (along_x.start..).zip(&mut line) {
                *value = self.down(i, j, &along_y).map(|s| s as f32);
            }
            weigh(&along_x, &line, &mut dx, &mut dy);
            let from = [part_x.start, y];
            frames[0].sample_row(from, -0.5, [&dx, &dy], &mut a[part_x.clone()]);
            frames[1].sample_row(from, 0.5, [&dx, &dy], &mut b[part_x.clone()]);
        }
    }
}

/// What the pixels of a row take from the coefficients along it.
struct ColumnTaps {
    /// Column of the leftmost coefficient that any pixel takes, and how many are taken from there
    /// on.
    start: isize,
    needed: usize,
    /// Of runs of pixels that take the same four, the first of these, counted from `start`, and the
    /// number of pixels.
    runs: Vec<[usize; 2]>,
    /// The weights of the four, for each pixel.
    weights: [Vec<f32>; 4],
}

impl ColumnTaps {
    /// For pixels at these positions, in units of the spacing and in ascending order.
    fn new(positions: impl Iterator<Item = f64>) -> Self {
        let (columns, of_pixels): (Vec<isize>, Vec<[f64; 4]>) = positions.map(taps).unzip();
        let start = columns.first().copied().unwrap_or(0);
        let from_start = |column: isize| (column - start) as usize;
        Self {
            start,
            needed: columns.last().map_or(0, |last| from_start(*last) + 4),
            runs: columns
                .chunk_by(|a, b| a == b)
                .map(|run| [from_start(run[0]), run.len()])
                .collect(),
            weights: [0, 1, 2, 3].map(|k| of_pixels.iter().map(|weights| weights[k] as f32).collect()),
        }
    }
}

/// Weighted sums of the coefficients `line` along a row, for each of its pixels.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn weigh(taps: &ColumnTaps, line: &[[f32; 2]], dx: &mut [f32], dy: &mut [f32]) {
    let mut from = 0;
    for &[first, length] in &taps.runs {
        let near: &[[f32; 2]; 4] = &line[first..].as_chunks().0[0];
        let pixels = from..from + length;
        let of = |k: usize| &taps.weights[k][pixels.clone()];
        let (a, b, c, d) = (of(0), of(1), of(2), of(3));
        let along = |k: usize| [near[0][k], near[1][k], near[2][k], near[3][k]];
        weighted([a, b, c, d], along(0), &mut dx[pixels.clone()]);
        weighted([a, b, c, d], along(1), &mut dy[pixels]);
        from += length;
    }
}

/// Pixels that are gone through side by side.
const LANES: usize = 8;

/// Sums of four coefficients with the weights that each pixel has for them.
#[inline(always)]
fn weighted([a, b, c, d]: [&[f32]; 4], near: [f32; 4], sums: &mut [f32]) {
    let sum = |a: f32, b: f32, c: f32, d: f32| a * near[0] + b * near[1] + c * near[2] + d * near[3];
    let (a, a_rest) = a.as_chunks::<LANES>();
    let (b, b_rest) = b.as_chunks::<LANES>();
    let (c, c_rest) = c.as_chunks::<LANES>();
    let (d, d_rest) = d.as_chunks::<LANES>();
    let (sums, sums_rest) = sums.as_chunks_mut::<LANES>();
    for ((((sums, a), b), c), d) in sums.iter_mut().zip(a).zip(b).zip(c).zip(d) {
        for n in 0..LANES {
            sums[n] = sum(a[n], b[n], c[n], d[n]);
        }
    }
    for (n, value) in sums_rest.iter_mut().enumerate() {
        *value = sum(a_rest[n], b_rest[n], c_rest[n], d_rest[n]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Slow plain reference: the displacement at all pixels, row by row, is that at each of them,
    /// within the grid and beyond it (rounding of values of 5 px).
    #[test]
    fn pixels_have_the_displacement_at_their_places() {
        let vectors = |n: usize| [(n as f64).sin() * 5.0, (1.7 * n as f64).cos() * 5.0];
        let grid = |first, columns, rows| {
            let displacements = (0..columns * rows).map(vectors).collect();
            Predictor::new(
                first,
                [8, 6],
                [columns, rows],
                displacements,
                PredictorFilter::None,
            )
        };
        let size = [50, 30];
        for predictor in [
            grid([7.5, 5.5], 5, 4),
            grid([20.5, 10.0], 1, 2),
            grid([-30.0, 90.0], 3, 3),
        ] {
            for (n, found) in predictor.at_pixels(size).iter().enumerate() {
                let expected = predictor.at((n % size[0]) as f64, (n / size[0]) as f64);
                for k in 0..2 {
                    let tolerance = 1e-12 * expected[k].abs().max(5.0);
                    assert!(
                        (found[k] - expected[k]).abs() < tolerance,
                        "{n}: {found:?} {expected:?}"
                    );
                }
            }
        }
        assert!(grid([0.0; 2], 2, 2).at_pixels([0, 3]).is_empty());
    }
}
