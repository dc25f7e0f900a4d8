//! Directories that stand only as long as they are needed.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::{FileError, part};

/// A directory among the system's temporary files, taken away with all that is in it when it is
/// dropped, and by [`abandon_parts`](crate::abandon_parts).
#[derive(Debug)]
pub struct Scratch(PathBuf);

static NUMBER: AtomicUsize = AtomicUsize::new(0);

impl Scratch {
    /// A new directory, empty.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn new() -> Result<Scratch, FileError> {
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("motefield-{}-{number}", std::process::id()));
        part::begin_scratch(&path).map_err(|e| FileError::of(&path, "make the directory", e))?;
        Ok(Scratch(path))
    }

    /// Where a file in it stands.
    pub fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// The directory.
    pub fn directory(&self) -> &Path {
        &self.0
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        part::end_scratch(&self.0);
    }
}
