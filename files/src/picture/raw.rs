//! Raw pictures: pixels row by row, without a head that says what they are.

use std::fmt;
use std::str::FromStr;

use super::GreyPicture;
use super::packed::unpack;
use super::page::page;

/// How a grey level is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleFormat {
    /// Whole number.
    Whole {
        /// 1, 2 or 4.
        bytes: usize,
        /// With a sign.
        signed: bool,
        /// Most significant byte first.
        big_endian: bool,
    },
    /// Floating point of 32 bits.
    Float {
        /// Most significant byte first.
        big_endian: bool,
    },
    /// Two pixels of 12 bits in three bytes, the most significant bits first (as in TIFF); a row
    /// begins with a whole byte.
    Packed12,
}

const fn of_bytes(bytes: usize, signed: bool, big_endian: bool) -> SampleFormat {
    SampleFormat::Whole {
        bytes,
        signed,
        big_endian,
    }
}

const SAMPLES: [(&str, SampleFormat); 13] = [
    ("u8", of_bytes(1, false, false)),
    ("i8", of_bytes(1, true, false)),
    ("u16le", of_bytes(2, false, false)),
    ("u16be", of_bytes(2, false, true)),
    ("i16le", of_bytes(2, true, false)),
    ("i16be", of_bytes(2, true, true)),
    ("u32le", of_bytes(4, false, false)),
    ("u32be", of_bytes(4, false, true)),
    ("i32le", of_bytes(4, true, false)),
    ("i32be", of_bytes(4, true, true)),
    ("f32le", SampleFormat::Float { big_endian: false }),
    ("f32be", SampleFormat::Float { big_endian: true }),
    ("u12packed", SampleFormat::Packed12),
];

/// Layout of a raw file: one picture after the other behind a head of some bytes.
///
/// ```
/// use motefield_files::picture::RawLayout;
///
/// let layout: RawLayout = "1024x768:u16le:512".parse().unwrap();
/// assert_eq!((layout.size, layout.head), ([1024, 768], 512));
/// assert_eq!(layout.picture_bytes(), 1024 * 768 * 2);
/// assert!("1024x768:u17".parse::<RawLayout>().is_err());
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RawLayout {
    /// Width and height, px.
    pub size: [u32; 2],
    /// How a grey level is stored.
    pub sample: SampleFormat,
    /// Bytes before the first picture.
    pub head: u64,
}

impl fmt::Display for RawLayout {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = SAMPLES.iter().find(|(_, sample)| *sample == self.sample);
        let name = name.map_or("", |(name, _)| name);
        write!(f, "{}x{}:{name}:{}", self.size[0], self.size[1], self.head)
    }
}

impl FromStr for RawLayout {
    type Err = String;

    fn from_str(text: &str) -> Result<RawLayout, String> {
        let parsed = || {
            let mut parts = text.split(':');
            let (width, height) = parts.next()?.split_once('x')?;
            let side = |text: &str| text.trim().parse().ok().filter(|n| (1..=65_536).contains(n));
            let size = [side(width)?, side(height)?];
            let name = parts.next()?;
            let (_, sample) = SAMPLES.iter().find(|(known, _)| *known == name)?;
            let head = parts.next().map_or(Some(0), |bytes| bytes.trim().parse().ok())?;
            parts.next().is_none().then_some(RawLayout {
                size,
                sample: *sample,
                head,
            })
        };
        parsed().ok_or_else(|| {
            format!(
                "`{text}` is no layout: write WIDTHxHEIGHT:SAMPLE or WIDTHxHEIGHT:SAMPLE:BYTES_BEFORE, such as 1024x1024:u16le, with one of {}",
                SAMPLES.map(|(name, _)| name).join(", ")
            )
        })
    }
}

impl RawLayout {
    fn row_bytes(&self) -> usize {
        let width = self.size[0] as usize;
        match self.sample {
            SampleFormat::Whole { bytes, .. } => bytes * width,
            SampleFormat::Float { .. } => 4 * width,
            SampleFormat::Packed12 => (12 * width).div_ceil(8),
        }
    }

    /// Bytes of one picture.
    pub fn picture_bytes(&self) -> u64 {
        self.row_bytes() as u64 * u64::from(self.size[1])
    }

    /// Number of pictures in a file of so many bytes.
    pub(super) fn count(&self, bytes: u64) -> Result<usize, String> {
        let (each, body) = (self.picture_bytes(), bytes.saturating_sub(self.head));
        match body > 0 && body.is_multiple_of(each) {
            true => Ok((body / each) as usize),
            false => Err(format!(
                "it has {bytes} bytes, which is no whole number of pictures of {each} bytes behind a head of {} (layout {self})",
                self.head
            )),
        }
    }

    /// The picture in the bytes of one.
    pub(super) fn picture(&self, bytes: &[u8]) -> Result<GreyPicture, String> {
        let rows = bytes.chunks_exact(self.row_bytes());
        let pixels = rows.flat_map(|row| self.row(row)).collect();
        page(self.size, format!("layout {self}"), pixels)
    }

    fn row(&self, row: &[u8]) -> Vec<f32> {
        match self.sample {
            SampleFormat::Packed12 => unpack(row, 12, self.size[0] as usize),
            SampleFormat::Float { big_endian } => {
                let value = |four: &[u8; 4]| match big_endian {
                    true => f32::from_be_bytes(*four),
                    false => f32::from_le_bytes(*four),
                };
                row.as_chunks().0.iter().map(value).collect()
            }
            SampleFormat::Whole {
                bytes,
                signed,
                big_endian,
            } => {
                let value = |part: &[u8]| whole(part, signed, big_endian) as f32;
                row.chunks_exact(bytes).map(value).collect()
            }
        }
    }
}

fn whole(bytes: &[u8], signed: bool, big_endian: bool) -> i64 {
    let add = |sum: i64, byte: &u8| sum << 8 | i64::from(*byte);
    let value = match big_endian {
        true => bytes.iter().fold(0, add),
        false => bytes.iter().rev().fold(0, add),
    };
    let range = 1i64 << (8 * bytes.len());
    match signed && value >= range / 2 {
        true => value - range,
        false => value,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two's complement and the order of the bytes, as any processor has them.
    #[test]
    fn numbers_of_every_kind_are_read() {
        for (name, bytes, value) in [
            ("i8", vec![0xff], -1.0),
            ("u16le", vec![0x34, 0x12], 4660.0),
            ("u16be", vec![0x12, 0x34], 4660.0),
            ("i16be", (-2i16).to_be_bytes().to_vec(), -2.0),
            ("u32le", 70_000u32.to_le_bytes().to_vec(), 70_000.0),
            ("i32le", (-70_000i32).to_le_bytes().to_vec(), -70_000.0),
            ("f32be", 1.5f32.to_be_bytes().to_vec(), 1.5),
        ] {
            let layout: RawLayout = format!("1x1:{name}").parse().unwrap();
            assert_eq!(layout.picture(&bytes).unwrap().pixels[[0, 0]], value, "{name}");
            assert_eq!(layout.to_string(), format!("1x1:{name}:0"));
        }
    }
}
