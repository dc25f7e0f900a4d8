//! VTK's XML format (VTK file formats, "XML File Formats"): image data, in one piece and
//! uncompressed.

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use roxmltree::{Document, Node};

use super::vtk::no_array;
use super::{Data, Fault, Real, grid, node_count, vectors};

/// The point data named `array`, or the first of three components, of an `ImageData` file.
pub(super) fn read(bytes: &[u8], array: Option<&str>) -> Result<Data, Fault> {
    let (head, appended) = split(bytes)?;
    let document = Document::parse(&head)
        .map_err(|e| Fault::at(e.pos().row as usize, format!("is not valid XML: {e}")))?;
    let root = document.root_element();
    if root.tag_name().name() != "VTKFile" || root.attribute("type") != Some("ImageData") {
        return Err(Fault::new(
            "is not a VTK ImageData file: resample the field to image data and save it as .vti",
        ));
    }
    if root.attribute("compressor").is_some() {
        return Err(Fault::new(
            "is compressed: save it without compression (in VTK: SetCompressorTypeToNone)",
        ));
    }
    let coding = Coding {
        big_endian: root.attribute("byte_order") == Some("BigEndian"),
        long_header: root.attribute("header_type") == Some("UInt64"),
    };
    let image = child(root, "ImageData")?;
    let whole: [i64; 6] = list(image, "WholeExtent")?;
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
    let piece = child(image, "Piece")?;
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
        return Err(at(image, "has an extent without points"));
    };
    let nodes = node_count([x, y, z], bytes.len())?;
    // The origin is the place of index 0, which need not be the first.
    let first = std::array::from_fn(|i| first[i] + whole[2 * i] as f64 * spacing[i]);
    let mut seen = Vec::new();
    let arrays = child(piece, "PointData")?;
    for node in arrays.children().filter(|n| n.has_tag_name("DataArray")) {
        let name = node.attribute("Name").unwrap_or("");
        let components = node.attribute("NumberOfComponents").unwrap_or("1");
        if components == "3" && array.is_none_or(|wanted| wanted == name) {
            let count = nodes
                .checked_mul(3)
                .ok_or_else(|| at(node, "has too many points"))?;
            let numbers = coding.numbers(node, count, appended)?;
            return grid(first, spacing, [x, y, z], vectors(&numbers));
        }
        seen.push(format!("{name} ({components} components)"));
    }
    Err(no_array(array, &seen))
}

/// The XML without its appended data, and those: after their `_`, whether they are base64 stands in
/// the XML.
fn split(bytes: &[u8]) -> Result<(String, Option<Appended<'_>>), Fault> {
    let text = |bytes: &[u8]| {
        String::from_utf8(bytes.to_vec()).map_err(|_| Fault::new("is not a VTK XML file: it is not a text"))
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
    let cut = || Fault::new("is cut short within its appended data");
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

#[derive(Clone, Copy)]
struct Appended<'a> {
    bytes: &'a [u8],
    raw: bool,
}

struct Coding {
    big_endian: bool,
    long_header: bool,
}

impl Coding {
    fn numbers(&self, node: Node, count: usize, appended: Option<Appended>) -> Result<Vec<f64>, Fault> {
        let real = match node.attribute("type") {
            Some("Float32") => Real::F32,
            Some("Float64") => Real::F64,
            other => {
                let kind = other.unwrap_or("no kind");
                return Err(at(
                    node,
                    format!("has numbers of {kind}, but must have Float32 or Float64"),
                ));
            }
        };
        let short = || {
            at(
                node,
                format!("lacks some of its {count} numbers: the file is cut short"),
            )
        };
        let header = if self.long_header { 8 } else { 4 };
        let wanted = count
            .checked_mul(real.size())
            .and_then(|n| n.checked_add(header))
            .ok_or_else(short)?;
        let text = node.text().unwrap_or("");
        let block = match node.attribute("format") {
            Some("ascii") => {
                let numbers: Vec<f64> = text
                    .split_ascii_whitespace()
                    .map(|word| {
                        word.parse()
                            .map_err(|_| at(node, format!("has \"{word}\" where a number was due")))
                    })
                    .collect::<Result<_, _>>()?;
                return if numbers.len() == count {
                    Ok(numbers)
                } else {
                    Err(short())
                };
            }
            Some("binary") => base64(text.trim().as_bytes(), wanted),
            Some("appended") => {
                let offset: usize = node
                    .attribute("offset")
                    .and_then(|o| o.parse().ok())
                    .ok_or_else(|| at(node, "has no offset into the appended data"))?;
                let appended =
                    appended.ok_or_else(|| at(node, "is appended, but there are no appended data"))?;
                let rest = appended.bytes.get(offset..).ok_or_else(short)?;
                if appended.raw {
                    rest.get(..wanted).map(<[u8]>::to_vec)
                } else {
                    base64(rest, wanted)
                }
            }
            other => {
                let format = other.unwrap_or("none");
                return Err(at(node, format!("has the unknown format {format}")));
            }
        };
        let block = block.ok_or_else(short)?;
        let (length, data) = block.split_at(header);
        let length = length.iter().enumerate().fold(0u64, |sum, (k, b)| {
            let place = if self.big_endian { header - 1 - k } else { k };
            sum | u64::from(*b) << (8 * place)
        });
        if length != data.len() as u64 {
            return Err(at(
                node,
                format!("holds {length} bytes, but its points need {}", data.len()),
            ));
        }
        Ok(real.all(data, self.big_endian))
    }
}

/// The first `wanted` bytes of base64 (RFC 4648), whose groups may be padded in between, as VTK
/// does after a header; nothing where there are fewer.
fn base64(text: &[u8], wanted: usize) -> Option<Vec<u8>> {
    // No more is set aside than the text can fill.
    let mut bytes = Vec::with_capacity(wanted.min(text.len()));
    for part in text.chunk_by(|a, b| *a != b'=' || *b == b'=') {
        let groups = wanted.saturating_sub(bytes.len()).div_ceil(3);
        let part = &part[..part.len().min(4 * groups)];
        BASE64_STANDARD.decode_vec(part, &mut bytes).ok()?;
    }
    bytes.truncate(wanted);
    (bytes.len() == wanted).then_some(bytes)
}

fn at(node: Node, message: impl Into<String>) -> Fault {
    let line = node.document().text_pos_at(node.range().start).row;
    let name = node.tag_name().name();
    Fault::at(line as usize, format!("{name} {}", message.into()))
}

fn child<'a, 'i>(node: Node<'a, 'i>, name: &str) -> Result<Node<'a, 'i>, Fault> {
    node.children()
        .find(|n| n.has_tag_name(name))
        .ok_or_else(|| at(node, format!("has no {name} in it")))
}

/// An attribute of `N` numbers.
fn list<T: std::str::FromStr, const N: usize>(node: Node, name: &str) -> Result<[T; N], Fault> {
    let text = node.attribute(name).unwrap_or("");
    let numbers: Option<Vec<T>> = text.split_ascii_whitespace().map(|w| w.parse().ok()).collect();
    numbers.and_then(|n| n.try_into().ok()).ok_or_else(|| {
        at(
            node,
            format!("has {name} = \"{text}\", which must be {N} numbers"),
        )
    })
}
