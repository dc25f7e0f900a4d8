//! A stretched vortex.

use std::sync::Arc;

use super::along::{Along, Linear};
use super::series::PathSeries;
use super::{Flow, LambOseen, Sum, Summand, Vec3};

/// Steady vortex along z that is stretched along its axis, as over a drain (Burgers, *Advances in
/// Applied Mechanics* 1 (1948) 171; memory): the swirl of a [`LambOseen`] vortex, and u = −½ a (x −
/// x₀), v = −½ a (y − y₀), w = a z. In a fluid of viscosity ν the core is r_c = 2 √(ν/a).
///
/// ```
/// use motefield_generator::flow::{BurgersVortex, Flow, LambOseen};
///
/// let swirl = LambOseen { centre_px: [50.0, 50.0], peak_displacement_px: 6.0, core_radius_px: 20.0 };
/// let vortex = BurgersVortex::new(swirl, 0.1);
/// // Right of the centre the fluid moves down and inward; in front of the middle plane, forward.
/// let [u, v, w] = vortex.velocity([70.0, 50.0, 3.0], 0.0);
/// assert!((u + 1.0).abs() < 1e-12 && (v - 6.0).abs() < 1e-12 && (w - 0.3).abs() < 1e-12);
/// ```
#[derive(Debug, Clone)]
pub struct BurgersVortex(Sum);

impl BurgersVortex {
    /// A vortex of this swirl with the rate of strain a = ∂w/∂z, px per px.
    pub fn new(swirl: LambOseen, strain: f64) -> BurgersVortex {
        let stretching = AxialStrain {
            centre_px: swirl.centre_px,
            strain,
        };
        BurgersVortex(Sum::new(vec![
            Summand::plain(Arc::new(swirl)),
            Summand::plain(Arc::new(stretching)),
        ]))
    }
}

impl Flow for BurgersVortex {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        self.0.velocity(at, time)
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        self.0.gradient(at, time)
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        self.0.path(from, t0, t1)
    }
    fn series(&self, from: [&[f64]; 3], time: f64, reach: f64) -> Option<PathSeries> {
        self.0.series(from, time, reach)
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        self.0.along(time)
    }
}

/// Strain about an axis along z: w = a z, and half of that toward the axis from all sides.
#[derive(Debug)]
struct AxialStrain {
    centre_px: [f64; 2],
    strain: f64,
}

impl Flow for AxialStrain {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        let [x, y] = self.centre_px;
        let inward = -0.5 * self.strain;
        [inward * (at[0] - x), inward * (at[1] - y), self.strain * at[2]]
    }
    fn gradient(&self, _: Vec3, _: f64) -> [Vec3; 3] {
        let inward = -0.5 * self.strain;
        [[inward, 0.0, 0.0], [0.0, inward, 0.0], [0.0, 0.0, self.strain]]
    }
    fn along(&self, time: f64) -> Option<Box<dyn Along + '_>> {
        let gradient = self.gradient([0.0; 3], time);
        Some(Box::new(Linear::about_axis(self.centre_px, gradient)))
    }
}
