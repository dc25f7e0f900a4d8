//! The journal of a study: every finished measurement, so that a study that was killed continues where it was.
//!
//! The file holds a line that says which study it is, then one record a measurement: its length, its bytes and their checksum. Whatever
//! the kill left half-written at the end fails its checksum and is measured again. Figures are kept bit by bit, so a study
//! that was continued ends in the same bytes as one that ran through.

use std::collections::HashMap;
use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use motefield_evaluator::score::Errors;

use super::measurement::Measurement;
use crate::failure::Failure;

/// Finished measurements, on their way to a file and back.
pub struct Journal {
    path: PathBuf,
    file: Mutex<File>,
    kept: Mutex<HashMap<[u64; 2], Measurement>>,
}

const HEAD: &str = "motefield journal 1 ";

impl Journal {
    /// A new journal in the file `path`, of the study that `study` describes in full.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn begin(path: &Path, study: &str) -> Result<Journal, Failure> {
        let line = head(study);
        fs::write(path, &line).map_err(|e| Failure::io(path, "write", &e))?;
        Journal::open(path, HashMap::new())
    }

    /// The journal in the file `path`, with what it holds.
    ///
    /// # Errors
    /// When there is none, it is that of another study, or it cannot be read or written.
    pub fn resume(path: &Path, study: &str) -> Result<Journal, Failure> {
        if !path.exists() {
            return Err(Failure::input(format!(
                "{}: there is no such file, so no study to continue; leave --resume out",
                path.display()
            )));
        }
        let bytes = fs::read(path).map_err(|e| Failure::io(path, "read", &e))?;
        let line = head(study);
        let Some(records) = bytes.strip_prefix(line.as_bytes()) else {
            return Err(Failure::input(format!(
                "{}: is the journal of another study, setup, seed or version; continue with what it was begun with, or begin anew with --force",
                path.display()
            )));
        };
        let (mut kept, mut at) = (HashMap::new(), 0);
        while let Some((key, measurement, length)) = record(&records[at..]) {
            kept.insert(key, measurement);
            at += length;
        }
        let whole = (line.len() + at) as u64;
        let cut = OpenOptions::new()
            .write(true)
            .open(path)
            .and_then(|file| file.set_len(whole));
        cut.map_err(|e| Failure::io(path, "write", &e))?;
        Journal::open(path, kept)
    }

    fn open(path: &Path, kept: HashMap<[u64; 2], Measurement>) -> Result<Journal, Failure> {
        let file = OpenOptions::new().append(true).open(path);
        Ok(Journal {
            path: path.to_owned(),
            file: Mutex::new(file.map_err(|e| Failure::io(path, "write", &e))?),
            kept: Mutex::new(kept),
        })
    }

    /// Measurements that need not be done again.
    pub fn kept(&self) -> usize {
        self.kept.lock().expect("no thread panics with the lock").len()
    }

    /// The measurement `number` of a point, if the journal held it; once.
    pub(super) fn take(&self, point: usize, number: usize) -> Option<Measurement> {
        let mut kept = self.kept.lock().expect("no thread panics with the lock");
        kept.remove(&[point as u64, number as u64])
    }

    /// Writes down a measurement. A disk that is full must not end a study whose results are in memory: what is not written is measured again
    /// by whoever continues.
    pub(super) fn add(&self, point: usize, number: usize, measurement: &Measurement) {
        let mut payload = Writer::default();
        payload.count(point);
        payload.count(number);
        measurement.write(&mut payload);
        let payload = payload.0;
        let mut bytes = (payload.len() as u64).to_le_bytes().to_vec();
        bytes.extend(&payload);
        bytes.extend(checksum(&payload).to_le_bytes());
        let mut file = self.file.lock().expect("no thread panics with the lock");
        let _ = file.write_all(&bytes);
    }

    /// Takes the file away: the study is whole.
    pub fn finish(self) {
        let _ = fs::remove_file(&self.path);
    }
}

fn head(study: &str) -> String {
    format!("{HEAD}{:016x}\n", checksum(study.as_bytes()))
}

/// FNV-1a, 64 bits (Fowler, Noll & Vo; RFC 9923).
fn checksum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// The first record: place, measurement and length; `None` at the end or where the bytes are no whole record.
fn record(bytes: &[u8]) -> Option<([u64; 2], Measurement, usize)> {
    let mut reader = Reader(bytes);
    let length = reader.count()?;
    let payload = reader.0.get(..length)?;
    let mark = reader.0.get(length..)?.first_chunk::<8>()?;
    if u64::from_le_bytes(*mark) != checksum(payload) {
        return None;
    }
    let mut reader = Reader(payload);
    let key = [reader.count()? as u64, reader.count()? as u64];
    Some((key, Measurement::read(&mut reader)?, 16 + length))
}

#[derive(Default)]
struct Writer(Vec<u8>);

impl Writer {
    fn count(&mut self, n: usize) {
        self.0.extend((n as u64).to_le_bytes());
    }

    fn vectors(&mut self, vectors: &[[f64; 2]]) {
        self.count(vectors.len());
        self.0
            .extend(vectors.iter().flatten().flat_map(|v| v.to_le_bytes()));
    }
}

struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn count(&mut self) -> Option<usize> {
        let (first, rest) = self.0.split_first_chunk::<8>()?;
        self.0 = rest;
        u64::from_le_bytes(*first).try_into().ok()
    }

    fn vectors(&mut self) -> Option<Vec<[f64; 2]>> {
        let count = self.count()?;
        let (bytes, rest) = self.0.split_at_checked(count.checked_mul(16)?)?;
        self.0 = rest;
        let number = |bytes: &[u8]| f64::from_le_bytes(bytes.try_into().expect("eight bytes"));
        Some(
            bytes
                .chunks_exact(16)
                .map(|pair| [number(&pair[..8]), number(&pair[8..])])
                .collect(),
        )
    }
}

impl Measurement {
    fn write(&self, to: &mut Writer) {
        to.vectors(&self.errors.point_px);
        to.vectors(&self.errors.window_px);
        to.count(self.errors.detected.len());
        to.0.extend(self.errors.detected.iter().map(|yes| u8::from(*yes)));
        to.count(usize::from(self.bound_px.is_some()));
        to.vectors(self.bound_px.as_deref().unwrap_or_default());
        to.count(self.uncertainties_px.len());
        self.uncertainties_px.iter().for_each(|u| to.vectors(u));
    }

    fn read(from: &mut Reader) -> Option<Measurement> {
        let (point_px, window_px) = (from.vectors()?, from.vectors()?);
        let count = from.count()?;
        let (detected, rest) = from.0.split_at_checked(count)?;
        from.0 = rest;
        let errors = Errors {
            point_px,
            window_px,
            detected: detected.iter().map(|yes| *yes == 1).collect(),
        };
        let has_bound = from.count()? == 1;
        let bound = from.vectors()?;
        let estimators = from.count()?;
        Some(Measurement {
            errors,
            bound_px: has_bound.then_some(bound),
            uncertainties_px: (0..estimators).map(|_| from.vectors()).collect::<Option<_>>()?,
        })
    }
}
