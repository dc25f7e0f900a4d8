//! How long may a light pulse be? From a rig in the lab to the pulse length to use, by doing the experiment many times on rendered
//! pairs whose displacement is known exactly.
//!
//! The way of the data: [`source`] and [`setup`] (what the experimenter wrote) → [`plan`] (the only step from rig to scene) →
//! generator → evaluator → [`study`] (many pairs, many points) → [`table`], [`decide`], [`curve`]. Each stage takes the stage before it
//! as a plain value and knows nothing of those after it. The command line stands in `main.rs` and `cli/`.

pub mod caution;
pub mod curve;
pub mod decide;
pub mod failure;
pub mod files;
pub mod import;
pub mod plan;
pub mod plot;
pub mod quantity;
pub mod reliability;
pub mod setup;
pub mod source;
pub mod specimen;
pub mod study;
pub mod table;
pub mod vary;
pub mod vectors;
pub mod verify;
