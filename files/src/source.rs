//! Where the bytes of a file come from: a disk, or memory.

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use sha2::{Digest, Sha256};

use crate::FileError;

/// The bytes of a file and their hash.
#[derive(Debug)]
pub struct Content {
    /// The bytes.
    pub bytes: Vec<u8>,
    /// SHA-256 of the bytes, in hexadecimal digits.
    pub sha256: String,
}

impl Content {
    /// Bytes with their hash.
    pub fn new(bytes: Vec<u8>) -> Content {
        let sha256 = hexadecimal(&Sha256::digest(&bytes));
        Content { bytes, sha256 }
    }
}

/// Bytes as hexadecimal digits.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Gives the bytes of files by their names; each file is read once.
pub trait FileSource: Send + Sync {
    /// The content of a file.
    ///
    /// # Errors
    /// When there is no such file, or it cannot be read.
    fn content(&self, path: &Path) -> Result<Arc<Content>, FileError>;

    /// Every file read so far with the hash of its content, in the order of their names.
    fn read_so_far(&self) -> Vec<(PathBuf, String)>;
}

/// Largest file read, bytes.
const LARGEST: u64 = 4 << 30;

type Kept = Mutex<HashMap<PathBuf, Arc<Content>>>;

fn kept(of: &Kept) -> std::sync::MutexGuard<'_, HashMap<PathBuf, Arc<Content>>> {
    of.lock().expect("no thread panics with the lock")
}

fn names(of: &Kept) -> Vec<(PathBuf, String)> {
    let mut all: Vec<_> = kept(of)
        .iter()
        .map(|(path, content)| (path.clone(), content.sha256.clone()))
        .collect();
    all.sort();
    all
}

/// Files on disk. What was read is kept: a study sees the same bytes from its beginning to its end.
#[derive(Debug, Default)]
pub struct Disk(Kept);

impl FileSource for Disk {
    fn content(&self, path: &Path) -> Result<Arc<Content>, FileError> {
        if let Some(content) = kept(&self.0).get(path) {
            return Ok(Arc::clone(content));
        }
        let content = Arc::new(Content::new(read(path)?));
        kept(&self.0).insert(path.to_owned(), Arc::clone(&content));
        Ok(content)
    }

    fn read_so_far(&self) -> Vec<(PathBuf, String)> {
        names(&self.0)
    }
}

/// Files in memory, for programs without a disk and for tests.
#[derive(Debug, Default)]
pub struct Memory(Kept);

impl Memory {
    /// Files by their names.
    pub fn new(files: impl IntoIterator<Item = (PathBuf, Vec<u8>)>) -> Memory {
        let files = files
            .into_iter()
            .map(|(path, bytes)| (path, Arc::new(Content::new(bytes))));
        Memory(Mutex::new(files.collect()))
    }
}

impl FileSource for Memory {
    fn content(&self, path: &Path) -> Result<Arc<Content>, FileError> {
        let found = kept(&self.0).get(path).cloned();
        found.ok_or_else(|| FileError::Missing {
            path: path.to_owned(),
        })
    }

    fn read_so_far(&self) -> Vec<(PathBuf, String)> {
        names(&self.0)
    }
}

/// The bytes of a file on disk.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, FileError> {
    let about = fs::metadata(path).map_err(|e| FileError::of(path, "read", e))?;
    if about.is_dir() {
        return Err(FileError::unusable(path, "is a directory, not a file"));
    }
    if !about.is_file() || about.len() > LARGEST {
        return Err(FileError::unusable(path, "is not a file of at most 4 GB"));
    }
    fs::read(path).map_err(|e| FileError::of(path, "read", e))
}

/// Bytes of the file; `None` where no plain file stands there.
pub fn length(path: &Path) -> Option<u64> {
    let about = fs::metadata(path).ok()?;
    about.is_file().then_some(about.len())
}

/// Reads a text file.
///
/// # Errors
/// When it cannot be read or is not UTF-8.
pub fn read_text(path: &Path) -> Result<String, FileError> {
    String::from_utf8(read(path)?).map_err(|_| FileError::unusable(path, "is not a text file (UTF-8)"))
}

/// The files in a directory whose names end in `.extension`, in the order of their names.
///
/// # Errors
/// When the directory cannot be listed.
pub fn list(directory: &Path, extension: &str) -> Result<Vec<PathBuf>, FileError> {
    let entries = fs::read_dir(directory).map_err(|e| FileError::of(directory, "list", e))?;
    let mut paths: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == extension))
        .collect();
    paths.sort();
    Ok(paths)
}
