//! Blocks of vectors of a picture, and the tile that each needs.
//!
//! Along an axis of W px, the grid of a pass with windows of side D at the spacing s begins half of
//! what is left over, L = W - D - (n - 1) s < s, from the border. A tile that begins at a multiple
//! of s and whose length differs from W by one has the same left over, so that its windows are some
//! of those of the whole picture. With the least common multiple of all spacings that holds for
//! every pass, and the tile's vectors are those of the whole picture but for what lies beyond the
//! tile's border.
//!
//! That reaches as far as a window of the last pass asks for displacements: they come from vectors
//! of the pass before, smoothed over some neighbours ([`PredictorFilter`]), and these from windows
//! of their own, and so on. Half a window of each pass before, and one vector on either side of the
//! last for validation, is what a vector depends on to first order. The smoothing is at its largest
//! beside a border, where neighbours are missing, so that further vectors of the pass before are
//! added: as many as its filter reaches. What is beyond has a small share in a displacement that
//! the next pass measures anew.

use motefield_evaluator::{Grid, PredictorFilter, Processing};
use motefield_generator::Crop;

/// Largest common multiple of spacings on which tiles are aligned, px: beyond, only those of the
/// last pass are.
const LARGEST_STEP_PX: usize = 128;
/// Side of a tile that leaves its border enough room in most chains, px.
const USUAL_TILE_PX: usize = 256;
/// Least length of a block, px.
const LEAST_BLOCK_PX: usize = 48;
/// What interpolation and sub-pixel fits reach, px.
const INTERPOLATION_PX: usize = 8;

/// How a picture's vectors are divided.
#[derive(Debug, Clone)]
pub(super) struct TileLayout {
    /// The vectors of the whole picture.
    grid: Grid,
    axes: [AxisLayout; 2],
}

/// Along one axis.
#[derive(Debug, Clone)]
struct AxisLayout {
    /// First vector of each block, and the number of all.
    firsts: Vec<usize>,
    /// First pixel of the tile of each block.
    origins: Vec<usize>,
    /// Length of a tile, px.
    tile: usize,
}

impl TileLayout {
    /// `None` where the picture has no vectors.
    pub(super) fn of(size: [usize; 2], processing: &Processing) -> Option<TileLayout> {
        let grids: Vec<Grid> = (processing.passes.iter())
            .map(|pass| Grid::new(size[0], size[1], pass.window, pass.overlap))
            .collect();
        let grid = grids.last().filter(|grid| !grid.is_empty())?.clone();
        let axes = [0, 1].map(|k| AxisLayout::of(size[k], &grids, k, processing));
        Some(TileLayout { grid, axes })
    }

    /// Width and height of a tile.
    pub(super) fn tile_px(&self) -> [usize; 2] {
        self.axes.each_ref().map(|axis| axis.tile)
    }

    /// Column and row of every block.
    pub(super) fn blocks(&self) -> impl Iterator<Item = [usize; 2]> {
        let [columns, rows] = self.axes.each_ref().map(|axis| axis.origins.len());
        (0..rows).flat_map(move |j| (0..columns).map(move |i| [i, j]))
    }

    /// The tile of a block.
    pub(super) fn crop(&self, block: [usize; 2]) -> Crop {
        Crop {
            origin: [0, 1].map(|k| self.axes[k].origins[block[k]]),
            size: self.tile_px(),
        }
    }

    /// The vectors of a block in the picture.
    pub(super) fn grid(&self, block: [usize; 2]) -> Grid {
        let [columns, rows] = [0, 1].map(|k| self.axes[k].vectors(block[k]));
        let first = self.grid.corner(columns[0], rows[0]);
        Grid {
            columns: columns[1] - columns[0],
            rows: rows[1] - rows[0],
            origin: first,
            ..self.grid.clone()
        }
    }

    /// Column and row of a block's first vector in the grid of its tile.
    pub(super) fn first_in_tile(&self, block: [usize; 2]) -> [usize; 2] {
        [0, 1].map(|k| {
            let axis = &self.axes[k];
            axis.firsts[block[k]] - axis.origins[block[k]] / self.grid.spacing[k]
        })
    }
}

impl AxisLayout {
    fn of(length: usize, grids: &[Grid], axis: usize, processing: &Processing) -> AxisLayout {
        let last = &grids[grids.len() - 1];
        let (window, spacing) = (last.window[axis], last.spacing[axis]);
        let count = [last.columns, last.rows][axis];
        let step = step(grids, axis);
        let halo = halo(grids, axis, processing);
        let beside = 2 * halo + window - spacing;
        let wanted = USUAL_TILE_PX.saturating_sub(beside).max(LEAST_BLOCK_PX);
        let blocks = (count / (wanted / spacing).max(1)).max(1);
        let firsts: Vec<usize> = (0..=blocks).map(|b| b * count / blocks).collect();
        // From the first pixel that a block needs to the one behind the last.
        let needs = |b: usize| {
            let first = (last.origin[axis] + firsts[b] * spacing).saturating_sub(halo);
            let end = last.origin[axis] + (firsts[b + 1] - 1) * spacing + window + halo;
            [first / step * step, end.min(length)]
        };
        let longest = (0..blocks)
            .map(|b| needs(b)[1] - needs(b)[0])
            .max()
            .unwrap_or(length);
        // As long, but for a multiple of the step, as the picture.
        let least = grids.iter().map(|g| g.window[axis]).fold(longest, usize::max);
        let tile = length - length.saturating_sub(least) / step * step;
        AxisLayout {
            origins: (0..blocks).map(|b| needs(b)[0].min(length - tile)).collect(),
            firsts,
            tile,
        }
    }

    /// First vector of a block and the one behind its last.
    fn vectors(&self, block: usize) -> [usize; 2] {
        [self.firsts[block], self.firsts[block + 1]]
    }
}

/// Of what length tiles begin at multiples, px.
fn step(grids: &[Grid], axis: usize) -> usize {
    fn divisor(a: usize, b: usize) -> usize {
        if b == 0 { a } else { divisor(b, a % b) }
    }
    let multiple = |a: usize, b: usize| a / divisor(a, b) * b;
    let last = grids[grids.len() - 1].spacing[axis];
    let all = grids.iter().map(|grid| grid.spacing[axis]).fold(1, multiple);
    if all <= LARGEST_STEP_PX { all } else { last }
}

/// Pixels beyond a window of the last pass on which its vector depends.
fn halo(grids: &[Grid], axis: usize, processing: &Processing) -> usize {
    let (last, before) = grids.split_last().expect("a pass");
    let windows: usize = before.iter().map(|grid| grid.window[axis] / 2).sum();
    let neighbours = match processing.predictor_filter {
        PredictorFilter::None => 0,
        PredictorFilter::BSpline => 1,
        PredictorFilter::Regression => 2,
    };
    let filter = before.last().map_or(0, |grid| neighbours * grid.spacing[axis]);
    let of_mean = |side: Option<usize>| side.unwrap_or(0) / 2;
    let preparation = &processing.preparation;
    windows
        + filter
        + last.spacing[axis]
        + INTERPOLATION_PX
        + of_mean(preparation.high_pass_px)
        + of_mean(preparation.local_normalisation_px)
}
