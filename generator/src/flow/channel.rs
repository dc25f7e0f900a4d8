use super::{Flow, Vec3, along};

/// Poiseuille's flow along x between two walls: u = U (1 − (2 (y − y₀)/H)²). Nothing moves in the walls.
///
/// Pathline in closed form: a straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// The middle between the walls, px.
    pub centre_y_px: f64,
    /// Distance H between the walls, px.
    pub height_px: f64,
    /// Largest displacement U, in the middle, px.
    pub peak_displacement_px: f64,
}

impl Channel {
    /// Distance from the middle over half the height.
    fn middle_share(&self, at: Vec3) -> f64 {
        2.0 * (at[1] - self.centre_y_px) / self.height_px
    }
}

impl Flow for Channel {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let s = self.middle_share(at);
        [self.peak_displacement_px * (1.0 - s * s).max(0.0), 0.0, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let s = self.middle_share(at);
        let slope = if s.abs() < 1.0 {
            -4.0 * self.peak_displacement_px * s / self.height_px
        } else {
            0.0
        };
        [[0.0, slope, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        along(from, self.velocity(from, t0), t1 - t0)
    }
    fn solid(&self, at: Vec3) -> bool {
        self.middle_share(at).abs() > 1.0
    }
}
