//! Uniform flow.

use super::along::{Along, Linear};
use super::{Flow, Vec3, along};

/// The same displacement everywhere.
#[derive(Debug, Clone, PartialEq)]
pub struct Uniform {
    /// Displacement, px.
    pub displacement_px: Vec3,
}

impl Flow for Uniform {
    fn velocity(&self, _: Vec3, _: f64) -> Vec3 {
        self.displacement_px
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        [[0.0; 3]; 3]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        along(from, self.displacement_px, t1 - t0)
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        Some(Box::new(Linear {
            velocity: self.displacement_px,
            gradient: [[0.0; 3]; 3],
            about: [0.0; 3],
        }))
    }
}
