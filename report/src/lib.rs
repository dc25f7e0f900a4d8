//! Tables and answers become what a person sees or a program reads.

pub mod curve;
pub mod decide;
pub mod figure;
pub mod manifest;
pub mod plan;
pub mod reliability;
pub mod response;
pub mod specimen;
pub mod table;
pub mod verify;

use motefield_rig::setup::Setup;
use serde_json::{Value, json};

/// A setup in a JSON file: its name, its text, and what was changed in it.
pub fn setup_json(setup: &Setup) -> Value {
    let changes = setup.document().changes().iter();
    let changes: Vec<[String; 2]> = changes
        .map(|(key, value)| [key.clone(), value.to_string()])
        .collect();
    json!({ "name": setup.name(), "text": setup.text(), "changes": changes })
}
