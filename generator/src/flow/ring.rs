//! A vortex ring.

use std::f64::consts::PI;
use std::sync::LazyLock;

use super::{Flow, Vec3};

/// Intervals of the finest rule on half the ring.
const FINEST: usize = 1024;
/// cos(π k/[`FINEST`]).
static COSINES: LazyLock<Vec<f64>> = LazyLock::new(|| {
    (0..=FINEST)
        .map(|k| libm::cos(PI * k as f64 / FINEST as f64))
        .collect()
});

/// A vortex ring that moves along x. The sheet can cut it anywhere.
///
/// It is a circular vortex line of radius R whose Biot–Savart law is smoothed by a core a: u =
/// Γ/(4π) ∮ dl × r / (r² + a²)^(3/2) (Rosenhead and Moore; Saffman, *Vortex Dynamics*, §11). It
/// moves at the velocity at its own core, Γ/(4πR) (ln(8R/a) − 1) for thin cores, and carries its
/// field along. The integral is taken by the trapezoidal rule, whose error on a circle falls
/// exponentially; the field is free of divergence with any number of points.
#[derive(Debug, Clone, PartialEq)]
pub struct VortexRing {
    centre_px: Vec3,
    radius_px: f64,
    core2: f64,
    /// Γ R/(4π), px³ per pulse separation.
    strength: f64,
    drift_px: f64,
}

/// Velocity along the axis and away from it, and their derivatives, in the plane through the axis
/// and a point.
struct Meridional {
    axial: f64,
    radial: f64,
    /// Derivatives along the axis and away from it.
    axial_by: [f64; 2],
    radial_by: [f64; 2],
    /// Radial velocity over the distance from the axis.
    hoop: f64,
}

impl VortexRing {
    /// Smallest core radius over the radius of the ring.
    pub const THINNEST: f64 = 0.02;

    /// A ring of radius `radius_px` whose centre is at `centre_px` at time 0 and has the
    /// displacement `centre_displacement_px` there. The core must be at least [`Self::THINNEST`] of
    /// the radius.
    pub fn new(centre_px: Vec3, radius_px: f64, core_radius_px: f64, centre_displacement_px: f64) -> Self {
        let core2 = core_radius_px * core_radius_px;
        // At the centre: u = Γ/2 · R²/(R² + a²)^(3/2).
        let distance2 = radius_px * radius_px + core2;
        let per_strength = 2.0 * PI * radius_px / (distance2 * libm::sqrt(distance2));
        let mut ring = VortexRing {
            centre_px,
            radius_px,
            core2,
            strength: centre_displacement_px / per_strength,
            drift_px: 0.0,
        };
        ring.drift_px = ring.sums(0.0, radius_px).axial;
        ring
    }

    /// Circulation Γ, px² per pulse separation.
    pub fn circulation_px2(&self) -> f64 {
        4.0 * PI * self.strength / self.radius_px
    }

    /// Displacement of the ring as a whole along x, px per pulse separation.
    pub fn drift_px(&self) -> f64 {
        self.drift_px
    }

    /// At the distance `x` from the ring's plane, along the axis, and `rho` from the axis.
    fn sums(&self, x: f64, rho: f64) -> Meridional {
        let radius = self.radius_px;
        let all = radius * radius + rho * rho + x * x + self.core2;
        let cross = 2.0 * radius * rho;
        // The poles of the integrand are at the imaginary angle arcosh(all/cross), so N points on
        // the full circle leave an error of exp(−N arcosh(all/cross)): 2e-16 at N =
        // 36/arcosh(all/cross).
        let needed = if cross > 0.0 {
            18.0 / libm::acosh(all / cross)
        } else {
            0.0
        };
        let mut half = 8;
        while (half as f64) < needed && half < FINEST {
            half *= 2;
        }
        let stride = FINEST / half;
        // Σ 1/D³, Σ c/D³ and Σ {1, c, c²}/D⁵.
        let (mut third, mut fifth) = ([0.0; 2], [0.0; 3]);
        for k in 0..=half {
            let c = COSINES[k * stride];
            let d2 = all - cross * c;
            let end = if k == 0 || k == half { 0.5 } else { 1.0 };
            let d5 = end / (d2 * d2 * libm::sqrt(d2));
            let d3 = d5 * d2;
            third[0] += d3;
            third[1] += d3 * c;
            fifth[0] += d5;
            fifth[1] += d5 * c;
            fifth[2] += d5 * c * c;
        }
        let scale = self.strength * 2.0 * PI / half as f64;
        let [j0, j1] = third.map(|j| scale * j);
        let [k0, k1, k2] = fifth.map(|k| 3.0 * scale * k);
        Meridional {
            axial: radius * j0 - rho * j1,
            radial: x * j1,
            axial_by: [
                -x * (radius * k0 - rho * k1),
                -j1 - (radius * rho * (k0 + k2) - (rho * rho + radius * radius) * k1),
            ],
            radial_by: [j1 - x * x * k1, -x * (rho * k1 - radius * k2)],
            hoop: x * radius * (k0 - k2),
        }
    }

    /// Distance of a point from the ring's plane, from the axis, and the direction (y, z) away from
    /// it.
    fn place(&self, at: Vec3, time: f64) -> (f64, f64, [f64; 2]) {
        let x = at[0] - self.centre_px[0] - self.drift_px * time;
        let (y, z) = (at[1] - self.centre_px[1], at[2] - self.centre_px[2]);
        let rho = libm::hypot(y, z);
        let outward = if rho > 0.0 { [y / rho, z / rho] } else { [1.0, 0.0] };
        (x, rho, outward)
    }
}

impl Flow for VortexRing {
    fn velocity(&self, at: Vec3, time: f64) -> Vec3 {
        let (x, rho, [ey, ez]) = self.place(at, time);
        let m = self.sums(x, rho);
        [m.axial, m.radial * ey, m.radial * ez]
    }
    fn gradient(&self, at: Vec3, time: f64) -> [Vec3; 3] {
        let (x, rho, [ey, ez]) = self.place(at, time);
        let m = self.sums(x, rho);
        let [out_by_x, out_by_rho] = m.radial_by;
        [
            [m.axial_by[0], m.axial_by[1] * ey, m.axial_by[1] * ez],
            [
                out_by_x * ey,
                out_by_rho * ey * ey + m.hoop * ez * ez,
                (out_by_rho - m.hoop) * ey * ez,
            ],
            [
                out_by_x * ez,
                (out_by_rho - m.hoop) * ey * ez,
                out_by_rho * ez * ez + m.hoop * ey * ey,
            ],
        ]
    }
}
