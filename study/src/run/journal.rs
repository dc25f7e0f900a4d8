//! The journal of a study: every finished measurement, so that a study that was stopped or killed
//! continues where it was.
//!
//! Figures are kept bit by bit, so a study that was continued ends in the same bytes as one that
//! ran through.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use motefield_files::record::RecordFile;

use super::ledger::Ledger;
use super::measurement::Measurement;
use super::record::{read_record, record_bytes};
use super::store::Written;
use crate::folder::Folder;

/// Finished measurements, on their way to a file and back.
///
/// A study may run its experiments in several rounds, each chosen by what came of those before.
/// Every round claims numbers of its own for its points, in the same order
/// whenever the study is run.
pub struct Journal<'a> {
    store: Store<'a>,
    /// Where those stand that it held when it was opened.
    found: HashMap<[u64; 2], Written>,
    claimed: AtomicUsize,
}

/// Where measurements come from and go.
enum Store<'a> {
    File(Arc<RecordFile>),
    Ledger(&'a Ledger),
}

impl<'a> Journal<'a> {
    /// The journal of one run over a ledger: nothing is measured, and the run stops where a
    /// measurement is missing.
    pub fn over(ledger: &'a Ledger) -> Journal<'a> {
        Journal {
            store: Store::Ledger(ledger),
            found: HashMap::new(),
            claimed: AtomicUsize::new(0),
        }
    }
}

impl Journal<'_> {
    /// The journal of a study's folder, with what it holds.
    pub fn of(folder: &Folder) -> Journal<'_> {
        let file = folder.journal();
        let whole = |(place, bytes): (_, Vec<u8>)| {
            let (key, _) = read_record(&bytes)?;
            Some((key, Written::found(file, place)))
        };
        Journal {
            store: Store::File(Arc::clone(file)),
            found: folder.records().filter_map(whole).collect(),
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
        self.found.len()
    }

    /// The first of so many numbers for the points of a round.
    pub(super) fn claim(&self, points: usize) -> usize {
        self.claimed.fetch_add(points, Ordering::Relaxed)
    }

    /// The measurement `number` of a point, if the journal held it, and where.
    pub(super) fn get(&self, point: usize, number: usize) -> Option<(Measurement, Written)> {
        let written = self.found.get(&[point as u64, number as u64])?;
        Some((written.read()?, written.clone()))
    }

    /// Writes down a measurement. A disk that is full must not end a study: what is not written is
    /// kept in memory, and measured again by whoever continues.
    pub(super) fn add(&self, point: usize, number: usize, measurement: &Measurement) -> Option<Written> {
        match &self.store {
            Store::File(file) => Written::add(file, &record_bytes(point, number, measurement)),
            Store::Ledger(_) => None,
        }
    }
}
