//! NPY arrays (the format of numpy.lib.format, versions 1 to 3).
//!
//! The library reads the header. The numbers are read here: of any kind and order, and never more
//! than the file holds, whatever its header claims.

use ndarray_npy::npy::header::{Header, ParseHeaderError, ReadHeaderError};

use super::number::NumberType;
use super::{Data, FormatFault, grid, node_count};

/// An array of any shape and kind of number.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbers {
    /// Lengths of its axes.
    pub shape: Vec<usize>,
    /// Its values, the last axis running first.
    pub values: Vec<f64>,
}

/// The field in an array of shape (2 or 3) × (depth ×) height × width.
pub(super) fn read(bytes: &[u8]) -> Result<Data, FormatFault> {
    let ArrayHead {
        shape,
        real,
        big_endian,
        fortran,
        data,
    } = head(bytes)?;
    if !matches!(real, NumberType::F32 | NumberType::F64) {
        return Err(FormatFault::new(
            "holds whole numbers, but must hold float32 or float64",
        ));
    }
    if fortran {
        return Err(FormatFault::new(
            "stands in Fortran order: save numpy.ascontiguousarray(field)",
        ));
    }
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

/// The numbers of an array of any shape, in either order, of any of NumPy's plain kinds.
pub(super) fn numbers(bytes: &[u8]) -> Result<Numbers, FormatFault> {
    let ArrayHead {
        shape,
        real,
        big_endian,
        fortran,
        data,
    } = head(bytes)?;
    let count = shape.iter().try_fold(1usize, |n, side| n.checked_mul(*side));
    let room = count
        .and_then(|n| n.checked_mul(real.size()))
        .filter(|n| *n <= data.len());
    let (Some(count), Some(room)) = (count, room) else {
        return Err(FormatFault::new(format!(
            "claims the shape {shape:?}, but holds {} bytes: it is cut short, or its header is wrong",
            data.len()
        )));
    };
    let stored = real.all(&data[..room], big_endian);
    if !fortran {
        return Ok(Numbers {
            shape,
            values: stored,
        });
    }
    let place = |k: usize| {
        let (mut rest, mut at, mut stride) = (k, 0, count);
        for side in &shape {
            stride /= side;
            at += (rest % side) * stride;
            rest /= side;
        }
        at
    };
    let mut values = vec![0.0; count];
    for (k, value) in stored.into_iter().enumerate() {
        values[place(k)] = value;
    }
    Ok(Numbers { shape, values })
}

/// What stands before an array's data.
struct ArrayHead<'a> {
    shape: Vec<usize>,
    real: NumberType,
    big_endian: bool,
    fortran: bool,
    data: &'a [u8],
}

fn head(bytes: &[u8]) -> Result<ArrayHead<'_>, FormatFault> {
    let mut data = bytes;
    let header = Header::from_reader(&mut data).map_err(|e| {
        FormatFault::new(match e {
            ReadHeaderError::Parse(ParseHeaderError::MagicString) => {
                "is not an NPY file: it does not begin as one".to_owned()
            }
            ReadHeaderError::Io(_) => "is an NPY file whose header is cut short".to_owned(),
            e => format!("is an NPY file whose header cannot be read: {e}"),
        })
    })?;
    // A Python string, such as '<f8'.
    let descr = header.type_descriptor.to_string();
    let descr = descr.trim_matches(['\'', '"']);
    let (order, kind) = descr.split_at(descr.chars().next().map_or(0, char::len_utf8));
    let real = match kind {
        "f4" => NumberType::F32,
        "f8" => NumberType::F64,
        "i1" => NumberType::I8,
        "u1" | "b1" => NumberType::U8,
        "i2" => NumberType::I16,
        "u2" => NumberType::U16,
        "i4" => NumberType::I32,
        "u4" => NumberType::U32,
        "i8" => NumberType::I64,
        "u8" => NumberType::U64,
        _ => {
            return Err(FormatFault::new(format!(
                "holds numbers of the kind {descr}, but must hold float32 or float64"
            )));
        }
    };
    Ok(ArrayHead {
        shape: header.shape,
        real,
        big_endian: order == ">",
        fortran: header.layout.is_fortran(),
        data,
    })
}
