//! A file that grows record by record and survives being cut anywhere.
//!
//! A first line says what the records belong to. Then follow the records: length, bytes and
//! checksum of each. Whatever was half-written at the end fails its checksum and is cut off when
//! the file is taken up again.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use crate::FileError;

/// A growing file of records.
#[derive(Debug)]
pub struct RecordFile {
    path: PathBuf,
    file: Mutex<File>,
}

/// What a record file that is taken up again holds.
#[derive(Debug)]
pub enum Resumed {
    /// The file, ready to grow, and its records.
    Records(RecordFile, Vec<Vec<u8>>),
    /// Its first line is another.
    Foreign,
}

impl RecordFile {
    /// A new file whose first line is `head`.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(path: &Path, head: &str) -> Result<RecordFile, FileError> {
        fs::write(path, format!("{head}\n")).map_err(|e| FileError::of(path, "write", e))?;
        RecordFile::open(path)
    }

    /// Takes up the file whose first line is `head`.
    ///
    /// # Errors
    /// When there is none, or it cannot be read or written.
    pub fn resume(path: &Path, head: &str) -> Result<Resumed, FileError> {
        let bytes = fs::read(path).map_err(|e| FileError::of(path, "read", e))?;
        let line = format!("{head}\n");
        let Some(mut rest) = bytes.strip_prefix(line.as_bytes()) else {
            return Ok(Resumed::Foreign);
        };
        let mut records = Vec::new();
        while let Some((record, after)) = first(rest) {
            records.push(record.to_vec());
            rest = after;
        }
        let whole = (bytes.len() - rest.len()) as u64;
        let cut = OpenOptions::new()
            .write(true)
            .open(path)
            .and_then(|file| file.set_len(whole));
        cut.map_err(|e| FileError::of(path, "write", e))?;
        Ok(Resumed::Records(RecordFile::open(path)?, records))
    }

    fn open(path: &Path) -> Result<RecordFile, FileError> {
        let file = OpenOptions::new().append(true).open(path);
        Ok(RecordFile {
            path: path.to_owned(),
            file: Mutex::new(file.map_err(|e| FileError::of(path, "write", e))?),
        })
    }

    /// Adds a record. What a full disk does not take is lost, not an error: whoever takes the file
    /// up again lacks the record and makes it anew.
    pub fn add(&self, record: &[u8]) {
        let mut bytes = (record.len() as u64).to_le_bytes().to_vec();
        bytes.extend(record);
        bytes.extend(checksum(record).to_le_bytes());
        let mut file = self.file.lock().expect("no thread panics with the lock");
        let _ = file.write_all(&bytes);
    }

    /// Takes the file away.
    pub fn remove(self) {
        let _ = fs::remove_file(&self.path);
    }
}

/// The first record and what follows it; `None` at the end, or where the bytes are no whole record.
fn first(bytes: &[u8]) -> Option<(&[u8], &[u8])> {
    let (length, rest) = bytes.split_first_chunk::<8>()?;
    let (record, rest) = rest.split_at_checked(u64::from_le_bytes(*length).try_into().ok()?)?;
    let (mark, rest) = rest.split_first_chunk::<8>()?;
    (u64::from_le_bytes(*mark) == checksum(record)).then_some((record, rest))
}

/// FNV-1a, 64 bits (Fowler, Noll & Vo; RFC 9923).
pub fn checksum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}
