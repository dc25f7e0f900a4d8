//! One measurement of a study: pairs rendered, correlated and compared with the truth.

use std::borrow::Cow;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

use motefield_evaluator::prepare::Background;
use motefield_evaluator::score::{ErrorSample, Errors, PairErrors, Score, TotalError, Truths};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Processing, correlate_ensemble};
use motefield_generator::{Pair, Scene, Seed, pair};
use ndarray::ArrayView2;

use super::bound::{self, BoundAtPoint};
use super::external::{self, Failed, Places};
use super::ground::Ground;
use super::saturation::{full_share, may_be_full};
use super::store::{Again, Measurements};
use super::tiles::TilePairs;
use super::trust::{self, Trust};
use super::{
    BOUND_MEASUREMENTS, Besides, Chain, Effort, Experiment, FurtherFigures, Point, Progress, Silent, Wanted,
};
use crate::caveat::Caveat;

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

/// First realisation of the pairs that a background is made of: beyond all that are measured.
const BACKGROUND_SERIES: u64 = 1 << 40;

pub(super) const PLANNED: &str = "a scene and processing that were validated by the plan";

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

    /// How measurements of this experiment are made again, when all else is forgotten; `None` where
    /// another program makes them.
    pub fn again(&self, experiment: &Experiment) -> Option<Again> {
        if self.places.is_some() {
            return None;
        }
        let (ground, seed) = (Arc::clone(&self.ground), self.seed);
        let (experiment, chain, wanted) = (experiment.clone(), *self.chain, self.wanted.clone());
        Some(Again::by(move |number| {
            let prepared = Prepared::over(Arc::clone(&ground), &experiment, &chain, &wanted, seed);
            let measurement = prepared.measure(number, &Silent, &AtomicBool::new(false));
            measurement.expect("nothing stops it")
        }))
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

    fn sample<'b>(
        &self,
        measured: &'b Measurements,
        part: &'b [bool],
        confidence: Confidence,
    ) -> ErrorSample<'b> {
        ErrorSample {
            columns: self.ground.columns,
            reach: self.ground.reach,
            pairs: measured,
            truths: Truths::Repeat,
            part: Some(part),
            confidence,
        }
    }

    /// Error over all vectors that are measured, which more pairs would tell better.
    pub fn error_of_places(&self, measured: &Measurements) -> TotalError {
        self.sample(measured, &self.ground.seen, Confidence::USUAL)
            .total_error()
    }

    /// The point of these measurements.
    pub fn point(&self, measured: Measurements, confidence: Confidence) -> Point {
        let (sample, fast) = (
            self.sample(&measured, &self.ground.seen, confidence),
            self.sample(&measured, &self.ground.fast, confidence),
        );
        let tiles = self.ground.tiling.as_ref();
        let score_of = |sample: &ErrorSample| match tiles {
            None => sample.score(),
            Some(tiling) => sample.score_of_tiles(&tiling.tiles),
        };
        let (score, fast) = rayon::join(|| score_of(&sample), || score_of(&fast));
        let Wanted { bound, figures, .. } = *self.wanted;
        let trust_in = |(k, estimator): (usize, &Estimator)| Trust {
            estimator: *estimator,
            of: trust::trust(&sample, |pair| match measured.get(pair) {
                Cow::Borrowed(measured) => Cow::Borrowed(&measured.uncertainties_px[k][..]),
                Cow::Owned(mut measured) => Cow::Owned(measured.uncertainties_px.swap_remove(k)),
            }),
        };
        let estimators = self.wanted.estimators.iter().filter(|_| self.ensemble() == 1);
        let besides = Besides {
            bound: bound.then(|| BoundAtPoint::new(&sample, &bounds(&measured), &score)),
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
            failures: failures(&measured, self.places.is_some()),
            external: self.places.is_some(),
        };
        Point {
            common: None,
            caveats: self.caveats(&score),
            score,
            fast,
            tiles: tiles.map(|tiling| tiling.told(&self.ground.seen)),
            columns: self.ground.columns,
            reach: self.ground.reach,
            fast_displacement_px: self.ground.fast_displacement_px,
            ensemble: self.ensemble(),
            besides,
            errors: Arc::new(measured),
        }
    }
}

/// The bounds, where they were computed.
fn bounds(measured: &Measurements) -> Vec<Option<Vec<[f64; 2]>>> {
    let first = measured.number().min(BOUND_MEASUREMENTS);
    (0..first)
        .map(|k| measured.get(k).into_owned().bound_px)
        .collect()
}

/// Where another program failed, and why.
fn failures(measured: &Measurements, external: bool) -> Vec<(usize, String)> {
    let all = 0..if external { measured.number() } else { 0 };
    all.filter_map(|k| Some((k, measured.get(k).failure.clone()?)))
        .collect()
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

#[cfg(test)]
mod tests {
    use motefield_evaluator::Pass;

    use super::super::record::record_bytes;
    use super::*;

    /// A measurement that is made again, with all that may be wanted of it, is the same to the bit.
    #[test]
    fn a_measurement_made_again_is_the_same() {
        let experiment = Experiment {
            scene: Scene {
                size: [96, 64],
                ..Scene::default()
            },
            processing: Processing {
                passes: vec![Pass::square(32, 0.5)],
                ..Processing::default()
            },
        };
        let wanted = Wanted {
            bound: true,
            estimators: vec![Estimator::CorrelationStatistics],
            ..Wanted::default()
        };
        let (chain, effort, stop) = (Chain::default(), Effort::default(), AtomicBool::new(false));
        let prepared = Prepared::new(&experiment, &chain, &wanted, &effort, &stop);
        let again = prepared.again(&experiment).unwrap();
        for number in [0, 3] {
            let bytes = |m: &Measurement| record_bytes(0, number, m);
            let first = prepared.measure(number, &Silent, &stop).unwrap();
            assert_eq!(bytes(&again.measure(number)), bytes(&first), "{number}");
        }
        let other = prepared.measure(1, &Silent, &stop).unwrap();
        assert_ne!(record_bytes(0, 0, &again.measure(0)), record_bytes(0, 0, &other));
    }
}
