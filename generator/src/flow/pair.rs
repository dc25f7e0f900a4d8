//! A pair of opposite vortices.

use super::along::Along;
use super::carried::{AlongDrifting, drifting};
use super::series::PathSeries;
use super::vortex::pathlines::{self, AlongVortices};
use super::{Flow, LambOseen, Vec3, add, add_gradients, along};

/// Two Lamb–Oseen vortices of opposite sense that carry each other along x.
///
/// The line between their centres is along y. Each vortex moves at the velocity that the other
/// induces at its centre, Γ/(2πb) for thin cores at the distance b (Lamb, *Hydrodynamics*, §155),
/// and the field moves with them: u(x, t) = u₀(x − U t).
#[derive(Debug, Clone, PartialEq)]
pub struct VortexPair {
    vortices: [LambOseen; 2],
    drift_px: Vec3,
}

impl VortexPair {
    /// A pair whose middle is at `centre_px` at time 0, with the centres `spacing_px` apart. Each
    /// vortex alone has the largest displacement `peak_displacement_px` at `core_radius_px` from
    /// its centre; the pair moves right when that is positive.
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

    /// Displacement of the pair as a whole, px per pulse separation.
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
        add_gradients(a, b)
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        // Seen from the vortices, the fluid streams the other way.
        let stream_px = self.drift_px.map(|v| -v);
        drifting(self.drift_px, from, time, |from| {
            Some(pathlines::series(&self.vortices, stream_px, from, reach))
        })
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let vortices = AlongVortices::new(&self.vortices, [0.0; 3]);
        Some(Box::new(AlongDrifting::new(
            Box::new(vortices),
            self.drift_px,
            time,
        )))
    }
}
