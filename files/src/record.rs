//! A file that grows record by record and survives being cut anywhere.
//!
//! A first line says what the records belong to. Then follow the records: length, bytes and
//! checksum of each. Whatever was half-written at the end fails its checksum and is cut off when
//! the file is taken up again. One process at a time has it: the others are refused.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard};

use crate::FileError;

/// A growing file of records.
#[derive(Debug)]
pub struct RecordFile {
    /// Empty where it has no name.
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

/// Where a record stands in its file.
#[derive(Debug, Clone, Copy)]
pub struct RecordPlace {
    start: u64,
    length: usize,
}

/// What a record file that is taken up again holds.
#[derive(Debug)]
pub enum Resumed {
    /// The file, ready to grow, and where its records stand.
    Records(RecordFile, Vec<RecordPlace>),
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
        // Only what holds something is emptied: of a file that was, some systems write all to the
        // disk when it is closed, even if it is removed by then.
        let emptied = match file.metadata() {
            Ok(found) if found.len() == 0 => Ok(()),
            _ => file.set_len(0),
        };
        let begun = emptied.and_then(|()| file.write_all(line.as_bytes()));
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
        let file = file.map_err(|e| FileError::of(path, "read", e))?;
        lock(path, &file)?;
        let found = records(&file, head).map_err(|e| FileError::of(path, "read", e))?;
        let Some((records, whole)) = found else {
            return Ok(Resumed::Foreign);
        };
        file.set_len(whole).map_err(|e| FileError::of(path, "write", e))?;
        Ok(Resumed::Records(RecordFile::of(path, file, whole), records))
    }

    /// A file without a name, which is gone when nobody has it any more, in the system's directory
    /// for such.
    ///
    /// # Errors
    /// Where there is none, as in a browser, or it cannot be written.
    pub fn temporary() -> io::Result<RecordFile> {
        // There the library would ask for the directory, for which the program is ended.
        if cfg!(all(target_family = "wasm", target_os = "unknown")) {
            return Err(io::ErrorKind::Unsupported.into());
        }
        Ok(RecordFile::of(Path::new(""), tempfile::tempfile()?, 0))
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

    /// Adds a record and tells where it stands. What a full disk does not take is lost, not an
    /// error: whoever takes the file up again lacks the record and makes it anew;
    /// [`lost`](RecordFile::lost) tells.
    pub fn add(&self, record: &[u8]) -> Option<RecordPlace> {
        let mut bytes = (record.len() as u64).to_le_bytes().to_vec();
        bytes.extend(record);
        bytes.extend(checksum(record).to_le_bytes());
        let mut growing = self.growing();
        let start = growing.whole;
        // Whoever reads leaves the file at another place.
        let written = growing.file.seek(SeekFrom::Start(start));
        if written.and_then(|_| growing.file.write_all(&bytes)).is_err() {
            growing.lost = true;
            // A half-written record would hide all that follow it.
            let _ = growing.file.set_len(start);
            return None;
        }
        growing.whole += bytes.len() as u64;
        Some(RecordPlace {
            start: start + LENGTH_BYTES,
            length: record.len(),
        })
    }

    /// A record that it holds.
    ///
    /// # Errors
    /// When the system fails.
    pub fn read(&self, place: RecordPlace) -> io::Result<Vec<u8>> {
        let mut record = vec![0; place.length];
        let mut growing = self.growing();
        growing.file.seek(SeekFrom::Start(place.start))?;
        growing.file.read_exact(&mut record)?;
        Ok(record)
    }

    /// Whether some record could not be written.
    pub fn lost(&self) -> bool {
        self.growing().lost
    }

    /// Takes the file away.
    pub fn remove(&self) {
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

/// Bytes that say how long a record is, and as many of its checksum.
const LENGTH_BYTES: u64 = 8;

/// Where the records stand, and where the last whole one ends; `None` where the first line is
/// another than `head`.
fn records(file: &File, head: &str) -> io::Result<Option<(Vec<RecordPlace>, u64)>> {
    let size = file.metadata()?.len();
    let mut bytes = BufReader::new(file);
    let mut line = Vec::new();
    bytes
        .by_ref()
        .take(head.len() as u64 + 1)
        .read_until(b'\n', &mut line)?;
    if line.strip_suffix(b"\n") != Some(head.as_bytes()) {
        return Ok(None);
    }
    let mut whole = line.len() as u64;
    let (mut records, mut record) = (Vec::new(), Vec::new());
    // No more is read, whatever length a record claims, than there is.
    while let Some(most) = size.checked_sub(whole + 2 * LENGTH_BYTES) {
        let length = number(&mut bytes)?;
        if length > most {
            break;
        }
        record.clear();
        bytes.by_ref().take(length).read_to_end(&mut record)?;
        if number(&mut bytes)? != checksum(&record) {
            break;
        }
        records.push(RecordPlace {
            start: whole + LENGTH_BYTES,
            length: record.len(),
        });
        whole += length + 2 * LENGTH_BYTES;
    }
    Ok(Some((records, whole)))
}

fn number(from: &mut impl Read) -> io::Result<u64> {
    let mut bytes = [0; LENGTH_BYTES as usize];
    from.read_exact(&mut bytes)?;
    Ok(u64::from_le_bytes(bytes))
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
            let Resumed::Records(file, found) = RecordFile::resume(&path, "head").unwrap() else {
                panic!("the head is whole");
            };
            let found: Vec<_> = found.into_iter().map(|place| file.read(place).unwrap()).collect();
            let expected = ends.iter().filter(|end| **end <= cut).count() - 1;
            assert_eq!(found, records[..expected], "cut at {cut}");
        }
        fs::remove_file(path).unwrap();
    }

    /// What is read between does not move what is added, of a file without a name neither.
    #[test]
    fn records_are_read_while_others_are_added() {
        let path = path("both");
        for file in [
            RecordFile::begin(&path, "head", false),
            Ok(RecordFile::temporary().unwrap()),
        ] {
            let file = file.unwrap();
            let places: Vec<RecordPlace> = (0..5u8)
                .map(|k| {
                    let place = file.add(&vec![k; usize::from(k)]).unwrap();
                    assert_eq!(file.read(place).unwrap().len(), usize::from(k));
                    place
                })
                .collect();
            for (k, place) in places.into_iter().enumerate().rev() {
                assert_eq!(file.read(place).unwrap(), vec![k as u8; k]);
            }
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
