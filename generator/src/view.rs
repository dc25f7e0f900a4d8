//! Where the image of a particle stands in the picture, and how wide it is.
//!
//! Position. A camera at the distance D from the plane z = 0, on the axis through the middle of the
//! picture, sees a particle at depth z magnified by D/(D − z) about that middle (central
//! projection), so out-of-plane motion shows as in-plane motion that grows toward the edges. A lens
//! of radial distortion k moves an image at the radius ρ, in half diagonals, outward by the
//! fraction k ρ² (first term of Brown's model, Photogrammetric Engineering 32 (1966) 444); k < 0 is
//! a barrel. The true displacement is that in the picture, so it follows both.
//!
//! Width. d² = d_τ² + g² (r² − 1) + (δ (z − z_f))², all e⁻² diameters: d_τ is the scene's particle
//! image diameter, g the part of it that is the geometric image of a particle of mean diameter, r
//! the particle's diameter over the mean, and δ the growth with the distance from the plane in
//! focus at z_f (variances of convolved images add). With a field-dependent lens d grows from the
//! middle outward by the fraction a ρ².

use crate::flow::Vec3;
use crate::imaging::Imaging;
use crate::scene::Scene;

/// The projection of a scene onto its picture.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View {
    /// Middle of the picture, px.
    pub(crate) middle: [f64; 2],
    half_diagonal: f64,
    imaging: Imaging,
}

impl View {
    pub(crate) fn of(scene: &Scene) -> View {
        let [width, height] = scene.size.map(|n| n as f64);
        View {
            middle: [0.5 * (width - 1.0), 0.5 * (height - 1.0)],
            half_diagonal: 0.5 * libm::hypot(width, height),
            imaging: scene.imaging,
        }
    }

    /// Whether a particle shows where it is along x and y.
    pub(crate) fn is_parallel(&self) -> bool {
        self.imaging.distance_px.is_none() && self.imaging.distortion == 0.0
    }

    /// Point of the picture at which a particle shows, px.
    pub(crate) fn project(&self, at: Vec3) -> [f64; 2] {
        let (mut x, mut y) = (at[0], at[1]);
        if let Some(distance) = self.imaging.distance_px {
            let scale = distance / (distance - at[2]);
            x = self.middle[0] + scale * (x - self.middle[0]);
            y = self.middle[1] + scale * (y - self.middle[1]);
        }
        if self.imaging.distortion != 0.0 {
            let scale = 1.0 + self.imaging.distortion * self.radius2(x, y);
            x = self.middle[0] + scale * (x - self.middle[0]);
            y = self.middle[1] + scale * (y - self.middle[1]);
        }
        [x, y]
    }

    /// The point of the plane z = z₀ + s · (x − middle), s being its slope, that shows at (x, y) in
    /// the picture.
    pub(crate) fn unproject(&self, x_px: f64, y_px: f64, z_px: f64, slope: [f64; 2]) -> Vec3 {
        let (mut dx, mut dy) = (x_px - self.middle[0], y_px - self.middle[1]);
        let k = self.imaging.distortion;
        if k != 0.0 {
            // Undistorted over distorted radius, s: s (1 + k ρ² s²) = 1, by Newton's method.
            let c = k * self.radius2(x_px, y_px);
            let mut s = 1.0;
            for _ in 0..50 {
                let step = (s * (1.0 + c * s * s) - 1.0) / (1.0 + 3.0 * c * s * s);
                s -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (dx, dy) = (s * dx, s * dy);
        }
        if let Some(distance) = self.imaging.distance_px {
            // q = (x − m) D/(D − z) and z = z₀ + s·(x − m) give x − m = q (D − z₀)/(D + s·q).
            let scale = (distance - z_px) / (distance + slope[0] * dx + slope[1] * dy);
            (dx, dy) = (scale * dx, scale * dy);
        }
        [
            self.middle[0] + dx,
            self.middle[1] + dy,
            z_px + slope[0] * dx + slope[1] * dy,
        ]
    }

    /// e⁻² diameter, px, of the image at (x, y) in the picture of a particle at the depth `z_px`
    /// whose diameter is `relative` times the mean.
    pub(crate) fn diameter_px(&self, scene: &Scene, relative: f64, z_px: f64, [x, y]: [f64; 2]) -> f64 {
        let Imaging {
            defocus,
            focus_px,
            diameter_growth,
            ..
        } = self.imaging;
        let geometric = scene.population.geometric_diameter_px;
        let mut diameter = scene.particle_diameter_px;
        if geometric > 0.0 || defocus > 0.0 {
            let blur = defocus * (z_px - focus_px);
            diameter = libm::sqrt(
                diameter * diameter + geometric * geometric * (relative * relative - 1.0) + blur * blur,
            );
        }
        if diameter_growth != 0.0 {
            diameter *= 1.0 + diameter_growth * self.radius2(x, y);
        }
        diameter
    }

    /// Largest diameter of an image in the picture and near its border, px, of particles within
    /// `deepest_px` of the plane z = 0.
    pub(crate) fn largest_diameter_px(&self, scene: &Scene, deepest_px: f64) -> f64 {
        let largest = scene.population.diameter_range()[1];
        let corner = self.middle.map(|m| m * (1.0 - 1.2));
        [-deepest_px, deepest_px]
            .map(|z| self.diameter_px(scene, largest, z, corner))
            .into_iter()
            .fold(scene.particle_diameter_px, f64::max)
    }

    /// Squared distance from the middle of the picture over the squared half diagonal.
    fn radius2(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = (x - self.middle[0], y - self.middle[1]);
        (dx * dx + dy * dy) / (self.half_diagonal * self.half_diagonal)
    }
}

#[cfg(test)]
mod tests;
