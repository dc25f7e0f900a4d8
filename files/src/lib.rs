#![doc = include_str!("../README.md")]

mod error;
pub mod npy;
mod output;
mod part;
pub mod picture;
pub mod record;
mod scratch;
mod series;
mod source;
pub mod table;

pub use error::FileError;
pub use output::{OutputDirectory, OutputFile, exists, may_write, sha256, write};
pub use part::abandon_parts;
pub use scratch::Scratch;
pub use series::{Series, picture_files};
pub use source::{Content, Disk, FileSource, Memory, length, list, read_text};
