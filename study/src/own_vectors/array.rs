//! Vectors as arrays.

use std::path::Path;

use motefield_evaluator::conventions::PlacedVectors;
use motefield_rig::import::Numbers;

use super::{TableReading, whole};
use crate::StudyError;

/// Names of arrays that hold x, y, dx, dy.
const NAMES: [&[&str]; 4] = [&["x"], &["y"], &["dx", "u"], &["dy", "v"]];

/// What shapes mean.
const SHAPES: &str = "must be vectors x 4 (x, y, dx, dy; others with stated columns), 4 x rows x columns, or 2 x rows x \
                      columns or rows x columns x 2 (dx, dy at every row and column: the positions are their numbers)";

/// Vectors in a single array.
pub(super) fn one(
    path: &Path,
    numbers: &Numbers,
    reading: &TableReading,
) -> Result<PlacedVectors, StudyError> {
    let values = &numbers.values;
    let bad = || {
        StudyError::request(format!(
            "{}: has the shape {:?}, but {SHAPES}",
            path.display(),
            numbers.shape
        ))
    };
    let index = |width: usize, k: usize| [(k % width) as f64, (k / width) as f64];
    match numbers.shape[..] {
        [count, width] if width >= 4 => {
            let column = |field: usize| match &reading.columns.0[field] {
                None if width == 4 => Ok(field),
                None => Err(bad()),
                Some(text) => text
                    .parse()
                    .ok()
                    .filter(|n| (1..=width).contains(n))
                    .map(|n: usize| n - 1)
                    .ok_or_else(bad),
            };
            let [x, y, dx, dy] = [column(0)?, column(1)?, column(2)?, column(3)?];
            let row = |k: usize| &values[k * width..(k + 1) * width];
            Ok(PlacedVectors {
                at: (0..count).map(|k| [row(k)[x], row(k)[y]]).collect(),
                moved: (0..count).map(|k| whole([row(k)[dx], row(k)[dy]])).collect(),
            })
        }
        [4, height, width] => {
            let n = height * width;
            Ok(PlacedVectors {
                at: (0..n).map(|k| [values[k], values[n + k]]).collect(),
                moved: (0..n)
                    .map(|k| whole([values[2 * n + k], values[3 * n + k]]))
                    .collect(),
            })
        }
        [2, height, width] => {
            let n = height * width;
            Ok(PlacedVectors {
                at: (0..n).map(|k| index(width, k)).collect(),
                moved: (0..n).map(|k| whole([values[k], values[n + k]])).collect(),
            })
        }
        [height, width, 2] => Ok(PlacedVectors {
            at: (0..height * width).map(|k| index(width, k)).collect(),
            moved: values.chunks_exact(2).map(|d| whole([d[0], d[1]])).collect(),
        }),
        _ => Err(bad()),
    }
}

/// Vectors in arrays x, y, dx, dy (or u, v): of one shape each, or x along and y down a grid.
pub(super) fn named(path: &Path, all: &[(String, Numbers)]) -> Result<PlacedVectors, StudyError> {
    let bad = |why: String| StudyError::request(format!("{}: {why}", path.display()));
    let find = |field: usize| {
        let found = all
            .iter()
            .find(|(name, _)| NAMES[field].contains(&name.to_ascii_lowercase().as_str()));
        found.map(|(_, numbers)| numbers).ok_or_else(|| {
            let names: Vec<&str> = all.iter().map(|(name, _)| name.as_str()).collect();
            bad(format!(
                "holds no array {}, but {}; save x, y, dx and dy",
                NAMES[field].join(" or "),
                names.join(", ")
            ))
        })
    };
    let [x, y, dx, dy] = [find(0)?, find(1)?, find(2)?, find(3)?];
    let n = dx.values.len();
    let moved = |k: usize| whole([dx.values[k], dy.values[k]]);
    let at: Box<dyn Fn(usize) -> [f64; 2]> = match dx.shape[..] {
        _ if x.values.len() == n && y.values.len() == n => Box::new(|k| [x.values[k], y.values[k]]),
        [height, width] if x.values.len() == width && y.values.len() == height => {
            Box::new(move |k| [x.values[k % width], y.values[k / width]])
        }
        _ => {
            return Err(bad(format!(
                "its arrays do not fit together: x {:?}, y {:?}, dx {:?}",
                x.shape, y.shape, dx.shape
            )));
        }
    };
    if dy.values.len() != n {
        return Err(bad(format!(
            "dx has the shape {:?}, but dy {:?}",
            dx.shape, dy.shape
        )));
    }
    Ok(PlacedVectors {
        at: (0..n).map(at).collect(),
        moved: (0..n).map(moved).collect(),
    })
}
