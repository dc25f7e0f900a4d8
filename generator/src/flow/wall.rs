//! A wall.

use super::along::{Along, Linear};
use super::{Flow, Vec3};

/// Fluid at rest above a wall along x: added to other fields by a [`Sum`](super::Sum), it makes
/// them fall to zero there.
#[derive(Debug, Clone, PartialEq)]
pub struct Wall {
    /// y of the wall, px; what lies below it, at larger y, is solid.
    pub wall_y_px: f64,
}

impl Flow for Wall {
    fn velocity(&self, _: Vec3, _: f64) -> Vec3 {
        [0.0; 3]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        [[0.0; 3]; 3]
    }
    fn path(&self, from: Vec3, _: f64, _: f64) -> Vec3 {
        from
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        Some(Box::new(Linear {
            velocity: [0.0; 3],
            gradient: [[0.0; 3]; 3],
            about: [0.0; 3],
        }))
    }
    fn solid(&self, at: Vec3) -> bool {
        at[1] > self.wall_y_px
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        Some((self.wall_y_px - at[1], [0.0, -1.0, 0.0]))
    }
}
