//! Finds the triangles that may hold a point.

use super::{Xy, bounds, minus};

/// The triangles that meet each cell of a regular grid over all nodes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Buckets {
    low: Xy,
    pub(super) cell: Xy,
    count: [usize; 2],
    /// Where the list of each cell begins in `triangles`, and the end of the last.
    start: Vec<u32>,
    triangles: Vec<u32>,
}

/// Range of x of the part of a triangle that lies in the range `band` of y.
fn reach(corners: [Xy; 3], band: Xy) -> Xy {
    let mut range = [f64::INFINITY, f64::NEG_INFINITY];
    for k in 0..3 {
        let (a, edge) = (corners[k], minus(corners[(k + 1) % 3], corners[k]));
        // The part of the edge within the band.
        let [mut from, mut to] = if edge[1] == 0.0 {
            let inside = (band[0]..=band[1]).contains(&a[1]);
            if inside { [0.0, 1.0] } else { [1.0, 0.0] }
        } else {
            band.map(|y| (y - a[1]) / edge[1])
        };
        if edge[1] < 0.0 {
            (from, to) = (to, from);
        }
        let (from, to) = (from.max(0.0), to.min(1.0));
        for t in [from, to].into_iter().filter(|_| from <= to) {
            let x = a[0] + t * edge[0];
            range = [range[0].min(x), range[1].max(x)];
        }
    }
    range
}

impl Buckets {
    pub(super) fn new(at: &[Xy], triangles: &[[usize; 3]]) -> Buckets {
        let [low, high] = bounds(at.iter().copied());
        let side = (triangles.len() as f64).sqrt().ceil() as usize;
        let cell = [0, 1].map(|i| (high[i] - low[i]) / side as f64);
        let mut buckets = Buckets {
            low,
            cell,
            count: [side; 2],
            start: vec![0; side * side + 1],
            triangles: Vec::new(),
        };
        let mut pairs: Vec<(u32, u32)> = Vec::new();
        for (t, triangle) in triangles.iter().enumerate() {
            let corners = triangle.map(|k| at[k]);
            let [first, last] = bounds(corners.into_iter()).map(|p| buckets.index(p)[1]);
            for row in first..=last {
                // Slightly more than the row, because of rounding when a point is looked up.
                let edge = |k: usize| low[1] + k as f64 * cell[1];
                let band = [edge(row) - 1e-6 * cell[1], edge(row + 1) + 1e-6 * cell[1]];
                let [from, to] = reach(corners, band);
                let column = |x: f64| buckets.index([x, low[1]])[0];
                for x in column(from - 1e-6 * cell[0])..=column(to + 1e-6 * cell[0]) {
                    pairs.push(((row * side + x) as u32, t as u32));
                }
            }
        }
        pairs.sort_unstable();
        for (cell, _) in &pairs {
            buckets.start[*cell as usize + 1] += 1;
        }
        for k in 0..side * side {
            buckets.start[k + 1] += buckets.start[k];
        }
        buckets.triangles = pairs.into_iter().map(|(_, t)| t).collect();
        buckets
    }

    fn index(&self, at: Xy) -> [usize; 2] {
        [0, 1].map(|i| (((at[i] - self.low[i]) / self.cell[i]) as usize).min(self.count[i] - 1))
    }

    /// The triangles that may hold a point.
    pub(super) fn at(&self, at: Xy) -> &[u32] {
        let [x, y] = self.index(at);
        let cell = y * self.count[0] + x;
        &self.triangles[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}
