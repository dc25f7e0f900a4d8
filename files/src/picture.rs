//! Grey pictures: TIFF and PNG.

mod rows;

use std::io::Cursor;
use std::path::Path;

use image::{DynamicImage, ImageFormat, ImageReader};
use ndarray::Array2;
use tiff::decoder::{Decoder, DecodingResult, Limits};

pub use self::rows::{Encoding, PictureWriter, RowWriter};
use crate::FileError;

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

/// Most pages that are read of a file.
const MOST_PAGES: usize = 1000;

/// All pages of a grey picture, in their order; a PNG has one. See [`decode`].
///
/// # Errors
/// When the bytes are no such picture, hold pixels that are not finite, or have more than 1000
/// pages.
pub fn decode_pages(path: &Path, bytes: &[u8]) -> Result<Vec<GreyPicture>, FileError> {
    let bad = |why: String| {
        FileError::unusable(
            path,
            format!(
                "cannot be used as a picture: {why}. Give a whole grey TIFF (8, 16 or 32 bits) or PNG (8 or 16 bits)"
            ),
        )
    };
    let pages = match bytes.starts_with(b"\x89PNG") {
        true => vec![png_pixels(bytes).map_err(bad)?],
        false => tiff_pages(bytes).map_err(bad)?,
    };
    if pages
        .iter()
        .any(|page| page.pixels.iter().any(|v| !v.is_finite()))
    {
        return Err(bad("some pixels are not finite numbers".to_owned()));
    }
    Ok(pages)
}

/// A grey picture of one page out of the bytes of a file: TIFF of 8, 16 or 32 bits (whole or
/// floating point), or PNG of 8 or 16 bits. `path` is what the file is called in messages.
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

/// The picture of so many pixels along x and y, row by row.
fn page([width, height]: [u32; 2], depth: String, pixels: Vec<f32>) -> Result<GreyPicture, String> {
    let pixels =
        Array2::from_shape_vec((height as usize, width as usize), pixels).map_err(|e| e.to_string())?;
    Ok(GreyPicture { pixels, depth })
}

fn tiff_pages(bytes: &[u8]) -> Result<Vec<GreyPicture>, String> {
    let text = |e: tiff::TiffError| e.to_string();
    let mut limits = Limits::default();
    limits.decoding_buffer_size = LARGEST_PIXELS * 8;
    let mut decoder = Decoder::new(Cursor::new(bytes))
        .map_err(text)?
        .with_limits(limits);
    let mut pages = Vec::new();
    loop {
        pages.push(tiff_page(&mut decoder)?);
        if !decoder.more_images() {
            return Ok(pages);
        }
        if pages.len() == MOST_PAGES {
            return Err(format!("it has more than {MOST_PAGES} pages"));
        }
        decoder.next_image().map_err(text)?;
    }
}

/// Most pixels of a picture: as many as a scene may have.
const LARGEST_PIXELS: usize = 16_384 * 16_384;

/// Refuses a picture of more pixels than are read, before they are.
fn within_bounds([width, height]: [u32; 2]) -> Result<(), String> {
    match u64::from(width) * u64::from(height) <= LARGEST_PIXELS as u64 {
        true => Ok(()),
        false => Err(format!(
            "it has {width} x {height} pixels, more than the {LARGEST_PIXELS} that are read"
        )),
    }
}

fn tiff_page(decoder: &mut Decoder<Cursor<&[u8]>>) -> Result<GreyPicture, String> {
    let text = |e: tiff::TiffError| e.to_string();
    let (width, height) = decoder.dimensions().map_err(text)?;
    within_bounds([width, height])?;
    let colour = decoder.colortype().map_err(text)?;
    let tiff::ColorType::Gray(bits) = colour else {
        return Err(format!("it is not a grey picture but {colour:?}"));
    };
    let (kind, pixels) = match decoder.read_image().map_err(text)? {
        DecodingResult::U8(v) => ("bits", v.into_iter().map(f32::from).collect()),
        DecodingResult::U16(v) => ("bits", v.into_iter().map(f32::from).collect()),
        DecodingResult::U32(v) => ("bits", v.into_iter().map(|x| x as f32).collect()),
        DecodingResult::F32(v) => ("bits of floating point", v),
        DecodingResult::F64(v) => (
            "bits of floating point",
            v.into_iter().map(|x| x as f32).collect(),
        ),
        _ => return Err("its pixels are of an unusual type".to_owned()),
    };
    page([width, height], format!("{bits} {kind}"), pixels)
}

fn png_pixels(bytes: &[u8]) -> Result<GreyPicture, String> {
    let (width, height) = ImageReader::with_format(Cursor::new(bytes), ImageFormat::Png)
        .into_dimensions()
        .map_err(|e| e.to_string())?;
    within_bounds([width, height])?;
    let image = ImageReader::with_format(Cursor::new(bytes), ImageFormat::Png)
        .decode()
        .map_err(|e| e.to_string())?;
    let (depth, pixels) = match image {
        DynamicImage::ImageLuma8(i) => ("8 bits", i.into_raw().into_iter().map(f32::from).collect()),
        DynamicImage::ImageLuma16(i) => ("16 bits", i.into_raw().into_iter().map(f32::from).collect()),
        other => return Err(format!("it is not a grey picture but {:?}", other.color())),
    };
    page([width, height], depth.to_owned(), pixels)
}

/// An 8-bit grey picture as PNG.
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
