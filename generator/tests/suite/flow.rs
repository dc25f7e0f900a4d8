//! Velocity fields: gradients against finite differences, pathlines against closed forms and
//! against the integrator.
//!
//! The integrator is compared with closed forms (solid rotation, straight lines), the closed
//! pathlines of all fields with the integrator, and what moves particles and gives the truth of a
//! picture with both.

use std::sync::Arc;

use motefield_generator::flow::{
    Flow, LambOseen, SinusoidalShear, SolidRotation, Spectrum, Sum, Summand, Turbulence, Uniform, Vec3, Wall,
};
use motefield_generator::pair::shown;
use motefield_generator::{Exposure, Scene, Seed, truth};
use proptest::prelude::*;

use super::flow_fields::{burgers, data, drifting, fields, plain, sums, turbulence, wake, walled};

/// A field whose pathline is integrated numerically, even if it has a closed form.
#[derive(Debug)]
struct Integrated<'a>(&'a dyn Flow);

impl Flow for Integrated<'_> {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        self.0.velocity(at, time)
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        self.0.gradient(at, time)
    }
}

fn point() -> impl Strategy<Value = (Vec3, f64)> {
    ((-150.0..150.0, -150.0..150.0, -5.0..5.0), -0.6..0.6).prop_map(|((x, y, z), t)| ([x, y, z], t))
}

proptest! {
    /// Central differences of step h are off by h²/6 times the third derivative, 1e-8 px per px for
    /// h = 1e-3 px and the scales here (12 px and more; 5 px in wall layers), and by 1e-12 of
    /// rounding over h.
    #[test]
    fn gradient_is_that_of_the_velocity((at, t) in point()) {
        const H: f64 = 1e-3;
        for (name, flow, kink) in fields() {
            if kink(at) < 2.0 * H {
                continue;
            }
            let gradient = flow.gradient(at, t);
            let slopes: [Vec3; 3] = std::array::from_fn(|j| difference(flow.as_ref(), at, t, j, H));
            for (i, row) in gradient.iter().enumerate() {
                for (j, g) in row.iter().enumerate() {
                    prop_assert!((slopes[j][i] - g).abs() < 1e-7, "{name} {i}{j}: {} {}", slopes[j][i], g);
                }
            }
            // The terms that cancel are up to 1 px per px; only their rounding is left.
            prop_assert!((gradient[0][0] + gradient[1][1] + gradient[2][2]).abs() < 2e-15, "{name} diverges");
        }
    }

    /// As above, in layers of 12 px and more.
    #[test]
    fn gradient_near_walls_is_that_of_the_velocity((at, t) in point()) {
        const H: f64 = 1e-3;
        for (name, flow, kink) in walled() {
            if kink(at) < 2.0 * H {
                continue;
            }
            let gradient = flow.gradient(at, t);
            for j in 0..3 {
                let slope = difference(flow.as_ref(), at, t, j, H);
                for (i, (slope, row)) in slope.iter().zip(&gradient).enumerate() {
                    prop_assert!((slope - row[j]).abs() < 1e-7, "{name} {i}{j}: {slope}");
                }
            }
        }
    }

    /// No path leads into a wall, each leads back within 1e-9 px, and there are steps enough: 64 of
    /// them lead to the same place.
    #[test]
    fn pathlines_stay_before_walls((at, t) in point(), span in -1.5..1.5f64) {
        for (name, flow, _) in walled() {
            let to = flow.path(at, t, t + span);
            if flow.solid(at) {
                prop_assert_eq!(to, at);
                continue;
            }
            prop_assert!(!flow.solid(to), "{name} runs into the wall: {at:?} {to:?}");
            let back = flow.path(to, t + span, t);
            let exact = (0..64).fold(at, |at, k| {
                let time = |k: i32| t + span * f64::from(k) / 64.0;
                flow.path(at, time(k), time(k + 1))
            });
            for i in 0..3 {
                prop_assert!((to[i] - exact[i]).abs() < 1e-9, "{name}: {to:?} {exact:?}");
                prop_assert!((back[i] - at[i]).abs() < 1e-9, "{name} does not come back");
            }
        }
    }

    /// Interpolated data are piecewise cubic: a difference across an edge is off by h times the
    /// jump of the second derivative, below 0.01 per px here, and by that of the gradient where the
    /// data end.
    #[test]
    fn gradient_of_data_is_that_of_the_velocity((at, t) in point()) {
        const H: f64 = 1e-6;
        let ends = |v: f64, end: f64| (v.abs() - end).abs() < 2.0 * H;
        for (name, flow, _) in data() {
            if ends(at[0], 120.0) || ends(at[1], 112.0) || ends(at[2] - 0.5, 4.5) {
                continue;
            }
            let gradient = flow.gradient(at, t);
            let slopes: [Vec3; 3] = std::array::from_fn(|j| difference(flow.as_ref(), at, t, j, H));
            for (i, row) in gradient.iter().enumerate() {
                for (j, g) in row.iter().enumerate() {
                    prop_assert!((slopes[j][i] - g).abs() < 2e-8, "{name} {at:?} {i}{j}: {} {}", slopes[j][i], g);
                }
            }
        }
    }

    /// The closed pathline is the integrated one, and the path back leads to the start. Within 1e-9
    /// px. Where a path crosses a kink the integrator takes small steps, and the path is as good.
    #[test]
    fn pathlines_agree((at, t) in point(), span in -1.5..1.5f64) {
        for (name, flow, _) in fields() {
            if flow.solid(at) {
                prop_assert_eq!(flow.path(at, t, t + span), at);
                continue;
            }
            let closed = flow.path(at, t, t + span);
            let integrated = Integrated(flow.as_ref()).path(at, t, t + span);
            let back = flow.path(closed, t + span, t);
            for i in 0..3 {
                prop_assert!((closed[i] - integrated[i]).abs() < 1e-9, "{name}: {closed:?} {integrated:?}");
                prop_assert!((back[i] - at[i]).abs() < 1e-9, "{name} does not come back");
            }
            prop_assert!(!flow.solid(closed), "{name} runs into the wall");
        }
    }

    /// Where a field gives its pathlines as series, places and velocities are those of the
    /// integrated path, within 1e-6 px and, for the times here, ten times that per separation.
    /// Those of the street, the pair and turbulence reach the other pulse in a single step; those
    /// of sums, in which one field carries elements through the others, half as far.
    #[test]
    fn series_agree_with_paths((at, t) in point(), span in -1.5..1.5f64) {
        for (name, flow, _) in fields().into_iter().chain(data()).chain(drifting()).chain(walled()) {
            // Another element beside the one that is looked at.
            let [x, y, z] = at.map(|v| [3.0 - v, v]);
            let Some(series) = flow.series([&x, &y, &z], t, span) else {
                continue;
            };
            let Some(state) = series.state(1, span) else {
                let sum = sums().iter().chain(&walled()).any(|sum| sum.0 == name);
                prop_assert!(span.abs() > if sum { 0.3 } else { 0.6 }, "{name} needs steps for {span}");
                continue;
            };
            let to = flow.path(at, t, t + span);
            let velocity = flow.velocity(to, t + span);
            for i in 0..3 {
                prop_assert!((state.at[i] - to[i]).abs() < 1e-6, "{name}: {state:?} {to:?}");
                prop_assert!((state.velocity[i] - velocity[i]).abs() < 1e-5, "{name}: {state:?} {velocity:?}");
            }
        }
    }

    /// Every field's true displacement in a picture is that of the reference path, within 1e-6 px.
    #[test]
    fn truth_follows_the_path((x, y) in (0.0..120.0, 0.0..90.0)) {
        for (name, flow, _) in fields().into_iter().chain(data()).chain(drifting()).chain(walled()) {
            if flow.solid([x, y, 0.0]) {
                continue;
            }
            let expected = truth::displacement(flow.as_ref(), x, y);
            let scene = Scene { size: [120, 90], flow, ..Scene::default() };
            let got = truth::at(&scene, x, y).expect("fluid");
            for i in 0..2 {
                prop_assert!((got[i] - expected[i]).abs() < 1e-6, "{name}: {got:?} {expected:?}");
            }
        }
    }

    /// Within 1e-5 px, a thousandth of the error of a good measurement. The reference path takes 64
    /// steps.
    #[test]
    fn pathlines_through_data_come_back((at, t) in point(), span in -1.5..1.5f64) {
        for (name, flow, _) in data() {
            let to = flow.path(at, t, t + span);
            let back = flow.path(to, t + span, t);
            let exact = (0..64).fold(at, |at, k| {
                let time = |k: i32| t + span * f64::from(k) / 64.0;
                flow.path(at, time(k), time(k + 1))
            });
            for i in 0..3 {
                prop_assert!((to[i] - exact[i]).abs() < 1e-5, "{name}: {to:?} {exact:?}");
                prop_assert!((back[i] - at[i]).abs() < 1e-5, "{name} does not come back: {at:?} {back:?} {to:?}");
            }
        }
    }
}

/// Two uniform flows are one. Rotation at the rate w on a stream U turns about the point where they
/// cancel, (0, U/w) from the centre for U along x, and its paths are circles about it. Both by
/// hand.
#[test]
fn sums_have_closed_forms() {
    let uniform = |displacement_px| plain(Uniform { displacement_px });
    let sum = Sum::new(vec![uniform([3.0, -1.5, 0.25]), uniform([-1.0, 4.0, 0.5])]);
    assert_eq!(sum.velocity([7.0, 8.0, 9.0], 0.3), [2.0, 2.5, 0.75]);
    assert_eq!(sum.gradient([7.0, 8.0, 9.0], 0.3), [[0.0; 3]; 3]);
    let (turn, stream) = (0.4, 12.0);
    let rotation = SolidRotation {
        centre_px: [20.0, -30.0],
        turn_rad: turn,
    };
    let sum = Sum::new(vec![plain(rotation), uniform([stream, 0.0, 0.0])]);
    let about = [20.0, -30.0 + stream / turn];
    let shifted = SolidRotation {
        centre_px: about,
        turn_rad: turn,
    };
    for at in [[0.0; 3], [100.0, 40.0, 3.0], [about[0], about[1], 1.0]] {
        let (path, circle) = (sum.path(at, -0.7, 0.8), shifted.path(at, -0.7, 0.8));
        let [x, y, z] = at.map(|v| [v]);
        let series = sum
            .series([&x, &y, &z], -0.7, 1.5)
            .unwrap()
            .state(0, 1.5)
            .unwrap();
        for i in 0..3 {
            assert!((path[i] - circle[i]).abs() < 1e-9, "{at:?}: {path:?} {circle:?}");
            assert!(
                (series.at[i] - circle[i]).abs() < 1e-6,
                "{at:?}: {series:?} {circle:?}"
            );
        }
    }
}

/// Fields that know nothing of each other add in their mean squares: over a plane many integral
/// scales wide, the mean square of turbulence on a sinusoidal shear is the sum of both,
/// rms^2 + A^2/2, within four standard errors for as many independent patches as there are.
#[test]
fn mean_squares_add() {
    let (rms, amplitude) = (2.0, 3.0);
    let field = Turbulence::new(Spectrum::new(rms, 40.0, 20.0), 3);
    let shear = SinusoidalShear {
        displacement_px: [0.0; 3],
        amplitude_px: amplitude,
        wavelength_px: 64.0,
        centre_y_px: 0.0,
        phase_rad: 0.0,
    };
    let sum = Sum::new(vec![plain(field.clone()), plain(shear)]);
    const SIDE: usize = 512;
    let mean_square = |flow: &dyn Flow, component: usize| {
        let points = (0..SIDE * SIDE).map(|k| [(k % SIDE) as f64 * 16.0, (k / SIDE) as f64 * 16.0, 0.0]);
        let squares = points.map(|at| flow.velocity(at, 0.0)[component].powi(2));
        squares.sum::<f64>() / (SIDE * SIDE) as f64
    };
    let alone = [0, 1].map(|i| mean_square(&field, i));
    let added = [0, 1].map(|i| mean_square(&sum, i));
    // The cross term is twice the mean of a product whose parts vary by rms and A/sqrt 2, over
    // (8192/80)^2 patches of two integral scales.
    let allowed = 4.0 * 2.0 * rms * amplitude / 2.0_f64.sqrt() / (8192.0 / 80.0);
    let expected = alone[0] + 0.5 * amplitude * amplitude;
    assert!(
        (added[0] - expected).abs() < allowed,
        "{added:?} {expected} {allowed}"
    );
    assert_eq!(added[1], alone[1]);
}

/// A flat wall, however it lies, leaves the pathlines series; a curved one, or two, do not.
#[test]
fn flat_walls_keep_series() {
    let known = |flow: &dyn Flow| flow.series([&[3.0], &[4.0], &[0.0]], 0.0, 0.5).is_some();
    let found: Vec<bool> = walled().iter().map(|(_, flow, _)| known(flow.as_ref())).collect();
    assert_eq!(found, [true, false, false]);
    let wall = |wall_y_px| Summand {
        flow: Arc::new(Wall { wall_y_px }),
        layer_px: 20.0,
    };
    assert!(!known(&Sum::new(vec![
        wall(60.0),
        wall(80.0),
        plain(turbulence())
    ])));
}

/// At the distance of its layer a wall leaves 99 % of the other fields, at a fifth of it
/// 1 - 100^(-1/5), at the wall nothing; behind it all is solid.
#[test]
fn walls_still_the_other_fields() {
    let stream = plain(Uniform {
        displacement_px: [5.0, 2.0, 1.0],
    });
    let wall = Summand {
        flow: Arc::new(Wall { wall_y_px: 60.0 }),
        layer_px: 20.0,
    };
    let sum = Sum::new(vec![stream, wall]);
    for (distance, share) in [(20.0, 0.99), (4.0, 1.0 - 0.01_f64.powf(0.2)), (0.0, 0.0)] {
        let got = sum.velocity([3.0, 60.0 - distance, 0.0], 0.0);
        for (got, full) in got.iter().zip([5.0, 2.0, 1.0]) {
            assert!((got - share * full).abs() < 1e-12, "{distance}: {got}");
        }
    }
    assert!(sum.solid([3.0, 60.1, 0.0]) && !sum.solid([3.0, 59.9, 0.0]));
    assert_eq!(sum.velocity([3.0, 60.1, 0.0], 0.0), [0.0; 3]);
}

/// Particles shine in frame B where the reference path leads from their places in frame A, within
/// 1e-6 px, in every field; through data within what their pieces allow (1e-5 px, as below).
#[test]
fn particles_go_along_the_path() {
    let all = fields()
        .into_iter()
        .chain(drifting())
        .chain(walled())
        .map(|named| (named, 1e-6));
    for ((name, flow, _), allowed) in all.chain(data().into_iter().map(|named| (named, 1e-5))) {
        let scene = Scene {
            size: [150, 120],
            exposure: Exposure::Fraction(0.3),
            flow: flow.clone(),
            ..Scene::default()
        };
        let frame = |k| shown(&scene, Seed::default(), k, false).unwrap();
        let (first, second) = (frame(0), frame(1));
        let mut pairs = 0;
        for a in &first {
            let Some(b) = second.iter().find(|b| b.id == a.id) else {
                continue;
            };
            let to = flow.path([a.x_px, a.y_px, a.z_px], -0.5, 0.5);
            for (got, expected) in [b.x_px, b.y_px, b.z_px].iter().zip(to) {
                assert!((got - expected).abs() < allowed, "{name}: {b:?} {to:?}");
            }
            pairs += 1;
        }
        assert!(pairs > 100, "{name}: {pairs}");
    }
}

/// Central difference of the velocity along axis `j`.
fn difference(flow: &dyn Flow, at: Vec3, t: f64, j: usize, h: f64) -> Vec3 {
    let (mut hi, mut lo) = (at, at);
    hi[j] += h;
    lo[j] -= h;
    let (hi, lo) = (flow.velocity(hi, t), flow.velocity(lo, t));
    std::array::from_fn(|i| (hi[i] - lo[i]) / (2.0 * h))
}

/// Closed forms: an element of a stretched vortex is drawn in as exp(−a t/2) and carried along the
/// axis as exp(a t), while it turns by the time integral of the swirl's angular velocity at its
/// distance, here by Simpson's rule with 200 steps, which leaves far less than 1e-9 rad.
#[test]
fn a_stretched_vortex_draws_in() {
    let (vortex, strain, centre) = (burgers(), 0.08_f64, [3.0, -2.0]);
    let [radius, depth, time] = [25.0, 4.0, 1.5_f64];
    let at = |t: f64| radius * (-0.5 * strain * t).exp();
    let turn = |t: f64| {
        let [_, v, _] = vortex.velocity([centre[0] + at(t), centre[1], 0.0], 0.0);
        v / at(t)
    };
    let h = time / 200.0;
    let weights = |k: usize| match k {
        0 | 200 => 1.0,
        _ => 2.0 + 2.0 * (k % 2) as f64,
    };
    let angle: f64 = (0..=200).map(|k| weights(k) * turn(h * k as f64) * h / 3.0).sum();
    let from = [centre[0] + radius, centre[1], depth];
    let end = vortex.path(from, 0.0, time);
    let expected = [
        centre[0] + at(time) * angle.cos(),
        centre[1] + at(time) * angle.sin(),
        depth * (strain * time).exp(),
    ];
    for (found, expected) in end.into_iter().zip(expected) {
        assert!((found - expected).abs() < 1e-8, "{end:?}");
    }
}

/// On its axis the whole deficit is missing, at the half width half of it, far away none; its
/// momentum integral ∫ ΔU dy is ΔU b √(π/ln 2) (the integral of a Gaussian, derived).
#[test]
fn wake_lacks_half_its_deficit_at_the_half_width() {
    let missing = |y: f64| 8.0 - wake().velocity([0.0, 5.0 + y, 0.0], 0.0)[0];
    assert!((missing(0.0) - 3.0).abs() < 1e-12);
    assert!((missing(25.0) - 1.5).abs() < 1e-12 && (missing(-25.0) - 1.5).abs() < 1e-12);
    assert!(missing(250.0) < 1e-12);
    let sum: f64 = (-400..=400).map(|k| missing(f64::from(k))).sum();
    let expected = 3.0 * 25.0 * (std::f64::consts::PI / std::f64::consts::LN_2).sqrt();
    assert!((sum / expected - 1.0).abs() < 1e-9, "{sum} {expected}");
}

/// The integrator on solid rotation: a quarter turn at 400 px from the centre, within 1e-9 px.
#[test]
fn integrator_turns_a_quarter() {
    let rotation = SolidRotation {
        centre_px: [0.0, 0.0],
        turn_rad: std::f64::consts::FRAC_PI_2,
    };
    let to = Integrated(&rotation).path([400.0, 0.0, 7.0], -0.5, 0.5);
    for (got, expected) in to.iter().zip([0.0, 400.0, 7.0]) {
        assert!((got - expected).abs() < 1e-9, "{to:?}");
    }
}

/// The vortex has its largest displacement, as given, at the core radius, and falls as 1/r far
/// away.
#[test]
fn vortex_peaks_at_its_core_radius() {
    let vortex = LambOseen {
        centre_px: [0.0, 0.0],
        peak_displacement_px: 6.0,
        core_radius_px: 40.0,
    };
    let speed = |r: f64| vortex.velocity([r, 0.0, 0.0], 0.0)[1];
    assert!((speed(40.0) - 6.0).abs() < 1e-12);
    assert!(speed(39.9) < 6.0 && speed(40.1) < 6.0);
    assert!((speed(400.0) * 400.0 / (speed(800.0) * 800.0) - 1.0).abs() < 1e-12);
    assert!((speed(0.3) / speed(0.1) - 3.0).abs() < 1e-4);
}
