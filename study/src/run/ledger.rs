//! A study whose measurements are made elsewhere, in as many places as there are: each place runs
//! the same study over a ledger of its own, which ends where a measurement is missing and says
//! which; whoever has one free makes it, and all enter it.
//!
//! What a study does next follows from its measurements alone, so that every place comes to the
//! same experiments in the same order, and to the same figures as a study that runs in one place.

use std::collections::{BTreeSet, HashMap};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, MutexGuard};

use super::journal::{read_record, record_bytes};
use super::measurement::{Ground, Measurement, Prepared};
use super::{Chain, Experiment, Point, Silent, Wanted};

/// A measurement that is missing: number of the experiment and of the measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Job {
    /// Experiment, counted over the whole study.
    pub experiment: usize,
    /// Measurement of it.
    pub number: usize,
}

/// What is known of a study so far.
#[derive(Default)]
pub struct Ledger(Mutex<Known>);

#[derive(Default)]
struct Known {
    /// Every experiment met so far.
    experiments: HashMap<usize, Experiment>,
    grounds: HashMap<usize, Arc<Ground>>,
    measured: HashMap<Job, Measurement>,
    /// Rounds that need nothing more, by the number of their first experiment.
    rounds: HashMap<usize, Vec<Option<Point>>>,
    missing: BTreeSet<Job>,
}

impl Ledger {
    fn known(&self) -> MutexGuard<'_, Known> {
        self.0.lock().expect("no thread panics with the lock")
    }

    /// The measurements for which the study waits, those first that it should have first; none is
    /// told twice.
    pub fn missing(&self) -> Vec<Job> {
        let missing = std::mem::take(&mut self.known().missing);
        let mut jobs: Vec<Job> = missing.into_iter().collect();
        jobs.sort_by_key(|job| (job.number, job.experiment));
        jobs
    }

    /// Makes a measurement, as bytes for [`enter`](Self::enter); `None` where the study has not come
    /// to the experiment yet.
    pub fn measure(&self, seed: u64, job: Job) -> Option<Vec<u8>> {
        let experiment = self.known().experiments.get(&job.experiment)?.clone();
        let (chain, wanted) = (Chain::default(), Wanted::default());
        let ground = self.ground(job.experiment, &experiment);
        let prepared = Prepared::over(ground, &experiment, &chain, &wanted, seed);
        let measurement = prepared.measure(job.number, &Silent, &AtomicBool::new(false))?;
        Some(record_bytes(job.experiment, job.number, &measurement))
    }

    /// Enters a measurement; false where the bytes are none.
    pub fn enter(&self, bytes: &[u8]) -> bool {
        let Some(([experiment, number], measurement)) = read_record(bytes) else {
            return false;
        };
        let job = Job {
            experiment: experiment as usize,
            number: number as usize,
        };
        self.known().measured.insert(job, measurement);
        true
    }

    pub(super) fn meet(&self, first: usize, experiments: &[Experiment]) {
        let mut known = self.known();
        for (k, experiment) in experiments.iter().enumerate() {
            known
                .experiments
                .entry(first + k)
                .or_insert_with(|| experiment.clone());
        }
    }

    /// What follows from an experiment alone, found once.
    pub(super) fn ground(&self, number: usize, experiment: &Experiment) -> Arc<Ground> {
        let found = self.known().grounds.get(&number).cloned();
        found.unwrap_or_else(|| {
            let ground = Arc::new(Ground::of(experiment));
            self.known().grounds.insert(number, Arc::clone(&ground));
            ground
        })
    }

    /// The measurement, or a note that it is missing.
    pub(super) fn get(&self, job: Job) -> Option<Measurement> {
        let mut known = self.known();
        let found = known.measured.get(&job).cloned();
        if found.is_none() {
            known.missing.insert(job);
        }
        found
    }

    pub(super) fn round(&self, first: usize) -> Option<Vec<Option<Point>>> {
        self.known().rounds.get(&first).cloned()
    }

    pub(super) fn close(&self, first: usize, points: &[Option<Point>]) {
        self.known().rounds.insert(first, points.to_vec());
    }
}
