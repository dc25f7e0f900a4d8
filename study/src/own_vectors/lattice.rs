//! Places of vectors as cells of a regular grid, so that what neighbours share can be counted.
//!
//! Vectors of a grid take its nodes. Vectors anywhere take cells of half their mean distance, each
//! the nearest that is free; a cell without a vector does not count.

use motefield_evaluator::conventions::PlacedVectors;
use motefield_evaluator::score::{Errors, OUTLIER_PX, VectorTruth};

/// Vectors of a picture that are scored at most: of more, every second (third …) along x and y.
pub const MOST_SCORED: usize = 20_000;
/// Positions may be off a node by so much, px: what rounding in files makes.
const OFF_PX: f64 = 0.05;
/// Windows, in spacings of the grid, and least size, px, where nobody says them: overlap of 75 %.
/// Too large a window makes intervals too wide, never too narrow.
const USUAL_WINDOW: (f64, f64) = (4.0, 32.0);
/// Cells for each vector, at most.
const MOST_CELLS: usize = 8;

/// A grid of cells with vectors in some.
#[derive(Debug, Clone, PartialEq)]
pub struct Lattice {
    /// Cells along x.
    pub columns: usize,
    /// Cells along y.
    pub rows: usize,
    /// Lag within which vectors share particles, cells along x and y.
    pub reach: [usize; 2],
    /// Cell of each vector.
    pub cell: Vec<usize>,
    /// Where each vector stands, px.
    at: Vec<[f64; 2]>,
}

impl Lattice {
    /// Of vectors at these places, measured with windows of this size, px, if it is known.
    pub fn of(at: &[[f64; 2]], window_px: Option<f64>) -> Lattice {
        let (columns, rows, spacing, cell) = regular(at).unwrap_or_else(|| scattered(at));
        let reach = spacing.map(|s| {
            let usual = (USUAL_WINDOW.0 * s).max(USUAL_WINDOW.1);
            ((window_px.unwrap_or(usual) - 1.0) / s).floor().max(0.0) as usize
        });
        Lattice {
            reach: [reach[0].min(columns), reach[1].min(rows)],
            columns,
            rows,
            cell,
            at: at.to_vec(),
        }
    }

    /// Which cells hold a vector.
    pub fn taken(&self) -> Vec<bool> {
        let mut taken = vec![false; self.columns * self.rows];
        self.cell.iter().for_each(|&cell| taken[cell] = true);
        taken
    }

    /// Values of the vectors in their cells, `NaN` in the others.
    pub fn spread(&self, values: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let mut cells = vec![[f64::NAN; 2]; self.columns * self.rows];
        self.cell
            .iter()
            .zip(values)
            .for_each(|(&cell, value)| cells[cell] = *value);
        cells
    }

    /// Errors of vectors in their cells: an outlier has none, nor a vector that is missing.
    pub fn errors(&self, errors_px: &[[f64; 2]]) -> Errors {
        let near = |e: &[f64; 2]| e[0].hypot(e[1]) <= OUTLIER_PX;
        let kept: Vec<[f64; 2]> = errors_px
            .iter()
            .map(|e| if near(e) { *e } else { [f64::NAN; 2] })
            .collect();
        let point_px = self.spread(&kept);
        Errors {
            detected: point_px.iter().map(|e| e[0].is_finite()).collect(),
            window_px: point_px.clone(),
            point_px,
        }
    }

    /// The truth in the cells; without a window, that averaged over it is the same.
    pub fn truth(&self, true_px: &[[f64; 2]]) -> VectorTruth {
        let point_px = self.spread(true_px);
        VectorTruth {
            window_px: point_px.clone(),
            point_px,
        }
    }

    /// Displacements of vectors of another pair, in the order of this one's; `NaN` where a place
    /// has none. `None` if some stand at other places.
    pub fn matched(&self, vectors: &PlacedVectors) -> Option<Vec<[f64; 2]>> {
        let near = |a: &[f64; 2], b: &[f64; 2]| (0..2).all(|c| (a[c] - b[c]).abs() <= OFF_PX);
        if self.at.len() == vectors.at.len() && self.at.iter().zip(&vectors.at).all(|(a, b)| near(a, b)) {
            return Some(vectors.moved.clone());
        }
        let key = |at: &[f64; 2]| at.map(|v| (v / (4.0 * OFF_PX)).round() as i64);
        let places: std::collections::HashMap<[i64; 2], usize> =
            self.at.iter().enumerate().map(|(k, at)| (key(at), k)).collect();
        let mut moved = vec![[f64::NAN; 2]; self.at.len()];
        for (at, d) in vectors.at.iter().zip(&vectors.moved) {
            let [x, y] = key(at);
            let around = (-1..=1).flat_map(|i| (-1..=1).map(move |j| [x + i, y + j]));
            let found = around
                .filter_map(|k| places.get(&k).copied())
                .find(|&k| near(&self.at[k], at));
            moved[found?] = *d;
        }
        Some(moved)
    }
}

/// Sorted values without repetition, but for rounding.
fn distinct(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values.dedup_by(|a, b| *a - *b <= OFF_PX);
    values
}

/// Columns, rows, spacing and the cell of each place, where these are nodes of a grid.
fn regular(at: &[[f64; 2]]) -> Option<(usize, usize, [f64; 2], Vec<usize>)> {
    let axis = |c: usize| -> Option<(f64, f64, usize)> {
        let values = distinct(at.iter().map(|p| p[c]).collect());
        let (first, last) = (*values.first()?, *values.last()?);
        let gaps = values.windows(2).map(|w| w[1] - w[0]);
        let least = gaps.fold(f64::INFINITY, f64::min);
        if !least.is_finite() {
            return Some((first, 1.0, 1));
        }
        // The mean over all steps is finer than the least gap, which rounding makes.
        let steps = ((last - first) / least).round();
        let spacing = (last - first) / steps;
        let on = |v: &f64| {
            let node = (v - first) / spacing;
            (node - node.round()).abs() * spacing <= 2.0 * OFF_PX
        };
        (steps < 1e6 && values.iter().all(on)).then_some((first, spacing, steps as usize + 1))
    };
    let (x, y) = (axis(0)?, axis(1)?);
    let cells =
        x.2.checked_mul(y.2)
            .filter(|n| *n <= MOST_CELLS * at.len() + 16)?;
    let node = |p: &[f64; 2]| {
        let index =
            [(p[0], x), (p[1], y)].map(|(v, (first, spacing, _))| ((v - first) / spacing).round() as usize);
        index[1] * x.2 + index[0]
    };
    let cell: Vec<usize> = at.iter().map(node).collect();
    let mut taken = vec![false; cells];
    cell.iter()
        .all(|&k| !std::mem::replace(&mut taken[k], true))
        .then_some((x.2, y.2, [x.1, y.1], cell))
}

/// The same of places anywhere.
fn scattered(at: &[[f64; 2]]) -> (usize, usize, [f64; 2], Vec<usize>) {
    let ends = [0, 1].map(|c| {
        let along = at.iter().map(|p| p[c]);
        [
            along.clone().fold(f64::INFINITY, f64::min),
            along.fold(f64::NEG_INFINITY, f64::max),
        ]
    });
    let [wide, high] = ends.map(|[low, high]| (high - low).max(1.0));
    let spacing = 0.5 * (wide * high / at.len() as f64).sqrt().max(1e-9);
    // Long and thin clouds of points keep their number of cells as well.
    let [columns, rows] = [wide, high].map(|w| ((w / spacing) as usize + 1).min(MOST_CELLS * at.len()));
    let mut rows = rows;
    while columns * rows < at.len() {
        rows += 1;
    }
    let mut taken = vec![false; columns * rows];
    let mut place = |p: &[f64; 2]| {
        let index = [0, 1].map(|c| ((p[c] - ends[c][0]) / spacing) as usize);
        let (i, j) = (index[0].min(columns - 1), index[1].min(rows - 1));
        let ring = |r: usize| {
            let span = move |k: usize, n: usize| k.saturating_sub(r)..=(k + r).min(n - 1);
            span(j, rows).flat_map(move |y| span(i, columns).map(move |x| (x, y)))
        };
        let free =
            (0..columns.max(rows)).find_map(|r| ring(r).map(|(x, y)| y * columns + x).find(|&k| !taken[k]));
        let free = free.expect("as many cells as places, at least");
        taken[free] = true;
        free
    };
    let cell = at.iter().map(&mut place).collect();
    (columns, rows, [spacing; 2], cell)
}

/// At most [`MOST_SCORED`] of the vectors, every n-th along x and y of a grid; and n.
pub fn thinned(vectors: PlacedVectors) -> (PlacedVectors, usize) {
    let count = vectors.at.len();
    let every = ((count as f64 / MOST_SCORED as f64).sqrt().ceil() as usize).max(1);
    if every == 1 {
        return (vectors, 1);
    }
    let kept: Vec<usize> = match regular(&vectors.at) {
        Some((columns, _, _, cell)) => (0..count)
            .filter(|&k| {
                (cell[k] % columns).is_multiple_of(every) && (cell[k] / columns).is_multiple_of(every)
            })
            .collect(),
        None => (0..count).step_by(every * every).collect(),
    };
    let thin = PlacedVectors {
        at: kept.iter().map(|&k| vectors.at[k]).collect(),
        moved: kept.iter().map(|&k| vectors.moved[k]).collect(),
    };
    (thin, every)
}
