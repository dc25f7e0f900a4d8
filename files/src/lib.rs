//! Files: codecs for pictures, arrays and tables, writing whole or not at all, hashes.
//!
//! The only crate of the workspace that touches a disk. What is read comes through a
//! [`FileSource`], so that a program without a disk can hand in bytes instead; what is written goes
//! to an [`OutputDirectory`], under a temporary name first, and overwrites nothing unasked.

mod error;
pub mod npy;
mod output;
pub mod picture;
pub mod record;
mod source;
pub mod table;

pub use error::FileError;
pub use output::{OutputDirectory, may_write, write};
pub use source::{Content, Disk, FileSource, Memory, list, read_text};
