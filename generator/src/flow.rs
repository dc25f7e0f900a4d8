//! Velocity fields: what moves the particles and defines the true displacement.
//!
//! A [`Flow`] gives its velocity and velocity gradient at a point and time, and the pathline of a
//! fluid element. All lengths are in px and all times in pulse separations, so velocities are
//! displacements.
//!
//! A field of your own implements [`Flow::velocity`] and [`Flow::gradient`]; the pathline is then
//! integrated numerically, to about 1e-9 px in smooth fields. Fields that know their pathline in
//! closed form override [`Flow::path`]. Fields whose velocity can be expanded in time along a
//! pathline give a [`Flow::series`] besides, which is much faster.
//!
//! ```
//! use motefield_generator::flow::{Flow, Vec3};
//!
//! /// Stagnation flow that turns over with time.
//! #[derive(Debug)]
//! struct Pulsating;
//!
//! impl Flow for Pulsating {
//!     fn velocity(&self, [x, y, _]: Vec3, time: f64) -> Vec3 {
//!         let rate = 0.1 * time.cos();
//!         [rate * x, -rate * y, 0.0]
//!     }
//!     fn gradient(&self, _: Vec3, time: f64) -> [Vec3; 3] {
//!         let rate = 0.1 * time.cos();
//!         [[rate, 0.0, 0.0], [0.0, -rate, 0.0], [0.0; 3]]
//!     }
//! }
//!
//! // x grows as exp(0.1 sin t).
//! let [x, _, _] = Pulsating.path([50.0, 20.0, 0.0], -0.5, 0.5);
//! assert!((x - 50.0 * (0.2 * 0.5_f64.sin()).exp()).abs() < 1e-9);
//! ```

mod along;
mod boundary;
mod burgers;
mod carried;
mod channel;
mod cylinder;
mod grid;
mod jet;
mod mixing;
mod moments;
mod pair;
mod pathline;
mod ring;
mod rotation;
mod scattered;
mod series;
mod shear;
mod strain;
mod street;
mod sum;
mod taylor_green;
mod turbulence;
mod turned;
mod uniform;
mod vortex;
mod wake;
mod wall;

pub use along::Along;
pub use boundary::{BlasiusLayer, TurbulentLayer, blasius, spalding};
pub use burgers::BurgersVortex;
pub use carried::{Carried, Drifting};
pub use channel::Channel;
pub use cylinder::Cylinder;
pub use grid::{DataError, GridField};
pub use jet::BickleyJet;
pub use mixing::MixingLayer;
pub use pair::VortexPair;
pub use ring::VortexRing;
pub use rotation::SolidRotation;
pub use scattered::ScatteredField;
pub use series::{PathSeries, State};
pub use shear::{DepthShear, LinearShear, SinusoidalShear};
pub use strain::PlaneStrain;
pub use street::VortexStreet;
pub use sum::{Sum, Summand};
pub use taylor_green::TaylorGreen;
pub use turbulence::{Spectrum, Turbulence};
pub use turned::Turned;
pub use uniform::Uniform;
pub use vortex::{LambOseen, Rankine};
pub use wake::Wake;
pub use wall::Wall;

/// A point, px, or a velocity, px per pulse separation: x right, y down, z toward the camera.
pub type Vec3 = [f64; 3];

/// A velocity field, in px and pulse separations.
pub trait Flow: std::fmt::Debug + Send + Sync {
    /// Velocity at a point and time, px per pulse separation.
    fn velocity(&self, at: Vec3, time: f64) -> Vec3;

    /// Velocity gradient at a point and time, per pulse separation: `gradient[i][j]` = ∂u_i/∂x_j.
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3];

    /// Where the fluid element that is at `from` at the time `t0` is at the time `t1`, px. By
    /// default the pathline is integrated numerically, which presumes a smooth field.
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        pathline::integrate(self, from, t0, t1)
    }

    /// Taylor series in time of the pathlines of the elements that are at `from` (x, y and z of
    /// all, px) at a time, for places up to the time `reach` before and after. With them a
    /// picture's particles move in a small part of the time that [`Flow::path`] takes, and end
    /// within 1e-6 px of it. `None`, the default, where the field has none.
    fn series(&self, _from: [&[f64]; 3], _time: f64, _reach: f64) -> Option<PathSeries> {
        None
    }

    /// The velocity along pathlines that need not be this field's own, which start at a time: what
    /// a [`Sum`] needs of each of its fields to move many particles at once. `None`, the default,
    /// where it is not known as a series.
    fn along(&self, _time: f64) -> Option<Box<dyn Along + '_>> {
        None
    }

    /// The velocity, continued smoothly a little way into bodies, since the integration of a
    /// pathline along a wall may try points behind it.
    fn continued(&self, at: Vec3, time: f64) -> Vec3 {
        self.velocity(at, time)
    }

    /// Size, px, of the pieces inside which the field is smooth; `None` where it is everywhere.
    fn piece_px(&self) -> Option<f64> {
        None
    }

    /// Distance to the nearest wall, px, below 0 behind it, and its gradient. `None` without walls,
    /// and of bodies in data, to which distances are not known.
    fn clearance(&self, _at: Vec3) -> Option<(f64, Vec3)> {
        None
    }

    /// Whether the point is inside a body or behind a wall, where there are no particles and the
    /// velocity is zero.
    fn solid(&self, _at: Vec3) -> bool {
        false
    }
}

pub(crate) fn add(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(crate) fn add_gradients(a: [Vec3; 3], b: [Vec3; 3]) -> [Vec3; 3] {
    [add(a[0], b[0]), add(a[1], b[1]), add(a[2], b[2])]
}

/// a + t b.
pub(crate) fn along(a: Vec3, b: Vec3, t: f64) -> Vec3 {
    [a[0] + b[0] * t, a[1] + b[1] * t, a[2] + b[2] * t]
}

/// Pathline in a field whose velocity does not change along it: a straight line at constant speed.
pub(crate) fn straight(flow: &impl Flow, from: Vec3, t0: f64, t1: f64) -> Vec3 {
    along(from, flow.velocity(from, t0), t1 - t0)
}
