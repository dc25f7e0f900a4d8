//! Decisions in words, as tables, as JSON and as pictures.

pub mod choice;
pub mod map;
pub mod map_picture;
pub mod pulse;
