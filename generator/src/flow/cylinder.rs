//! Potential flow around a cylinder.

use num_complex::Complex64;

use super::pathline::{Smoothness, integrate_velocity};
use super::{Flow, Vec3};

/// Potential flow along x around a solid cylinder whose axis is along z: u − iv = U (1 − R²/ζ²)
/// with ζ = x + iy from the axis (Lamb, *Hydrodynamics*, §68).
#[derive(Debug, Clone, PartialEq)]
pub struct Cylinder {
    /// Position of the axis, px.
    pub centre_px: [f64; 2],
    /// Radius R, px; above 0.
    pub radius_px: f64,
    /// Displacement U far away, px.
    pub stream_px: f64,
}

impl Cylinder {
    /// Position from the axis over the radius.
    fn place(&self, at: Vec3) -> Complex64 {
        let [x, y] = self.centre_px;
        Complex64::new(at[0] - x, at[1] - y) / self.radius_px
    }

    /// The velocity outside, continued smoothly a little way inside, since the integration of a
    /// pathline along the surface may try points beneath it.
    fn inward(&self, at: Vec3) -> Vec3 {
        let place = self.place(at);
        if place.norm_sqr() < 0.25 {
            return [0.0; 3];
        }
        let w = self.stream_px * (1.0 - (place * place).inv());
        [w.re, -w.im, 0.0]
    }
}

impl Flow for Cylinder {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        if self.solid(at) { [0.0; 3] } else { self.inward(at) }
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        if self.solid(at) {
            return [[0.0; 3]; 3];
        }
        let place = self.place(at);
        let w = 2.0 * self.stream_px / self.radius_px * (place * place * place).inv();
        [[w.re, -w.im, 0.0], [-w.im, -w.re, 0.0], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        if self.solid(from) {
            return from;
        }
        integrate_velocity(|at, _| self.inward(at), from, t0, t1, Smoothness::Everywhere)
    }
    fn solid(&self, at: Vec3) -> bool {
        self.place(at).norm_sqr() < 1.0
    }
    fn continued(&self, at: Vec3, _: f64) -> Vec3 {
        self.inward(at)
    }
    fn clearance(&self, at: Vec3) -> Option<(f64, Vec3)> {
        let place = self.place(at);
        let from_axis = libm::hypot(place.re, place.im);
        let slope = [place.re / from_axis, place.im / from_axis, 0.0];
        Some(((from_axis - 1.0) * self.radius_px, slope))
    }
}
