//! A study: several experiments, each repeated on fresh pairs until its error is known well enough.
//!
//! One measurement is one pair, or as many pairs together as the processing's `ensemble` says:
//! measurement r then takes the realisations r N to r N + N - 1.
//!
//! The repetitions of all points share particles and noise (common random numbers), so that curves
//! differ by physics. Which pairs are rendered depends on the results alone, never on time or
//! threads; and a study that is stopped keeps, at every point, the unbroken run of realisations
//! from the first.

pub mod bound;
mod contest;
mod external;
mod figures;
mod ground;
mod journal;
mod ledger;
mod measurement;
mod record;
mod saturation;
mod stopping;
mod store;
pub mod tiles;
pub mod trust;

use std::cmp::Reverse;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::score::{PairErrors, Score, TotalError};
use motefield_evaluator::statistics::GridValues;
use motefield_evaluator::{Processing, VectorField, correlate};
use motefield_generator::{Pair, Scene, SceneError, Seed, render};
use ndarray::ArrayView2;
use rayon::prelude::*;

use motefield_evaluator::uncertainty::Estimator;

use crate::caveat::Caveat;
pub use crate::effort::Effort;
use bound::BoundAtPoint;
pub use contest::{Contest, Yardstick};
pub use external::{External, ExternalChain, Failed};
pub use figures::FurtherFigures;
pub use journal::Journal;
pub use ledger::{Job, Ledger};
use measurement::{Measurement, Prepared};
use store::{Keeper, KeptMeasurement, Measurements, Written};
pub use tiles::MeasuredTiles;
use trust::Trust;

/// From a scene to the pair of a realisation.
pub type Render = fn(&Scene, Seed) -> Result<Pair, SceneError>;
/// From frames A and B to vectors.
pub type Correlate = fn(
    ArrayView2<f32>,
    ArrayView2<f32>,
    &Processing,
) -> Result<VectorField, motefield_evaluator::ProcessingError>;

/// What does the experiments: the program's own generator and evaluator, unless a test puts a
/// faulty one in their place to see whether the faults are found.
#[derive(Debug, Clone, Copy)]
pub struct Chain {
    /// From a scene to a pair.
    pub render: Render,
    /// From a pair to vectors.
    pub correlate: Correlate,
    /// Another program that takes a pair to vectors, in place of `correlate`.
    pub external: External,
}

impl Default for Chain {
    fn default() -> Self {
        Chain {
            render,
            correlate,
            external: External::default(),
        }
    }
}

/// One experiment of a study.
#[derive(Debug, Clone)]
pub struct Experiment {
    /// What the pictures show.
    pub scene: Scene,
    /// How they are correlated.
    pub processing: Processing,
}

/// What a study found at one point.
#[derive(Debug, Clone)]
pub struct Point {
    /// Over the whole field.
    pub score: Score,
    /// Over the tenth of the field that moves fastest.
    pub fast: Score,
    /// Errors of each measurement.
    pub errors: Arc<dyn PairErrors>,
    /// Pairs per measurement.
    pub ensemble: usize,
    /// What was asked for besides.
    pub besides: Besides,
    /// What of the pictures was measured, where not all: the vectors of the tiles then stand one
    /// below the other.
    pub tiles: Option<MeasuredTiles>,
    /// Columns of the grid of vectors.
    pub columns: usize,
    /// Lag within which windows share pixels.
    pub reach: [usize; 2],
    /// Mean true displacement in the fastest tenth, px.
    pub fast_displacement_px: f64,
    /// What must be said beside the figures.
    pub caveats: Vec<Caveat>,
    /// Squared errors on the particles that all points of the study share, where the point was
    /// measured again with others.
    pub(crate) common: Option<GridValues<'static>>,
}

impl Point {
    /// The point measured again with particles and noise of its own: every figure is that of
    /// `again`, and it is still compared with other points on the particles that they share.
    pub fn measured_again(self, again: Point) -> Point {
        Point {
            common: Some(self.squared_errors()),
            ..again
        }
    }

    /// Total error on the particles that all points of the study share, px.
    pub fn common_total_px(&self) -> f64 {
        match &self.common {
            Some(squares) => squares.mean().sqrt(),
            None => self.score.total_px.value,
        }
    }

    /// Whether it was measured again.
    pub fn is_measured_again(&self) -> bool {
        self.common.is_some()
    }

    /// Pairs that were rendered and measured.
    pub fn pairs(&self) -> usize {
        self.score.pairs * self.ensemble
    }

    /// Squared length of every measured error vector on the particles that all points of a study
    /// share, px²; of tiles times what the vector counts.
    pub fn squared_errors(&self) -> GridValues<'static> {
        if let Some(common) = &self.common {
            return common.clone();
        }
        let errors = Arc::clone(&self.errors);
        let weights = self.tiles.as_ref().map(|tiles| tiles.weights.clone());
        let size = [errors.number(), errors.pair(0).point_px.len()];
        GridValues::by_pair(self.columns, self.reach, size, move |pair, squares| {
            let errors = errors.pair(pair);
            for (k, (square, [x, y])) in squares.iter_mut().zip(&errors.point_px).enumerate() {
                let weight = weights.as_ref().map_or(1.0, |weights| weights[k]);
                *square = weight * (x * x + y * y);
            }
        })
    }
}

/// What a study may find out besides the errors, and which of these it may know less well.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wanted {
    /// What the points compete for, where they do.
    pub contest: Option<Contest>,
    /// Whether the Cramér–Rao bound is computed, of the first [`BOUND_MEASUREMENTS`] at each point:
    /// it varies little.
    pub bound: bool,
    /// Whether the further [`FurtherFigures`] are computed.
    pub figures: bool,
    /// Estimators of uncertainty that are held against the errors; for single pairs, not ensembles.
    pub estimators: Vec<Estimator>,
}

/// Measurements at each point of which the bound is computed.
pub const BOUND_MEASUREMENTS: usize = 2;

/// What a study found besides the errors, where it was [`Wanted`].
#[derive(Debug, Clone, Default)]
pub struct Besides {
    /// How well the displacement could be known at all.
    pub bound: Option<BoundAtPoint>,
    /// Further figures.
    pub figures: Option<FurtherFigures>,
    /// One entry per estimator asked for.
    pub trust: Vec<Trust>,
    /// Pairs on which another program failed, by their number, and why.
    pub failures: Vec<(usize, String)>,
    /// Whether another program measured. Its windows are not known, so that the errors against the
    /// truth averaged over the window are those at the vector's position once more.
    pub external: bool,
}

/// Told of progress, in pairs.
pub trait Progress: Sync {
    /// So many pairs will be rendered in all, as far as is known now.
    fn expect(&self, pairs: usize);
    /// One more pair is done.
    fn done(&self);
    /// Half the widest 95 % interval of the points' total errors over its value, as far as is known
    /// now.
    fn reached(&self, _half_width: f64) {}
}

/// Progress of a part of a study that follows others.
pub struct After<'a> {
    /// Of the whole study.
    pub whole: &'a dyn Progress,
    /// Pairs of the parts before.
    pub pairs: usize,
}

impl Progress for After<'_> {
    fn expect(&self, pairs: usize) {
        self.whole.expect(self.pairs + pairs);
    }
    fn done(&self) {
        self.whole.done();
    }
    fn reached(&self, half_width: f64) {
        self.whole.reached(half_width);
    }
}

/// Progress that nobody sees.
pub struct Silent;

impl Progress for Silent {
    fn expect(&self, _: usize) {}
    fn done(&self) {}
}

/// Runs all experiments; the points stand in the same order, `None` where nothing was done before
/// `stop` was set.
///
/// # Panics
/// When a scene or a processing does not validate.
pub fn run(
    experiments: &[Experiment],
    effort: &Effort,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    run_with(
        &Chain::default(),
        &Wanted::default(),
        experiments,
        effort,
        progress,
        stop,
    )
}

/// [`run`] with another chain, and with what else is wanted.
///
/// # Panics
/// When a scene or a processing does not validate.
pub fn run_with(
    chain: &Chain,
    besides: &Wanted,
    experiments: &[Experiment],
    effort: &Effort,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    run_kept(None, chain, besides, experiments, effort, progress, stop)
}

/// [`run_with`] with a journal, from which it takes what was measured before and to which it adds
/// what is measured now.
///
/// # Panics
/// When a scene or a processing does not validate.
pub fn run_kept(
    journal: Option<&Journal<'_>>,
    chain: &Chain,
    besides: &Wanted,
    experiments: &[Experiment],
    effort: &Effort,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    // A stopped study prepares nothing. And a round of no experiments has no number of its own
    // under which a ledger could keep it.
    if stop.load(Ordering::Relaxed) || experiments.is_empty() {
        return experiments.iter().map(|_| None).collect();
    }
    let first = journal.map_or(0, |journal| journal.claim(experiments.len()));
    let ledger = journal.and_then(Journal::ledger);
    if let Some(points) = ledger.and_then(|ledger| ledger.round(first)) {
        (points.iter().flatten()).for_each(|point| (0..point.pairs()).for_each(|_| progress.done()));
        return points;
    }
    if let Some(ledger) = ledger {
        ledger.meet(first, experiments, effort);
    }
    let prepare = |(k, experiment)| match ledger {
        Some(ledger) => {
            let ground = ledger.ground(first + k, experiment, effort);
            Prepared::over(ground, experiment, chain, besides, effort.seed)
        }
        None => Prepared::new(experiment, chain, besides, effort, stop),
    };
    let prepared: Vec<Prepared> = experiments.par_iter().enumerate().map(prepare).collect();
    let keeper = keeper_of(&prepared, experiments);
    let mut done: Vec<Measurements> = prepared.iter().map(|_| Measurements::default()).collect();
    let contest = besides.contest.as_ref();
    let first_pairs = match contest {
        Some(_) => contest::first_look(effort.first_pairs),
        None => effort.first_pairs,
    };
    let mut wanted: Vec<usize> = prepared
        .iter()
        .map(|p| first_pairs.min(most(p, effort)))
        .collect();
    let pairs = |counts: &mut dyn Iterator<Item = usize>| {
        prepared.iter().zip(counts).map(|(p, n)| n * p.ensemble()).sum()
    };
    let mut errors: Vec<Option<TotalError>> = vec![None; experiments.len()];
    // Most points need no more than the first pairs; the first round shows which do.
    let mut total = pairs(&mut wanted.iter().copied());
    while !stop.load(Ordering::Relaxed) {
        let jobs = jobs(&wanted, &done);
        if jobs.is_empty() {
            break;
        }
        progress.expect(total);
        let make = |(point, number): (usize, usize)| {
            let experiment = first + point;
            let job = Job { experiment, number };
            let (measurement, written) = once(journal, &prepared[point], job, progress, stop)?;
            Some(keeper.keep(point, measurement, written))
        };
        let results = in_order(&jobs, make);
        if ledger.is_some() && results.iter().any(Option::is_none) {
            stop.store(true, Ordering::Relaxed);
        }
        add(&mut done, jobs, results);
        // What more is needed is asked when all that is waited for is there.
        if ledger.is_some() && stop.load(Ordering::Relaxed) {
            break;
        }
        let (needs, widths) = needs(&prepared, &done, &mut errors, effort, contest);
        progress.reached(widths.into_iter().fold(0.0, f64::max));
        for ((wanted, measured), need) in wanted.iter_mut().zip(&done).zip(&needs) {
            *wanted = stopping::next(*need, measured.number());
        }
        let ends = needs.iter().zip(&done);
        total = pairs(&mut ends.map(|(need, measured)| (*need).max(measured.number())));
    }
    let stopped = stop.load(Ordering::Relaxed);
    if ledger.is_none() || !stopped {
        progress.expect(pairs(&mut done.iter().map(Measurements::number)));
    }
    let all = prepared.par_iter().zip(done).zip(errors);
    let points: Vec<Option<Point>> = all
        .map(|((p, measured), known)| known.map(|_| p.point(measured, effort.confidence)))
        .collect();
    if let Some(ledger) = ledger.filter(|_| !stopped) {
        ledger.close(first, &points);
    }
    points
}

fn keeper_of(prepared: &[Prepared], experiments: &[Experiment]) -> Keeper {
    let both = prepared.iter().zip(experiments);
    Keeper::new(
        both.map(|(prepared, experiment)| prepared.again(experiment))
            .collect(),
    )
}

/// What `make` makes of each job. Every thread takes the next one of the list, so that none of the
/// long ones at its beginning is begun last.
fn in_order<J: Copy + Sync, R: Send>(jobs: &[J], make: impl Fn(J) -> R + Sync) -> Vec<R> {
    let jobs = jobs.iter().enumerate().par_bridge();
    let mut results: Vec<(usize, R)> = jobs.map(|(n, job)| (n, make(*job))).collect();
    results.sort_unstable_by_key(|(n, _)| *n);
    results.into_iter().map(|(_, result)| result).collect()
}

/// One measurement: taken from the journal where it was made before, otherwise made and added to
/// it; and where it stands in the journal. `None` where work was stopped, or where a ledger does
/// not have it yet.
fn once(
    journal: Option<&Journal<'_>>,
    prepared: &Prepared,
    job: Job,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Option<(Measurement, Option<Written>)> {
    let Job { experiment, number } = job;
    let ledger = journal.and_then(Journal::ledger);
    let kept = match journal.and_then(|journal| journal.get(experiment, number)) {
        Some((measurement, written)) => Some((measurement, Some(written))),
        None => ledger.and_then(|ledger| Some((ledger.get(job)?, None))),
    };
    if kept.is_some() {
        (0..prepared.ensemble()).for_each(|_| progress.done());
        return kept;
    }
    if ledger.is_some() {
        return None;
    }
    let measurement = prepared.measure(number, progress, stop)?;
    let written = journal.and_then(|journal| journal.add(experiment, number, &measurement));
    Some((measurement, written))
}

/// Adds what was measured, up to the first of a point that is missing.
fn add(done: &mut [Measurements], jobs: Vec<(usize, usize)>, results: Vec<Option<KeptMeasurement>>) {
    for ((point, number), kept) in jobs.into_iter().zip(results) {
        if let Some(kept) = kept
            && done[point].number() == number
        {
            done[point].0.push(kept);
        }
    }
}

/// Points and numbers of the measurements that are wanted and not done. One pair of every point
/// stands before a second of any: whoever stops the study has the whole curve. The last point
/// comes first: in most studies it has the longest streaks and takes longest, and no thread should
/// wait for it at the end.
fn jobs(wanted: &[usize], done: &[Measurements]) -> Vec<(usize, usize)> {
    let mut jobs: Vec<(usize, usize)> = wanted
        .iter()
        .enumerate()
        .flat_map(|(point, &n)| (done[point].number()..n).map(move |k| (point, k)))
        .collect();
    jobs.sort_by_key(|&(point, number)| (number, Reverse(point)));
    jobs
}

/// Measurements after which a point is left as it is.
fn most(prepared: &Prepared, effort: &Effort) -> usize {
    (effort.most_pairs / prepared.ensemble()).max(1)
}

/// The error by the measurements there are, where `error` is of fewer: a point without further ones
/// keeps its own.
fn bring_up_to_date(error: &mut Option<TotalError>, prepared: &Prepared, measured: &Measurements) {
    if error.map_or(0, |error| error.pairs) < measured.number() {
        *error = Some(prepared.error_of_places(measured));
    }
}

/// How many measurements each point needs by those there are, and half the interval of its total
/// error over its value.
fn needs(
    prepared: &[Prepared],
    done: &[Measurements],
    errors: &mut [Option<TotalError>],
    effort: &Effort,
    contest: Option<&Contest>,
) -> (Vec<usize>, Vec<f64>) {
    let found = prepared.par_iter().zip(done).zip(&mut *errors);
    found.for_each(|((p, measured), error)| bring_up_to_date(error, p, measured));
    let wider: Vec<Option<f64>> = match contest {
        Some(contest) => contest.wider(errors).into_iter().map(Some).collect(),
        None => vec![None; errors.len()],
    };
    let found = prepared.iter().zip(done).zip(errors.iter().zip(wider));
    found
        .map(|((p, measured), (error, wider))| needed(p, measured.number(), error.as_ref(), effort, wider))
        .unzip()
}

/// How many measurements a point needs by the error of those there are, and half the interval of
/// that over its value. In a contest the interval may be `wider` than asked for by a
/// factor, over which its width is then told.
fn needed(
    prepared: &Prepared,
    measured: usize,
    error: Option<&TotalError>,
    effort: &Effort,
    wider: Option<f64>,
) -> (usize, f64) {
    let most = most(prepared, effort);
    let Some(error) = error else {
        return (effort.first_pairs.min(most), f64::INFINITY);
    };
    // What the tiles of a picture leave unknown more pairs cannot tell.
    let width = error.total_px.relative_half_width();
    let precision = effort.precision * wider.unwrap_or(1.0);
    let need = match wider {
        Some(1.0) if measured < effort.first_pairs => effort.first_pairs.min(most),
        _ => stopping::needed(error, measured, most, precision),
    };
    (need, width / wider.unwrap_or(1.0))
}
