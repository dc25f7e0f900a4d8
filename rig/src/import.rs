//! Velocity fields from files: regular grids (NPY, CSV, VTK), meshes of plane cells (VTK) and
//! scattered points (CSV), in the units of the file. A velocity of `NaN` stands where nothing is
//! known.
//!
//! A format is told by the file's extension. Nothing is allocated by what a header claims before
//! the bytes behind it have been counted, and whatever is wrong is said with its place in the file.

mod csv;
mod layout;
mod mesh;
mod npy;
mod npz;
mod number;
mod vtk;
mod xml;

use std::fmt;
use std::path::Path;

/// A file format.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// NPY array of shape (2 or 3) × (depth ×) height × width: the components, then the index of
    /// the node along z, y and x.
    Npy,
    /// Table with a line of column names: x, y, u, v, and z and w where there are any.
    Csv,
    /// VTK's legacy format, `STRUCTURED_POINTS` or `UNSTRUCTURED_GRID`, ASCII or binary.
    VtkLegacy,
    /// VTK's XML format, `ImageData`, `RectilinearGrid` or `UnstructuredGrid`, plain or compressed
    /// by zlib.
    VtkXml,
}

impl Format {
    /// The format that the extension of a file name says.
    pub fn of(path: &Path) -> Option<Format> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        match extension.as_str() {
            "npy" => Some(Format::Npy),
            "csv" | "txt" | "dat" | "tsv" => Some(Format::Csv),
            "vtk" => Some(Format::VtkLegacy),
            "vti" | "vtr" | "vtu" => Some(Format::VtkXml),
            _ => None,
        }
    }
}

pub use crate::keys::choices::Layout;
pub use npy::Numbers;

/// Where the points of a field stand, in the file's unit of length; for NPY in nodes.
#[derive(Debug, Clone, PartialEq)]
pub enum Positions {
    /// On a regular grid; x runs first, then y, then z.
    Grid {
        /// Node (0, 0, 0).
        first: [f64; 3],
        /// Between nodes along each axis, above 0.
        spacing: [f64; 3],
        /// Nodes along each axis.
        count: [usize; 3],
    },
    /// Anywhere in the plane.
    Nodes(Vec<[f64; 2]>),
    /// At the corners of cells, which cover the fluid.
    Mesh {
        /// The corners.
        nodes: Vec<[f64; 2]>,
        /// The cells, cut into triangles: numbers of their corners.
        triangles: Vec<[usize; 3]>,
    },
}

/// A field as a file gives it.
#[derive(Debug, Clone, PartialEq)]
pub struct Data {
    /// Where the points stand.
    pub positions: Positions,
    /// Velocity at each, in the file's unit of velocity; `NaN` where nothing is known.
    pub velocity: Vec<[f64; 3]>,
    /// Line of each scattered point in its file.
    lines: Vec<usize>,
}

impl Data {
    /// What to call a scattered point in messages.
    pub fn name(&self, index: usize) -> String {
        match self.lines.get(index) {
            Some(line) => format!("line {line}"),
            None => format!("point {index} (counted from 0)"),
        }
    }
}

/// A file that cannot be used: where in it, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportError {
    place: String,
    message: String,
}

impl std::error::Error for ImportError {}

impl fmt::Display for ImportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.message)
    }
}

/// A fault found in a file's bytes, before the file's name is known.
#[derive(Debug)]
struct FormatFault {
    line: Option<usize>,
    message: String,
}

impl FormatFault {
    fn new(message: impl Into<String>) -> FormatFault {
        FormatFault {
            line: None,
            message: message.into(),
        }
    }

    fn of(self, path: &Path) -> ImportError {
        ImportError {
            place: match self.line {
                Some(line) => format!("{}, line {line}", path.display()),
                None => path.display().to_string(),
            },
            message: self.message,
        }
    }

    fn at(line: usize, message: impl Into<String>) -> FormatFault {
        FormatFault {
            line: Some(line),
            message: message.into(),
        }
    }
}

impl ImportError {
    pub(crate) fn of_file(path: &Path, error: motefield_files::FileError) -> ImportError {
        let message = match &error {
            motefield_files::FileError::Unusable { message, .. } => message.clone(),
            motefield_files::FileError::Missing { .. } => "there is no such file".to_owned(),
            other => other.to_string(),
        };
        ImportError {
            place: path.display().to_string(),
            message,
        }
    }
}

/// Reads a field out of the bytes of a file, called `path` in messages. `layout` says how the
/// points of a table are arranged, which is else found out; `array` names the array of a VTK file,
/// else the first of vectors is taken.
///
/// # Errors
/// When the bytes cannot be used: the line where there is one, and what is wrong.
pub fn decode(
    path: &Path,
    bytes: &[u8],
    format: Format,
    layout: Option<Layout>,
    array: Option<&str>,
) -> Result<Data, ImportError> {
    let result = match format {
        Format::Npy => npy::read(bytes),
        Format::Csv => csv::read(bytes, layout),
        Format::VtkLegacy => vtk::read(bytes, array),
        Format::VtkXml => xml::read(bytes, array),
    };
    result.map_err(|fault| fault.of(path))
}

/// The numbers in the bytes of an NPY file, of any shape.
///
/// # Errors
/// When the bytes are no array of plain numbers, or fewer than its header claims.
pub fn array(path: &Path, bytes: &[u8]) -> Result<Numbers, ImportError> {
    npy::numbers(bytes).map_err(|fault| fault.of(path))
}

/// The arrays in the bytes of an NPZ file with their names, stored or deflated, up to
/// [`MOST_NPZ_BYTES`] together.
///
/// # Errors
/// As [`array()`], and when the archive cannot be read or holds more.
pub fn arrays(path: &Path, bytes: &[u8]) -> Result<Vec<(String, Numbers)>, ImportError> {
    npz::read(bytes).map_err(|fault| fault.of(path))
}

pub use npz::MOST_NPZ_BYTES;

/// A grid's data, checked: counts that fit, spacings above 0, no infinite numbers.
fn grid(
    first: [f64; 3],
    spacing: [f64; 3],
    count: [usize; 3],
    velocity: Vec<[f64; 3]>,
) -> Result<Data, FormatFault> {
    if count[0] < 2 || count[1] < 2 || count[2] < 1 {
        let [x, y, z] = count;
        return Err(FormatFault::new(format!(
            "has {x} x {y} x {z} nodes, but a field needs at least 2 along x and along y"
        )));
    }
    if let Some(bad) = (0..3).find(|&i| count[i] > 1 && !(spacing[i] > 0.0 && spacing[i].is_finite())) {
        return Err(FormatFault::new(format!(
            "has a spacing of {} along {}, but it must be above 0",
            spacing[bad],
            ["x", "y", "z"][bad]
        )));
    }
    if first.iter().any(|f| !f.is_finite()) {
        return Err(FormatFault::new("has an origin that is not a finite number"));
    }
    if let Some(k) = velocity.iter().position(|v| v.iter().any(|c| c.is_infinite())) {
        let (x, y, z) = (k % count[0], k / count[0] % count[1], k / count[0] / count[1]);
        return Err(FormatFault::new(format!(
            "has an infinite velocity at node ({x}, {y}, {z}), counted from 0 along x, y, z: where nothing is known it must be NaN"
        )));
    }
    // An axis with a single node has no spacing; any does.
    let spacing = std::array::from_fn(|i| if count[i] > 1 { spacing[i] } else { 1.0 });
    Ok(Data {
        positions: Positions::Grid {
            first,
            spacing,
            count,
        },
        velocity,
        lines: Vec::new(),
    })
}

/// Nodes of a grid, where their number is one that `available` values per component can fill.
fn node_count(count: [usize; 3], available: usize) -> Result<usize, FormatFault> {
    let [x, y, z] = count;
    x.checked_mul(y)
        .and_then(|n| n.checked_mul(z))
        .filter(|&n| n <= available)
        .ok_or_else(|| FormatFault::new(format!("claims {x} x {y} x {z} nodes, but holds data for {available} at most: it is cut short, or its header is wrong")))
}

/// Vectors out of numbers that stand component by component of one point after the other.
fn vectors(numbers: &[f64]) -> Vec<[f64; 3]> {
    numbers.chunks_exact(3).map(|c| [c[0], c[1], c[2]]).collect()
}

#[cfg(test)]
mod tests;
