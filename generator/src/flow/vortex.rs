use super::{Flow, Vec3};

/// Where (1 − e^(−s²))/s has its maximum: the root of e^(s²) = 1 + 2 s². Own computation, derived.
const PEAK_RADIUS: f64 = 1.120_906_422_778_534;
/// The value of (1 − e^(−s²))/s there. Own computation, derived.
const PEAK_VALUE: f64 = 0.638_172_686_338_951_5;

/// Lamb–Oseen vortex, steady: v_θ(r) = Γ/(2πr) (1 − exp(−r²/r_c²)) (Lamb, *Hydrodynamics*, §334a; memory).
///
/// Given by its largest displacement and the radius at which that stands, which a picture shows, rather than by
/// circulation and viscous core. Positive turns x into y: clockwise on the screen, where y points down. Fluid elements
/// go round in circles, so the pathline is closed.
#[derive(Debug, Clone, PartialEq)]
pub struct LambOseen {
    /// Centre of the vortex, px.
    pub centre_px: [f64; 2],
    /// Largest displacement, px per pulse separation; its sign is the sense of rotation.
    pub peak_displacement_px: f64,
    /// Radius at which the displacement is largest, px.
    pub core_radius_px: f64,
}

impl LambOseen {
    /// Angular speed (rad per pulse separation) and its derivative by r²/r_c², at the squared distance `r2` (px²).
    pub(crate) fn turn(&self, r2: f64) -> (f64, f64) {
        let scale = self.core_radius_px / PEAK_RADIUS;
        let s2 = r2 / (scale * scale);
        let rate = self.peak_displacement_px / (PEAK_VALUE * scale);
        if s2 < 1e-4 {
            return (rate * (1.0 - 0.5 * s2 + s2 * s2 / 6.0), rate * (s2 / 3.0 - 0.5));
        }
        let e = libm::exp(-s2);
        let q = -libm::expm1(-s2) / s2;
        (rate * q, rate * (e - q) / s2)
    }
}

impl Flow for LambOseen {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let (x, y) = (at[0] - self.centre_px[0], at[1] - self.centre_px[1]);
        let (turn, _) = self.turn(x * x + y * y);
        [-turn * y, turn * x, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let (x, y) = (at[0] - self.centre_px[0], at[1] - self.centre_px[1]);
        let (turn, slope) = self.turn(x * x + y * y);
        let scale = self.core_radius_px / PEAK_RADIUS;
        let k = 2.0 * slope / (scale * scale);
        [
            [-k * x * y, -turn - k * y * y, 0.0],
            [turn + k * x * x, k * x * y, 0.0],
            [0.0; 3],
        ]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let (x, y) = (from[0] - self.centre_px[0], from[1] - self.centre_px[1]);
        let (turn, _) = self.turn(x * x + y * y);
        let (sin, cos) = libm::sincos(turn * (t1 - t0));
        [
            self.centre_px[0] + cos * x - sin * y,
            self.centre_px[1] + sin * x + cos * y,
            from[2],
        ]
    }
}
