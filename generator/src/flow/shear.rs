//! Parallel shear flows.

use std::f64::consts::PI;

use super::along::{Along, Linear, Parallel, VelocityProfile};
use super::{Flow, Vec3, along};

/// Linear shear: u = U + g (y − y₀), v = V, w = W.
///
/// The pathline is in closed form: y grows at the rate V, so u grows linearly in time and x gains
/// ½ g V t² beyond a straight line.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearShear {
    /// Displacement (U, V, W) on the line y = y₀, px.
    pub displacement_px: Vec3,
    /// Gradient g = ∂u/∂y, px per px.
    pub shear: f64,
    /// The line y₀, px.
    pub centre_y_px: f64,
}

impl Flow for LinearShear {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [u, v, w] = self.displacement_px;
        [u + self.shear * (at[1] - self.centre_y_px), v, w]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        [[0.0, self.shear, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let t = t1 - t0;
        let mut to = along(from, self.velocity(from, t0), t);
        to[0] += 0.5 * self.shear * self.displacement_px[1] * t * t;
        to
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        Some(Box::new(Linear {
            velocity: self.displacement_px,
            gradient: self.gradient([0.0; 3], time),
            about: [0.0, self.centre_y_px, 0.0],
        }))
    }
}

/// Shear through the depth: u = U + g (z − z₀), v = V + h (z − z₀), w = W. Particles in front of
/// and behind the middle of the sheet move at different velocities in the picture.
///
/// The pathline is in closed form: z grows at the rate W.
#[derive(Debug, Clone, PartialEq)]
pub struct DepthShear {
    /// Displacement (U, V, W) in the plane z = z₀, px.
    pub displacement_px: Vec3,
    /// Gradients g = ∂u/∂z and h = ∂v/∂z, px per px.
    pub shear: [f64; 2],
    /// The plane z₀, px.
    pub depth_px: f64,
}

impl Flow for DepthShear {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let ([u, v, w], from) = (self.displacement_px, at[2] - self.depth_px);
        [u + self.shear[0] * from, v + self.shear[1] * from, w]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        let [g, h] = self.shear;
        [[0.0, 0.0, g], [0.0, 0.0, h], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let t = t1 - t0;
        let mut to = along(from, self.velocity(from, t0), t);
        for (axis, shear) in to.iter_mut().zip(self.shear) {
            *axis += 0.5 * shear * self.displacement_px[2] * t * t;
        }
        to
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        Some(Box::new(Linear {
            velocity: self.displacement_px,
            gradient: self.gradient([0.0; 3], time),
            about: [0.0, 0.0, self.depth_px],
        }))
    }
}

/// Sinusoidal shear: u = U + A sin(2π (y − y₀)/λ + φ), v = V, w = W. It shows the spatial response
/// of a measurement: the fraction of an amplitude that it returns at a wavelength.
///
/// The pathline is in closed form: y grows at the rate V, so the phase grows linearly in time and
/// the sine integrates to its value midway times sin(h)/h, with h half the change of phase.
#[derive(Debug, Clone, PartialEq)]
pub struct SinusoidalShear {
    /// Mean displacement (U, V, W), px.
    pub displacement_px: Vec3,
    /// Amplitude A of the displacement, px.
    pub amplitude_px: f64,
    /// Wavelength λ, px; not 0.
    pub wavelength_px: f64,
    /// The line y₀, px.
    pub centre_y_px: f64,
    /// Phase φ on that line, rad.
    pub phase_rad: f64,
}

impl SinusoidalShear {
    fn phase(&self, y: f64) -> f64 {
        2.0 * PI * (y - self.centre_y_px) / self.wavelength_px + self.phase_rad
    }
}

impl Flow for SinusoidalShear {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [u, v, w] = self.displacement_px;
        [u + self.amplitude_px * libm::sin(self.phase(at[1])), v, w]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let slope = 2.0 * PI * self.amplitude_px / self.wavelength_px * libm::cos(self.phase(at[1]));
        [[0.0, slope, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let t = t1 - t0;
        let mut to = along(from, self.displacement_px, t);
        let half = PI * self.displacement_px[1] * t / self.wavelength_px;
        let sinc = if half.abs() < 1e-4 {
            1.0 - half * half / 6.0
        } else {
            libm::sin(half) / half
        };
        to[0] += self.amplitude_px * t * sinc * libm::sin(self.phase(from[1]) + half);
        to
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        let per_px = 2.0 * PI / self.wavelength_px;
        let (mean, amplitude) = (self.displacement_px, self.amplitude_px);
        Some(Box::new(Parallel {
            centre_y: self.centre_y_px,
            phase: self.phase_rad,
            ..Parallel::new(mean, amplitude, VelocityProfile::Sine, per_px)
        }))
    }
}
