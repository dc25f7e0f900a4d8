//! Taylor–Green vortices.

use std::f64::consts::PI;

use super::{Flow, Vec3};

/// Array of plane vortices (Taylor and Green, Proc. R. Soc. A 158 (1937) 499): u = −U cos(kx)
/// sin(ky) and v = U sin(kx) cos(ky) with k = 2π/λ.
///
/// The vortex at the centre turns x into y for positive U; its neighbours, half a wavelength away,
/// turn the other way.
#[derive(Debug, Clone, PartialEq)]
pub struct TaylorGreen {
    /// Centre of one of the vortices, px.
    pub centre_px: [f64; 2],
    /// Largest displacement U, px per pulse separation.
    pub peak_displacement_px: f64,
    /// Wavelength λ, the length of two vortices, px; above 0.
    pub wavelength_px: f64,
}

impl TaylorGreen {
    /// Sine and cosine of kx and of ky.
    fn waves(&self, at: Vec3) -> [(f64, f64); 2] {
        let k = 2.0 * PI / self.wavelength_px;
        [0, 1].map(|i| libm::sincos(k * (at[i] - self.centre_px[i])))
    }
}

impl Flow for TaylorGreen {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [(sx, cx), (sy, cy)] = self.waves(at);
        let peak = self.peak_displacement_px;
        [-peak * cx * sy, peak * sx * cy, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let [(sx, cx), (sy, cy)] = self.waves(at);
        let slope = 2.0 * PI / self.wavelength_px * self.peak_displacement_px;
        let (same, cross) = (slope * (sx * sy), slope * (cx * cy));
        [[same, -cross, 0.0], [cross, -same, 0.0], [0.0; 3]]
    }
}
