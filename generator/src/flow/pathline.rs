//! Numerical pathlines, for fields that have none in closed form.
//!
//! The method is the extrapolation of the midpoint rule to step zero (Gragg, Bulirsch and Stoer).
//! The error of the rule over a step is a series in the even powers of its substep, so the
//! polynomial through the results for ever finer substeps, read at substep zero, gains two orders
//! with each (Hairer, Nørsett and Wanner, *Solving Ordinary Differential Equations I*, II.9). One
//! step suffices for a flow that turns by less than a radian between the pulses; where a field is
//! not smooth the step is halved until it is.

use super::{Flow, Vec3, add, along};

/// Where a velocity field is smooth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Smoothness {
    /// It is smooth everywhere.
    Everywhere,
    /// Inside pieces of this size, px, at whose borders the gradient or its derivatives jump.
    Pieces(f64),
}

impl Smoothness {
    /// Largest estimated error of one step, px. For smooth fields it is far below all other errors
    /// of a rendered pair (1e-6 px). Across the borders of pieces the estimate is rough, and a path
    /// is off by up to some 1e-6 px, as measured.
    fn tolerance_px(self) -> f64 {
        match self {
            Smoothness::Everywhere => 1e-11,
            Smoothness::Pieces(_) => 1e-10,
        }
    }
}

/// Number of midpoint rules; the finest has twice as many substeps.
const ROWS: usize = 8;
/// Number of steps after which a path ends where it is: a field that needs more is not smooth on
/// the scale of a pixel.
const MAX_STEPS: usize = 10_000;
/// Smallest step over the whole time; a step that small is accepted whatever its error, even across
/// a kink.
const SMALLEST: f64 = 1.0 / (1u64 << 24) as f64;

/// Place at time `t1` of the fluid element that is at `from` at time `t0`, px and pulse
/// separations, in a smooth field.
pub(crate) fn integrate<F: Flow + ?Sized>(flow: &F, from: Vec3, t0: f64, t1: f64) -> Vec3 {
    let velocity = |at, time| flow.velocity(at, time);
    integrate_velocity(velocity, from, t0, t1, Smoothness::Everywhere)
}

/// As [`integrate`], by the velocity [continued](Flow::continued) into bodies, in steps for the
/// field's own [pieces](Flow::piece_px).
pub(crate) fn along_continued<F: Flow + ?Sized>(flow: &F, from: Vec3, t0: f64, t1: f64) -> Vec3 {
    let smoothness = flow.piece_px().map_or(Smoothness::Everywhere, Smoothness::Pieces);
    integrate_velocity(|at, time| flow.continued(at, time), from, t0, t1, smoothness)
}

/// As [`integrate`], for a velocity given as a function. In a field of pieces no step is longer
/// than half a piece, so that none is passed unseen.
pub(crate) fn integrate_velocity(
    velocity: impl Fn(Vec3, f64) -> Vec3,
    from: Vec3,
    t0: f64,
    t1: f64,
    smoothness: Smoothness,
) -> Vec3 {
    let (mut at, mut t, mut step) = (from, t0, t1 - t0);
    let smallest = SMALLEST * (t1 - t0).abs();
    for _ in 0..MAX_STEPS {
        if t == t1 {
            break;
        }
        let first = velocity(at, t);
        if let Smoothness::Pieces(size_px) = smoothness {
            let speed = first.iter().map(|v| v.abs()).fold(0.0, f64::max);
            step = step.signum() * step.abs().min(0.5 * size_px / speed);
        }
        let last = (t + step - t1) * step.signum() >= 0.0;
        if last {
            step = t1 - t;
        }
        let accept = step.abs() <= smallest;
        match extrapolate(&velocity, [at, first], t, step, smoothness, accept) {
            Some((gain, rows)) => {
                at = add(at, gain);
                t = if last { t1 } else { t + step };
                if rows <= ROWS / 2 + 1 {
                    step *= 2.0;
                }
            }
            None => step *= 0.5,
        }
    }
    at
}

/// Way gone in one step and the number of rows of the extrapolation that it took; `None` where they
/// do not converge. With `accept` the first estimate is taken whatever its error. `start` is the
/// place and the velocity there.
fn extrapolate(
    velocity: &impl Fn(Vec3, f64) -> Vec3,
    start: [Vec3; 2],
    t: f64,
    step: f64,
    smoothness: Smoothness,
    accept: bool,
) -> Option<(Vec3, usize)> {
    // The last row of the extrapolation table: the way gone, by ever higher orders.
    let mut row = [[0.0; 3]; ROWS];
    let mut before = f64::INFINITY;
    for j in 0..ROWS {
        let mut new = [[0.0; 3]; ROWS];
        new[0] = midpoint(velocity, start, t, step, 2 * (j + 1));
        for k in 1..=j {
            let ratio = (j + 1) as f64 / (j + 1 - k) as f64;
            let weight = 1.0 / (ratio * ratio - 1.0);
            for i in 0..3 {
                new[k][i] = new[k - 1][i] + weight * (new[k - 1][i] - row[k - 1][i]);
            }
        }
        row = new;
        if j == 0 {
            continue;
        }
        let error = (0..3)
            .map(|i| (row[j][i] - row[j - 1][i]).abs())
            .fold(0.0, f64::max);
        let not_a_number = row[j].iter().any(|g| g.is_nan());
        if error <= smoothness.tolerance_px() || not_a_number || accept {
            return Some((row[j], j + 1));
        }
        if j >= 3 && error > 0.3 * before {
            return None;
        }
        before = error;
    }
    None
}

/// Way gone in one step by the midpoint rule with an even number of substeps, from a place and the
/// velocity there. Gragg's smoothing at the end makes the rule use the velocity there, without
/// which a kink shortly before the end would be missed.
fn midpoint(
    velocity: &impl Fn(Vec3, f64) -> Vec3,
    [at, first]: [Vec3; 2],
    t: f64,
    step: f64,
    substeps: usize,
) -> Vec3 {
    let h = step / substeps as f64;
    let mut before = [0.0; 3];
    let mut now = along(before, first, h);
    let slope = |way: Vec3, m: usize| velocity(add(at, way), t + m as f64 * h);
    for m in 1..substeps {
        let next = along(before, slope(now, m), 2.0 * h);
        (before, now) = (now, next);
    }
    along(add(before, now), slope(now, substeps), h).map(|twice| 0.5 * twice)
}
