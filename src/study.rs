//! A study: several experiments, each repeated on fresh pairs until its error is known well enough.
//!
//! The repetitions of all points share particles and noise (common random numbers), so that curves differ by physics. Which
//! pairs are rendered depends on the results alone, never on time or threads; and a study that is stopped keeps, at every
//! point, the unbroken run of realisations from the first.

use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::score::{Errors, Score, Study as Sample, Truth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::{Grid, Processing, VectorField, correlate};
use motefield_generator::{Pair, Scene, SceneError, Seed, render, truth};
use ndarray::ArrayView2;
use rayon::prelude::*;

/// What does the experiments: the program's own generator and evaluator, unless a test puts a faulty one in their place to see
/// whether the faults are found.
#[derive(Debug, Clone, Copy)]
pub struct Chain {
    /// From a scene to a pair.
    pub render: fn(&Scene, Seed) -> Result<Pair, SceneError>,
    /// From a pair to vectors.
    pub correlate:
        fn(ArrayView2<f32>, ArrayView2<f32>, &Processing) -> Result<VectorField, motefield_evaluator::Error>,
}

impl Default for Chain {
    fn default() -> Self {
        Chain { render, correlate }
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

/// When a point is known well enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Study seed.
    pub seed: u64,
    /// Half the 95 % interval of the random error over its value at which no more pairs are added.
    pub precision: f64,
    /// Pairs to begin with.
    pub first_pairs: usize,
    /// Pairs after which a point is left as it is.
    pub most_pairs: usize,
}

impl Default for Effort {
    fn default() -> Self {
        Effort {
            seed: 1,
            precision: 0.05,
            first_pairs: 4,
            most_pairs: 60,
        }
    }
}

/// What a study found at one point.
#[derive(Debug, Clone)]
pub struct Point {
    /// Over the whole field.
    pub score: Score,
    /// Over the tenth of the field that moves fastest.
    pub fast: Score,
    /// Errors of each pair.
    pub errors: Vec<Errors>,
    /// Columns of the grid of vectors.
    pub columns: usize,
    /// Lag within which windows share pixels.
    pub reach: [usize; 2],
    /// Mean true displacement in the fastest tenth, px.
    pub fast_displacement_px: f64,
}

/// Told of progress, in pairs.
pub trait Progress: Sync {
    /// So many pairs will be rendered in all, as far as is known now.
    fn expect(&self, pairs: usize);
    /// One more pair is done.
    fn done(&self);
}

/// Progress that nobody sees.
pub struct Silent;

impl Progress for Silent {
    fn expect(&self, _: usize) {}
    fn done(&self) {}
}

/// What stays the same for all pairs of a point.
struct Prepared<'a> {
    experiment: &'a Experiment,
    truth: Truth,
    /// Windows whose centre is in fluid, not in a body: the others have no truth and do not count.
    fluid: Vec<bool>,
    fast: Vec<bool>,
    fast_displacement_px: f64,
    columns: usize,
    reach: [usize; 2],
}

/// Pixels of the truth that one sample stands for, a side: the flow changes little over 4 px.
const TRUTH_BLOCK_PX: usize = 4;

impl<'a> Prepared<'a> {
    fn new(experiment: &'a Experiment) -> Self {
        let [width, height] = experiment.scene.size;
        let last = experiment
            .processing
            .passes
            .last()
            .expect("processing that was validated by the plan");
        let grid = Grid::new(width, height, last.window, last.overlap);
        let exact = truth::Truth::of_pair(&experiment.scene);
        let truth = Truth::new(&grid, experiment.processing.weighting, TRUTH_BLOCK_PX, |x, y| {
            exact
                .at(x.min(width as f64 - 1.0), y.min(height as f64 - 1.0))
                .unwrap_or([f64::NAN; 2])
        });
        let fluid: Vec<bool> = truth.point_px.iter().map(|t| t[0].is_finite()).collect();
        let lengths: Vec<f64> = truth.point_px.iter().map(|[dx, dy]| dx.hypot(*dy)).collect();
        let mut sorted: Vec<f64> = lengths.iter().copied().filter(|l| l.is_finite()).collect();
        sorted.sort_by(|a, b| b.total_cmp(a));
        let threshold = sorted
            .get(sorted.len().div_ceil(10).saturating_sub(1))
            .copied()
            .unwrap_or(f64::INFINITY);
        let fast: Vec<bool> = lengths.iter().map(|&l| l >= threshold).collect();
        let count = fast.iter().filter(|f| **f).count() as f64;
        let sum: f64 = lengths.iter().filter(|l| **l >= threshold).sum();
        Prepared {
            experiment,
            truth,
            fluid,
            fast,
            fast_displacement_px: sum / count,
            columns: grid.columns,
            reach: reach(&grid),
        }
    }

    fn measure(&self, chain: &Chain, seed: Seed) -> Errors {
        let pair =
            (chain.render)(&self.experiment.scene, seed).expect("a scene that was validated by the plan");
        let field = (chain.correlate)(pair.a.view(), pair.b.view(), &self.experiment.processing)
            .expect("processing that was validated by the plan");
        Errors::of(&field.vectors, &self.truth)
    }

    fn point(&self, errors: Vec<Errors>) -> Point {
        let sample = |part| Sample {
            columns: self.columns,
            reach: self.reach,
            pairs: &errors,
            part,
            confidence: Confidence::USUAL,
        };
        let (score, fast) = (
            sample(Some(&self.fluid)).score(),
            sample(Some(&self.fast)).score(),
        );
        Point {
            score,
            fast,
            columns: self.columns,
            reach: self.reach,
            fast_displacement_px: self.fast_displacement_px,
            errors,
        }
    }
}

/// Runs all experiments; the points stand in the same order, `None` where nothing was done before `stop` was set.
pub fn run(
    experiments: &[Experiment],
    effort: &Effort,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    run_with(&Chain::default(), experiments, effort, progress, stop)
}

/// [`run`] with another chain.
pub fn run_with(
    chain: &Chain,
    experiments: &[Experiment],
    effort: &Effort,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    let prepared: Vec<Prepared> = experiments.par_iter().map(Prepared::new).collect();
    let mut done: Vec<Vec<Errors>> = vec![Vec::new(); experiments.len()];
    let mut wanted = vec![effort.first_pairs.min(effort.most_pairs); experiments.len()];
    // Most points need no more than the first pairs; the first round shows which do.
    let mut total = wanted.iter().sum();
    while !stop.load(Ordering::Relaxed) {
        let mut jobs: Vec<(usize, usize)> = wanted
            .iter()
            .enumerate()
            .flat_map(|(point, &n)| (done[point].len()..n).map(move |k| (point, k)))
            .collect();
        // One pair of every point before a second of any: whoever stops the study has the whole curve.
        jobs.sort_by_key(|&(point, realisation)| (realisation, point));
        if jobs.is_empty() {
            break;
        }
        progress.expect(total);
        let results: Vec<Option<Errors>> = jobs
            .par_iter()
            .with_max_len(1)
            .map(|&(point, realisation)| {
                if stop.load(Ordering::Relaxed) {
                    return None;
                }
                let seed = Seed {
                    study: effort.seed,
                    point: 0,
                    realisation: realisation as u64,
                };
                let errors = prepared[point].measure(chain, seed);
                progress.done();
                Some(errors)
            })
            .collect();
        for ((point, realisation), errors) in jobs.into_iter().zip(results) {
            if let Some(errors) = errors
                && done[point].len() == realisation
            {
                done[point].push(errors);
            }
        }
        let needs: Vec<usize> = prepared
            .iter()
            .zip(&done)
            .map(|(p, errors)| needed(p, errors, effort))
            .collect();
        // At most double at once: the first intervals are themselves uncertain.
        for ((wanted, errors), need) in wanted.iter_mut().zip(&done).zip(&needs) {
            *wanted = (*need).min(2 * errors.len());
        }
        total = needs
            .iter()
            .zip(&done)
            .map(|(need, errors)| (*need).max(errors.len()))
            .sum();
    }
    progress.expect(done.iter().map(Vec::len).sum());
    prepared
        .iter()
        .zip(done)
        .map(|(p, errors)| (!errors.is_empty()).then(|| p.point(errors)))
        .collect()
}

/// A point at which more vectors than this are lost is not worth more pairs.
const HOPELESS: f64 = 0.5;

/// How many pairs will narrow the random error's interval to the precision wanted, in the worse component: the
/// interval falls with the square root of their number.
fn needed(prepared: &Prepared, errors: &[Errors], effort: &Effort) -> usize {
    let n = errors.len();
    if n == 0 {
        return effort.first_pairs;
    }
    let score = Sample {
        columns: prepared.columns,
        reach: prepared.reach,
        pairs: errors,
        part: Some(&prepared.fluid),
        confidence: Confidence::USUAL,
    }
    .score();
    let width = score
        .point
        .iter()
        .map(|c| c.random_px.relative_half_width())
        .fold(0.0, f64::max);
    if n >= effort.most_pairs || width <= effort.precision || score.outliers.value > HOPELESS {
        return n;
    }
    let more = (n as f64 * (width / effort.precision).powi(2))
        .ceil()
        .min(effort.most_pairs as f64);
    (more as usize).clamp(n + 1, effort.most_pairs)
}
