//! Pathlines of fields that have none in closed form.
//!
//! Dormand and Prince's fifth-order method with its embedded fourth-order error estimate and step control (Hairer, Nørsett
//! and Wanner, *Solving Ordinary Differential Equations I*, II.4–II.5; coefficients from memory, checked in the tests by
//! the order of convergence and by closed forms).

use crate::flow::{Flow, Vec3};

/// Error allowed in one step, px. Far below every other error of a rendered pair (1e-6 px).
const TOLERANCE_PX: f64 = 1e-11;
/// Steps after which a path is given up where it stands: a field that needs more is not smooth on the scale of a pixel.
const MAX_STEPS: usize = 10_000;

const C: [f64; 6] = [0.0, 1.0 / 5.0, 3.0 / 10.0, 4.0 / 5.0, 8.0 / 9.0, 1.0];
const A: [[f64; 6]; 6] = [
    [1.0 / 5.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    [3.0 / 40.0, 9.0 / 40.0, 0.0, 0.0, 0.0, 0.0],
    [44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0, 0.0, 0.0, 0.0],
    [
        19372.0 / 6561.0,
        -25360.0 / 2187.0,
        64448.0 / 6561.0,
        -212.0 / 729.0,
        0.0,
        0.0,
    ],
    [
        9017.0 / 3168.0,
        -355.0 / 33.0,
        46732.0 / 5247.0,
        49.0 / 176.0,
        -5103.0 / 18656.0,
        0.0,
    ],
    [
        35.0 / 384.0,
        0.0,
        500.0 / 1113.0,
        125.0 / 192.0,
        -2187.0 / 6784.0,
        11.0 / 84.0,
    ],
];
/// Fifth-order minus fourth-order weights.
const E: [f64; 7] = [
    71.0 / 57600.0,
    0.0,
    -71.0 / 16695.0,
    71.0 / 1920.0,
    -17253.0 / 339200.0,
    22.0 / 525.0,
    -1.0 / 40.0,
];

/// The place at time `t1` of the fluid element that is at `from` at time `t0`; px and pulse separations.
pub fn integrate<F: Flow + ?Sized>(flow: &F, from: Vec3, t0: f64, t1: f64) -> Vec3 {
    let (mut at, mut t, mut step) = (from, t0, t1 - t0);
    let mut first = flow.velocity(at, t);
    for _ in 0..MAX_STEPS {
        if t == t1 {
            break;
        }
        let last = (t + step - t1) * step.signum() >= 0.0;
        if last {
            step = t1 - t;
        }
        let mut k = [[0.0; 3]; 7];
        k[0] = first;
        let mut to = at;
        for stage in 0..6 {
            to = at;
            for (kj, aj) in k.iter().zip(&A[stage]).take(stage + 1) {
                for i in 0..3 {
                    to[i] += step * aj * kj[i];
                }
            }
            k[stage + 1] = flow.velocity(to, t + step * if stage < 5 { C[stage + 1] } else { 1.0 });
        }
        let error = (0..3)
            .map(|i| (step * k.iter().zip(&E).map(|(kj, ej)| ej * kj[i]).sum::<f64>()).abs())
            .fold(0.0, f64::max);
        if error <= TOLERANCE_PX || error.is_nan() {
            at = to;
            first = k[6];
            t = if last { t1 } else { t + step };
        }
        let grow = 0.9 * libm::pow(TOLERANCE_PX / error.max(1e-30), 0.2);
        step *= if grow.is_nan() { 1.0 } else { grow.clamp(0.2, 5.0) };
    }
    at
}
