//! Velocity fields: gradients against finite differences, pathlines against closed forms and against the integrator.
//!
//! Chain of trust: closed forms (solid rotation, straight lines) → the adaptive integrator → closed pathlines of the fields.

use std::sync::Arc;

use motefield_generator::flow::{Carried, Flow, LambOseen, LinearShear, Uniform, Vec3, VortexStreet};
use motefield_generator::pathline::integrate;
use proptest::prelude::*;

fn fields() -> Vec<(&'static str, Arc<dyn Flow>)> {
    let vortex: Arc<dyn Flow> = Arc::new(LambOseen {
        centre_px: [3.0, -2.0],
        peak_displacement_px: 6.0,
        core_radius_px: 40.0,
    });
    vec![
        (
            "uniform",
            Arc::new(Uniform {
                displacement_px: [3.3, -1.2, 0.4],
            }),
        ),
        (
            "shear",
            Arc::new(LinearShear {
                displacement_px: [2.0, 1.5, -0.5],
                shear: 0.07,
                centre_y_px: 10.0,
            }),
        ),
        ("vortex", vortex.clone()),
        (
            "carried vortex",
            Arc::new(Carried {
                flow: vortex,
                by_px: [5.0, 0.5, 1.0],
            }),
        ),
        (
            "street",
            Arc::new(VortexStreet::new([0.0, 0.0], 3, 90.0, 25.0, 4.0, 12.0)),
        ),
    ]
}

fn point() -> impl Strategy<Value = (Vec3, f64)> {
    ((-150.0..150.0, -150.0..150.0, -5.0..5.0), -0.6..0.6).prop_map(|((x, y, z), t)| ([x, y, z], t))
}

proptest! {
    /// Central differences of step h are off by h²/6 times the third derivative: 1e-8 of displacement a px² for h = 1e-3 px
    /// and the cores here (≥ 12 px), and by 1e-12 of rounding over h.
    #[test]
    fn gradient_is_that_of_the_velocity((at, t) in point()) {
        const H: f64 = 1e-3;
        for (name, flow) in fields() {
            let gradient = flow.gradient(at, t);
            for j in 0..3 {
                let (mut hi, mut lo) = (at, at);
                hi[j] += H;
                lo[j] -= H;
                let (hi, lo) = (flow.velocity(hi, t), flow.velocity(lo, t));
                for i in 0..3 {
                    let slope = (hi[i] - lo[i]) / (2.0 * H);
                    prop_assert!((slope - gradient[i][j]).abs() < 1e-7, "{name} {i}{j}: {slope} {}", gradient[i][j]);
                }
            }
            // All these fields are incompressible.
            prop_assert!((gradient[0][0] + gradient[1][1] + gradient[2][2]).abs() < 1e-14, "{name} diverges");
        }
    }

    /// Closed pathline = integrated pathline; there and back again is where one was. 1e-9 px: the requirement.
    #[test]
    fn pathlines_agree((at, t) in point(), span in -1.5..1.5f64) {
        for (name, flow) in fields() {
            let closed = flow.path(at, t, t + span);
            let integrated = integrate(flow.as_ref(), at, t, t + span);
            let back = flow.path(closed, t + span, t);
            for i in 0..3 {
                prop_assert!((closed[i] - integrated[i]).abs() < 1e-9, "{name}: {closed:?} {integrated:?}");
                prop_assert!((back[i] - at[i]).abs() < 1e-9, "{name} does not come back");
            }
        }
    }
}

/// Solid rotation, the integrator's closed form: a quarter turn at 400 px from the centre lands within 1e-9 px.
#[test]
fn integrator_turns_a_quarter() {
    #[derive(Debug)]
    struct Rotation;
    impl Flow for Rotation {
        fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
            let turn = std::f64::consts::FRAC_PI_2;
            [-turn * at[1], turn * at[0], 0.0]
        }
        fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
            unreachable!("a path needs no gradient")
        }
    }
    let to = integrate(&Rotation, [400.0, 0.0, 7.0], -0.5, 0.5);
    for (got, expected) in to.iter().zip([0.0, 400.0, 7.0]) {
        assert!((got - expected).abs() < 1e-9, "{to:?}");
    }
}

/// The vortex has its largest displacement, as given, at the core radius, and Γ/(2πr) far away (Lamb–Oseen; derived).
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
