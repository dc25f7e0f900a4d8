//! The journal of a study: every finished measurement, so that a study that was killed continues
//! where it was.
//!
//! Figures are kept bit by bit, so a study that was continued ends in the same bytes as one that
//! ran through.

use std::collections::HashMap;
use std::path::Path;
use std::sync::Mutex;

use motefield_evaluator::score::Errors;
use motefield_files::record::{RecordFile, Resumed, checksum};

use super::measurement::Measurement;
use crate::StudyError;

/// Finished measurements, on their way to a file and back.
pub struct Journal {
    file: RecordFile,
    kept: Mutex<HashMap<[u64; 2], Measurement>>,
}

impl Journal {
    /// A new journal in the file `path`, of the study that `study` describes in full.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn begin(path: &Path, study: &str) -> Result<Journal, StudyError> {
        Ok(Journal {
            file: RecordFile::begin(path, &head(study))?,
            kept: Mutex::default(),
        })
    }

    /// The journal in the file `path`, with what it holds.
    ///
    /// # Errors
    /// When there is none, it is that of another study, or it cannot be read or written.
    pub fn resume(path: &Path, study: &str) -> Result<Journal, StudyError> {
        match RecordFile::resume(path, &head(study))? {
            Resumed::Records(file, records) => Ok(Journal {
                file,
                kept: Mutex::new(records.iter().filter_map(|bytes| record(bytes)).collect()),
            }),
            Resumed::Foreign => Err(StudyError::request(format!(
                "{}: is the journal of another study, setup, seed or version; continue with what it was begun with, or begin anew",
                path.display()
            ))),
        }
    }

    /// Measurements that need not be done again.
    pub fn kept(&self) -> usize {
        self.kept.lock().expect("no thread panics with the lock").len()
    }

    /// The measurement `number` of a point, if the journal held it and it was not taken before.
    pub(super) fn take(&self, point: usize, number: usize) -> Option<Measurement> {
        let mut kept = self.kept.lock().expect("no thread panics with the lock");
        kept.remove(&[point as u64, number as u64])
    }

    /// Writes down a measurement. A disk that is full must not end a study whose results are in
    /// memory: what is not written is measured again by whoever continues.
    pub(super) fn add(&self, point: usize, number: usize, measurement: &Measurement) {
        let mut record = Writer::default();
        record.count(point);
        record.count(number);
        measurement.write(&mut record);
        self.file.add(&record.0);
    }

    /// Takes the file away: the study is whole.
    pub fn finish(self) {
        self.file.remove();
    }
}

fn head(study: &str) -> String {
    format!("motefield journal 1 {:016x}", checksum(study.as_bytes()))
}

/// Place and measurement of a record; `None` where the bytes are none.
fn record(bytes: &[u8]) -> Option<([u64; 2], Measurement)> {
    let mut reader = Reader(bytes);
    let key = [reader.count()? as u64, reader.count()? as u64];
    Some((key, Measurement::read(&mut reader)?))
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
