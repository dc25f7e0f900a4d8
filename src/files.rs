//! Files: written whole or not at all, nothing overwritten unless asked.

use std::fs::{self, File};
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

use image::{DynamicImage, ImageFormat, ImageReader};
use ndarray::{Array2, Array3};
use ndarray_npy::{ReadNpyExt, WriteNpyExt};
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::encoder::{TiffEncoder, colortype};

use crate::failure::Failure;

/// A directory that results go to, and whether what is there may be replaced.
#[derive(Debug, Clone)]
pub struct Output {
    directory: PathBuf,
    replace: bool,
    /// Whether the directory was not there before.
    fresh: bool,
}

impl Output {
    /// The directory `path`, or, without one, the first of `name`, `name-2`, `name-3` … that does not exist yet. Nothing is made yet.
    pub fn new(path: Option<&Path>, name: &str, replace: bool) -> Output {
        let free = || {
            let numbered = (2..).map(|k| PathBuf::from(format!("{name}-{k}")));
            std::iter::once(PathBuf::from(name))
                .chain(numbered)
                .find(|p| !p.exists())
                .expect("one of endless names is free")
        };
        let directory = path.map_or_else(free, Path::to_path_buf);
        Output {
            fresh: !directory.exists(),
            directory,
            replace,
        }
    }

    /// Where the file `name` goes.
    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.join(name)
    }

    /// The directory itself.
    pub fn directory(&self) -> &Path {
        &self.directory
    }

    /// Makes sure beforehand that none of `names` would be overwritten unasked, and that the directory can be written.
    pub fn prepare(&self, names: &[&str]) -> Result<(), Failure> {
        for name in names {
            may_write(&self.path(name), self.replace)?;
        }
        fs::create_dir_all(&self.directory)
            .map_err(|e| Failure::io(&self.directory, "make the directory", &e))
    }

    /// Passes on what came of the work whose results go here; where it failed, takes the directory away again if it was made for
    /// them and nothing is in it.
    pub fn keep<T>(&self, work: Result<T, Failure>) -> Result<T, Failure> {
        if work.is_err() && self.fresh {
            // A directory that holds anything stays.
            let _ = fs::remove_dir(&self.directory);
        }
        work
    }

    /// Writes the file `name`.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        write(&self.path(name), bytes)
    }
}

/// An error when the file exists and must not be replaced.
pub fn may_write(path: &Path, replace: bool) -> Result<(), Failure> {
    if path.exists() && !replace {
        return Err(Failure::input(format!(
            "{}: exists already and is not overwritten; choose another --out, or say --force",
            path.display()
        )));
    }
    Ok(())
}

/// Writes a file under a temporary name, then gives it its own: whoever looks sees all of it or nothing.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let part = path.with_file_name(name);
    let result = File::create(&part)
        .and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&part, path));
    result.map_err(|e| {
        let _ = fs::remove_file(&part);
        Failure::io(path, "write", &e)
    })
}

/// Reads a text file.
pub fn read_text(path: &Path) -> Result<String, Failure> {
    let bytes = fs::read(path).map_err(|e| Failure::io(path, "read", &e))?;
    String::from_utf8(bytes)
        .map_err(|_| Failure::input(format!("{}: is not a text file (UTF-8)", path.display())))
}

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

/// Reads a grey picture: TIFF of 8, 16 or 32 bits (whole or floating point), or PNG of 8 or 16 bits.
pub fn read_image(path: &Path) -> Result<Array2<f32>, Failure> {
    let bytes = fs::read(path).map_err(|e| Failure::io(path, "read", &e))?;
    let bad = |why: String| {
        Failure::input(format!(
            "{}: cannot be used as a picture: {why}. Give a whole grey TIFF (8, 16 or 32 bits) or PNG (8 or 16 bits)",
            path.display()
        ))
    };
    let (width, height, pixels) = if bytes.starts_with(b"\x89PNG") {
        png_pixels(&bytes).map_err(bad)?
    } else {
        tiff_pixels(&bytes).map_err(bad)?
    };
    if pixels.iter().any(|v| !v.is_finite()) {
        return Err(bad("some pixels are not finite numbers".to_owned()));
    }
    Array2::from_shape_vec((height, width), pixels).map_err(|e| bad(e.to_string()))
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

/// A mask as NPY, bool.
pub fn npy_mask(mask: &Array2<bool>) -> Vec<u8> {
    let mut bytes = Vec::new();
    mask.write_npy(&mut bytes).expect("writing to memory");
    bytes
}

/// Reads a mask of shape height × width, bool.
pub fn read_npy_mask(path: &Path) -> Result<Array2<bool>, Failure> {
    let bytes = fs::read(path).map_err(|e| Failure::io(path, "read", &e))?;
    Array2::<bool>::read_npy(Cursor::new(bytes)).map_err(|e| {
        Failure::input(format!(
            "{}: cannot be used as a mask: {e}. It must be a bool array of shape height x width, as `motefield render` writes it",
            path.display()
        ))
    })
}

/// A field as NPY, float64.
pub fn npy(field: &Array3<f64>) -> Vec<u8> {
    let mut bytes = Vec::new();
    field.write_npy(&mut bytes).expect("writing to memory");
    bytes
}

/// Reads a field of shape 2 × height × width, float64.
pub fn read_npy(path: &Path) -> Result<Array3<f64>, Failure> {
    let bytes = fs::read(path).map_err(|e| Failure::io(path, "read", &e))?;
    let bad = |why: String| {
        Failure::input(format!(
            "{}: cannot be used as a truth field: {why}. It must be a float64 array of shape 2 x height x width, as `motefield render` writes it",
            path.display()
        ))
    };
    let field = Array3::<f64>::read_npy(Cursor::new(bytes)).map_err(|e| bad(e.to_string()))?;
    if field.dim().0 != 2 || field.is_empty() {
        return Err(bad(format!("its shape is {:?}", field.dim())));
    }
    Ok(field)
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
