//! `vectors.csv`: measured displacements as a table, read back.

use std::path::Path;

use motefield_evaluator::{Grid, Vector, VectorStatus};
use ndarray::Array3;

use crate::StudyError;
use motefield_files::read_text;
use motefield_files::table::Table;

/// Columns of the table: position and displacement (px), ratio of the two highest peaks, status.
pub const COLUMNS: [&str; 6] = ["x_px", "y_px", "dx_px", "dy_px", "peak_ratio", "status"];
/// Columns after them where the vectors carry their standard uncertainties, px.
pub const UNCERTAINTY: [&str; 2] = ["u_x_px", "u_y_px"];

/// Last column, where something must be said of all vectors; `read` passes over it.
pub const CAVEATS: &str = "caveats";

/// Vectors of one pair as a file holds them.
pub struct MeasuredVectors {
    /// The vectors.
    pub vectors: Vec<Vector>,
    /// Their standard uncertainties, px, if the file has them; `NaN` where there is none.
    pub uncertainties_px: Option<Vec<[f64; 2]>>,
    /// The grid on which they stand.
    pub grid: Grid,
}

/// Reads vectors back, with the grid of windows of `window` px on which they stand.
///
/// # Errors
/// When a row cannot be read or the vectors do not stand on a regular grid, row by row: names the
/// row.
pub fn read(path: &Path, window: [usize; 2]) -> Result<MeasuredVectors, StudyError> {
    let text = read_text(path)?;
    let bad = |row: usize, why: &str| {
        let place = match row {
            0 => "heading".to_owned(),
            row => format!("row {row}"),
        };
        StudyError::request(format!(
            "{}, {place}: {why}; its columns must be {}, or these with ,{} after them",
            path.display(),
            COLUMNS.join(","),
            UNCERTAINTY.join(",")
        ))
    };
    let table = Table::parse(path, &text)?;
    let head: Vec<&str> = table.columns.iter().map(String::as_str).collect();
    let uncertain = match head
        .strip_suffix(&[CAVEATS])
        .unwrap_or(&head)
        .strip_prefix(&COLUMNS)
    {
        Some([]) => false,
        Some(more) if more == UNCERTAINTY => true,
        _ => return Err(bad(0, "the columns are others")),
    };
    let mut uncertainties_px = Vec::new();
    let mut vectors = Vec::new();
    for (number, cells) in (1..).zip(&table.rows) {
        let [x, y, dx, dy, ratio, status, more @ ..] = &cells[..] else {
            return Err(bad(number, "cells are missing"));
        };
        let value = |text: &str| {
            text.parse::<f64>()
                .map_err(|_| bad(number, &format!("`{text}` is not a number")))
        };
        let status: VectorStatus = status
            .parse()
            .map_err(|_| bad(number, &format!("`{status}` is not a status")))?;
        let vector = Vector {
            x_px: value(x)?,
            y_px: value(y)?,
            dx_px: value(dx)?,
            dy_px: value(dy)?,
            peak_ratio: value(ratio)?,
            status,
        };
        if [vector.x_px, vector.y_px, vector.dx_px, vector.dy_px]
            .iter()
            .any(|v| !v.is_finite())
        {
            return Err(bad(number, "a position or displacement is not finite"));
        }
        vectors.push(vector);
        if let ([ux, uy, ..], true) = (more, uncertain) {
            uncertainties_px.push([value(ux)?, value(uy)?]);
        }
    }
    let grid = grid(&vectors, window).ok_or_else(|| {
        bad(1, &format!("the vectors do not stand row by row on a regular grid of windows of {} x {} px (the setup whose processing was used may say other windows)", window[0], window[1]))
    })?;
    Ok(MeasuredVectors {
        vectors,
        uncertainties_px: uncertain.then_some(uncertainties_px),
        grid,
    })
}

/// The grid on which vectors stand, if it is one.
fn grid(vectors: &[Vector], window: [usize; 2]) -> Option<Grid> {
    let first = vectors.first()?;
    let columns = vectors.iter().take_while(|v| v.y_px == first.y_px).count();
    if !vectors.len().is_multiple_of(columns) {
        return None;
    }
    let rows = vectors.len() / columns;
    let step = |next: Option<&Vector>, of: fn(&Vector) -> f64| {
        next.map_or(Some(1), |v| whole(of(v) - of(first)).filter(|s| *s > 0))
    };
    let spacing = [
        step((columns > 1).then(|| &vectors[1]), |v| v.x_px)?,
        step((rows > 1).then(|| &vectors[columns]), |v| v.y_px)?,
    ];
    let corner = |centre: f64, side: usize| whole(centre - 0.5 * (side as f64 - 1.0));
    let origin = [corner(first.x_px, window[0])?, corner(first.y_px, window[1])?];
    let grid = Grid {
        columns,
        rows,
        window,
        spacing,
        origin,
    };
    let stands = |(k, v): (usize, &Vector)| grid.centre(k % columns, k / columns) == [v.x_px, v.y_px];
    vectors.iter().enumerate().all(stands).then_some(grid)
}

fn whole(value: f64) -> Option<usize> {
    (value >= 0.0 && value.fract() == 0.0 && value < 1e9).then_some(value as usize)
}

/// First pixel beyond the last window, along x and y.
pub fn end(grid: &Grid) -> [usize; 2] {
    let corner = grid.corner(grid.columns - 1, grid.rows - 1);
    [corner[0] + grid.window[0], corner[1] + grid.window[1]]
}

/// Whether the mask is true at the pixels next to a point on all sides; outside the picture counts
/// as true.
pub fn all_around(mask: &ndarray::Array2<bool>, x_px: f64, y_px: f64) -> bool {
    let near = |at: f64| [at.floor(), at.ceil()].map(|p| p as usize);
    near(y_px).iter().all(|&y| {
        near(x_px)
            .iter()
            .all(|&x| mask.get([y, x]).copied().unwrap_or(true))
    })
}

/// The field at a point between the pixels: cubic interpolation through the four nearest on each
/// axis, clamped at the border. (Lagrange's polynomial; half-way between pixels its error is 3/128
/// of the fourth derivative.)
pub fn interpolate(field: &Array3<f64>, x_px: f64, y_px: f64) -> [f64; 2] {
    let (_, height, width) = field.dim();
    let (columns, across) = taps(x_px, width);
    let (rows, down) = taps(y_px, height);
    [0, 1].map(|c| {
        rows.iter()
            .zip(&down)
            .map(|(&j, wy)| {
                wy * columns
                    .iter()
                    .zip(&across)
                    .map(|(&i, wx)| wx * field[[c, j, i]])
                    .sum::<f64>()
            })
            .sum()
    })
}

fn taps(at: f64, length: usize) -> ([usize; 4], [f64; 4]) {
    let first = at.floor();
    let t = at - first;
    let index = [-1.0, 0.0, 1.0, 2.0].map(|k| (first + k).clamp(0.0, length as f64 - 1.0) as usize);
    let weights = [
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    ];
    (index, weights)
}
