//! Velocity fields: what moves the particles, and so what the truth is.
//!
//! A field answers with its velocity and its gradient at a point and time, and carries a particle along its pathline. Fields
//! whose pathline is known in closed form say so by overriding [`Flow::path`]; all others are integrated
//! ([`crate::pathline`]). One file a family; a new family implements [`Flow`] and nothing else.

mod boundary;
mod carried;
mod channel;
mod cylinder;
mod grid;
mod jet;
mod mixing;
mod pair;
mod ring;
mod rotation;
mod scattered;
mod shear;
mod strain;
mod street;
mod taylor_green;
mod turbulence;
mod turned;
mod uniform;
mod vortex;

pub use boundary::{BlasiusLayer, TurbulentLayer, blasius, spalding};
pub use carried::Carried;
pub use channel::Channel;
pub use cylinder::Cylinder;
pub use grid::{DataError, GridField};
pub use jet::BickleyJet;
pub use mixing::MixingLayer;
pub use pair::VortexPair;
pub use ring::VortexRing;
pub use rotation::SolidRotation;
pub use scattered::ScatteredField;
pub use shear::{LinearShear, SinusoidalShear};
pub use strain::PlaneStrain;
pub use street::VortexStreet;
pub use taylor_green::TaylorGreen;
pub use turbulence::{Spectrum, Turbulence};
pub use turned::Turned;
pub use uniform::Uniform;
pub use vortex::{LambOseen, Rankine};

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
