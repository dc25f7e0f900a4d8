//! Arrays in NumPy's NPY format.

use std::io::Cursor;
use std::path::Path;

use ndarray::{Array2, Array3};
use ndarray_npy::{ReadNpyExt, WriteNpyExt};

use crate::FileError;

/// A mask as NPY, bool.
pub fn mask(mask: &Array2<bool>) -> Vec<u8> {
    let mut bytes = Vec::new();
    mask.write_npy(&mut bytes).expect("writing to memory");
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
    let mut bytes = Vec::new();
    field.write_npy(&mut bytes).expect("writing to memory");
    bytes
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
