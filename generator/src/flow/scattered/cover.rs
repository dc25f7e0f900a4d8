//! Where there is fluid between scattered nodes: in the triangles that cover it.

use super::buckets::Buckets;
use super::{Xy, weights};

/// Triangles that cover the fluid.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cover {
    nodes: Vec<Xy>,
    triangles: Vec<[usize; 3]>,
    buckets: Buckets,
    /// The rectangle outside which the buckets know nothing.
    bounds: [Xy; 2],
}

impl Cover {
    /// Of the `triangles`, numbers of `nodes`; at least one.
    pub(super) fn new(nodes: &[Xy], triangles: &[[usize; 3]]) -> Cover {
        let used = triangles.iter().flatten().map(|&k| nodes[k]);
        Cover {
            bounds: super::bounds(used),
            buckets: Buckets::new(nodes, triangles),
            nodes: nodes.to_vec(),
            triangles: triangles.to_vec(),
        }
    }

    /// Whether a triangle holds the point, but for rounding.
    pub(super) fn holds(&self, at: Xy) -> bool {
        let [low, high] = self.bounds;
        let near = (0..2).all(|i| at[i] >= low[i] && at[i] <= high[i]);
        near && self.buckets.at(at).iter().any(|&t| {
            let corners = self.triangles[t as usize].map(|k| self.nodes[k]);
            weights(corners, at).iter().all(|w| *w > -1e-9)
        })
    }
}
