#![doc = include_str!("../README.md")]

pub mod answer;
mod assumed;
pub mod chains;
pub mod curve;
pub mod decide;
pub mod explanation;
pub mod figure;
pub mod format;
pub mod handout;
pub mod json;
pub mod look_picture;
pub mod pairs;
pub mod plan;
pub mod reliability;
pub mod response;
pub mod score;
pub mod score_picture;
pub mod series;
pub mod specimen;
pub mod sweep;
pub mod table;
pub mod tiles;
pub mod twin;
pub mod vectors;
pub mod verify;

/// Writes settings as the line that a user copies: options for a command line, a call for a
/// notebook.
pub type Apply = fn(settings: &[(String, String)]) -> String;
