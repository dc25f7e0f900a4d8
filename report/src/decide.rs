//! Decisions in words, as tables, as JSON and as pictures.

pub mod choice;
pub mod enough;
pub mod line_picture;
pub mod map;
pub mod map_picture;
pub mod pulse;
pub mod thumb;
pub mod velocity;
pub mod worth;

/// What is said of a decision that was stopped, in words, as JSON and in its picture: there is no
/// answer yet. `go_on` says how to get it.
fn unfinished(go_on: &str) -> String {
    format!("Unfinished: the study was stopped before its end, so nothing is recommended. {go_on}")
}
