//! Decisions in words, as tables, as JSON and as pictures.

pub mod choice;
pub mod map;
pub mod map_picture;
pub mod pulse;

/// What a decision that was stopped says at its end.
const STOPPED: &str = "The study was stopped early: these results rest on the pairs done until then.";
