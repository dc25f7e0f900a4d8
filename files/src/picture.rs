//! Grey pictures: TIFF and PNG.

use std::io::Cursor;
use std::path::Path;

use image::{DynamicImage, ImageFormat, ImageReader};
use ndarray::Array2;
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::encoder::{TiffEncoder, colortype};

use crate::FileError;

/// A grey picture as TIFF: 16-bit grey levels, or 32-bit floating point with `float`.
pub fn tiff(image: &Array2<f32>, float: bool) -> Vec<u8> {
    let (height, width) = image.dim();
    let mut bytes = Cursor::new(Vec::new());
    let (width, height) = (width as u32, height as u32);
    let pixels = image.as_slice().expect("an image in standard layout");
    let mut encoder = TiffEncoder::new(&mut bytes).expect("writing to memory");
    if float {
        encoder.write_image::<colortype::Gray32Float>(width, height, pixels)
    } else {
        let grey: Vec<u16> = pixels.iter().map(|&v| v as u16).collect();
        encoder.write_image::<colortype::Gray16>(width, height, &grey)
    }
    .expect("writing to memory");
    bytes.into_inner()
}

/// A grey picture out of the bytes of a file: TIFF of 8, 16 or 32 bits (whole or floating point),
/// or PNG of 8 or 16 bits. `path` is what the file is called in messages.
///
/// # Errors
/// When the bytes are no such picture, or hold pixels that are not finite.
pub fn decode(path: &Path, bytes: &[u8]) -> Result<Array2<f32>, FileError> {
    let bad = |why: String| {
        FileError::unusable(
            path,
            format!(
                "cannot be used as a picture: {why}. Give a whole grey TIFF (8, 16 or 32 bits) or PNG (8 or 16 bits)"
            ),
        )
    };
    let (width, height, pixels) = match bytes.starts_with(b"\x89PNG") {
        true => png_pixels(bytes).map_err(bad)?,
        false => tiff_pixels(bytes).map_err(bad)?,
    };
    if pixels.iter().any(|v| !v.is_finite()) {
        return Err(bad("some pixels are not finite numbers".to_owned()));
    }
    Array2::from_shape_vec((height, width), pixels).map_err(|e| bad(e.to_string()))
}

/// Reads a grey picture; see [`decode`].
///
/// # Errors
/// When the file cannot be read or is no such picture.
pub fn read(path: &Path) -> Result<Array2<f32>, FileError> {
    decode(path, &crate::source::read(path)?)
}

type Pixels = (usize, usize, Vec<f32>);

fn tiff_pixels(bytes: &[u8]) -> Result<Pixels, String> {
    let text = |e: tiff::TiffError| e.to_string();
    let mut limits = Limits::default();
    limits.decoding_buffer_size = 2 << 30;
    let mut decoder = Decoder::new(Cursor::new(bytes))
        .map_err(text)?
        .with_limits(limits);
    let (width, height) = decoder.dimensions().map_err(text)?;
    let colour = decoder.colortype().map_err(text)?;
    if !matches!(colour, tiff::ColorType::Gray(_)) {
        return Err(format!("it is not a grey picture but {colour:?}"));
    }
    let pixels = match decoder.read_image().map_err(text)? {
        DecodingResult::U8(v) => v.into_iter().map(f32::from).collect(),
        DecodingResult::U16(v) => v.into_iter().map(f32::from).collect(),
        DecodingResult::U32(v) => v.into_iter().map(|x| x as f32).collect(),
        DecodingResult::F32(v) => v,
        DecodingResult::F64(v) => v.into_iter().map(|x| x as f32).collect(),
        _ => return Err("its pixels are of an unusual type".to_owned()),
    };
    Ok((width as usize, height as usize, pixels))
}

fn png_pixels(bytes: &[u8]) -> Result<Pixels, String> {
    let image = ImageReader::with_format(Cursor::new(bytes), ImageFormat::Png)
        .decode()
        .map_err(|e| e.to_string())?;
    let (width, height) = (image.width() as usize, image.height() as usize);
    let pixels = match image {
        DynamicImage::ImageLuma8(i) => i.into_raw().into_iter().map(f32::from).collect(),
        DynamicImage::ImageLuma16(i) => i.into_raw().into_iter().map(f32::from).collect(),
        other => return Err(format!("it is not a grey picture but {:?}", other.color())),
    };
    Ok((width, height, pixels))
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
    let (height, width) = image.dim();
    let grey: Vec<u16> = image.iter().map(|&v| v as u16).collect();
    let image = image::ImageBuffer::<image::Luma<u16>, _>::from_raw(width as u32, height as u32, grey)
        .expect("as many pixels as width × height");
    let mut bytes = Cursor::new(Vec::new());
    image
        .write_to(&mut bytes, ImageFormat::Png)
        .expect("writing to memory");
    bytes.into_inner()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Grey levels come back from 16-bit PNG and TIFF as they were.
    #[test]
    fn grey_levels_survive_their_file() {
        let image = Array2::from_shape_fn((5, 7), |(y, x)| (9361 * (y + 5 * x) % 65_536) as f32);
        let (width, height, pixels) = png_pixels(&png_16(&image)).unwrap();
        assert_eq!(Array2::from_shape_vec((height, width), pixels).unwrap(), image);
        let (width, height, pixels) = tiff_pixels(&tiff(&image, false)).unwrap();
        assert_eq!(Array2::from_shape_vec((height, width), pixels).unwrap(), image);
    }
}
