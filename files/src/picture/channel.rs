//! One colour out of a picture in colour.

use std::str::FromStr;

use super::fault::PictureFault;

/// One colour of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColourChannel {
    /// The first of three.
    Red,
    /// The second.
    Green,
    /// The third.
    Blue,
}

impl FromStr for ColourChannel {
    type Err = String;

    fn from_str(text: &str) -> Result<ColourChannel, String> {
        match text {
            "red" => Ok(ColourChannel::Red),
            "green" => Ok(ColourChannel::Green),
            "blue" => Ok(ColourChannel::Blue),
            _ => Err(format!("`{text}` is no channel: write red, green or blue")),
        }
    }
}

/// The channel of pixels with `each` values.
pub(super) fn pick(
    values: &[f32],
    each: usize,
    channel: Option<ColourChannel>,
) -> Result<Vec<f32>, PictureFault> {
    let channel = channel.ok_or(PictureFault::NoChannel)?;
    Ok(values
        .iter()
        .skip(channel as usize)
        .step_by(each)
        .copied()
        .collect())
}
