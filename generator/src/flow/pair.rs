use super::{Flow, LambOseen, Vec3, add, along};

/// A pair of Lamb–Oseen vortices that turn against each other and so carry each other along.
///
/// The line between the vortices stands along y, the way of the pair along x. Each vortex moves at the velocity that the other
/// makes at its centre, Γ/(2πb) for thin cores at the distance b (Lamb, *Hydrodynamics*, §155; memory), and the
/// whole field with it: u(x, t) = u₀(x − U t). Between the pulses the pair therefore moves on; no closed pathline.
#[derive(Debug, Clone, PartialEq)]
pub struct VortexPair {
    vortices: [LambOseen; 2],
    drift_px: Vec3,
}

impl VortexPair {
    /// A pair whose middle is at `centre_px` midway in time, its vortices `spacing_px` apart. Each vortex alone has the displacement
    /// `peak_displacement_px` at `core_radius_px` from its centre; when that is positive the pair moves right.
    pub fn new(centre_px: [f64; 2], spacing_px: f64, peak_displacement_px: f64, core_radius_px: f64) -> Self {
        let vortices = [-1.0, 1.0].map(|side| LambOseen {
            centre_px: [centre_px[0], centre_px[1] + 0.5 * side * spacing_px],
            peak_displacement_px: side * peak_displacement_px,
            core_radius_px,
        });
        let [x, y] = vortices[0].centre_px;
        let drift_px = vortices[1].velocity([x, y, 0.0], 0.0);
        VortexPair { vortices, drift_px }
    }

    /// Displacement of the pair itself, px per pulse separation.
    pub fn drift_px(&self) -> Vec3 {
        self.drift_px
    }
}

impl Flow for VortexPair {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        let at = along(at, self.drift_px, -time);
        let [a, b] = &self.vortices;
        add(a.velocity(at, time), b.velocity(at, time))
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        let at = along(at, self.drift_px, -time);
        let [a, b] = self.vortices.each_ref().map(|v| v.gradient(at, time));
        [add(a[0], b[0]), add(a[1], b[1]), add(a[2], b[2])]
    }
}
