//! One page: so many pixels, not too many.

use ndarray::Array2;

use super::GreyPicture;

/// Most pixels of a picture: 16 384 on each side.
pub(super) const LARGEST_PIXELS: usize = 16_384 * 16_384;

/// Refuses a picture whose head claims more pixels than are read, before anything is allocated.
/// (Whole files of one grey level are small however large the pictures in them are.)
pub(super) fn within_bounds([width, height]: [u32; 2]) -> Result<(), String> {
    match u64::from(width) * u64::from(height) <= LARGEST_PIXELS as u64 {
        true => Ok(()),
        false => Err(format!(
            "it has {width} x {height} pixels, more than the {LARGEST_PIXELS} that are read"
        )),
    }
}

/// The picture of so many pixels along x and y, row by row.
pub(super) fn page(
    [width, height]: [u32; 2],
    depth: String,
    pixels: Vec<f32>,
) -> Result<GreyPicture, String> {
    let pixels =
        Array2::from_shape_vec((height as usize, width as usize), pixels).map_err(|e| e.to_string())?;
    Ok(GreyPicture { pixels, depth })
}
