//! The numbers of an array in a VTK XML file: as text, base64 or raw bytes, plain or compressed.

use std::io::Read;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use flate2::read::ZlibDecoder;
use roxmltree::Node;

use super::at;
use crate::import::FormatFault;
use crate::import::number::NumberType;

/// What stands behind the XML.
#[derive(Clone, Copy)]
pub(super) struct Appended<'a> {
    pub bytes: &'a [u8],
    pub raw: bool,
}

/// How the numbers of a file are coded.
pub(super) struct Coding {
    pub big_endian: bool,
    /// Whether lengths are of 8 bytes, not 4.
    pub long_header: bool,
    /// Whether blocks are compressed by zlib (RFC 1950).
    pub compressed: bool,
}

/// Bytes that may be coded in base64.
#[derive(Clone, Copy)]
struct Encoded<'a> {
    bytes: &'a [u8],
    raw: bool,
}

impl Coding {
    /// The `count` numbers of an array.
    ///
    /// # Errors
    /// When they are of a kind that is not known, or the file is cut short.
    pub fn numbers(
        &self,
        node: Node,
        count: usize,
        appended: Option<Appended>,
    ) -> Result<Vec<f64>, FormatFault> {
        let kind = node.attribute("type").unwrap_or("no kind");
        let number = NumberType::of_xml(kind).ok_or_else(|| {
            at(
                node,
                format!("has numbers of {kind}, of which nothing is known here"),
            )
        })?;
        let short = || {
            at(
                node,
                format!("lacks some of its {count} numbers: the file is cut short"),
            )
        };
        let text = node.text().unwrap_or("");
        let block = match node.attribute("format") {
            Some("ascii") => return ascii(node, text, count),
            Some("binary") => Encoded {
                bytes: text.trim().as_bytes(),
                raw: false,
            },
            Some("appended") => {
                let offset: usize = node
                    .attribute("offset")
                    .and_then(|o| o.trim().parse().ok())
                    .ok_or_else(|| at(node, "has no offset into the appended data"))?;
                let appended =
                    appended.ok_or_else(|| at(node, "is appended, but there are no appended data"))?;
                Encoded {
                    bytes: appended.bytes.get(offset..).ok_or_else(short)?,
                    raw: appended.raw,
                }
            }
            other => {
                let format = other.unwrap_or("none");
                return Err(at(node, format!("has the unknown format {format}")));
            }
        };
        let wanted = count.checked_mul(number.size()).ok_or_else(short)?;
        let data = match self.compressed {
            true => self.compressed(block, wanted),
            false => self.plain(block, wanted),
        };
        let data = data.map_err(|why| at(node, why))?.ok_or_else(short)?;
        Ok(number.all(&data, self.big_endian))
    }

    /// Bytes of a length.
    fn header(&self) -> usize {
        if self.long_header { 8 } else { 4 }
    }

    /// The length that stands `place` lengths into the bytes.
    fn length(&self, bytes: &[u8], place: usize) -> u64 {
        let header = self.header();
        let bytes = &bytes[place * header..(place + 1) * header];
        bytes.iter().enumerate().fold(0u64, |sum, (k, b)| {
            let place = if self.big_endian { header - 1 - k } else { k };
            sum | u64::from(*b) << (8 * place)
        })
    }

    /// A block that is a length and so many bytes; `None` where it is cut short.
    fn plain(&self, block: Encoded, wanted: usize) -> Result<Option<Vec<u8>>, String> {
        let header = self.header();
        let Some(mut bytes) = wanted.checked_add(header).and_then(|all| block.first(all)) else {
            return Ok(None);
        };
        let length = self.length(&bytes, 0);
        if length != wanted as u64 {
            return Err(format!("holds {length} bytes, but its points need {wanted}"));
        }
        bytes.drain(..header);
        Ok(Some(bytes))
    }

    /// A block of parts compressed one by one: their number, the length of each before compression,
    /// that of the last (0 if it is full), the length of each after it, then the parts. In base64
    /// the lengths are coded apart from the parts.
    fn compressed(&self, block: Encoded, wanted: usize) -> Result<Option<Vec<u8>>, String> {
        let header = self.header();
        let Some(number) = block.first(header) else {
            return Ok(None);
        };
        let parts = self.length(&number, 0);
        let lengths = usize::try_from(parts)
            .ok()
            .and_then(|n| n.checked_add(3)?.checked_mul(header));
        let Some((lengths, head)) = lengths.and_then(|n| Some((n, block.first(n)?))) else {
            return Ok(None);
        };
        let of = |place: usize| usize::try_from(self.length(&head, place)).ok();
        let total = (3..3 + parts as usize).try_fold(0usize, |sum, k| sum.checked_add(of(k)?));
        let parts_follow = block.after(lengths);
        let Some(bytes) = total.and_then(|total| parts_follow?.first(total)) else {
            return Ok(None);
        };
        let (mut data, mut rest) = (Vec::new(), &bytes[..]);
        for k in 3..3 + parts as usize {
            let (part, after) = rest.split_at(of(k).unwrap_or(0));
            rest = after;
            // One byte more than wanted shows that there is too much.
            let room = (wanted + 1).saturating_sub(data.len()) as u64;
            ZlibDecoder::new(part)
                .take(room)
                .read_to_end(&mut data)
                .map_err(|e| format!("holds a compressed part that cannot be read: {e}"))?;
        }
        match data.len() {
            length if length < wanted => Ok(None),
            length if length > wanted => {
                Err(format!("holds more than the {wanted} bytes that its points need"))
            }
            _ => Ok(Some(data)),
        }
    }
}

/// Numbers as text.
fn ascii(node: Node, text: &str, count: usize) -> Result<Vec<f64>, FormatFault> {
    let numbers: Vec<f64> = text
        .split_ascii_whitespace()
        .map(|word| {
            word.parse()
                .map_err(|_| at(node, format!("has \"{word}\" where a number was due")))
        })
        .collect::<Result<_, _>>()?;
    if numbers.len() == count {
        Ok(numbers)
    } else {
        Err(at(
            node,
            format!("lacks some of its {count} numbers: the file is cut short"),
        ))
    }
}

impl<'a> Encoded<'a> {
    /// The first `wanted` bytes; nothing where there are fewer.
    fn first(self, wanted: usize) -> Option<Vec<u8>> {
        match self.raw {
            true => self.bytes.get(..wanted).map(<[u8]>::to_vec),
            false => base64(self.bytes, wanted),
        }
    }

    /// What follows `length` bytes that are coded by themselves.
    fn after(self, length: usize) -> Option<Encoded<'a>> {
        let coded = match self.raw {
            true => length,
            false => length.div_ceil(3).checked_mul(4)?,
        };
        Some(Encoded {
            bytes: self.bytes.get(coded..)?,
            raw: self.raw,
        })
    }
}

/// The first `wanted` bytes of base64 (RFC 4648), whose groups may be padded in between, as VTK
/// does after a header; nothing where there are fewer.
fn base64(text: &[u8], wanted: usize) -> Option<Vec<u8>> {
    // No more is set aside than the text can fill.
    let mut bytes = Vec::with_capacity(wanted.min(text.len()));
    for part in text.chunk_by(|a, b| *a != b'=' || *b == b'=') {
        let groups = wanted.saturating_sub(bytes.len()).div_ceil(3);
        let part = &part[..part.len().min(4 * groups)];
        BASE64_STANDARD.decode_vec(part, &mut bytes).ok()?;
    }
    bytes.truncate(wanted);
    (bytes.len() == wanted).then_some(bytes)
}
