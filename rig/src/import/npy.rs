//! NPY arrays (the format of numpy.lib.format, versions 1 to 3).

use super::number::NumberType;
use super::{Data, FormatFault, grid, node_count};

/// The field in an array of shape (2 or 3) × (depth ×) height × width.
pub(super) fn read(bytes: &[u8]) -> Result<Data, FormatFault> {
    let not = || FormatFault::new("is not an NPY file: it does not begin as one");
    let version = bytes
        .strip_prefix(b"\x93NUMPY")
        .and_then(|b| b.first())
        .ok_or_else(not)?;
    // The header's length stands in two bytes in version 1, in four after.
    let (length, start) = match version {
        1 => (
            bytes
                .get(8..10)
                .map(|b| usize::from(b[0]) | usize::from(b[1]) << 8),
            10,
        ),
        2 | 3 => (
            bytes
                .get(8..12)
                .map(|b| b.iter().rev().fold(0usize, |n, &b| n << 8 | usize::from(b))),
            12,
        ),
        _ => {
            return Err(FormatFault::new(format!(
                "is an NPY file of the unknown version {version}"
            )));
        }
    };
    let end = length.and_then(|l| l.checked_add(start));
    let header = end
        .and_then(|end| bytes.get(start..end))
        .and_then(|b| std::str::from_utf8(b).ok())
        .ok_or_else(|| FormatFault::new("is an NPY file whose header is cut short"))?;
    let data = &bytes[start + header.len()..];
    let (real, big_endian) = match entry(header, "descr")?.trim_matches(['\'', '"']) {
        "<f4" => (NumberType::F32, false),
        "<f8" => (NumberType::F64, false),
        ">f4" => (NumberType::F32, true),
        ">f8" => (NumberType::F64, true),
        other => {
            return Err(FormatFault::new(format!(
                "holds numbers of the kind {other}, but must hold float32 or float64"
            )));
        }
    };
    if entry(header, "fortran_order")? != "False" {
        return Err(FormatFault::new(
            "stands in Fortran order: save numpy.ascontiguousarray(field)",
        ));
    }
    let shape: Vec<usize> = entry(header, "shape")?
        .trim_matches(['(', ')'])
        .split(',')
        .map(str::trim)
        .filter(|s| !s.is_empty())
        .map(|s| s.parse().ok())
        .collect::<Option<_>>()
        .ok_or_else(|| FormatFault::new("is an NPY file whose shape cannot be read"))?;
    let (components, count) = match shape[..] {
        [c @ (2 | 3), height, width] => (c, [width, height, 1]),
        [c @ (2 | 3), depth, height, width] => (c, [width, height, depth]),
        _ => {
            return Err(FormatFault::new(format!(
                "has the shape {shape:?}, but must have 2 x height x width (u, v), 3 x height x width (u, v, w) or the same with the depth before the height"
            )));
        }
    };
    let nodes = node_count(count, data.len() / real.size() / components)?;
    let numbers = real.all(&data[..nodes * components * real.size()], big_endian);
    let component = |c: usize, k: usize| {
        if c < components {
            numbers[c * nodes + k]
        } else {
            0.0
        }
    };
    let velocity = (0..nodes)
        .map(|k| [component(0, k), component(1, k), component(2, k)])
        .collect();
    grid([0.0; 3], [1.0; 3], count, velocity)
}

/// The text of one entry of the header, a Python dictionary of plain values.
fn entry<'a>(header: &'a str, key: &str) -> Result<&'a str, FormatFault> {
    let missing = || FormatFault::new(format!("is an NPY file whose header lacks {key}"));
    let (_, rest) = header.split_once(&format!("'{key}':")).ok_or_else(missing)?;
    let rest = rest.trim_start();
    let end = if rest.starts_with('(') {
        rest.find(')').map(|k| k + 1)
    } else {
        rest.find([',', '}'])
    };
    Ok(rest[..end.ok_or_else(missing)?].trim())
}
