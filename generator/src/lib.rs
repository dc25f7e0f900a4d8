//! From a scene to particle-image pairs with exactly known displacement.
//!
//! One entry does the work: [`render`] turns a [`Scene`] and a [`Seed`] into a [`Pair`]. A scene is what the pictures show,
//! stated in pixels and photo-electrons; how a rig in the lab becomes a scene is not this crate's business, but the
//! physics for it (lens, scattering, fluids, tracers) is here too.
//!
//! Conventions: pixel (0, 0) is the upper-left one and its centre has the coordinates (0, 0); x runs right, y down, z toward
//! the camera, all in pixels. Time runs in units of the pulse separation, with 0 midway between the pulses; so a velocity
//! in px per pulse separation is a displacement.

pub mod airy;
pub mod camera;
pub mod exposure;
pub mod flow;
pub mod imaging;
pub mod light;
pub mod pair;
pub mod pathline;
pub mod poisson;
pub mod population;
pub mod random;
pub mod reflection;
pub mod scene;
pub mod seeding;
pub mod sensor;
pub mod sheet;
pub mod splat;
pub mod truth;

pub use camera::Camera;
pub use flow::Flow;
pub use imaging::{ImagePattern, Imaging};
pub use light::{Light, Pulse, PulseShape};
pub use pair::{Pair, render};
pub use population::Population;
pub use random::Seed;
pub use scene::{Exposure, Scene, SceneError, SceneField};
pub use sensor::Sensor;
pub use sheet::{Profile, Sheet};
