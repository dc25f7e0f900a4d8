//! A mixing layer.

use super::along::{Along, Parallel, VelocityProfile};
use super::jet::sech2;
use super::{Flow, Vec3, straight};

/// Mixing layer along x between two streams: u = ½ (U₁ + U₂) + ½ (U₂ − U₁) tanh(2 (y − y₀)/δ_ω)
/// with the vorticity thickness δ_ω = (U₂ − U₁)/(∂u/∂y)max (profile of Michalke, J. Fluid Mech. 19
/// (1964) 543). The pathline is a straight line in closed form.
#[derive(Debug, Clone, PartialEq)]
pub struct MixingLayer {
    /// Middle y₀ of the layer, px.
    pub centre_y_px: f64,
    /// Displacement U₁ of the stream above, at smaller y, px.
    pub above_px: f64,
    /// Displacement U₂ of the stream below, px.
    pub below_px: f64,
    /// Vorticity thickness δ_ω, px; above 0.
    pub vorticity_thickness_px: f64,
}

impl MixingLayer {
    /// Distance from the middle over half the vorticity thickness.
    fn place(&self, at: Vec3) -> f64 {
        2.0 * (at[1] - self.centre_y_px) / self.vorticity_thickness_px
    }
}

impl Flow for MixingLayer {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let (mean, half) = (
            0.5 * (self.above_px + self.below_px),
            0.5 * (self.below_px - self.above_px),
        );
        [mean + half * libm::tanh(self.place(at)), 0.0, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let slope = (self.below_px - self.above_px) / self.vorticity_thickness_px * sech2(self.place(at));
        [[0.0, slope, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        straight(self, from, t0, t1)
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        let mean = [0.5 * (self.above_px + self.below_px), 0.0, 0.0];
        let half = 0.5 * (self.below_px - self.above_px);
        let per_px = 2.0 / self.vorticity_thickness_px;
        Some(Box::new(Parallel {
            centre_y: self.centre_y_px,
            ..Parallel::new(mean, half, VelocityProfile::Tanh, per_px)
        }))
    }
}
