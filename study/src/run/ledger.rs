//! A study whose measurements are made elsewhere, in as many places as there are: each place runs
//! the same study over a ledger of its own, which ends where a measurement is missing and says
//! which; whoever has one free makes it, and all enter it.
//!
//! What a study does next follows from its measurements alone, so that every place comes to the
//! same experiments in the same order, and to the same figures as a study that runs in one place.

use std::collections::{BTreeSet, HashMap};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex, MutexGuard};

use super::ground::Ground;
use super::measurement::{Measurement, Prepared};
use super::record::{read_record, record_bytes};
use super::{Chain, Effort, Experiment, Point, Silent, Wanted};
use motefield_rig::plan::Plan;

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
pub struct Ledger(Mutex<KnownPoint>);

#[derive(Default)]
struct KnownPoint {
    /// Every experiment met so far, with its study's effort.
    experiments: HashMap<usize, (Experiment, Effort)>,
    grounds: HashMap<usize, Arc<Ground>>,
    measured: HashMap<Job, Measurement>,
    /// Rounds that need nothing more, by the number of their first experiment.
    rounds: HashMap<usize, Vec<Option<Point>>>,
    missing: BTreeSet<Job>,
    told: BTreeSet<Job>,
    /// Changed rigs by their settings; `None` of those that may not be.
    plans: HashMap<Vec<(String, String)>, Option<Plan>>,
}

impl Ledger {
    fn known(&self) -> MutexGuard<'_, KnownPoint> {
        self.0.lock().expect("no thread panics with the lock")
    }

    /// The measurements for which the study waits, those first that it should have first; none is
    /// told twice.
    pub fn missing(&self) -> Vec<Job> {
        let mut known = self.known();
        let missing = std::mem::take(&mut known.missing);
        let mut jobs: Vec<Job> = missing.difference(&known.told).copied().collect();
        known.told.extend(&jobs);
        jobs.sort_by_key(|job| (job.number, job.experiment));
        jobs
    }

    /// Makes a measurement, as bytes for [`enter`](Self::enter); `None` where the study has not
    /// come to the experiment yet.
    pub fn measure(&self, job: Job) -> Option<Vec<u8>> {
        let (experiment, effort) = self.known().experiments.get(&job.experiment)?.clone();
        let (chain, wanted) = (Chain::default(), Wanted::default());
        let ground = self.ground(job.experiment, &experiment, &effort);
        let prepared = Prepared::over(ground, &experiment, &chain, &wanted, effort.seed);
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

    pub(super) fn meet(&self, first: usize, experiments: &[Experiment], effort: &Effort) {
        let mut known = self.known();
        for (k, experiment) in experiments.iter().enumerate() {
            known
                .experiments
                .entry(first + k)
                .or_insert_with(|| (experiment.clone(), *effort));
        }
    }

    /// What follows from an experiment alone, found once.
    pub(super) fn ground(&self, number: usize, experiment: &Experiment, effort: &Effort) -> Arc<Ground> {
        let found = self.known().grounds.get(&number).cloned();
        found.unwrap_or_else(|| {
            let ground = Arc::new(Ground::of(experiment, (!effort.whole).then_some(effort.seed)));
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

    /// The plan of a rig with some settings, made once: a study that is run again after every round
    /// of measurements plans hundreds.
    pub(crate) fn plan(
        &self,
        settings: &[(String, String)],
        make: impl FnOnce() -> Option<Plan>,
    ) -> Option<Plan> {
        if let Some(known) = self.known().plans.get(settings) {
            return known.clone();
        }
        let plan = make();
        self.known().plans.insert(settings.to_vec(), plan.clone());
        plan
    }

    pub(super) fn round(&self, first: usize) -> Option<Vec<Option<Point>>> {
        self.known().rounds.get(&first).cloned()
    }

    pub(super) fn close(&self, first: usize, points: &[Option<Point>]) {
        self.known().rounds.insert(first, points.to_vec());
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Journal, run_kept};
    use super::*;
    use motefield_evaluator::{Pass, Processing};
    use motefield_generator::{Scene, flow::Uniform};

    fn experiments(side: usize) -> Vec<Experiment> {
        let scene = |electrons: f64| Scene {
            size: [side; 2],
            electrons,
            flow: std::sync::Arc::new(Uniform {
                displacement_px: [3.3, 0.4, 0.0],
            }),
            ..Scene::default()
        };
        let processing = Processing {
            passes: vec![Pass::square(16, 0.0)],
            ..Processing::default()
        };
        [40.0, 400.0]
            .map(|electrons| Experiment {
                scene: scene(electrons),
                processing: processing.clone(),
            })
            .to_vec()
    }

    fn run(ledger: Option<&Ledger>, side: usize) -> (Vec<Option<Point>>, bool) {
        let stop = AtomicBool::new(false);
        let journal = ledger.map(Journal::over);
        let (chain, wanted) = (Chain::default(), Wanted::default());
        let effort = Effort {
            whole: false,
            ..Effort::default()
        };
        let points = run_kept(
            journal.as_ref(),
            &chain,
            &wanted,
            &experiments(side),
            &effort,
            &Silent,
            &stop,
        );
        (points, stop.into_inner())
    }

    /// A round of no experiments, such as that of a setup which cannot be used as it stands, is no
    /// answer to the round after it.
    #[test]
    fn a_round_of_nothing_stands_for_no_other() {
        let ledger = Ledger::default();
        let study = |experiments: &[Experiment]| {
            let (stop, journal) = (AtomicBool::new(false), Journal::over(&ledger));
            let (chain, wanted, effort) = (Chain::default(), Wanted::default(), Effort::default());
            let run =
                |of: &[Experiment]| run_kept(Some(&journal), &chain, &wanted, of, &effort, &Silent, &stop);
            (run(&[]), run(experiments))
        };
        let (none, some) = study(&experiments(64));
        assert_eq!((none.len(), some.len()), (0, 2));
        assert!(
            !ledger.missing().is_empty(),
            "the round after it waits for measurements"
        );
    }

    /// Two places that measure by turns, each last job first, come to the bits of a study that runs
    /// in one place, of whole pictures and of tiles of large ones.
    #[test]
    fn measured_anywhere_in_any_order_the_study_is_the_same() {
        for (side, tiled) in [(64, false), (1100, true)] {
            let places = [Ledger::default(), Ledger::default()];
            let mut jobs = 0;
            let shared = loop {
                let (points, waits) = run(Some(&places[0]), side);
                run(Some(&places[1]), side);
                if !waits {
                    break points;
                }
                let missing = places[0].missing();
                assert!(!missing.is_empty());
                for job in missing.into_iter().rev() {
                    let bytes = places[jobs % 2].measure(job).unwrap();
                    jobs += 1;
                    places.iter().for_each(|place| assert!(place.enter(&bytes)));
                }
            };
            let (alone, _) = run(None, side);
            assert!(jobs >= 8, "{jobs}");
            for (one, other) in shared.iter().zip(&alone) {
                let [one, other] = [one, other].map(|point| point.as_ref().unwrap());
                assert_eq!(one.tiles.is_some(), tiled);
                assert_eq!(one.score.pairs, other.score.pairs);
                let [a, b] = [one, other].map(|p| p.score.total_px);
                assert_eq!([a.value, a.lo, a.hi], [b.value, b.lo, b.hi]);
            }
            assert!(!places[0].enter(b"no measurement"));
        }
    }
}
