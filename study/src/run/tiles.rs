//! Which parts of a large picture a study measures.
//!
//! What a setting costs must not grow with the camera. Above [`WHOLE_UP_TO`] pixels a study
//! therefore measures tiles of the picture, the same in every pair and at every setting, and
//! estimates the figures of the whole picture from them ([`Tiles`] has the estimates and their
//! intervals, which hold what the tiles leave unknown).
//!
//! The vectors of the picture are divided into blocks. From each of some strata of blocks that are
//! alike in speed, gradient and brightness (`strata`), some blocks are chosen at random by the
//! study's seed, and stand for the others of their stratum. Around each block a tile is rendered
//! that is large enough for its vectors to be those of the whole picture (`layout`): true borders
//! of the picture included, where there is nothing beyond.

mod layout;
mod pairs;
mod strata;

use std::ops::Range;
use std::sync::Arc;

use motefield_evaluator::prepare::Background;
use motefield_evaluator::score::{VectorTruth, reach};
use motefield_evaluator::statistics::Tiles;
use motefield_evaluator::{Grid, Processing, Vector, VectorField, VectorStatus};
use motefield_generator::{Crop, Scene, Seed};
use ndarray::{Array2, Axis, Slice};

use super::Experiment;
use layout::TileLayout;
pub(super) use pairs::TilePairs;

/// Pixels up to which a picture is measured whole: about a megapixel.
pub const WHOLE_UP_TO: usize = 1 << 20;
/// Tiles that are measured; fewer where windows are large.
const TILES: [usize; 3] = [16, 12, 8];
/// Tiles of a stratum. Simulations (`tests/simulated.rs`) held the truth as often as they should
/// with four; with two, however finely the picture was divided, the variance was known so badly
/// that intervals were now much too wide and now too narrow.
const EACH: usize = 4;
/// Pixels of all tiles together beyond which fewer are taken.
const MOST_PIXELS: usize = 1 << 21;
/// Share of the picture beyond which tiles are not worth it.
const MOST_SHARE: f64 = 0.6;
/// Point of the random numbers that choose the blocks: no study has so many.
const CHOICE: u64 = u64::MAX;

/// What a point was measured on, where not on whole pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredTiles {
    /// Width and height of a tile, px.
    pub size_px: [usize; 2],
    /// Pixels of all tiles over those of the picture.
    pub share: f64,
    /// Which vectors stand for which part of the picture.
    pub tiles: Tiles,
    /// What each vector counts, 1 on the average of those that count.
    pub weights: Vec<f64>,
}

/// The tiles of an experiment.
#[derive(Debug, Clone)]
pub(super) struct Tiling {
    pub(super) crops: Vec<Crop>,
    /// How each is correlated.
    pub(super) processing: Vec<Processing>,
    /// Vectors of each tile that count: the first column and row in its grid, and their numbers.
    blocks: Vec<TileBlock>,
    pub(super) tiles: Tiles,
    share: f64,
    /// Columns of the vectors of all blocks, one below the other, and rows of each with those that
    /// keep blocks apart.
    columns: usize,
    rows: usize,
    reach: [usize; 2],
}

/// Vectors of one tile that count.
#[derive(Debug, Clone)]
struct TileBlock {
    /// First column and row in the tile's grid.
    first: [usize; 2],
    /// In the picture.
    grid: Grid,
}

/// The blocks of a picture, of which some are to be measured.
struct Divided {
    layout: TileLayout,
    /// Blocks in which some vector counts, by strata.
    strata: Vec<Vec<[usize; 2]>>,
    /// Pixels of all tiles over those of the picture.
    share: f64,
}

impl Divided {
    /// `None` where whole pictures are measured.
    fn of(scene: &Scene, processing: &Processing) -> Option<Divided> {
        let pixels = scene.size[0] * scene.size[1];
        // A cap of grey levels follows from those of the whole picture.
        if pixels <= WHOLE_UP_TO || processing.preparation.intensity_cap.is_some() {
            return None;
        }
        let layout = TileLayout::of(scene.size, processing)?;
        let tile: usize = layout.tile_px().iter().product();
        let share = |tiles: usize| (tiles * tile) as f64 / pixels as f64;
        let usual = |n: &usize| n * tile <= MOST_PIXELS && share(*n) <= MOST_SHARE;
        let count = (TILES.into_iter().find(usual)).unwrap_or(TILES[TILES.len() - 1]);
        let seen = seen_blocks(scene, processing, &layout);
        (share(count) <= MOST_SHARE && seen.len() >= 2 * count).then(|| Divided {
            strata: strata::of(scene, &layout, &seen, count / EACH),
            share: share(count),
            layout,
        })
    }

    /// Some blocks of each stratum, by chance.
    fn choose(&self, processing: &Processing, seed: u64) -> Tiling {
        let strata = self.strata.iter().enumerate();
        let chosen: Vec<[usize; 2]> = strata
            .flat_map(|(h, blocks)| some_of(blocks, EACH, seed, h as u64))
            .collect();
        let stratum = (0..chosen.len()).map(|t| t / EACH).collect();
        let numbers = self.strata.iter().map(Vec::len).collect();
        Tiling::on(&self.layout, &chosen, processing, self.share, |places| {
            Tiles::new(places, stratum, numbers)
        })
    }
}

impl Tiling {
    /// The tiles on which an experiment is measured; `None` where whole pictures are.
    pub(super) fn of(scene: &Scene, processing: &Processing, seed: u64) -> Option<Tiling> {
        Some(Divided::of(scene, processing)?.choose(processing, seed))
    }

    fn on(
        layout: &TileLayout,
        chosen: &[[usize; 2]],
        processing: &Processing,
        share: f64,
        tiles: impl FnOnce(Vec<Option<usize>>) -> Tiles,
    ) -> Tiling {
        let blocks: Vec<TileBlock> = chosen
            .iter()
            .map(|block| TileBlock {
                first: layout.first_in_tile(*block),
                grid: layout.grid(*block),
            })
            .collect();
        let crops: Vec<Crop> = chosen.iter().map(|block| layout.crop(*block)).collect();
        let reach = reach(&blocks[0].grid);
        let columns = blocks.iter().map(|b| b.grid.columns).max().expect("a block");
        let high = blocks.iter().map(|b| b.grid.rows).max().expect("a block");
        let mut tiling = Tiling {
            processing: crops.iter().map(|crop| cut(processing, *crop)).collect(),
            crops,
            tiles: Tiles::new(Vec::new(), Vec::new(), Vec::new()),
            share,
            columns,
            // Nothing that depends on each other is nearer than twice the reach.
            rows: high + 2 * reach[1],
            reach,
            blocks,
        };
        let mut places = vec![None; tiling.len()];
        for (t, _, place) in tiling.places() {
            places[place] = Some(t);
        }
        tiling.tiles = tiles(places);
        tiling
    }

    /// Vectors of all blocks, with what keeps them apart.
    fn len(&self) -> usize {
        self.columns * self.rows * self.blocks.len()
    }

    /// Columns of the vectors of all blocks, and within which distance they depend on each other.
    pub(super) fn grid(&self) -> (usize, [usize; 2]) {
        (self.columns, self.reach)
    }

    /// Every vector that counts: its tile, its place in the block's own grid, and among all.
    fn places(&self) -> impl Iterator<Item = (usize, [usize; 2], usize)> {
        self.blocks.iter().enumerate().flat_map(move |(t, block)| {
            (0..block.grid.len()).map(move |k| {
                let [i, j] = [k % block.grid.columns, k / block.grid.columns];
                (t, [i, j], (t * self.rows + j) * self.columns + i)
            })
        })
    }

    /// The truth at all vectors, by that at the vectors of a grid in the picture; none in between.
    pub(super) fn truth(&self, of: impl Fn(&Grid) -> VectorTruth) -> VectorTruth {
        let truths: Vec<VectorTruth> = self.blocks.iter().map(|block| of(&block.grid)).collect();
        let mut all = VectorTruth {
            point_px: vec![[f64::NAN; 2]; self.len()],
            window_px: vec![[f64::NAN; 2]; self.len()],
        };
        for (t, [i, j], place) in self.places() {
            let k = j * self.blocks[t].grid.columns + i;
            all.point_px[place] = truths[t].point_px[k];
            all.window_px[place] = truths[t].window_px[k];
        }
        all
    }

    /// All vectors, of the fields of the tiles; without a peak in between.
    pub(super) fn vectors(&self, fields: &[VectorField]) -> Vec<Vector> {
        let nothing = Vector {
            x_px: 0.0,
            y_px: 0.0,
            dx_px: 0.0,
            dy_px: 0.0,
            peak_ratio: 1.0,
            status: VectorStatus::NoPeak,
        };
        let mut all = vec![nothing; self.len()];
        for (t, [i, j], place) in self.places() {
            let [first, row] = self.blocks[t].first;
            all[place] = fields[t].vectors[(row + j) * fields[t].columns + first + i];
        }
        all
    }

    /// Columns and rows of a tile's vectors that count, and of those beside them, by which they are
    /// validated.
    pub(super) fn with_neighbours(&self, tile: usize) -> [Range<usize>; 2] {
        let TileBlock { first, grid } = &self.blocks[tile];
        let counts = [grid.columns, grid.rows];
        [0, 1].map(|k| first[k].saturating_sub(1)..first[k] + counts[k] + 1)
    }

    /// What is told of the tiles, where these vectors count.
    pub(super) fn told(&self, counts: &[bool]) -> MeasuredTiles {
        MeasuredTiles {
            size_px: self.crops[0].size,
            share: self.share,
            tiles: self.tiles.clone(),
            weights: self.tiles.weights(counts),
        }
    }
}

/// What would be told of an experiment before it is measured: number and size of its tiles, px;
/// `None` where whole pictures are measured.
pub fn announced(experiment: &Experiment, seed: u64) -> Option<(usize, [usize; 2])> {
    let tiling = Tiling::of(&experiment.scene, &experiment.processing, seed)?;
    Some((tiling.tiles.len(), tiling.crops[0].size))
}

/// Blocks in which some vector counts: not masked, and in fluid.
fn seen_blocks(scene: &Scene, processing: &Processing, layout: &TileLayout) -> Vec<[usize; 2]> {
    let seen = |[x, y]: [f64; 2]| {
        let masked = |mask: &Arc<Array2<bool>>| mask[[y.round() as usize, x.round() as usize]];
        !scene.flow.solid([x, y, 0.0]) && !processing.preparation.mask.as_ref().is_some_and(masked)
    };
    let any = |block: &[usize; 2]| {
        let grid = layout.grid(*block);
        (0..grid.len()).any(|k| seen(grid.centre(k % grid.columns, k / grid.columns)))
    };
    layout.blocks().filter(any).collect()
}

/// So many blocks of a stratum, by chance.
fn some_of(blocks: &[[usize; 2]], count: usize, study: u64, stratum: u64) -> Vec<[usize; 2]> {
    let seed = Seed {
        study,
        point: CHOICE,
        realisation: stratum,
    };
    let mut draws = seed.draws(0);
    let mut left = blocks.to_vec();
    (0..count)
        .map(|_| left.swap_remove((draws.uniform() * left.len() as f64) as usize))
        .collect()
}

/// A part of a picture.
pub(crate) fn part<T: Clone>(picture: &Array2<T>, crop: Crop) -> Array2<T> {
    let [columns, rows] = [0, 1].map(|k| Slice::from(crop.origin[k]..crop.end(k)));
    let rows = picture.slice_axis(Axis(0), rows);
    rows.slice_axis(Axis(1), columns).to_owned()
}

/// The processing of a tile: pictures that belong to the whole are cut.
pub(crate) fn cut(processing: &Processing, crop: Crop) -> Processing {
    let mut own = processing.clone();
    own.preparation.mask = processing
        .preparation
        .mask
        .as_ref()
        .map(|mask| Arc::new(part(mask, crop)));
    if let Background::Given(given) = &processing.preparation.background {
        own.preparation.background =
            Background::Given(given.each_ref().map(|frame| Arc::new(part(frame, crop))));
    }
    own
}

#[cfg(test)]
mod tests;
