//! The true displacement at each vector.

use crate::window::{Grid, Weighting, window_weights};

/// The true displacement at each vector, px.
#[derive(Debug, Clone, PartialEq)]
pub struct VectorTruth {
    /// At the position of the vector.
    pub point_px: Vec<[f64; 2]>,
    /// Averaged over the window.
    pub window_px: Vec<[f64; 2]>,
}

impl VectorTruth {
    /// The truth at the windows of `grid`, from a function that gives the displacement, px, at a
    /// place (x, y), px. The average over a window samples it once in every block of `block` ×
    /// `block` pixels of the image, at the middle of the block.
    ///
    /// ```
    /// use motefield_evaluator::score::VectorTruth;
    /// use motefield_evaluator::{Grid, Weighting};
    ///
    /// // The average of a linear shear over a window is the value at its centre.
    /// let grid = Grid::new(32, 16, [16, 16], 0.0);
    /// let truth = VectorTruth::new(&grid, Weighting::Gaussian, 1, |x, _| [0.1 * x, 0.0]);
    /// assert!((truth.point_px[1][0] - 2.35).abs() < 1e-12);
    /// assert!((truth.window_px[1][0] - 2.35).abs() < 1e-12);
    /// ```
    pub fn new(
        grid: &Grid,
        weighting: Weighting,
        block: usize,
        at: impl Fn(f64, f64) -> [f64; 2],
    ) -> VectorTruth {
        Self::of_points(grid, weighting, block, |points_px| {
            points_px.iter().map(|[x, y]| at(*x, *y)).collect()
        })
    }

    /// The same from a function that gives the displacements, px, at many places (x, y), px, at
    /// once, in their order.
    pub fn of_points(
        grid: &Grid,
        weighting: Weighting,
        block: usize,
        at: impl Fn(&[[f64; 2]]) -> Vec<[f64; 2]>,
    ) -> VectorTruth {
        let block = block.max(1);
        let counts = [grid.columns, grid.rows];
        // For each window along an axis: the blocks it covers and the weight of each.
        let along = |axis: usize| -> Vec<Vec<(usize, f64)>> {
            let weights = window_weights(weighting, grid.window[axis]);
            (0..counts[axis])
                .map(|k| {
                    let first = grid.origin[axis] + k * grid.spacing[axis];
                    let mut blocks: Vec<(usize, f64)> = Vec::new();
                    for (pixel, weight) in (first..).zip(&weights) {
                        match blocks.last_mut() {
                            Some((last, sum)) if *last == pixel / block => *sum += weight,
                            _ => blocks.push((pixel / block, *weight)),
                        }
                    }
                    blocks
                })
                .collect()
        };
        let centre = |k: usize| grid.centre(k % grid.columns, k / grid.columns);
        let centres: Vec<[f64; 2]> = (0..grid.len()).map(centre).collect();
        let point_px = at(&centres);
        let (across, down) = (along(0), along(1));
        let end =
            |blocks: &[Vec<(usize, f64)>]| blocks.last().and_then(|b| b.last()).map_or(0, |(k, _)| k + 1);
        let (wide, high) = (end(&across), end(&down));
        let middle = |k: usize| (k * block) as f64 + 0.5 * (block as f64 - 1.0);
        let blocks: Vec<[f64; 2]> = (0..wide * high)
            .map(|k| [middle(k % wide), middle(k / wide)])
            .collect();
        let raster = at(&blocks);
        let window_px = down
            .iter()
            .flat_map(|rows| {
                let raster = &raster;
                across.iter().map(move |columns| {
                    let mut sum = [0.0; 2];
                    for (row, wy) in rows {
                        for (column, wx) in columns {
                            let u = raster[row * wide + column];
                            sum = [sum[0] + wx * wy * u[0], sum[1] + wx * wy * u[1]];
                        }
                    }
                    sum
                })
            })
            .collect();
        VectorTruth { point_px, window_px }
    }
}
