#![doc = include_str!("../README.md")]

pub mod assumption;
pub mod caution;
pub mod glow;
pub mod import;
pub mod keys;
pub mod medium;
mod near;
pub mod optics;
pub mod photometry;
pub mod plan;
pub mod quantity;
pub mod scattering;
pub mod setup;
