//! Vectors that another program measured, in files of its own: delimited text, NPY, NPZ, VTK.
//!
//! Position and displacement suffice, on any grid or none, in any order. What a file does not say
//! itself (columns, units, origin, direction of y) is stated beside it, see [`TableReading`].

mod array;
mod lattice;
mod table;

use std::path::Path;

use motefield_evaluator::conventions::{Convention, PlacedVectors};
use motefield_rig::import::{self, Format, Positions};

use crate::StudyError;

pub use lattice::{Lattice, MOST_SCORED, thinned};

/// What holds which of [`FIELDS`]: a column by its name or its number from 1.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Columns([Option<String>; 5]);

/// What a vector consists of; the last says whether it is valid.
pub const FIELDS: [&str; 5] = ["x", "y", "dx", "dy", "flag"];

impl std::str::FromStr for Columns {
    type Err = String;

    /// Of the form `x=1,y=2,dx=u,dy=v`.
    fn from_str(text: &str) -> Result<Columns, String> {
        let mut columns = Columns::default();
        for part in text.split(',') {
            let known = part.split_once('=').and_then(|(field, column)| {
                let place = FIELDS.iter().position(|f| *f == field.trim())?;
                let column = column.trim();
                (!column.is_empty()).then(|| (place, column.to_owned()))
            });
            let Some((place, column)) = known else {
                return Err(format!(
                    "`{part}` must name x, y, dx, dy or flag and its column, as in x=1,y=2,dx=3,dy=4"
                ));
            };
            columns.0[place] = Some(column);
        }
        Ok(columns)
    }
}

/// How a file of vectors is read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TableReading {
    /// Which columns hold what, where the file does not say it.
    pub columns: Columns,
    /// Entries of the flag's column that mark a valid vector.
    pub good: Vec<String>,
    /// The convention in which the vectors are written.
    pub convention: Convention,
}

/// Reads vectors out of the content of a file, for pictures `height_px` high.
///
/// # Errors
/// When the content cannot be understood: names the line where there is one, and what to do.
pub fn read(
    path: &Path,
    bytes: &[u8],
    reading: &TableReading,
    height_px: usize,
) -> Result<PlacedVectors, StudyError> {
    let written = match bytes {
        [0x93, b'N', b'U', b'M', b'P', b'Y', ..] => {
            let numbers = import::array(path, bytes).map_err(|e| StudyError::request(e.to_string()))?;
            array::one(path, &numbers, reading)?
        }
        [b'P', b'K', 3, 4, ..] => {
            let all = import::arrays(path, bytes).map_err(|e| StudyError::request(e.to_string()))?;
            array::named(path, &all)?
        }
        _ => match Format::of(path) {
            Some(format @ (Format::VtkLegacy | Format::VtkXml)) => vtk(path, bytes, format)?,
            _ => table::read(path, bytes, reading)?,
        },
    };
    let about = |why: &str| StudyError::request(format!("{}: {why}", path.display()));
    if written.at.is_empty() {
        return Err(about("holds no vectors"));
    }
    if written.at.iter().flatten().any(|v| !v.is_finite()) {
        return Err(about("holds a position that is not a finite number"));
    }
    if written.moved.iter().flatten().any(|v| v.is_infinite()) {
        return Err(about(
            "holds an infinite displacement: where there is none it must be NaN",
        ));
    }
    Ok(reading.convention.read(&written, height_px))
}

/// The first array of vectors in a VTK file, at its points.
fn vtk(path: &Path, bytes: &[u8], format: Format) -> Result<PlacedVectors, StudyError> {
    let data =
        import::decode(path, bytes, format, None, None).map_err(|e| StudyError::request(e.to_string()))?;
    let at = match data.positions {
        Positions::Nodes(nodes) | Positions::Mesh { nodes, .. } => nodes,
        Positions::Grid {
            first,
            spacing,
            count,
        } => {
            let node = |k: usize| {
                let index = [k % count[0], k / count[0] % count[1]];
                [0, 1].map(|c| first[c] + index[c] as f64 * spacing[c])
            };
            if count[2] > 1 {
                return Err(StudyError::request(format!(
                    "{}: has {} nodes along z; give the plane that was measured",
                    path.display(),
                    count[2]
                )));
            }
            (0..count[0] * count[1]).map(node).collect()
        }
    };
    let moved = data.velocity.iter().map(|[u, v, _]| [*u, *v]).collect();
    Ok(PlacedVectors { at, moved })
}

/// Displacements with `NaN` for both components where either is missing.
fn whole(moved: [f64; 2]) -> [f64; 2] {
    if moved.iter().any(|d| d.is_nan()) {
        [f64::NAN; 2]
    } else {
        moved
    }
}

#[cfg(test)]
mod tests;
