//! The journal of a study: every finished measurement, so that a study that was stopped or killed
//! continues where it was.
//!
//! Figures are kept bit by bit, so a study that was continued ends in the same bytes as one that
//! ran through.

use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use motefield_files::record::RecordFile;

use super::ledger::Ledger;
use super::measurement::Measurement;
use super::record::{read_record, record_bytes};
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
    pub(crate) fn ledger(&self) -> Option<&Ledger> {
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
