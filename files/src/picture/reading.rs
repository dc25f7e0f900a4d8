//! How the pictures of a file are read: what kinds there are, and what must be stated.

use std::io::{Cursor, Read, Seek, SeekFrom};
use std::path::Path;

use image::{DynamicImage, ImageFormat, ImageReader};
use ndarray::{Axis, Slice};

use super::channel::{ColourChannel, pick};
use super::fault::PictureFault;
use super::page::{page, within_bounds};
use super::raw::RawLayout;
use super::{GreyPicture, tiff_pages};
use crate::FileError;

/// What is stated about pictures that their files do not say; by default grey pictures, each a
/// frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Reading {
    /// Channel that is taken of pictures in colour; these are refused without it.
    pub channel: Option<ColourChannel>,
    /// Layout of raw files; the others say theirs.
    pub raw: Option<RawLayout>,
    /// Every picture holds two frames, A above B.
    pub double_height: bool,
}

/// Kinds of files by their content.
enum FileKind {
    Raw(RawLayout),
    Image(ImageFormat),
    Tiff,
}

impl Reading {
    fn kind(&self, start: &[u8]) -> FileKind {
        let tiff = [b"II*\0", b"MM\0*"].iter().any(|mark| start.starts_with(*mark));
        match self.raw {
            _ if start.starts_with(b"\x89PNG") => FileKind::Image(ImageFormat::Png),
            Some(layout) if !tiff => FileKind::Raw(layout),
            None if start.starts_with(b"BM") => FileKind::Image(ImageFormat::Bmp),
            _ => FileKind::Tiff,
        }
    }

    /// All frames of a file, in their order, out of its bytes.
    ///
    /// # Errors
    /// When the bytes are no picture that is read, or hold pixels that are not finite: says what is
    /// read and how to convert the file.
    pub fn pages(&self, path: &Path, bytes: &[u8]) -> Result<Vec<GreyPicture>, FileError> {
        let mut source = Cursor::new(bytes);
        let count = self.count(path, &mut source)?;
        (0..count).map(|k| self.frame(path, &mut source, k)).collect()
    }

    /// Number of frames in a file, told without decoding them.
    ///
    /// # Errors
    /// See [`Reading::pages`].
    pub fn count(&self, path: &Path, source: &mut (impl Read + Seek)) -> Result<usize, FileError> {
        let pictures = || match self.kind(&start(source)?) {
            FileKind::Tiff => tiff_pages::count(&mut *source),
            FileKind::Image(_) => Ok(1),
            FileKind::Raw(layout) => {
                within_bounds(layout.size)?;
                layout.count(source.seek(SeekFrom::End(0)).map_err(|e| e.to_string())?)
            }
        };
        let mut pictures = pictures;
        let pictures = pictures().map_err(|why: String| refused(path, &why.into()))?;
        Ok(pictures * if self.double_height { 2 } else { 1 })
    }

    /// Frame number `k` of a file, counted from 0.
    ///
    /// # Errors
    /// See [`Reading::pages`].
    pub fn frame(
        &self,
        path: &Path,
        source: &mut (impl Read + Seek),
        k: usize,
    ) -> Result<GreyPicture, FileError> {
        let number = if self.double_height { k / 2 } else { k };
        let whole = self.picture(source, number).map_err(|why| refused(path, &why))?;
        if whole.pixels.iter().any(|v| !v.is_finite()) {
            let why = "some pixels are not finite numbers".to_owned();
            return Err(refused(path, &why.into()));
        }
        if !self.double_height {
            return Ok(whole);
        }
        let height = whole.pixels.nrows();
        if !height.is_multiple_of(2) {
            let why = format!("it is {height} px high and cannot hold two frames of one height");
            return Err(refused(path, &why.into()));
        }
        let half = Slice::from((k % 2) * (height / 2)..(k % 2 + 1) * (height / 2));
        Ok(GreyPicture {
            pixels: whole.pixels.slice_axis(Axis(0), half).to_owned(),
            depth: whole.depth,
        })
    }

    fn picture(&self, source: &mut (impl Read + Seek), number: usize) -> Result<GreyPicture, PictureFault> {
        match self.kind(&start(source)?) {
            FileKind::Tiff => tiff_pages::page(&mut *source, number, self.channel),
            FileKind::Image(format) => {
                let mut bytes = Vec::new();
                source.read_to_end(&mut bytes).map_err(|e| e.to_string())?;
                one_image(&bytes, format, self.channel)
            }
            FileKind::Raw(layout) => {
                let each = layout.picture_bytes();
                let from = layout.head + number as u64 * each;
                source.seek(SeekFrom::Start(from)).map_err(|e| e.to_string())?;
                let mut bytes = Vec::new();
                let read = source.take(each).read_to_end(&mut bytes);
                read.map_err(|e| e.to_string())?;
                Ok(layout.picture(&bytes)?)
            }
        }
    }
}

/// The first bytes; leaves the source at its beginning.
fn start(source: &mut (impl Read + Seek)) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    source.rewind().map_err(|e| e.to_string())?;
    let read = source.take(4).read_to_end(&mut bytes);
    read.and_then(|_| source.rewind()).map_err(|e| e.to_string())?;
    Ok(bytes)
}

/// The one message about a file that is not read: why, what is read, how to convert it.
fn refused(path: &Path, why: &PictureFault) -> FileError {
    let message = format!(
        "cannot be used as a picture: {why}. Read are whole files: TIFF of 8 to 16 and 32 bits (signed, floating point and packed bits too), PNG and BMP, of colours one channel that is named, and raw pixels whose layout is stated. Any program for pictures converts others: save as grey TIFF of 16 bits without compression, not scaled"
    );
    match why {
        PictureFault::NoChannel => FileError::NoChannel {
            path: path.to_owned(),
            message,
        },
        PictureFault::Unread(_) => FileError::unusable(path, message),
    }
}

fn one_image(
    bytes: &[u8],
    format: ImageFormat,
    channel: Option<ColourChannel>,
) -> Result<GreyPicture, PictureFault> {
    let reader = || ImageReader::with_format(Cursor::new(bytes), format);
    let (width, height) = reader().into_dimensions().map_err(|e| e.to_string())?;
    within_bounds([width, height])?;
    let image = reader().decode().map_err(|e| e.to_string())?;
    let bytes = |v: Vec<u8>| -> Vec<f32> { v.into_iter().map(f32::from).collect() };
    let words = |v: Vec<u16>| -> Vec<f32> { v.into_iter().map(f32::from).collect() };
    let (bits, each, values) = match image {
        DynamicImage::ImageLuma8(i) => (8, 1, bytes(i.into_raw())),
        DynamicImage::ImageLuma16(i) => (16, 1, words(i.into_raw())),
        DynamicImage::ImageRgb8(i) => (8, 3, bytes(i.into_raw())),
        DynamicImage::ImageRgba8(i) => (8, 4, bytes(i.into_raw())),
        DynamicImage::ImageRgb16(i) => (16, 3, words(i.into_raw())),
        DynamicImage::ImageRgba16(i) => (16, 4, words(i.into_raw())),
        other => return Err(format!("its pixels are {:?}", other.color()).into()),
    };
    // BMP has no grey pictures, but tables of colours: where all three agree the picture is grey.
    let grey = |v: &[f32]| v[..3].iter().all(|c| *c == v[0]);
    let pixels = match each {
        1 => values,
        _ if format == ImageFormat::Bmp && values.chunks_exact(each).all(grey) => {
            pick(&values, each, Some(ColourChannel::Red))?
        }
        _ => pick(&values, each, channel)?,
    };
    Ok(page([width, height], format!("{bits} bits"), pixels)?)
}
