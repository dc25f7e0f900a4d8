use super::{Flow, Vec3, along};

/// Plane shear: u = U + g (y − y₀), v = V, w = W.
///
/// Pathline in closed form: y advances at V, so u grows linearly in time and x gains ½ g V t² beyond the straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearShear {
    /// Displacement on the line y = `centre_y_px`, px.
    pub displacement_px: Vec3,
    /// ∂u/∂y, px of displacement per px.
    pub shear: f64,
    /// The line y₀ on which the displacement is the one given, px.
    pub centre_y_px: f64,
}

impl Flow for LinearShear {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [u, v, w] = self.displacement_px;
        [u + self.shear * (at[1] - self.centre_y_px), v, w]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        [[0.0, self.shear, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let t = t1 - t0;
        let mut to = along(from, self.velocity(from, t0), t);
        to[0] += 0.5 * self.shear * self.displacement_px[1] * t * t;
        to
    }
}
