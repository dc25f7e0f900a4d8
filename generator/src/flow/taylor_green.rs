use std::f64::consts::PI;

use super::{Flow, Vec3};

/// Taylor and Green's array of vortices: u = −U cos(kx) sin(ky), v = U sin(kx) cos(ky), k = 2π/λ (Taylor and Green,
/// Proc. R. Soc. A 158 (1937) 499, in the plane; memory).
///
/// The vortex at the centre turns x into y for a positive speed; its neighbours, half a wavelength away, turn
/// against it. No closed pathline in elementary functions; cos(kx) cos(ky) stays constant along it.
#[derive(Debug, Clone, PartialEq)]
pub struct TaylorGreen {
    /// Centre of one vortex, px.
    pub centre_px: [f64; 2],
    /// Largest displacement U, px per pulse separation.
    pub peak_displacement_px: f64,
    /// Wavelength λ: two vortices, px.
    pub wavelength_px: f64,
}

impl TaylorGreen {
    /// Sines and cosines of kx and ky.
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
