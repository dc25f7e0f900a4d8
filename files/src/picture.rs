//! Grey pictures: what is written, and what is read.

mod channel;
mod fault;
mod packed;
mod page;
mod raw;
mod reading;
mod rows;
mod tiff_pages;

use std::io::Cursor;
use std::path::Path;

use image::ImageFormat;
use ndarray::Array2;

use crate::FileError;

pub use self::rows::{Encoding, PictureWriter, RowWriter};
pub use channel::ColourChannel;
pub use raw::{RawLayout, SampleFormat};
pub use reading::Reading;

/// A grey picture as TIFF: 16-bit grey levels, or 32-bit floating point with `float`.
pub fn tiff(image: &Array2<f32>, float: bool) -> Vec<u8> {
    let encoding = if float {
        Encoding::TiffFloat
    } else {
        Encoding::Tiff
    };
    encoded(image, encoding)
}

fn encoded(image: &Array2<f32>, encoding: Encoding) -> Vec<u8> {
    let (height, width) = image.dim();
    let mut bytes = Cursor::new(Vec::new());
    let mut picture = PictureWriter::new(&mut bytes, encoding, [width, height]).expect("writing to memory");
    let mut rows = picture.rows().expect("writing to memory");
    rows.add(image)
        .and_then(|()| rows.finish())
        .expect("writing to memory");
    drop(picture);
    bytes.into_inner()
}

/// A grey picture with what its file says of its grey levels.
#[derive(Debug, Clone, PartialEq)]
pub struct GreyPicture {
    /// Height × width, in the grey levels of the file.
    pub pixels: Array2<f32>,
    /// How a grey level is stored, such as "16 bits".
    pub depth: String,
}

/// All pages of a grey picture, in their order; a PNG or BMP has one. See [`decode`].
///
/// # Errors
/// When the bytes are no such picture, or hold pixels that are not finite.
pub fn decode_pages(path: &Path, bytes: &[u8]) -> Result<Vec<GreyPicture>, FileError> {
    Reading::default().pages(path, bytes)
}

/// A grey picture of one page out of the bytes of a file (see [`Reading`]). `path` is what the file
/// is called in messages.
///
/// # Errors
/// When the bytes are no such picture, hold several, or pixels that are not finite.
pub fn decode(path: &Path, bytes: &[u8]) -> Result<Array2<f32>, FileError> {
    let mut pages = decode_pages(path, bytes)?;
    match pages.len() {
        1 => Ok(pages.remove(0).pixels),
        count => Err(FileError::unusable(
            path,
            format!("holds {count} pictures where one is needed: save the one that is meant by itself"),
        )),
    }
}

/// Reads all pages of a grey picture; see [`decode_pages`].
///
/// # Errors
/// When the file cannot be read or is no such picture.
pub fn read_pages(path: &Path) -> Result<Vec<GreyPicture>, FileError> {
    decode_pages(path, &crate::source::read(path)?)
}

/// Reads a grey picture; see [`decode`].
///
/// # Errors
/// When the file cannot be read or is no such picture.
pub fn read(path: &Path) -> Result<Array2<f32>, FileError> {
    decode(path, &crate::source::read(path)?)
}

/// An 8-bit grey picture as PNG.
///
/// # Panics
/// When there are not as many pixels as width × height.
pub fn png(width: usize, height: usize, grey: Vec<u8>) -> Vec<u8> {
    let image = image::GrayImage::from_raw(width as u32, height as u32, grey)
        .expect("as many pixels as width × height");
    let mut bytes = Cursor::new(Vec::new());
    image
        .write_to(&mut bytes, ImageFormat::Png)
        .expect("writing to memory");
    bytes.into_inner()
}

/// Grey levels as 16-bit PNG.
pub fn png_16(image: &Array2<f32>) -> Vec<u8> {
    encoded(image, Encoding::Png)
}

#[cfg(test)]
mod tests {
    use tiff::encoder::{TiffEncoder, colortype};

    use super::*;

    /// Grey levels come back from 16-bit PNG and TIFF as they were.
    #[test]
    fn grey_levels_survive_their_file() {
        let image = Array2::from_shape_fn((5, 7), |(y, x)| (9361 * (y + 5 * x) % 65_536) as f32);
        let path = Path::new("picture");
        for (bytes, depth) in [
            (png_16(&image), "16 bits"),
            (tiff(&image, false), "16 bits"),
            (tiff(&image, true), "32 bits of floating point"),
        ] {
            let pages = decode_pages(path, &bytes).unwrap();
            assert_eq!((pages.len(), pages[0].depth.as_str()), (1, depth));
            assert_eq!(pages[0].pixels, image);
            assert_eq!(decode(path, &bytes).unwrap(), image);
        }
    }

    /// Two pages are two pictures, and no one picture.
    #[test]
    fn each_page_is_a_picture() {
        let mut bytes = Cursor::new(Vec::new());
        let mut encoder = TiffEncoder::new(&mut bytes).unwrap();
        encoder.write_image::<colortype::Gray8>(2, 1, &[1, 2]).unwrap();
        encoder.write_image::<colortype::Gray8>(2, 1, &[3, 4]).unwrap();
        let bytes = bytes.into_inner();
        let path = Path::new("both.tif");
        let pages = decode_pages(path, &bytes).unwrap();
        let pixels: Vec<Vec<f32>> = pages.iter().map(|p| p.pixels.iter().copied().collect()).collect();
        assert_eq!(pixels, [[1.0, 2.0], [3.0, 4.0]]);
        let message = decode(path, &bytes).unwrap_err().to_string();
        assert!(
            message.contains("both.tif") && message.contains("2 pictures"),
            "{message}"
        );
    }
}
