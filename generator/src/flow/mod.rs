//! Velocity fields: what moves the particles, and so what the truth is.
//!
//! A field answers with its velocity and its gradient at a point and time, and carries a particle along its pathline. Fields
//! whose pathline is known in closed form say so by overriding [`Flow::path`]; all others are integrated
//! ([`crate::pathline`]). One file a family; a new family implements [`Flow`] and nothing else.

mod carried;
mod shear;
mod street;
mod uniform;
mod vortex;

pub use carried::Carried;
pub use shear::LinearShear;
pub use street::VortexStreet;
pub use uniform::Uniform;
pub use vortex::LambOseen;

/// A point or a vector: x right, y down, z toward the camera, in px (velocities: px per pulse separation).
pub type Vec3 = [f64; 3];

/// A velocity field in px and pulse separations.
pub trait Flow: std::fmt::Debug + Send + Sync {
    /// Velocity at a point and time, px per pulse separation.
    fn velocity(&self, at: Vec3, time: f64) -> Vec3;

    /// Velocity gradient, `gradient[i][j]` = ∂u_i/∂x_j, per pulse separation.
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3];

    /// Where the fluid element that is at `from` at the time `t0` is at the time `t1`.
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        crate::pathline::integrate(self, from, t0, t1)
    }

    /// Whether the point is inside a body or behind a wall at mid-time, where no fluid and so no particle is. The
    /// velocity there is zero.
    fn solid(&self, _at: Vec3) -> bool {
        false
    }
}

pub(crate) fn add(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(crate) fn along(a: Vec3, b: Vec3, t: f64) -> Vec3 {
    [a[0] + b[0] * t, a[1] + b[1] * t, a[2] + b[2] * t]
}
