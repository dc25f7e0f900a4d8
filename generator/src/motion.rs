//! Where fluid elements are at given times, many at once.
//!
//! In a field that gives its pathlines as [series](crate::flow::Flow::series), elements move in
//! blocks. Where a series does not reach the time, because the flow turns fast there, the element
//! goes half the way and starts anew from there; what is not done in eight steps is left to
//! [`Flow::path`]. Which way an element goes depends on itself and the times alone, never on what
//! else is in its block.

use crate::flow::{Flow, State, Vec3};

/// Elements of a block: enough to fill vector registers, few enough that the terms of their series
/// stay in the fastest memory.
const BLOCK: usize = 64;

/// Number of times that a way is halved before the path is integrated.
const HALVINGS: u32 = 3;

/// States at each of the times `to` of the elements that are at `from` at the time `t0`: all times
/// of the first element, then those of the second and so on. `None` where the field gives no
/// series.
pub(crate) fn follow(
    flow: &dyn Flow,
    mut from: impl ExactSizeIterator<Item = Vec3>,
    t0: f64,
    to: &[f64],
) -> Option<Vec<State>> {
    let reach = to.iter().map(|t| (t - t0).abs()).fold(0.0, f64::max);
    let mut all = Vec::new();
    let mut axes = [[0.0; BLOCK]; 3];
    while from.len() > 0 {
        let width = from.len().min(BLOCK);
        for (l, at) in from.by_ref().take(width).enumerate() {
            for i in 0..3 {
                axes[i][l] = at[i];
            }
        }
        let series = flow.series(axes.each_ref().map(|axis| &axis[..width]), t0, reach)?;
        all.reserve_exact((width + from.len()) * to.len());
        let found: Vec<_> = to.iter().map(|t1| series.states(t1 - t0)).collect();
        for l in 0..width {
            for (t1, found) in to.iter().zip(&found) {
                let at = axes.each_ref().map(|axis| axis[l]);
                all.push(
                    found
                        .state(l)
                        .unwrap_or_else(|| in_halves(flow, at, [t0, *t1], HALVINGS)),
                );
            }
        }
    }
    Some(all)
}

/// Velocities at some points and one time, px per pulse separation, for any field.
pub(crate) fn velocities(flow: &dyn Flow, at: &[Vec3], time: f64) -> Vec<Vec3> {
    match follow(flow, at.iter().copied(), time, &[time]) {
        Some(states) => states.iter().map(|state| state.velocity).collect(),
        None => at.iter().map(|at| flow.velocity(*at, time)).collect(),
    }
}

/// Places at the times `to` of the elements that are at `from` at the time `t0`, for any field.
pub(crate) fn places<const N: usize>(
    flow: &dyn Flow,
    from: &[Vec3],
    t0: f64,
    to: [f64; N],
) -> Vec<[Vec3; N]> {
    match follow(flow, from.iter().copied(), t0, &to) {
        Some(states) => {
            let one = |times: &[State]| std::array::from_fn(|k| times[k].at);
            states.chunks_exact(N).map(one).collect()
        }
        None => from.iter().map(|at| to.map(|t| flow.path(*at, t0, t))).collect(),
    }
}

/// State of one element after two steps of half the time.
fn in_halves(flow: &dyn Flow, from: Vec3, [t0, t1]: [f64; 2], halvings: u32) -> State {
    if halvings == 0 {
        let at = flow.path(from, t0, t1);
        let velocity = flow.velocity(at, t1);
        return State { at, velocity };
    }
    let step = |from: Vec3, t0: f64, t1: f64| {
        let [x, y, z] = from.map(|v| [v]);
        flow.series([&x, &y, &z], t0, t1 - t0)
            .and_then(|series| series.state(0, t1 - t0))
            .unwrap_or_else(|| in_halves(flow, from, [t0, t1], halvings - 1))
    };
    let middle = 0.5 * (t0 + t1);
    step(step(from, t0, middle).at, middle, t1)
}

#[cfg(test)]
mod tests;
