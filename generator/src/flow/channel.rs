//! Laminar channel flow.

use super::{Flow, Vec3, straight};

/// Plane Poiseuille flow along x between two walls: u = U (1 − (2 (y − y₀)/H)²). The walls are
/// solid.
///
/// The pathline is a straight line in closed form.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Middle y₀ between the walls, px.
    pub centre_y_px: f64,
    /// Distance H between the walls, px; above 0.
    pub height_px: f64,
    /// Displacement U in the middle, the largest, px.
    pub peak_displacement_px: f64,
}

impl Channel {
    /// Distance from the middle over half the height.
    fn relative_height(&self, at: Vec3) -> f64 {
        2.0 * (at[1] - self.centre_y_px) / self.height_px
    }
}

impl Flow for Channel {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let s = self.relative_height(at);
        [self.peak_displacement_px * (1.0 - s * s).max(0.0), 0.0, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let s = self.relative_height(at);
        let slope = if s.abs() < 1.0 {
            -4.0 * self.peak_displacement_px * s / self.height_px
        } else {
            0.0
        };
        [[0.0, slope, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        straight(self, from, t0, t1)
    }
    fn solid(&self, at: Vec3) -> bool {
        self.relative_height(at).abs() > 1.0
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        let from_middle = at[1] - self.centre_y_px;
        let slope = [0.0, -f64::copysign(1.0, from_middle), 0.0];
        Some((0.5 * self.height_px - from_middle.abs(), slope))
    }
}
