//! A plane wake.

use super::along::{Along, Parallel, VelocityProfile};
use super::{Flow, Vec3, straight};

/// Far plane wake along x: u = U − ΔU exp(−ln 2 (y − y₀)²/b²), where the deficit ΔU on the axis has
/// fallen to half at the distance b (Schlichting, Boundary-Layer Theory, the wake far behind a
/// body; memory). It does not spread inside the picture, so the pathline is a straight line in
/// closed form.
#[derive(Debug, Clone, PartialEq)]
pub struct Wake {
    /// y₀ of the axis, px.
    pub centre_y_px: f64,
    /// Displacement U of the stream outside, px.
    pub stream_px: f64,
    /// What is missing of it on the axis, ΔU, px.
    pub deficit_px: f64,
    /// Distance b from the axis at which half of that is missing, px; above 0.
    pub half_width_px: f64,
}

impl Wake {
    /// Distance from the axis over b, and what is missing there, px.
    fn missing(&self, at: Vec3) -> [f64; 2] {
        let place = (at[1] - self.centre_y_px) / self.half_width_px;
        [place, self.deficit_px * libm::exp2(-place * place)]
    }
}

impl Flow for Wake {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        [self.stream_px - self.missing(at)[1], 0.0, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let [place, missing] = self.missing(at);
        let slope = 2.0 * std::f64::consts::LN_2 * place * missing / self.half_width_px;
        [[0.0, slope, 0.0], [0.0; 3], [0.0; 3]]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        straight(self, from, t0, t1)
    }
    fn along(&self, _: f64) -> Option<Box<dyn Along + '_>> {
        let per_px = libm::sqrt(std::f64::consts::LN_2) / self.half_width_px;
        let stream = [self.stream_px, 0.0, 0.0];
        Some(Box::new(Parallel {
            centre_y: self.centre_y_px,
            ..Parallel::new(stream, -self.deficit_px, VelocityProfile::Gaussian, per_px)
        }))
    }
}
