//! One measurement of a study: pairs rendered, correlated and compared with the truth.

use std::borrow::Cow;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

use motefield_evaluator::prepare::Background;
use motefield_evaluator::score::{ErrorSample, Errors, Score, TotalError, Truths, VectorTruth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Grid, Processing, correlate_ensemble};
use motefield_generator::{Pair, Scene, Seed, pair, truth};
use ndarray::ArrayView2;

use super::bound::{self, BoundAtPoint};
use super::external::{self, Failed, Places};
use super::saturation::{full_share, may_be_full};
use super::trust::{self, Trust};
use crate::caveat::Caveat;

use super::tiles::{TilePairs, Tiling};
use super::{
    BOUND_MEASUREMENTS, Besides, Chain, Effort, Experiment, FurtherFigures, Point, Progress, Wanted,
};

/// What stays the same for all measurements of a point.
pub(super) struct Prepared<'a> {
    scene: &'a Scene,
    processing: Cow<'a, Processing>,
    chain: &'a Chain,
    wanted: &'a Wanted,
    seed: u64,
    ground: Arc<Ground>,
    /// Where another program puts its vectors, or why it gives none; `None` without such a program.
    places: Option<Result<Places, Failed>>,
    /// Pairs of the tiles that are measured, where not whole pictures are; made when they are asked
    /// for.
    tiles: OnceLock<TilePairs<'a>>,
}

/// What follows from the experiment alone, and takes long to find.
pub(super) struct Ground {
    /// The tiles of the pictures that are measured; `None` where whole pictures are.
    tiling: Option<Tiling>,
    truth: VectorTruth,
    /// Windows whose centre is in fluid, not in a body, and not masked: the others do not count.
    seen: Vec<bool>,
    fast: Vec<bool>,
    fast_displacement_px: f64,
    columns: usize,
    reach: [usize; 2],
    /// Share of the pixels that are full, found when it is asked for.
    saturated: OnceLock<f64>,
}

/// What came of one measurement.
#[derive(Debug, Clone)]
pub(super) struct Measurement {
    pub(super) errors: Errors,
    /// Bound of each window, px; `None` where it was not computed.
    pub(super) bound_px: Option<Vec<[f64; 2]>>,
    /// Standard uncertainties by each estimator asked for, px.
    pub(super) uncertainties_px: Vec<Vec<[f64; 2]>>,
    /// Why another program gave no vectors of the pair.
    pub(super) failure: Option<String>,
}

/// Pixels of the truth that one sample stands for, a side: the flow changes little over 4 px.
const TRUTH_BLOCK_PX: usize = 4;

/// The true displacements at points (x, y) of a picture, px; of points beyond its border those at
/// the border, and `NaN` inside bodies.
fn truth_at(exact: &truth::TrueDisplacement, size: [usize; 2], points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let inside = |point: &[f64; 2]| [0, 1].map(|k| point[k].min(size[k] as f64 - 1.0));
    let points: Vec<[f64; 2]> = points.iter().map(inside).collect();
    let found = exact.at_all(&points).into_iter();
    found.map(|d| d.unwrap_or([f64::NAN; 2])).collect()
}

/// The truth at the vectors of a grid in the picture; `NaN` where there is none or it is masked.
fn truth_of(exact: &truth::TrueDisplacement, grid: &Grid, processing: &Processing) -> VectorTruth {
    let size = exact.size();
    // Blocks begin at multiples of their side whatever part of the picture the grid covers.
    let shift = grid.origin.map(|first| first / TRUTH_BLOCK_PX * TRUTH_BLOCK_PX);
    let own = Grid {
        origin: [0, 1].map(|k| grid.origin[k] - shift[k]),
        ..grid.clone()
    };
    let mut truth = VectorTruth::of_points(&own, processing.weighting, TRUTH_BLOCK_PX, |points| {
        let moved = points
            .iter()
            .map(|[x, y]| [x + shift[0] as f64, y + shift[1] as f64]);
        truth_at(exact, size, &moved.collect::<Vec<_>>())
    });
    if let Some(mask) = &processing.preparation.mask {
        for (k, truth) in truth.point_px.iter_mut().enumerate() {
            let [x, y] = grid.centre(k % grid.columns, k / grid.columns);
            if mask[[y.round() as usize, x.round() as usize]] {
                *truth = [f64::NAN; 2];
            }
        }
    }
    truth
}

/// Points all over a picture.
fn lattice(size: [usize; 2]) -> Vec<[f64; 2]> {
    let side = LATTICE;
    let place = |n: usize, k: usize| (n as f64 + 0.5) / side as f64 * size[k] as f64 - 0.5;
    (0..side * side)
        .map(|n| [place(n % side, 0), place(n / side, 1)])
        .collect()
}

/// Points along each side of a picture at which it is looked at where tiles of it are measured.
const LATTICE: usize = 64;

/// First realisation of the pairs that a background is made of: beyond all that are measured.
const BACKGROUND_SERIES: u64 = 1 << 40;

const PLANNED: &str = "a scene and processing that were validated by the plan";

impl Ground {
    /// `tiled` is the study's seed where large pictures are measured by tiles.
    pub(super) fn of(experiment: &Experiment, tiled: Option<u64>) -> Ground {
        let Experiment { scene, processing } = experiment;
        if let Some(tiling) = tiled.and_then(|seed| Tiling::of(scene, processing, seed)) {
            return Ground::of_tiles(experiment, tiling);
        }
        let [width, height] = scene.size;
        let last = processing.passes.last().expect(PLANNED);
        let grid = Grid::new(width, height, last.window, last.overlap);
        let exact = truth::TrueDisplacement::of_pair(scene);
        let truth = truth_of(&exact, &grid, processing);
        Ground::new(truth, (grid.columns, reach(&grid)), &[])
    }

    /// Of the vectors in the tiles of a large picture.
    fn of_tiles(experiment: &Experiment, tiling: Tiling) -> Ground {
        let Experiment { scene, processing } = experiment;
        let exact = truth::TrueDisplacement::of_pair(scene);
        let truth = tiling.truth(|grid| truth_of(&exact, grid, processing));
        let everywhere = exact.at_all(&lattice(scene.size));
        let moved = everywhere.into_iter().flatten().map(|[dx, dy]| dx.hypot(dy));
        let ground = Ground::new(truth, tiling.grid(), &moved.collect::<Vec<_>>());
        Ground {
            tiling: Some(tiling),
            ..ground
        }
    }

    /// `everywhere` are displacements all over the picture, px, where `truth` is not.
    fn new(truth: VectorTruth, (columns, reach): (usize, [usize; 2]), everywhere: &[f64]) -> Ground {
        let seen: Vec<bool> = truth.point_px.iter().map(|t| t[0].is_finite()).collect();
        let lengths: Vec<f64> = truth.point_px.iter().map(|[dx, dy]| dx.hypot(*dy)).collect();
        let all = if everywhere.is_empty() {
            &lengths[..]
        } else {
            everywhere
        };
        let mut sorted: Vec<f64> = all.iter().copied().filter(|l| l.is_finite()).collect();
        sorted.sort_by(|a, b| b.total_cmp(a));
        let threshold = sorted
            .get(sorted.len().div_ceil(10).saturating_sub(1))
            .copied()
            .unwrap_or(f64::INFINITY);
        let fast: Vec<bool> = lengths.iter().map(|&l| l >= threshold).collect();
        let count = all.iter().filter(|l| **l >= threshold).count() as f64;
        let sum: f64 = all.iter().filter(|l| **l >= threshold).sum();
        Ground {
            tiling: None,
            truth,
            seen,
            fast,
            fast_displacement_px: sum / count,
            columns,
            reach,
            saturated: OnceLock::new(),
        }
    }
}

impl<'a> Prepared<'a> {
    pub fn new(
        experiment: &'a Experiment,
        chain: &'a Chain,
        wanted: &'a Wanted,
        effort: &Effort,
        stop: &AtomicBool,
    ) -> Self {
        let seed = effort.seed;
        // Of another program's windows nothing is known, and what is wanted besides is told of
        // whole pictures.
        let whole =
            effort.whole || chain.external.0.is_some() || wanted.bound || !wanted.estimators.is_empty();
        let places = chain.external.0.map(|program| {
            let scene = &experiment.scene;
            let pair = (chain.render)(scene, realisation(seed, 0)).expect(PLANNED);
            Places::new(program, scene, &pair, stop)
        });
        let ground = match &places {
            Some(Ok(places)) => Ground::new(places.truth(), places.grid(), &[]),
            _ => Ground::of(experiment, (!whole).then_some(seed)),
        };
        let prepared = Prepared::over(Arc::new(ground), experiment, chain, wanted, seed);
        // Now, before several threads want them.
        prepared.tiles();
        Prepared { places, ..prepared }
    }

    /// The same with what is known of the experiment already.
    pub fn over(
        ground: Arc<Ground>,
        experiment: &'a Experiment,
        chain: &'a Chain,
        wanted: &'a Wanted,
        seed: u64,
    ) -> Self {
        let processing = match ground.tiling {
            // Each tile has a background of its own.
            Some(_) => Cow::Borrowed(&experiment.processing),
            None => with_background(experiment, chain, seed),
        };
        Prepared {
            scene: &experiment.scene,
            processing,
            chain,
            wanted,
            seed,
            ground,
            places: None,
            tiles: OnceLock::new(),
        }
    }

    fn tiles(&self) -> Option<&TilePairs<'a>> {
        let tiling = self.ground.tiling.as_ref()?;
        let pairs = || {
            let frames = 0..self.processing.background_frames.unwrap_or(0) as u64;
            let seeds = frames.map(|k| realisation(self.seed, BACKGROUND_SERIES + k));
            TilePairs::new(tiling.clone(), self.scene, &seeds.collect::<Vec<_>>())
        };
        Some(self.tiles.get_or_init(pairs))
    }

    /// Pairs per measurement.
    pub fn ensemble(&self) -> usize {
        match self.places {
            None => self.processing.ensemble,
            Some(_) => 1,
        }
    }

    /// Measurement number `number`; `None` if `stop` was set meanwhile.
    pub fn measure(&self, number: usize, progress: &dyn Progress, stop: &AtomicBool) -> Option<Measurement> {
        if let Some(places) = &self.places {
            return self.measure_by(places, number, progress, stop);
        }
        let count = self.ensemble() as u64;
        let seeds = (0..count).map(|k| realisation(self.seed, number as u64 * count + k));
        if let Some(tiles) = self.tiles() {
            return self.measure_tiles(tiles, &seeds.collect::<Vec<_>>(), progress, stop);
        }
        let mut pairs = Vec::new();
        for seed in seeds.clone() {
            if stop.load(Ordering::Relaxed) {
                return None;
            }
            pairs.push((self.chain.render)(self.scene, seed).expect(PLANNED));
            progress.done();
        }
        let sensor = self.scene.camera.sensor.as_ref();
        if number == 0 && !sensor.is_some_and(|sensor| may_be_full(&pairs[0], sensor)) {
            self.ground.saturated.get_or_init(|| 0.0);
        }
        let field = match &pairs[..] {
            [Pair { a, b }] => (self.chain.correlate)(a.view(), b.view(), &self.processing),
            pairs => correlate_ensemble(&views(pairs), &self.processing),
        }
        .expect(PLANNED);
        let bound_px = (self.wanted.bound && number < BOUND_MEASUREMENTS)
            .then(|| bound::ensemble(seeds.map(|seed| bound::of(self.scene, &self.processing, seed))));
        let uncertainty = |estimator: &Estimator| {
            let Pair { a, b } = &pairs[0];
            estimate(a.view(), b.view(), &field, &self.processing, *estimator).expect(PLANNED)
        };
        let single = self.ensemble() == 1;
        let estimators = self.wanted.estimators.iter().filter(|_| single);
        Some(Measurement {
            errors: Errors::of(&field.vectors, &self.ground.truth),
            bound_px,
            uncertainties_px: estimators.map(uncertainty).collect(),
            failure: None,
        })
    }

    /// A measurement of the tiles of the pairs of these realisations; `None` if `stop` was set.
    fn measure_tiles(
        &self,
        tiles: &TilePairs,
        seeds: &[Seed],
        progress: &dyn Progress,
        stop: &AtomicBool,
    ) -> Option<Measurement> {
        if stop.load(Ordering::Relaxed) {
            return None;
        }
        let vectors = tiles.measure(seeds);
        seeds.iter().for_each(|_| progress.done());
        Some(Measurement {
            errors: Errors::of(&vectors, &self.ground.truth),
            bound_px: None,
            uncertainties_px: Vec::new(),
            failure: None,
        })
    }

    /// Measurement number `number` by another program; `None` if `stop` was set meanwhile.
    fn measure_by(
        &self,
        places: &Result<Places, Failed>,
        number: usize,
        progress: &dyn Progress,
        stop: &AtomicBool,
    ) -> Option<Measurement> {
        if stop.load(Ordering::Relaxed) {
            return None;
        }
        let errors = match places {
            Ok(places) if number == 0 => Ok(places.first()),
            Ok(places) => {
                let pair =
                    (self.chain.render)(self.scene, realisation(self.seed, number as u64)).expect(PLANNED);
                places.measure(self.scene, &pair, stop)
            }
            Err(failed) => Err(failed.clone()),
        };
        let (errors, failure) = match errors {
            Ok(errors) => (errors, None),
            Err(Failed::Stopped) => return None,
            Err(Failed::Because(why)) => (external::lost(self.ground.truth.point_px.len()), Some(why)),
        };
        progress.done();
        Some(Measurement {
            errors,
            bound_px: None,
            uncertainties_px: Vec::new(),
            failure,
        })
    }

    fn sample<'b>(&self, errors: &'b [Errors], part: &'b [bool], confidence: Confidence) -> ErrorSample<'b> {
        ErrorSample {
            columns: self.ground.columns,
            reach: self.ground.reach,
            pairs: errors,
            truths: Truths::Repeat,
            part: Some(part),
            confidence,
        }
    }

    /// Error over all vectors that are measured, which more pairs would tell better.
    pub fn error_of_places(&self, measured: &[Measurement]) -> TotalError {
        let errors: Vec<Errors> = measured.iter().map(|m| m.errors.clone()).collect();
        self.sample(&errors, &self.ground.seen, Confidence::USUAL)
            .total_error()
    }

    /// The point of these measurements.
    pub fn point(&self, measured: Vec<Measurement>, confidence: Confidence) -> Point {
        let (mut errors, mut bounds, mut uncertainties) = (Vec::new(), Vec::new(), Vec::new());
        let mut failures = Vec::new();
        for (number, measurement) in measured.into_iter().enumerate() {
            failures.extend(measurement.failure.map(|why| (number, why)));
            errors.push(measurement.errors);
            bounds.push(measurement.bound_px);
            uncertainties.push(measurement.uncertainties_px);
        }
        let (sample, fast) = (
            self.sample(&errors, &self.ground.seen, confidence),
            self.sample(&errors, &self.ground.fast, confidence),
        );
        let tiles = self.ground.tiling.as_ref();
        let score_of = |sample: &ErrorSample| match tiles {
            None => sample.score(),
            Some(tiling) => sample.score_of_tiles(&tiling.tiles),
        };
        let score = score_of(&sample);
        let Wanted { bound, figures, .. } = *self.wanted;
        let trust_in = |(k, estimator): (usize, &Estimator)| {
            let of_pairs: Vec<&[[f64; 2]]> = uncertainties.iter().map(|u| &u[k][..]).collect();
            Trust {
                estimator: *estimator,
                of: trust::trust(&sample, &of_pairs),
            }
        };
        let estimators = self.wanted.estimators.iter().filter(|_| self.ensemble() == 1);
        let besides = Besides {
            bound: bound.then(|| BoundAtPoint::new(&sample, &bounds, &score)),
            figures: figures.then(|| {
                FurtherFigures::of(
                    &sample,
                    std::slice::from_ref(&self.ground.truth),
                    &score,
                    self.scene.size[0],
                    tiles.map(|tiling| &tiling.tiles),
                )
            }),
            trust: estimators.enumerate().map(trust_in).collect(),
            failures,
            external: self.places.is_some(),
        };
        Point {
            common: None,
            caveats: self.caveats(&score),
            score,
            fast: score_of(&fast),
            tiles: tiles.map(|tiling| tiling.told(&self.ground.seen)),
            columns: self.ground.columns,
            reach: self.ground.reach,
            fast_displacement_px: self.ground.fast_displacement_px,
            ensemble: self.ensemble(),
            besides,
            errors,
        }
    }
}

impl Prepared<'_> {
    /// What must be said beside a score: what it says itself, and what follows from the pictures.
    fn caveats(&self, score: &Score) -> Vec<Caveat> {
        // Windows in a body or under the mask are meant to have no truth.
        let mut all = Caveat::of_score(score, score.vectors);
        if self.places.is_some() {
            // Nothing is known of another program's windows.
            all.extend(Caveat::of_saturation(self.saturated()));
            return all;
        }
        let passes = &self.processing.passes;
        let (first, last) = (passes.first().expect(PLANNED), passes.last().expect(PLANNED));
        let area = (last.window[0] * last.window[1] * self.processing.ensemble) as f64;
        let known = self
            .ground
            .truth
            .point_px
            .iter()
            .zip(&self.ground.seen)
            .filter(|(_, seen)| **seen);
        let largest = |k: usize| known.clone().map(|(t, _)| t[k].abs()).fold(0.0, f64::max);
        let range = |k: usize| ((first.window[k] - 1) / 2) as f64;
        let worse = if largest(0) - range(0) >= largest(1) - range(1) {
            0
        } else {
            1
        };
        let particles = self.scene.seeding_density_ppp * area;
        all.extend(Caveat::of_windows(particles, largest(worse), range(worse)));
        let saturated = *self.ground.saturated.get_or_init(|| self.saturated());
        all.extend(Caveat::of_saturation(saturated));
        let truths: Vec<[f64; 2]> = known.map(|(truth, _)| *truth).collect();
        all.extend(Caveat::of_displacements(&truths));
        all
    }

    /// Share of the pixels of the first pair, both frames, that are full or as white as they get.
    fn saturated(&self) -> f64 {
        let Some(sensor) = &self.scene.camera.sensor else {
            return 0.0;
        };
        if let Some(tiles) = self.tiles() {
            return tiles.saturated(sensor, realisation(self.seed, 0));
        }
        let expected = pair::expected(self.scene, realisation(self.seed, 0)).expect(PLANNED);
        full_share(expected, sensor)
    }
}

fn realisation(study: u64, realisation: u64) -> Seed {
    Seed {
        study,
        point: 0,
        realisation,
    }
}

fn views(pairs: &[Pair]) -> Vec<[ArrayView2<'_, f32>; 2]> {
    pairs.iter().map(|pair| [pair.a.view(), pair.b.view()]).collect()
}

/// The processing with a background made of a series of its own, if one is to be made of a stated
/// number of frames.
fn with_background<'a>(experiment: &'a Experiment, chain: &Chain, study: u64) -> Cow<'a, Processing> {
    let processing = &experiment.processing;
    let (Background::Made(statistic), Some(frames)) =
        (&processing.preparation.background, processing.background_frames)
    else {
        return Cow::Borrowed(processing);
    };
    let pairs: Vec<Pair> = (0..frames as u64)
        .map(|k| (chain.render)(&experiment.scene, realisation(study, BACKGROUND_SERIES + k)).expect(PLANNED))
        .collect();
    let [a, b] = [0, 1].map(|k| statistic.of(views(&pairs).iter().map(|pair| pair[k])));
    let mut processing = processing.clone();
    processing.preparation.background =
        Background::Given([a, b].map(|picture| Arc::new(picture.expect("frames of one shape"))));
    Cow::Owned(processing)
}
