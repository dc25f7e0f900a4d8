//! Solid rotation.

use super::along::{Along, Linear};
use super::{Flow, Vec3};

/// Solid rotation about an axis along z. A positive angle turns x into y: clockwise on the screen,
/// where y points down. The pathline is a circle in closed form.
///
/// ```
/// use motefield_generator::flow::{Flow, SolidRotation};
///
/// let quarter = SolidRotation { centre_px: [0.0, 0.0], turn_rad: std::f64::consts::FRAC_PI_2 };
/// let [x, y, _] = quarter.path([10.0, 0.0, 0.0], -0.5, 0.5);
/// assert!(x.abs() < 1e-12 && (y - 10.0).abs() < 1e-12);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct SolidRotation {
    /// Position of the axis, px.
    pub centre_px: [f64; 2],
    /// Angle turned in one pulse separation, rad.
    pub turn_rad: f64,
}

impl Flow for SolidRotation {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let (x, y) = (at[0] - self.centre_px[0], at[1] - self.centre_px[1]);
        [-self.turn_rad * y, self.turn_rad * x, 0.0]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        [[0.0, -self.turn_rad, 0.0], [self.turn_rad, 0.0, 0.0], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        circle(self.centre_px, from, self.turn_rad * (t1 - t0))
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let gradient = self.gradient([0.0; 3], time);
        Some(Box::new(Linear::about_axis(self.centre_px, gradient)))
    }
}

/// The point `from` turned about `centre_px`.
pub(crate) fn circle(centre_px: [f64; 2], from: Vec3, angle_rad: f64) -> Vec3 {
    let (x, y) = (from[0] - centre_px[0], from[1] - centre_px[1]);
    let (sin, cos) = libm::sincos(angle_rad);
    [
        centre_px[0] + cos * x - sin * y,
        centre_px[1] + sin * x + cos * y,
        from[2],
    ]
}
