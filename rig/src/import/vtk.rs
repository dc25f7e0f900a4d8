//! VTK's legacy format (VTK file formats, "Simple Legacy Formats"): structured points and
//! unstructured grids.

mod cursor;

use super::mesh::{Cells, mesh};
use super::{Data, FormatFault, grid, node_count, vectors};
use cursor::Cursor;

/// Numbers with their name.
struct Array {
    name: String,
    components: usize,
    numbers: Vec<f64>,
}

/// Where the points of a file stand.
enum Geometry {
    Grid {
        first: [f64; 3],
        spacing: [f64; 3],
        count: [usize; 3],
    },
    Mesh {
        points: Vec<f64>,
        cells: Cells,
    },
}

/// The vectors named `array`, or the first, at the points of a `DATASET STRUCTURED_POINTS` or
/// `UNSTRUCTURED_GRID`.
pub(super) fn read(bytes: &[u8], array: Option<&str>) -> Result<Data, FormatFault> {
    let mut text = Cursor::new(bytes);
    if !text.line().starts_with("# vtk DataFile Version") {
        return Err(FormatFault::at(
            1,
            "is not a legacy VTK file: it does not begin with \"# vtk DataFile Version\"",
        ));
    }
    text.line();
    let binary = match text.word()? {
        "ASCII" => false,
        "BINARY" => true,
        other => return Err(text.fault(format!("is \"{other}\", but must say ASCII or BINARY"))),
    };
    text.expect("DATASET")?;
    let kind = text.word()?;
    let (geometry, nodes, section) = match kind {
        "STRUCTURED_POINTS" => structured(&mut text, bytes.len())?,
        "UNSTRUCTURED_GRID" => unstructured(&mut text, binary)?,
        _ => {
            return Err(text.fault(format!(
                "is a {kind}, but only STRUCTURED_POINTS (image data) and UNSTRUCTURED_GRID can be read: save it as one of these"
            )));
        }
    };
    let velocity = vectors(&point_vectors(&mut text, section, nodes, binary, array)?);
    match geometry {
        Geometry::Grid {
            first,
            spacing,
            count,
        } => grid(first, spacing, count, velocity),
        Geometry::Mesh { points, cells } => mesh(&points, &cells, &velocity),
    }
}

/// The grid of structured points, their number, and the word that follows.
fn structured<'a>(
    text: &mut Cursor<'a>,
    available: usize,
) -> Result<(Geometry, usize, Option<&'a str>), FormatFault> {
    let (mut count, mut first, mut spacing) = (None, [0.0; 3], [1.0; 3]);
    let section = loop {
        match text.word()? {
            "DIMENSIONS" => count = Some([text.number()?, text.number()?, text.number()?]),
            "ORIGIN" => first = [text.number()?, text.number()?, text.number()?],
            "SPACING" | "ASPECT_RATIO" => spacing = [text.number()?, text.number()?, text.number()?],
            "METADATA" => text.pass_metadata(),
            section @ ("POINT_DATA" | "CELL_DATA") => break section,
            other => return Err(text.fault(format!("has the unknown entry \"{other}\""))),
        }
    };
    let count = count.ok_or_else(|| text.fault("has no DIMENSIONS before its data"))?;
    // A number takes two bytes at least, as text.
    let nodes = node_count(count, available / 2)?;
    let geometry = Geometry::Grid {
        first,
        spacing,
        count,
    };
    Ok((geometry, nodes, Some(section)))
}

/// Points and cells of an unstructured grid, the number of points, and the word that follows.
fn unstructured<'a>(
    text: &mut Cursor<'a>,
    binary: bool,
) -> Result<(Geometry, usize, Option<&'a str>), FormatFault> {
    let mut points: Option<(usize, Vec<f64>)> = None;
    let mut cells = Cells {
        kinds: Vec::new(),
        ends: Vec::new(),
        points: Vec::new(),
    };
    let section = loop {
        match text.try_word() {
            Some("POINTS") => {
                let count = text.number()?;
                let kind = text.word()?;
                points = Some((count, text.numbers(kind, 3, count, binary)?));
            }
            Some("CELLS") => (cells.ends, cells.points) = connections(text, binary)?,
            Some("CELL_TYPES") => {
                let count = text.number()?;
                cells.kinds = Cells::whole(&text.numbers("int", 1, count, binary)?)?;
            }
            Some("METADATA") => text.pass_metadata(),
            Some("FIELD") => drop(text.field(binary)?),
            section @ (Some("POINT_DATA" | "CELL_DATA") | None) => break section,
            Some(other) => return Err(text.fault(format!("has the unknown entry \"{other}\""))),
        }
    };
    let (nodes, points) = points.ok_or_else(|| text.fault("has no POINTS before its data"))?;
    Ok((Geometry::Mesh { points, cells }, nodes, section))
}

/// Where the points of each cell end, and their numbers; as version 5 writes them, or each cell
/// with its number of points before it.
fn connections(text: &mut Cursor, binary: bool) -> Result<(Vec<usize>, Vec<usize>), FormatFault> {
    let (count, size): (usize, usize) = (text.number()?, text.number()?);
    if text.peek_word() == Some("OFFSETS") {
        text.word()?;
        let kind = text.word()?;
        let starts = Cells::whole(&text.numbers(kind, 1, count, binary)?)?;
        text.expect("CONNECTIVITY")?;
        let kind = text.word()?;
        let points = Cells::whole(&text.numbers(kind, 1, size, binary)?)?;
        return Ok((starts.into_iter().skip(1).collect(), points));
    }
    let numbers = Cells::whole(&text.numbers("int", 1, size, binary)?)?;
    let (mut ends, mut points, mut at) = (Vec::new(), Vec::new(), 0);
    while let Some(&length) = numbers.get(at) {
        let cell = at
            .checked_add(1 + length)
            .and_then(|end| numbers.get(at + 1..end));
        points.extend(cell.ok_or_else(|| text.fault("has a cell that is cut short"))?);
        ends.push(points.len());
        at += 1 + length;
    }
    Ok((ends, points))
}

/// The three components of each of the `nodes` points, of the array asked for or the first; what
/// the cells hold is passed over.
fn point_vectors<'a>(
    text: &mut Cursor<'a>,
    mut section: Option<&'a str>,
    nodes: usize,
    binary: bool,
    array: Option<&str>,
) -> Result<Vec<f64>, FormatFault> {
    let mut seen = Vec::new();
    let (mut at_points, mut tuples) = (false, 0);
    while let Some(word) = section {
        let found = match word {
            "POINT_DATA" | "CELL_DATA" => {
                (at_points, tuples) = (word == "POINT_DATA", text.number()?);
                if at_points && tuples != nodes {
                    return Err(text.fault(format!("says POINT_DATA {tuples}, but there are {nodes} points")));
                }
                Vec::new()
            }
            "VECTORS" | "NORMALS" => vec![text.array(3, tuples, binary)?],
            "SCALARS" => vec![text.scalars(tuples, binary)?],
            "FIELD" => text.field(binary)?,
            "METADATA" => {
                text.pass_metadata();
                Vec::new()
            }
            other => {
                return Err(text.fault(format!(
                    "has {other} data, of which nothing is known here: save the velocity as VECTORS only"
                )));
            }
        };
        for found in found {
            let fits =
                at_points && found.components == 3 && Some(found.numbers.len()) == nodes.checked_mul(3);
            if fits && array.is_none_or(|wanted| wanted == found.name) {
                return Ok(found.numbers);
            }
            let of = if at_points { "" } else { ", at the cells" };
            seen.push(format!("{} ({} components{of})", found.name, found.components));
        }
        section = text.try_word();
    }
    Err(no_array(array, &seen))
}

/// The array asked for is not among those there are.
pub(super) fn no_array(wanted: Option<&str>, seen: &[String]) -> FormatFault {
    let wanted = wanted.map_or("array".to_owned(), |name| format!("array \"{name}\""));
    let there = if seen.is_empty() {
        "none".to_owned()
    } else {
        seen.join(", ")
    };
    FormatFault::new(format!(
        "has no {wanted} of 3 components at its points; there: {there}; what stands at the cells must be brought to the points first"
    ))
}
