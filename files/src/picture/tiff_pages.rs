//! Pages of TIFF files, each read by itself.

use std::io::{Read, Seek, SeekFrom};

use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::tags::Tag;

use super::GreyPicture;
use super::channel::{ColourChannel, pick};
use super::fault::PictureFault;
use super::packed::unpack;
use super::page::{LARGEST_PIXELS, page as grey, within_bounds};

/// Most pages that are read of a file.
const MOST_PAGES: usize = 100_000;

fn text(error: tiff::TiffError) -> String {
    error.to_string()
}

fn decoder<R: Read + Seek>(source: R) -> Result<Decoder<R>, String> {
    let mut limits = Limits::default();
    limits.decoding_buffer_size = LARGEST_PIXELS * 8;
    Ok(Decoder::new(source).map_err(text)?.with_limits(limits))
}

/// Number of pages; nothing of them but their heads is read.
pub(super) fn count(source: impl Read + Seek) -> Result<usize, String> {
    let mut decoder = decoder(source)?;
    let mut pages = 1;
    while decoder.more_images() {
        if pages == MOST_PAGES {
            return Err(format!("it has more than {MOST_PAGES} pages"));
        }
        decoder.next_image().map_err(text)?;
        pages += 1;
    }
    Ok(pages)
}

/// Page `number`, counted from 0.
pub(super) fn page(
    source: impl Read + Seek,
    number: usize,
    channel: Option<ColourChannel>,
) -> Result<GreyPicture, PictureFault> {
    let mut decoder = decoder(source)?;
    decoder.seek_to_image(number).map_err(text)?;
    let (width, height) = decoder.dimensions().map_err(text)?;
    within_bounds([width, height])?;
    let (bits, each) = match decoder.colortype().map_err(text)? {
        tiff::ColorType::Gray(bits) => (bits, 1),
        tiff::ColorType::RGB(bits) => (bits, 3),
        tiff::ColorType::RGBA(bits) => (bits, 4),
        other => return Err(format!("its pixels are {other:?}").into()),
    };
    if !matches!(bits, 8 | 16 | 32 | 64) {
        let pixels = match (each, bits) {
            (1, 9..=15) => packed(&mut decoder, [width, height], u32::from(bits))?,
            _ => return Err(format!("its pixels have {bits} bits").into()),
        };
        return Ok(grey([width, height], format!("{bits} bits"), pixels)?);
    }
    let planes = decoder.find_tag_unsigned::<u16>(Tag::PlanarConfiguration);
    if each > 1 && planes.map_err(text)? == Some(2) {
        return Err("its colours are stored in separate planes".to_owned().into());
    }
    let (kind, values) = values(decoder.read_image().map_err(text)?)?;
    let pixels = match each {
        1 => values,
        _ => pick(&values, each, channel)?,
    };
    Ok(grey([width, height], format!("{bits} {kind}"), pixels)?)
}

fn values(read: DecodingResult) -> Result<(&'static str, Vec<f32>), String> {
    fn of<T>(values: Vec<T>, value: impl Fn(T) -> f32) -> Vec<f32> {
        values.into_iter().map(value).collect()
    }
    let float = "bits of floating point";
    let signed = "bits with sign";
    Ok(match read {
        DecodingResult::U8(v) => ("bits", of(v, f32::from)),
        DecodingResult::U16(v) => ("bits", of(v, f32::from)),
        DecodingResult::U32(v) => ("bits", of(v, |x| x as f32)),
        DecodingResult::I8(v) => (signed, of(v, f32::from)),
        DecodingResult::I16(v) => (signed, of(v, f32::from)),
        DecodingResult::I32(v) => (signed, of(v, |x| x as f32)),
        DecodingResult::F32(v) => (float, v),
        DecodingResult::F64(v) => (float, of(v, |x| x as f32)),
        _ => return Err("its pixels are of an unusual type".to_owned()),
    })
}

/// Grey levels of 9 to 15 bits one after the other, the most significant bits first whatever the
/// order of bytes; every row begins with a whole byte (TIFF 6.0, Adobe 1992, fields BitsPerSample,
/// FillOrder, Compression; from memory).
fn packed<R: Read + Seek>(
    decoder: &mut Decoder<R>,
    [width, height]: [u32; 2],
    bits: u32,
) -> Result<Vec<f32>, String> {
    let mut is = |tag, usual: u16| {
        let found = decoder.find_tag_unsigned(tag).map_err(text)?;
        Ok::<bool, String>(found.unwrap_or(usual) == usual)
    };
    if !(is(Tag::Compression, 1)? && is(Tag::FillOrder, 1)? && is(Tag::PhotometricInterpretation, 1)?) {
        return Err(format!(
            "its pixels of {bits} bits are compressed, or in an unusual order"
        ));
    }
    let offsets = decoder.get_tag_u64_vec(Tag::StripOffsets).map_err(text)?;
    let lengths = decoder.get_tag_u64_vec(Tag::StripByteCounts).map_err(text)?;
    let row_bytes = (width as usize * bits as usize).div_ceil(8);
    let wanted = row_bytes * height as usize;
    let mut bytes = Vec::new();
    for (offset, length) in offsets.into_iter().zip(lengths) {
        let source = decoder.inner();
        source.seek(SeekFrom::Start(offset)).map_err(|e| e.to_string())?;
        let room = (wanted - bytes.len()) as u64;
        let read = source.take(length.min(room)).read_to_end(&mut bytes);
        read.map_err(|e| e.to_string())?;
    }
    if bytes.len() < wanted {
        return Err(format!(
            "it ends after {} of the {wanted} bytes of its pixels",
            bytes.len()
        ));
    }
    let rows = bytes.chunks_exact(row_bytes);
    Ok(rows.flat_map(|row| unpack(row, bits, width as usize)).collect())
}
