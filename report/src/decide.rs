//! Decisions in words, as tables, as JSON and as pictures.

pub mod choice;
pub mod choice_picture;
pub mod enough;
pub mod line_picture;
pub mod map;
pub mod map_picture;
pub mod pulse;
pub mod thumb;
pub mod velocity;
pub mod worth;

use motefield_rig::quantity::short;
use motefield_rig::setup::Setup;
use motefield_study::decide::limit::ErrorLimit;
use serde_json::{Value, json};

/// What is said of a decision that was stopped, in words, as JSON and in its picture: there is no
/// answer yet. `go_on` says how to get it.
fn unfinished(go_on: &str) -> String {
    format!("Unfinished: the study was stopped before its end, so nothing is recommended. {go_on}")
}

/// What is said where the seeding is stated although the setup gives the particles per window, as
/// in a study that varies the windows; nothing else.
pub fn seeding_words(setup: &Setup) -> String {
    match (setup.image.seeding_density_ppp, setup.tracer.particles_per_window) {
        (Some(ppp), Some(_)) => format!(
            "The seeding is {} ppp whatever window is tried: that of the setup as it stands, from tracer.particles_per_window.\n",
            short(ppp)
        ),
        _ => String::new(),
    }
}

/// Adds to an answer's JSON the limit that was stated, and whether the best setting keeps it.
pub fn add_limit(json: &mut Value, limit: Option<ErrorLimit>, met: Option<bool>) {
    json["limit"] = json!(limit.map(|limit| limit.to_string()));
    json["meets_limit"] = json!(met);
}

/// Whether the best setting keeps the limit, where one is stated; `None` of `met`: it cannot be
/// told.
pub fn limit_words(limit: Option<ErrorLimit>, met: Option<bool>) -> String {
    match (limit, met) {
        (Some(limit), Some(true)) => format!("Its measured error keeps the limit of {limit}.\n"),
        (Some(limit), Some(false)) => format!("No measured error keeps the limit of {limit}.\n"),
        (Some(limit), None) => format!("Whether the limit of {limit} is kept cannot be told.\n"),
        (None, _) => String::new(),
    }
}
