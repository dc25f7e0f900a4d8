//! Renders synthetic particle-image pairs whose displacement is known exactly.
//!
//! [`render`] turns a [`Scene`] and a [`Seed`] into a [`Pair`] of frames, and [`truth`] gives the
//! displacement that a perfect measurement of that pair would find. A scene states what the
//! pictures show, in pixels and photo-electrons; how the light, lens and camera of an experiment
//! become a scene is left to the caller.
//!
//! ```
//! use std::sync::Arc;
//! use motefield_generator::flow::LambOseen;
//! use motefield_generator::{Exposure, Scene, Seed, render, truth};
//!
//! let scene = Scene {
//!     size: [64, 48],
//!     exposure: Exposure::Fraction(0.1),
//!     flow: Arc::new(LambOseen {
//!         centre_px: [32.0, 24.0],
//!         peak_displacement_px: 4.0,
//!         core_radius_px: 12.0,
//!     }),
//!     ..Scene::default()
//! };
//! let pair = render(&scene, Seed::default())?;
//! assert_eq!(pair.a.dim(), (48, 64));
//! // Beside the core, at (44, 24), the fluid turns about the centre by the arc's chord.
//! let [dx, dy] = truth::at(&scene, 44.0, 24.0).expect("no body stands there");
//! assert!(dx.abs() < 1e-9 && (dy - 24.0 * (0.5_f64 * 4.0 / 12.0).sin()).abs() < 1e-9);
//! # Ok::<(), motefield_generator::SceneError>(())
//! ```
//!
//! # Conventions
//!
//! - Lengths are in px. Pixel (0, 0) is the upper-left one and the coordinates (0, 0) are its
//!   centre; x runs right, y down and z toward the camera.
//! - Time is in pulse separations, with 0 midway between the pulses. A velocity in px per pulse
//!   separation is therefore a displacement.
//! - Diameters of particle images are e⁻² diameters: four standard deviations of a Gaussian.
//! - Light is in expected photo-electrons (e) until the sensor turns it into grey levels (DN).
//! - Pictures are `ndarray` arrays of height × width.
//!
//! The same scene and seed give the same bits on every machine and any number of threads.

mod airy;
mod brightness;
mod brownian;
mod camera;
mod cost;
mod crop;
mod elementary;
mod error;
mod exposure;
mod flash;
pub mod flow;
mod imaging;
mod light;
pub mod linear;
mod linear_pulse;
mod motion;
pub mod pair;
mod poisson;
pub mod population;
mod quadrature;
mod random;
mod raster;
mod reflection;
mod scene;
mod seeding;
mod sensor;
mod sheet;
mod splat;
mod spot;
mod threads;
pub mod truth;
mod view;

pub use camera::Camera;
pub use cost::Cost;
pub use crop::Crop;
pub use error::{SceneError, SceneField};
pub use flow::Flow;
pub use imaging::{ImagePattern, Imaging};
pub use light::{Exposure, Light, Pulse, PulseShape};
pub use linear_pulse::{LinearPulse, PulseShapeError};
pub use pair::{Pair, render};
pub use population::Population;
pub use random::{Draws, Seed};
pub use reflection::{Glare, HotSpots, Reflections};
pub use scene::Scene;
pub use sensor::Sensor;
pub use sheet::{Profile, Sheet};

/// Compiles the example of the README.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
