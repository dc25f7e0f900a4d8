//! What stands in the lab becomes a scene.
//!
//! A setup text is read into a [`setup::Setup`] of typed SI values; [`plan::plan`] turns it into
//! the scene that the pictures will show, with every figure on the way.

pub mod caution;
pub mod import;
pub mod keys;
pub mod medium;
pub mod optics;
pub mod plan;
pub mod quantity;
pub mod scattering;
pub mod setup;
