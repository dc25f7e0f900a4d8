//! Plane strain.

use super::along::{Along, Linear};
use super::{Flow, Vec3};

/// Plane strain: u = e (x − x₀), v = −e (y − y₀). Positive e stretches along x and compresses along
/// y.
///
/// The pathline is a hyperbola in closed form, x growing as exp(e t).
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneStrain {
    /// The stagnation point (x₀, y₀), px.
    pub centre_px: [f64; 2],
    /// Rate e = ∂u/∂x, px per px.
    pub strain: f64,
}

impl Flow for PlaneStrain {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [x, y] = self.centre_px;
        [self.strain * (at[0] - x), -self.strain * (at[1] - y), 0.0]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        [[self.strain, 0.0, 0.0], [0.0, -self.strain, 0.0], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let [x, y] = self.centre_px;
        let growth = libm::exp(self.strain * (t1 - t0));
        [x + growth * (from[0] - x), y + (from[1] - y) / growth, from[2]]
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let gradient = self.gradient([0.0; 3], time);
        Some(Box::new(Linear::about_axis(self.centre_px, gradient)))
    }
}
