//! What follows from an experiment alone, before anything is measured: where its vectors stand, how
//! they truly move and which of them count.

use std::sync::OnceLock;

use motefield_evaluator::score::{VectorTruth, reach};
use motefield_evaluator::{Grid, Processing};
use motefield_generator::truth;

use super::Experiment;
use super::measurement::PLANNED;
use super::tiles::Tiling;

/// What follows from the experiment alone, and takes long to find.
pub(super) struct Ground {
    /// The tiles of the pictures that are measured; `None` where whole pictures are.
    pub(super) tiling: Option<Tiling>,
    pub(super) truth: VectorTruth,
    /// Windows whose centre is in fluid, not in a body, and not masked: the others do not count.
    pub(super) seen: Vec<bool>,
    pub(super) fast: Vec<bool>,
    pub(super) fast_displacement_px: f64,
    pub(super) columns: usize,
    pub(super) reach: [usize; 2],
    /// Share of the pixels that are full, found when it is asked for.
    pub(super) saturated: OnceLock<f64>,
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
    pub(super) fn new(
        truth: VectorTruth,
        (columns, reach): (usize, [usize; 2]),
        everywhere: &[f64],
    ) -> Ground {
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
