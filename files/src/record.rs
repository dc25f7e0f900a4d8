//! A file that grows record by record and survives being cut anywhere.
//!
//! A first line says what the records belong to. Then follow the records: length, bytes and
//! checksum of each. Whatever was half-written at the end fails its checksum and is cut off when
//! the file is taken up again. One process at a time has it: the others are refused.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard};

use crate::FileError;

/// A growing file of records.
#[derive(Debug)]
pub struct RecordFile {
    path: PathBuf,
    growing: Mutex<Growing>,
}

#[derive(Debug)]
struct Growing {
    file: File,
    /// Bytes up to the end of the last whole record.
    whole: u64,
    /// Whether some record could not be written.
    lost: bool,
}

/// What a record file that is taken up again holds.
#[derive(Debug)]
pub enum Resumed {
    /// The file, ready to grow, and its records.
    Records(RecordFile, Vec<Vec<u8>>),
    /// Its first line is another.
    Foreign,
}

/// What stands under the path of a record file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// Nothing, or a file of another kind.
    Other,
    /// One whose first line was not even written when its process was killed: it holds nothing.
    Torn,
    /// One with a first line.
    Begun,
}

impl RecordFile {
    /// Looks whether a record file stands under the path whose first line begins with `kind`.
    pub fn look(path: &Path, kind: &str) -> Found {
        // More than any first line.
        const MOST: u64 = 4096;
        let mut start = Vec::new();
        let read = File::open(path).and_then(|file| file.take(MOST).read_to_end(&mut start));
        let kind = kind.as_bytes();
        match (read.is_ok(), start.contains(&b'\n')) {
            (true, true) if start.starts_with(kind) => Found::Begun,
            (true, false) if kind.starts_with(&start) || start.starts_with(kind) => Found::Torn,
            _ => Found::Other,
        }
    }

    /// A new file whose first line is `head`; where `replace` is true, also in the place of an
    /// older one.
    ///
    /// # Errors
    /// When there is one that must not be replaced or that another process has, or it cannot be
    /// written.
    pub fn begin(path: &Path, head: &str, replace: bool) -> Result<RecordFile, FileError> {
        let mut options = OpenOptions::new();
        options.read(true).append(true);
        match replace {
            true => options.create(true),
            false => options.create_new(true),
        };
        let mut file = options.open(path).map_err(|e| match e.kind() {
            std::io::ErrorKind::AlreadyExists => FileError::Exists {
                path: path.to_owned(),
            },
            _ => FileError::of(path, "write", e),
        })?;
        lock(path, &file)?;
        let line = format!("{head}\n");
        let begun = file.set_len(0).and_then(|()| file.write_all(line.as_bytes()));
        if let Err(e) = begun {
            let _ = fs::remove_file(path);
            return Err(FileError::of(path, "write", e));
        }
        Ok(RecordFile::of(path, file, line.len() as u64))
    }

    /// Takes up the file whose first line is `head`.
    ///
    /// # Errors
    /// When there is none, another process has it, or it cannot be read or written.
    pub fn resume(path: &Path, head: &str) -> Result<Resumed, FileError> {
        let file = OpenOptions::new().read(true).append(true).open(path);
        let mut file = file.map_err(|e| FileError::of(path, "read", e))?;
        lock(path, &file)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes)
            .map_err(|e| FileError::of(path, "read", e))?;
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
        file.set_len(whole).map_err(|e| FileError::of(path, "write", e))?;
        Ok(Resumed::Records(RecordFile::of(path, file, whole), records))
    }

    fn of(path: &Path, file: File, whole: u64) -> RecordFile {
        RecordFile {
            path: path.to_owned(),
            growing: Mutex::new(Growing {
                file,
                whole,
                lost: false,
            }),
        }
    }

    fn growing(&self) -> MutexGuard<'_, Growing> {
        self.growing.lock().expect("no thread panics with the lock")
    }

    /// Adds a record. What a full disk does not take is lost, not an error: whoever takes the file
    /// up again lacks the record and makes it anew; [`lost`](RecordFile::lost) tells.
    pub fn add(&self, record: &[u8]) {
        let mut bytes = (record.len() as u64).to_le_bytes().to_vec();
        bytes.extend(record);
        bytes.extend(checksum(record).to_le_bytes());
        let mut growing = self.growing();
        match growing.file.write_all(&bytes) {
            Ok(()) => growing.whole += bytes.len() as u64,
            Err(_) => {
                growing.lost = true;
                // A half-written record would hide all that follow it.
                let _ = growing.file.set_len(growing.whole);
            }
        }
    }

    /// Whether some record could not be written.
    pub fn lost(&self) -> bool {
        self.growing().lost
    }

    /// Takes the file away.
    pub fn remove(self) {
        let _ = fs::remove_file(&self.path);
    }
}

/// Keeps other processes out of the file for as long as it is open.
fn lock(path: &Path, file: &File) -> Result<(), FileError> {
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => Err(FileError::Busy {
            path: path.to_owned(),
        }),
        // Some network disks have no locks; a study there is still better than none.
        Ok(()) | Err(TryLockError::Error(_)) => Ok(()),
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
fn checksum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(name: &str) -> PathBuf {
        let path = std::env::temp_dir().join(format!("motefield-record-{}-{name}", std::process::id()));
        let _ = fs::remove_file(&path);
        path
    }

    /// Published values: RFC 9923, test vectors of FNV-1a with 64 bits (from memory).
    #[test]
    fn the_checksum_is_fnv_1a() {
        assert_eq!(checksum(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(checksum(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(checksum(b"foobar"), 0x8594_4171_f739_67e8);
    }

    /// However the file is cut, its whole records come back and no other.
    #[test]
    fn records_survive_a_cut_anywhere() {
        let path = path("cut");
        let records: Vec<Vec<u8>> = (0..4u8).map(|k| vec![k; 3 * usize::from(k) + 1]).collect();
        let file = RecordFile::begin(&path, "head", false).unwrap();
        let mut ends = vec![5];
        for record in &records {
            file.add(record);
            ends.push(ends[ends.len() - 1] + 16 + record.len());
        }
        drop(file);
        let whole = fs::read(&path).unwrap();
        for cut in 5..=whole.len() {
            fs::write(&path, &whole[..cut]).unwrap();
            let Resumed::Records(_, found) = RecordFile::resume(&path, "head").unwrap() else {
                panic!("the head is whole");
            };
            let expected = ends.iter().filter(|end| **end <= cut).count() - 1;
            assert_eq!(found, records[..expected], "cut at {cut}");
        }
        fs::remove_file(path).unwrap();
    }

    #[test]
    fn what_stands_there_is_told() {
        let path = path("look");
        assert_eq!(RecordFile::look(&path, "motes "), Found::Other);
        for (text, found) in [
            ("", Found::Torn),
            ("mote", Found::Torn),
            ("motes 2 ab", Found::Torn),
            ("motes 2 ab\nxyz", Found::Begun),
            ("notes\n", Found::Other),
            ("Dear diary", Found::Other),
        ] {
            fs::write(&path, text).unwrap();
            assert_eq!(RecordFile::look(&path, "motes "), found, "{text}");
        }
        fs::remove_file(path).unwrap();
    }

    #[test]
    fn one_at_a_time_has_the_file() {
        let path = path("busy");
        let first = RecordFile::begin(&path, "head", false).unwrap();
        let begun = RecordFile::begin(&path, "head", true);
        assert!(matches!(begun, Err(FileError::Busy { .. })), "{begun:?}");
        let resumed = RecordFile::resume(&path, "head");
        assert!(matches!(resumed, Err(FileError::Busy { .. })), "{resumed:?}");
        let anew = RecordFile::begin(&path, "head", false);
        assert!(matches!(anew, Err(FileError::Exists { .. })), "{anew:?}");
        drop(first);
        assert!(matches!(
            RecordFile::resume(&path, "other").unwrap(),
            Resumed::Foreign
        ));
        assert!(RecordFile::resume(&path, "head").is_ok());
        fs::remove_file(path).unwrap();
    }
}
