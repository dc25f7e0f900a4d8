//! A plane laminar jet.

use super::{Flow, Vec3, straight};

/// ξ at which sech²ξ = ½: arcosh √2.
const HALF: f64 = 0.881_373_587_019_543;

/// Plane laminar jet along x (Bickley, Phil. Mag. 23 (1937) 727): u = U s^(−1/3) sech²ξ and v = U
/// b/(3 x₀) s^(−2/3) (2ξ sech²ξ − tanh ξ) with s = x/x₀ and ξ = (y − y₀)/(b s^(2/3)), x from the
/// virtual origin. Its momentum flux ∫u² dy = 4/3 U² b is the same in every section.
///
/// It is given by its displacement on the axis and its half-width at one place. The fluid upstream
/// of the virtual origin is at rest. Without a virtual origin the jet does not spread, v = 0, and
/// the pathline is a straight line in closed form.
#[derive(Debug, Clone, PartialEq)]
pub struct BickleyJet {
    /// Position y₀ of the axis, px.
    pub centre_y_px: f64,
    /// Displacement on the axis at x = `middle_x_px`, px.
    pub peak_displacement_px: f64,
    /// Distance from the axis at which the displacement there is half of that, px; above 0.
    pub half_width_px: f64,
    /// Where the jet has that displacement and half-width, px.
    pub middle_x_px: f64,
    /// Distance x₀ from the virtual origin to `middle_x_px`, px, above 0; `None` for a jet that
    /// does not spread.
    pub virtual_origin_px: Option<f64>,
}

/// A section of the jet: displacement on the axis, px, width b, px, and 1/x, 1/px.
struct JetSection {
    peak: f64,
    width: f64,
    per_run: f64,
}

impl BickleyJet {
    /// The section at `x`; `None` upstream of the virtual origin.
    fn section(&self, x: f64) -> Option<JetSection> {
        let (peak, width) = (self.peak_displacement_px, self.half_width_px / HALF);
        let Some(origin) = self.virtual_origin_px else {
            return Some(JetSection {
                peak,
                width,
                per_run: 0.0,
            });
        };
        let run = origin + x - self.middle_x_px;
        let third = libm::cbrt(run / origin);
        (run > 0.0).then(|| JetSection {
            peak: peak / third,
            width: width * third * third,
            per_run: 1.0 / run,
        })
    }
}

impl Flow for BickleyJet {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let Some(section) = self.section(at[0]) else {
            return [0.0; 3];
        };
        let xi = (at[1] - self.centre_y_px) / section.width;
        let tanh = libm::tanh(xi);
        let sech2 = sech2(xi);
        let across = section.peak * section.width * section.per_run / 3.0 * (2.0 * xi * sech2 - tanh);
        [section.peak * sech2, across, 0.0]
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let Some(section) = self.section(at[0]) else {
            return [[0.0; 3]; 3];
        };
        let xi = (at[1] - self.centre_y_px) / section.width;
        let tanh = libm::tanh(xi);
        let sech2 = sech2(xi);
        let slope = -2.0 * sech2 * tanh;
        let third = section.per_run / 3.0;
        // (2ξ sech²ξ − tanh ξ)′ = sech²ξ + 2ξ (sech²ξ)′; u falls along x in proportion to it.
        let fall = sech2 + 2.0 * xi * slope;
        let across_by_x =
            -2.0 * section.peak * section.width * third * third * (2.0 * xi * sech2 - tanh + xi * fall);
        [
            [
                -section.peak * third * fall,
                section.peak * slope / section.width,
                0.0,
            ],
            [across_by_x, section.peak * third * fall, 0.0],
            [0.0; 3],
        ]
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        match self.virtual_origin_px {
            None => straight(self, from, t0, t1),
            Some(_) => super::pathline::integrate(self, from, t0, t1),
        }
    }
}

/// Hyperbolic secant squared, without overflow.
pub(crate) fn sech2(x: f64) -> f64 {
    let e = libm::exp(-x.abs());
    let sech = 2.0 * e / (1.0 + e * e);
    sech * sech
}
