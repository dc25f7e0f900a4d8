//! The journal of a study: every finished measurement, so that a study that was stopped or killed
//! continues where it was.
//!
//! Figures are kept bit by bit, so a study that was continued ends in the same bytes as one that
//! ran through.

use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use motefield_evaluator::score::Errors;
use motefield_files::record::RecordFile;

use super::ledger::Ledger;
use super::measurement::Measurement;
use crate::folder::Folder;

/// Finished measurements, on their way to a file and back.
///
/// A study may run its experiments in several rounds, each chosen by what came of those before.
/// Every round claims numbers of its own for its points, in the same order
/// whenever the study is run.
pub struct Journal<'a> {
    store: Store<'a>,
    kept: Mutex<HashMap<[u64; 2], Measurement>>,
    found: usize,
    claimed: AtomicUsize,
}

/// Where measurements come from and go.
enum Store<'a> {
    File(&'a RecordFile),
    Ledger(&'a Ledger),
}

impl<'a> Journal<'a> {
    /// The journal of one run over a ledger: nothing is measured, and the run stops where a
    /// measurement is missing.
    pub fn over(ledger: &'a Ledger) -> Journal<'a> {
        Journal {
            store: Store::Ledger(ledger),
            kept: Mutex::default(),
            found: 0,
            claimed: AtomicUsize::new(0),
        }
    }
}

impl Journal<'_> {
    /// The journal of a study's folder, with what it holds.
    pub fn of(folder: &Folder) -> Journal<'_> {
        let records = folder.records().iter();
        let kept: HashMap<_, _> = records.filter_map(|bytes| read_record(bytes)).collect();
        Journal {
            store: Store::File(folder.journal()),
            found: kept.len(),
            kept: Mutex::new(kept),
            claimed: AtomicUsize::new(0),
        }
    }

    /// The ledger, where measurements are made elsewhere.
    pub(super) fn ledger(&self) -> Option<&Ledger> {
        match self.store {
            Store::File(_) => None,
            Store::Ledger(ledger) => Some(ledger),
        }
    }

    /// Measurements that it held when it was opened.
    pub fn found(&self) -> usize {
        self.found
    }

    /// The first of so many numbers for the points of a round.
    pub(super) fn claim(&self, points: usize) -> usize {
        self.claimed.fetch_add(points, Ordering::Relaxed)
    }

    /// The measurement `number` of a point, if the journal held it and it was not taken before.
    pub(super) fn take(&self, point: usize, number: usize) -> Option<Measurement> {
        let mut kept = self.kept.lock().expect("no thread panics with the lock");
        kept.remove(&[point as u64, number as u64])
    }

    /// Writes down a measurement. A disk that is full must not end a study whose results are in
    /// memory: what is not written is measured again by whoever continues.
    pub(super) fn add(&self, point: usize, number: usize, measurement: &Measurement) {
        if let Store::File(file) = self.store {
            file.add(&record_bytes(point, number, measurement));
        }
    }
}

/// A measurement with its place, as a record.
pub(super) fn record_bytes(point: usize, number: usize, measurement: &Measurement) -> Vec<u8> {
    let mut record = Writer::default();
    record.count(point);
    record.count(number);
    measurement.write(&mut record);
    record.0
}

/// Place and measurement of a record; `None` where the bytes are none.
pub(super) fn read_record(bytes: &[u8]) -> Option<([u64; 2], Measurement)> {
    let mut reader = ByteReader(bytes);
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

struct ByteReader<'a>(&'a [u8]);

impl ByteReader<'_> {
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
        // Only a program that is not this one fails.
        if let Some(why) = &self.failure {
            to.0.extend(why.bytes());
        }
    }

    fn read(from: &mut ByteReader) -> Option<Measurement> {
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
            failure: match from.0 {
                [] => None,
                why => Some(String::from_utf8(why.to_vec()).ok()?),
            },
        })
    }
}
