use std::sync::Arc;

use super::{Flow, Vec3, add, along};

/// A field carried along at a constant velocity, such as a vortex drifting downstream, or any plane field moving
/// through the sheet: u(x, t) = U + u₀(x − U t, t). At mid-time the carried field stands where it was defined.
///
/// A Galilean shift, so the pathline is the one of the field at rest, shifted; it is closed when that one is.
#[derive(Debug, Clone)]
pub struct Carried {
    /// The field in the frame that moves with it.
    pub flow: Arc<dyn Flow>,
    /// Velocity of that frame, px per pulse separation.
    pub by_px: Vec3,
}

impl Flow for Carried {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        add(self.by_px, self.flow.velocity(along(at, self.by_px, -time), time))
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        self.flow.gradient(along(at, self.by_px, -time), time)
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        along(
            self.flow.path(along(from, self.by_px, -t0), t0, t1),
            self.by_px,
            t1,
        )
    }
    fn solid(&self, at: Vec3) -> bool {
        self.flow.solid(at)
    }
}
