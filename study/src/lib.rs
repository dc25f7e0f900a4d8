#![doc = include_str!("../README.md")]

pub mod caveat;
pub mod decide;
mod effort;
pub mod error;
pub mod folder;
pub mod look;
pub mod manifest;
pub mod own_vectors;
pub mod response;
pub mod run;
pub mod seeding;
pub mod series;
pub mod twin;
pub mod values;
pub mod vary;
pub mod vectors;
pub mod verify;

pub use error::StudyError;

/// Version of the computed values: changes when any computed value may change; CHANGELOG.md lists
/// what moved.
pub const RESULTS_VERSION: u32 = 9;
