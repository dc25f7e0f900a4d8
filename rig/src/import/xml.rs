//! VTK's XML format (VTK file formats, "XML File Formats"): image data, rectilinear and
//! unstructured grids, in one piece, plain or compressed by zlib.

mod coding;

use roxmltree::{Document, Node};

use super::layout;
use super::mesh::{Cells, mesh};
use super::vtk::no_array;
use super::{Data, FormatFault, grid, node_count, vectors};
use coding::{Appended, Coding};

/// What the arrays of a file are read with.
struct XmlSource<'a> {
    coding: Coding,
    appended: Option<Appended<'a>>,
    /// No more numbers than this are believed to be there: zlib makes at most 1032 bytes of one.
    most: usize,
}

/// The point data named `array`, or the first of three components.
pub(super) fn read(bytes: &[u8], array: Option<&str>) -> Result<Data, FormatFault> {
    let (head, appended) = split(bytes)?;
    let document = Document::parse(&head)
        .map_err(|e| FormatFault::at(e.pos().row as usize, format!("is not valid XML: {e}")))?;
    let root = document.root_element();
    let kind = root
        .attribute("type")
        .filter(|_| root.tag_name().name() == "VTKFile");
    let compressed = match root.attribute("compressor") {
        None => false,
        Some("vtkZLibDataCompressor") => true,
        Some(other) => {
            return Err(at(
                root,
                format!(
                    "is compressed by {other}, but only zlib is known here: save it with vtkZLibDataCompressor or without compression"
                ),
            ));
        }
    };
    let source = XmlSource {
        coding: Coding {
            big_endian: root.attribute("byte_order") == Some("BigEndian"),
            long_header: root.attribute("header_type") == Some("UInt64"),
            compressed,
        },
        appended,
        most: bytes.len().saturating_mul(if compressed { 1032 } else { 1 }),
    };
    match kind {
        Some(kind @ "ImageData") => image(child(root, kind)?, &source, array),
        Some(kind @ "RectilinearGrid") => rectilinear(child(root, kind)?, &source, array),
        Some(kind @ "UnstructuredGrid") => unstructured(child(root, kind)?, &source, array),
        _ => Err(FormatFault::new(
            "is not a VTK file of image data, a rectilinear or an unstructured grid: save the field as .vti, .vtr or .vtu",
        )),
    }
}

/// The only piece of a structured data set, the first index and the number of nodes along x, y, z.
fn whole<'a, 'i>(
    set: Node<'a, 'i>,
    most: usize,
) -> Result<(Node<'a, 'i>, [i64; 3], [usize; 3]), FormatFault> {
    let whole: [i64; 6] = list(set, "WholeExtent")?;
    let piece = child(set, "Piece")?;
    if list::<i64, 6>(piece, "Extent")? != whole {
        return Err(at(
            piece,
            "is a piece of the whole, but the file must hold all of it in one piece",
        ));
    }
    let side = |i: usize| -> Option<usize> {
        let nodes = whole[2 * i + 1].checked_sub(whole[2 * i])?.checked_add(1)?;
        usize::try_from(nodes).ok().filter(|n| *n > 0)
    };
    let (Some(x), Some(y), Some(z)) = (side(0), side(1), side(2)) else {
        return Err(at(set, "has an extent without points"));
    };
    node_count([x, y, z], most)?;
    Ok((piece, [whole[0], whole[2], whole[4]], [x, y, z]))
}

fn image(image: Node, source: &XmlSource, array: Option<&str>) -> Result<Data, FormatFault> {
    let (piece, index, count) = whole(image, source.most)?;
    let (first, spacing) = (
        list::<f64, 3>(image, "Origin")?,
        list::<f64, 3>(image, "Spacing")?,
    );
    if image.has_attribute("Direction")
        && list::<f64, 9>(image, "Direction")? != [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0]
    {
        return Err(at(
            image,
            "has turned axes (Direction), but they must be those of x, y and z",
        ));
    }
    // The origin is the place of index 0, which need not be the first.
    let first = std::array::from_fn(|i| first[i] + index[i] as f64 * spacing[i]);
    let velocity = point_vectors(piece, count.iter().product(), source, array)?;
    grid(first, spacing, count, velocity)
}

fn rectilinear(set: Node, source: &XmlSource, array: Option<&str>) -> Result<Data, FormatFault> {
    let (piece, _, count) = whole(set, source.most)?;
    let coordinates = child(piece, "Coordinates")?;
    let arrays: Vec<Node> = coordinates
        .children()
        .filter(|n| n.has_tag_name("DataArray"))
        .collect();
    let [x, y, z] = arrays[..] else {
        return Err(at(coordinates, "must hold three arrays, those of x, y and z"));
    };
    let places = [
        source.numbers(x, count[0])?,
        source.numbers(y, count[1])?,
        source.numbers(z, count[2])?,
    ];
    let velocity = point_vectors(piece, count.iter().product(), source, array)?;
    if let [Some(x), Some(y), Some(z)] = places.each_ref().map(|along| layout::even(along)) {
        return grid([x[0], y[0], z[0]], [x[1], y[1], z[1]], count, velocity);
    }
    if count[2] > 1 {
        return Err(at(
            coordinates,
            "are not evenly spaced, and there are several layers: resample the field to image data",
        ));
    }
    // A plane with uneven spacing is a mesh of quadrilaterals.
    let [columns, rows, _] = count;
    let mut points = Vec::new();
    for y in &places[1] {
        places[0].iter().for_each(|x| points.extend([*x, *y, 0.0]));
    }
    let corner = |i: usize, j: usize| j * columns + i;
    let squares =
        (0..rows.saturating_sub(1)).flat_map(|j| (0..columns.saturating_sub(1)).map(move |i| (i, j)));
    let corners: Vec<usize> = squares
        .flat_map(|(i, j)| {
            [
                corner(i, j),
                corner(i + 1, j),
                corner(i + 1, j + 1),
                corner(i, j + 1),
            ]
        })
        .collect();
    let cells = Cells {
        kinds: vec![9; corners.len() / 4],
        ends: (1..=corners.len() / 4).map(|k| 4 * k).collect(),
        points: corners,
    };
    mesh(&points, &cells, &velocity)
}

fn unstructured(set: Node, source: &XmlSource, array: Option<&str>) -> Result<Data, FormatFault> {
    let size = |piece: &Node, what: &str| -> Option<usize> { piece.attribute(what)?.trim().parse().ok() };
    let holds_points = |n: &Node| n.has_tag_name("Piece") && size(n, "NumberOfPoints") != Some(0);
    let pieces: Vec<Node> = set.children().filter(holds_points).collect();
    let [piece] = pieces[..] else {
        return Err(at(
            set,
            format!(
                "holds {} pieces with points, but the file must hold all in one",
                pieces.len()
            ),
        ));
    };
    let number = |what: &str| {
        let found = size(&piece, what).filter(|n| *n <= source.most);
        found.ok_or_else(|| at(piece, format!("has no {what} that the file could hold")))
    };
    let (nodes, count) = (number("NumberOfPoints")?, number("NumberOfCells")?);
    let points = child(child(piece, "Points")?, "DataArray")?;
    let points = source.numbers(points, 3 * nodes)?;
    let cells = child(piece, "Cells")?;
    let of_cells = |name: &str| {
        let found = cells.children().find(|n| n.attribute("Name") == Some(name));
        found.ok_or_else(|| at(cells, format!("has no {name} in it")))
    };
    let ends = Cells::whole(&source.numbers(of_cells("offsets")?, count)?)?;
    let used = ends.last().copied().unwrap_or(0);
    if used > source.most {
        return Err(at(cells, "claims more corners of cells than the file could hold"));
    }
    let cells = Cells {
        kinds: Cells::whole(&source.numbers(of_cells("types")?, count)?)?,
        points: Cells::whole(&source.numbers(of_cells("connectivity")?, used)?)?,
        ends,
    };
    mesh(&points, &cells, &point_vectors(piece, nodes, source, array)?)
}

/// The vectors at the points of a piece.
fn point_vectors(
    piece: Node,
    nodes: usize,
    source: &XmlSource,
    array: Option<&str>,
) -> Result<Vec<[f64; 3]>, FormatFault> {
    let mut seen = Vec::new();
    for place in ["PointData", "CellData"] {
        let arrays = piece.children().filter(|n| n.has_tag_name(place));
        for node in arrays
            .flat_map(|n| n.children())
            .filter(|n| n.has_tag_name("DataArray"))
        {
            let name = node.attribute("Name").unwrap_or("");
            let components = node.attribute("NumberOfComponents").unwrap_or("1");
            let at_points = place == "PointData";
            if at_points && components == "3" && array.is_none_or(|wanted| wanted == name) {
                let count = nodes
                    .checked_mul(3)
                    .ok_or_else(|| at(node, "has too many points"))?;
                return Ok(vectors(&source.numbers(node, count)?));
            }
            let of = if at_points { "" } else { ", at the cells" };
            seen.push(format!("{name} ({components} components{of})"));
        }
    }
    Err(no_array(array, &seen))
}

impl XmlSource<'_> {
    /// The `count` numbers of an array.
    fn numbers(&self, node: Node, count: usize) -> Result<Vec<f64>, FormatFault> {
        self.coding.numbers(node, count, self.appended)
    }
}

/// The XML without its appended data, and those: after their `_`, whether they are base64 stands in
/// the XML.
fn split(bytes: &[u8]) -> Result<(String, Option<Appended<'_>>), FormatFault> {
    let text = |bytes: &[u8]| {
        String::from_utf8(bytes.to_vec())
            .map_err(|_| FormatFault::new("is not a VTK XML file: it is not a text"))
    };
    let find = |what: &[u8], from: usize| {
        bytes[from..]
            .windows(what.len())
            .position(|w| w == what)
            .map(|k| from + k)
    };
    let Some(start) = find(b"<AppendedData", 0) else {
        return Ok((text(bytes)?, None));
    };
    let cut = || FormatFault::new("is cut short within its appended data");
    let tag_end = find(b">", start).ok_or_else(cut)?;
    let data = find(b"_", tag_end).ok_or_else(cut)? + 1;
    let tag = text(&bytes[start..tag_end])?;
    let head = text(&bytes[..start])? + "</VTKFile>";
    let appended = Appended {
        bytes: &bytes[data..],
        raw: tag.contains("\"raw\""),
    };
    Ok((head, Some(appended)))
}

fn at(node: Node, message: impl Into<String>) -> FormatFault {
    let line = node.document().text_pos_at(node.range().start).row;
    let name = node.tag_name().name();
    FormatFault::at(line as usize, format!("{name} {}", message.into()))
}

fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Result<Node<'a, 'i>, FormatFault> {
    node.children()
        .find(|n| n.has_tag_name(name))
        .ok_or_else(|| at(node, format!("has no {name} in it")))
}

/// An attribute of `N` numbers.
fn list<T: std::str::FromStr, const N: usize>(node: Node, name: &str) -> Result<[T; N], FormatFault> {
    let text = node.attribute(name).unwrap_or("");
    let numbers: Option<Vec<T>> = text.split_ascii_whitespace().map(|w| w.parse().ok()).collect();
    numbers.and_then(|n| n.try_into().ok()).ok_or_else(|| {
        at(
            node,
            format!("has {name} = \"{text}\", which must be {N} numbers"),
        )
    })
}
