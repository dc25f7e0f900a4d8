//! Elements moved by series against the integrated path; and that no element depends on another.

use super::*;
use crate::flow::{Carried, Spectrum, Turbulence, Turned, VortexPair, VortexStreet};
use std::sync::Arc;

fn some_points(count: usize) -> Vec<Vec3> {
    (0..count)
        .map(|k| {
            let k = k as f64;
            [
                97.0 * (1.3 * k).sin(),
                61.0 * (2.1 * k + 1.0).sin(),
                5.0 * (0.7 * k).cos(),
            ]
        })
        .collect()
}

/// Vortices that turn by `turn` radians per pulse separation in the middle, drifting and askew.
fn street(turn: f64) -> Arc<dyn Flow> {
    // The middle of a Lamb–Oseen vortex turns at 1.1209/0.63817 = 1.7564 times its largest
    // displacement over the radius of that.
    let street = VortexStreet::new([0.0, 0.0], 3, 60.0, 17.0, turn * 12.0 / 1.7564, 12.0);
    let carried = Carried {
        flow: Arc::new(street),
        by_px: [9.0, -1.0, 0.3],
    };
    Arc::new(Turned::new(Arc::new(carried), [10.0, 4.0], 0.4))
}

/// From slow to far faster than any measurement could follow, where steps are halved and at last
/// integrated: places are within the 1e-6 px that a displacement may be off. Velocities
/// are off by twelve terms of 1e-7 px over the time of a step, 0.1 or more, and by the error of the
/// place times the gradient, some `turn` per px.
#[test]
fn fast_flows_take_smaller_steps() {
    let points = some_points(40);
    for turn in [0.01, 0.3, 1.0, 3.0, 10.0, 30.0] {
        let flow = street(turn);
        let states = follow(flow.as_ref(), points.iter().copied(), 0.1, &[-0.7, 0.1, 0.6]).expect("a series");
        for (from, states) in points.iter().zip(states.chunks(3)) {
            assert_eq!(states[1].at, *from);
            for (state, t) in states.iter().zip([-0.7, 0.1, 0.6]) {
                let at = flow.path(*from, 0.1, t);
                let velocity = flow.velocity(at, t);
                for i in 0..3 {
                    assert!((state.at[i] - at[i]).abs() < 1e-6, "{turn}: {state:?} {at:?}");
                    let off = (state.velocity[i] - velocity[i]).abs();
                    assert!(off < 12e-6 + 1e-6 * turn, "{turn}: {state:?} {velocity:?}");
                }
            }
        }
    }
}

/// An element's place is the same, to the bit, alone, among others, and with more times asked for.
#[test]
fn elements_do_not_depend_on_each_other() {
    let flows: [Arc<dyn Flow>; 3] = [
        street(3.0),
        Arc::new(VortexPair::new([1.0, 2.0], 60.0, 5.0, 15.0)),
        Arc::new(Turbulence::new(Spectrum::new(6.0, 80.0, 25.0), 7)),
    ];
    let points = some_points(29);
    for flow in &flows {
        let all = follow(flow.as_ref(), points.iter().copied(), 0.0, &[-0.5, 0.5]).expect("a series");
        let more = follow(
            flow.as_ref(),
            points.iter().copied(),
            0.0,
            &[-0.9, -0.5, 0.5, 0.7],
        )
        .expect("a series");
        for (k, at) in points.iter().enumerate() {
            let alone = follow(flow.as_ref(), [*at].into_iter(), 0.0, &[-0.5, 0.5]).expect("a series");
            assert_eq!(alone, all[2 * k..2 * k + 2]);
            assert_eq!(alone, more[4 * k + 1..4 * k + 3]);
        }
    }
}

/// States summed side by side are those summed one by one, to the bit, also where some series do
/// not reach the time.
#[test]
fn states_side_by_side_are_those_one_by_one() {
    let points = some_points(37);
    let axes = [0, 1, 2].map(|i| points.iter().map(|at| at[i]).collect::<Vec<_>>());
    let mut reached = [0; 2];
    for turn in [0.3, 3.0] {
        let flow = street(turn);
        let series = flow.series(axes.each_ref().map(|axis| &axis[..]), 0.0, 1.0);
        let series = series.expect("a series");
        for since in [0.0, 0.4, -1.0] {
            let states = series.states(since);
            for l in 0..points.len() {
                let alone = series.state(l, since);
                assert_eq!(states.state(l), alone, "{turn}, {since}: element {l}");
                reached[usize::from(alone.is_some())] += 1;
            }
        }
    }
    assert!(reached.iter().all(|n| *n > 0), "{reached:?}");
}
