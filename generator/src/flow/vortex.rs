//! Single vortices with circular pathlines.

pub(super) mod pathlines;

use super::along::Along;
use super::rotation::circle;
use super::{Flow, Vec3};
use pathlines::AlongVortices;

/// Where (1 − e^(−s²))/s has its maximum: the root of e^(s²) = 1 + 2 s².
const PEAK_RADIUS: f64 = 1.120_906_422_778_534;
/// Maximum of (1 − e^(−s²))/s.
const PEAK_VALUE: f64 = 0.638_172_686_338_951_5;

/// Steady Lamb–Oseen vortex: v_θ(r) = Γ/(2πr) (1 − exp(−r²/r_c²)) (Lamb, *Hydrodynamics*, §334a).
///
/// It is given by its largest displacement and the radius of that, which a picture shows, rather
/// than by the circulation Γ and the viscous core r_c. The pathline is a circle in closed form.
///
/// ```
/// use motefield_generator::flow::{Flow, LambOseen};
///
/// let vortex = LambOseen {
///     centre_px: [50.0, 50.0],
///     peak_displacement_px: 6.0,
///     core_radius_px: 20.0,
/// };
/// // Right of the centre the fluid moves down.
/// let [u, v, w] = vortex.velocity([70.0, 50.0, 0.0], 0.0);
/// assert!(u.abs() < 1e-12 && (v - 6.0).abs() < 1e-12 && w == 0.0);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct LambOseen {
    /// Centre of the vortex, px.
    pub centre_px: [f64; 2],
    /// Largest displacement, px; positive turns x into y, clockwise on the screen.
    pub peak_displacement_px: f64,
    /// Radius at which the displacement is largest, px; above 0.
    pub core_radius_px: f64,
}

/// Rankine vortex: solid rotation inside the core, v_θ ∝ 1/r outside (Lamb, *Hydrodynamics*, §159).
/// The gradient jumps at the core radius. The pathline is a circle in closed form.
#[derive(Debug, Clone, PartialEq)]
pub struct Rankine {
    /// Centre of the vortex, px.
    pub centre_px: [f64; 2],
    /// Displacement at the core radius, the largest, px; positive turns x into y, clockwise on the
    /// screen.
    pub peak_displacement_px: f64,
    /// Radius of the core, px; above 0.
    pub core_radius_px: f64,
}

/// A vortex whose fluid moves in circles.
trait Round {
    fn centre_px(&self) -> [f64; 2];

    /// Angular velocity, rad per pulse separation, at the squared distance `r2`, px², and its
    /// derivative with respect to `r2`.
    fn turn(&self, r2: f64) -> (f64, f64);

    /// As [`Flow::along`].
    fn velocity_along(&self) -> Option<Box<dyn Along + '_>> {
        None
    }

    fn offset(&self, at: Vec3) -> [f64; 2] {
        let [x, y] = self.centre_px();
        [at[0] - x, at[1] - y]
    }
}

impl LambOseen {
    /// Angular velocity in the middle, rad per pulse separation, and 1/r_c², 1/px².
    pub(super) fn core(&self) -> (f64, f64) {
        let scale = self.core_radius_px / PEAK_RADIUS;
        (
            self.peak_displacement_px / (PEAK_VALUE * scale),
            1.0 / (scale * scale),
        )
    }
}

impl Round for LambOseen {
    fn centre_px(&self) -> [f64; 2] {
        self.centre_px
    }
    fn turn(&self, r2: f64) -> (f64, f64) {
        let (rate, per_r2) = self.core();
        let s2 = r2 * per_r2;
        if s2 < 1e-4 {
            let turn = rate * (1.0 - 0.5 * s2 + s2 * s2 / 6.0);
            return (turn, rate * per_r2 * (s2 / 3.0 - 0.5));
        }
        let e = libm::exp(-s2);
        let q = -libm::expm1(-s2) / s2;
        (rate * q, rate * per_r2 * (e - q) / s2)
    }
    fn velocity_along(&self) -> Option<Box<dyn Along + '_>> {
        let alone = std::slice::from_ref(self);
        Some(Box::new(AlongVortices::new(alone, [0.0; 3])))
    }
}

impl Round for Rankine {
    fn centre_px(&self) -> [f64; 2] {
        self.centre_px
    }
    fn turn(&self, r2: f64) -> (f64, f64) {
        let rate = self.peak_displacement_px / self.core_radius_px;
        let core2 = self.core_radius_px * self.core_radius_px;
        if r2 <= core2 {
            return (rate, 0.0);
        }
        let turn = rate * core2 / r2;
        (turn, -turn / r2)
    }
}

impl<V: Round + std::fmt::Debug + Send + Sync> Flow for V {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [x, y] = self.offset(at);
        let (turn, _) = self.turn(x * x + y * y);
        [-turn * y, turn * x, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let [x, y] = self.offset(at);
        let (turn, slope) = self.turn(x * x + y * y);
        let k = 2.0 * slope;
        [
            [-k * x * y, -turn - k * y * y, 0.0],
            [turn + k * x * x, k * x * y, 0.0],
            [0.0; 3],
        ]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let [x, y] = self.offset(from);
        let (turn, _) = self.turn(x * x + y * y);
        circle(self.centre_px(), from, turn * (t1 - t0))
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        self.velocity_along()
    }
}
