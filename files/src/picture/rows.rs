//! Grey pictures written a few rows at a time.

use std::io::{self, Seek, Write};

use ndarray::Array2;
use tiff::encoder::colortype::{ColorType, Gray16, Gray32Float};
use tiff::encoder::{ImageEncoder, TiffEncoder, TiffKindStandard, TiffValue};

/// How a grey picture is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// TIFF, 16-bit grey levels.
    Tiff,
    /// TIFF, 32-bit floating point.
    TiffFloat,
    /// PNG, 16-bit grey levels.
    Png,
}

/// A file of one grey picture.
pub struct PictureWriter<W: Write + Seek> {
    file: File<W>,
    /// Pixels along x and y.
    size: [u32; 2],
}

enum File<W: Write + Seek> {
    Tiff(TiffEncoder<W>),
    TiffFloat(TiffEncoder<W>),
    Png(png::Writer<W>),
}

/// The rows of a grey picture, from the top down.
pub struct RowWriter<'a, W: Write + Seek>(Rows<'a, W>);

enum Rows<'a, W: Write + Seek> {
    Whole(Strips<'a, W, Gray16>),
    Float(Strips<'a, W, Gray32Float>),
    Png(png::StreamWriter<'a, W>),
}

fn failed(error: impl std::error::Error + Send + Sync + 'static) -> io::Error {
    io::Error::other(error)
}

fn tiff_failed(error: tiff::TiffError) -> io::Error {
    match error {
        tiff::TiffError::IoError(error) => error,
        other => failed(other),
    }
}

fn png_failed(error: png::EncodingError) -> io::Error {
    match error {
        png::EncodingError::IoError(error) => error,
        other => failed(other),
    }
}

impl<W: Write + Seek> PictureWriter<W> {
    /// Begins a file for a picture of so many pixels along x and y.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(to: W, encoding: Encoding, [width, height]: [usize; 2]) -> io::Result<PictureWriter<W>> {
        let size = [width as u32, height as u32];
        let file = match encoding {
            Encoding::Tiff => File::Tiff(TiffEncoder::new(to).map_err(tiff_failed)?),
            Encoding::TiffFloat => File::TiffFloat(TiffEncoder::new(to).map_err(tiff_failed)?),
            Encoding::Png => File::Png(png_header(to, size).map_err(png_failed)?),
        };
        Ok(PictureWriter { file, size })
    }

    /// Begins the picture.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn rows(&mut self) -> io::Result<RowWriter<'_, W>> {
        Ok(RowWriter(match &mut self.file {
            File::Tiff(file) => Rows::Whole(Strips::new(file, self.size)?),
            File::TiffFloat(file) => Rows::Float(Strips::new(file, self.size)?),
            File::Png(file) => Rows::Png(file.stream_writer().map_err(png_failed)?),
        }))
    }
}

fn png_header<W: Write>(file: W, [width, height]: [u32; 2]) -> Result<png::Writer<W>, png::EncodingError> {
    let mut encoder = png::Encoder::new(file, width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Sixteen);
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::Filter::Adaptive);
    encoder.write_header()
}

impl<W: Write + Seek> RowWriter<'_, W> {
    /// Adds rows, each as wide as the picture; grey levels are whole numbers.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn add(&mut self, rows: &Array2<f32>) -> io::Result<()> {
        match &mut self.0 {
            Rows::Whole(strips) => strips.add(rows.iter().map(|v| *v as u16)),
            Rows::Float(strips) => strips.add(rows.iter().copied()),
            Rows::Png(file) => {
                for row in rows.rows() {
                    let bytes: Vec<u8> = row.iter().flat_map(|v| (*v as u16).to_be_bytes()).collect();
                    file.write_all(&bytes)?;
                }
                Ok(())
            }
        }
    }

    /// Ends the picture.
    ///
    /// # Errors
    /// When the file cannot be written, or rows are missing.
    pub fn finish(self) -> io::Result<()> {
        match self.0 {
            Rows::Whole(strips) => strips.finish(),
            Rows::Float(strips) => strips.finish(),
            Rows::Png(file) => file.finish().map_err(png_failed),
        }
    }
}

/// A TIFF picture, in the strips that its encoder asks for.
struct Strips<'a, W: Write + Seek, C: ColorType> {
    encoder: ImageEncoder<'a, W, C, TiffKindStandard>,
    /// Pixels of the next strip.
    next: Vec<C::Inner>,
}

impl<'a, W: Write + Seek, C: ColorType> Strips<'a, W, C>
where
    [C::Inner]: TiffValue,
{
    fn new(file: &'a mut TiffEncoder<W>, [width, height]: [u32; 2]) -> io::Result<Strips<'a, W, C>> {
        let encoder = file.new_image::<C>(width, height).map_err(tiff_failed)?;
        Ok(Strips {
            encoder,
            next: Vec::new(),
        })
    }

    fn add(&mut self, pixels: impl Iterator<Item = C::Inner>) -> io::Result<()> {
        for pixel in pixels {
            self.next.push(pixel);
            if self.next.len() as u64 == self.encoder.next_strip_sample_count() {
                self.encoder.write_strip(&self.next).map_err(tiff_failed)?;
                self.next.clear();
            }
        }
        Ok(())
    }

    fn finish(self) -> io::Result<()> {
        self.encoder.finish().map_err(tiff_failed)
    }
}
