//! Pathlines of fields that have none in closed form.
//!
//! Extrapolation of the midpoint rule to step zero (Gragg, Bulirsch and Stoer): the rule's error over a step is a series in
//! the even powers of its substep, so the polynomial through ever finer results, read at substep zero, gains two
//! orders with each (Hairer, Nørsett and Wanner, *Solving Ordinary Differential Equations I*, II.9; method from memory,
//! checked in the tests by closed forms). A flow that turns by less than a radian between the pulses is crossed in one
//! step; where a field is not smooth the step is halved until it is.

use crate::flow::{Flow, Vec3, add, along};

/// How far a velocity field is smooth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Smoothness {
    /// Everywhere.
    Everywhere,
    /// Within pieces of this size, px, at whose borders the gradient or its derivatives jump.
    Pieces(f64),
}

impl Smoothness {
    /// Estimate of the error allowed in one step, px. For smooth fields far below every other error of a rendered pair (1e-6 px); across
    /// the borders of pieces the estimate is a poor one, and a path is off by up to some 1e-6 px (own measurement).
    fn tolerance_px(self) -> f64 {
        match self {
            Smoothness::Everywhere => 1e-11,
            Smoothness::Pieces(_) => 1e-10,
        }
    }
}

/// Substeps of the finest midpoint rule, over 2.
const ROWS: usize = 8;
/// Steps after which a path is given up where it stands: a field that needs more is not smooth on the scale of a pixel.
const MAX_STEPS: usize = 10_000;
/// Smallest step over the whole time: one that small is taken as it is, even across a kink.
const SMALLEST: f64 = 1.0 / (1u64 << 24) as f64;

/// The place at time `t1` of the fluid element that is at `from` at time `t0`; px and pulse separations.
pub fn integrate<F: Flow + ?Sized>(flow: &F, from: Vec3, t0: f64, t1: f64) -> Vec3 {
    let velocity = |at, time| flow.velocity(at, time);
    integrate_velocity(velocity, from, t0, t1, Smoothness::Everywhere)
}

/// As [`integrate`], through a velocity given as a function. Through a field in pieces no step is longer than half a piece, lest it
/// pass one unseen.
pub fn integrate_velocity(
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
        let whatever = step.abs() <= smallest;
        match extrapolate(&velocity, [at, first], t, step, smoothness, whatever) {
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

/// The way gone in one step, and the rows of the extrapolation it took; nothing where they do not settle.
fn extrapolate(
    velocity: &impl Fn(Vec3, f64) -> Vec3,
    start: [Vec3; 2],
    t: f64,
    step: f64,
    smoothness: Smoothness,
    whatever: bool,
) -> Option<(Vec3, usize)> {
    // The last row of the extrapolation's triangle: the way gone by ever higher orders.
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
        if error <= smoothness.tolerance_px() || not_a_number || whatever {
            return Some((row[j], j + 1));
        }
        if j >= 3 && error > 0.3 * before {
            return None;
        }
        before = error;
    }
    None
}

/// The way gone in one step by the midpoint rule with an even number of substeps, from a place and the velocity there; smoothed at
/// the end as Gragg did, without which the end is never looked at and a kink shortly before it missed.
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
