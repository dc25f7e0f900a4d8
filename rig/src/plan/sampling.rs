//! Where a field is looked at before any picture is rendered, and how it moves there.

use motefield_generator::Flow;
use motefield_generator::flow::Vec3;
use rayon::prelude::*;

/// Points along each side of the picture.
const SIDE: usize = 33;

/// Points of a picture of the given size, px, on a lattice from border to border, row by row.
pub fn points(size: [usize; 2]) -> impl Iterator<Item = [f64; 2]> {
    let step = size.map(|n| (n as f64 - 1.0) / (SIDE as f64 - 1.0));
    (0..SIDE * SIDE).map(move |k| [(k % SIDE) as f64 * step[0], (k / SIDE) as f64 * step[1]])
}

/// How the fluid at one point of the picture moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moved {
    /// The point in the middle of the sheet, halfway between the pulses, px.
    pub at: Vec3,
    /// Where its fluid is at the first pulse and at the second, px.
    pub ends: [Vec3; 2],
    /// Whether a body is there.
    pub solid: bool,
}

/// The motion between the pulses at [`points`] of a picture.
pub(super) fn moved(size: [usize; 2], flow: &dyn Flow) -> Vec<Moved> {
    let one = |[x, y]: [f64; 2]| {
        let at = [x, y, 0.0];
        Moved {
            at,
            ends: [-0.5, 0.5].map(|time| flow.path(at, 0.0, time)),
            solid: flow.solid(at),
        }
    };
    let points: Vec<[f64; 2]> = points(size).collect();
    points.into_par_iter().map(one).collect()
}
