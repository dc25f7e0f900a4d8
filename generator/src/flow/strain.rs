use super::{Flow, Vec3};

/// Plane strain: u = e (x − x₀), v = −e (y − y₀). Stretches along x and squeezes along y, for a positive rate.
///
/// Pathline in closed form: a hyperbola, x growing as exp(e t).
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneStrain {
    /// The point at rest, px.
    pub centre_px: [f64; 2],
    /// ∂u/∂x, px of displacement per px.
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
}
