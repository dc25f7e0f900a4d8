//! Arrays in NumPy's NPY format.

use std::io::{self, Cursor, Seek, SeekFrom, Write};
use std::path::Path;

use ndarray::{Array2, Array3};
use ndarray_npy::npy::header::{Header, Layout};
use ndarray_npy::{ReadNpyExt, WritableElement, WriteNpyExt};

use crate::FileError;

/// A mask as NPY, bool.
pub fn mask(mask: &Array2<bool>) -> Vec<u8> {
    in_memory(mask)
}

fn in_memory(array: &impl WriteNpyExt) -> Vec<u8> {
    let mut bytes = Vec::new();
    array.write_npy(&mut bytes).expect("writing to memory");
    bytes
}

/// Reads a mask of shape height × width, bool.
///
/// # Errors
/// When the file cannot be read or holds another array.
pub fn read_mask(path: &Path) -> Result<Array2<bool>, FileError> {
    let bytes = crate::source::read(path)?;
    Array2::<bool>::read_npy(Cursor::new(bytes)).map_err(|e| {
        FileError::unusable(
            path,
            format!("cannot be used as a mask: {e}. It must be a bool array of shape height x width"),
        )
    })
}

/// A field as NPY, float64.
pub fn field(field: &Array3<f64>) -> Vec<u8> {
    in_memory(field)
}

/// A field of shape 2 × height × width, float64, that is written row by row.
pub struct FieldWriter<W: Write + Seek> {
    to: W,
    size: [usize; 2],
    /// Bytes before the first number.
    header: u64,
    row: usize,
}

impl<W: Write + Seek> FieldWriter<W> {
    /// Begins a field of this width and height.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(mut to: W, size: [usize; 2]) -> io::Result<FieldWriter<W>> {
        let [width, height] = size;
        let header = Header {
            type_descriptor: f64::type_descriptor(),
            layout: Layout::Standard,
            shape: vec![2, height, width],
        };
        let header = header.to_bytes().map_err(io::Error::other)?;
        to.write_all(&header)?;
        Ok(FieldWriter {
            to,
            size,
            header: header.len() as u64,
            row: 0,
        })
    }

    /// Adds one row of both components.
    ///
    /// # Errors
    /// When it cannot be written.
    ///
    /// # Panics
    /// When the row is not as wide as the field, or the field is full.
    pub fn add(&mut self, row: &[[f64; 2]]) -> io::Result<()> {
        let [width, height] = self.size;
        assert!(row.len() == width && self.row < height, "one row of the field");
        for component in 0..2 {
            let numbers = (component * height + self.row) * width;
            self.to.seek(SeekFrom::Start(self.header + 8 * numbers as u64))?;
            let bytes: Vec<u8> = row.iter().flat_map(|v| v[component].to_le_bytes()).collect();
            self.to.write_all(&bytes)?;
        }
        self.row += 1;
        Ok(())
    }
}

/// Reads a field of shape 2 × height × width, float64.
///
/// # Errors
/// When the file cannot be read or holds another array.
pub fn read_field(path: &Path) -> Result<Array3<f64>, FileError> {
    let bytes = crate::source::read(path)?;
    let bad = |why: String| {
        FileError::unusable(
            path,
            format!(
                "cannot be used as a truth field: {why}. It must be a float64 array of shape 2 x height x width"
            ),
        )
    };
    let field = Array3::<f64>::read_npy(Cursor::new(bytes)).map_err(|e| bad(e.to_string()))?;
    if field.dim().0 != 2 || field.is_empty() {
        return Err(bad(format!("its shape is {:?}", field.dim())));
    }
    Ok(field)
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use ndarray::Array3;

    use super::{FieldWriter, field};

    /// Row by row it is the file that the library writes in one piece.
    #[test]
    fn rows_make_the_field() {
        for [width, height] in [[1, 1], [7, 5], [1000, 12]] {
            let whole = Array3::from_shape_fn((2, height, width), |(k, y, x)| {
                (k + 3 * y) as f64 - 0.1 * x as f64
            });
            let mut bytes = Cursor::new(Vec::new());
            let mut writer = FieldWriter::new(&mut bytes, [width, height]).unwrap();
            for y in 0..height {
                let row: Vec<[f64; 2]> = (0..width).map(|x| [whole[[0, y, x]], whole[[1, y, x]]]).collect();
                writer.add(&row).unwrap();
            }
            assert!(bytes.into_inner() == field(&whole), "{width} x {height}");
        }
    }
}
