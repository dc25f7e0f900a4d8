//! How the lens and the pixels draw a particle: where its image stands, how wide it is, what shape.
//!
//! *Where.* A camera at the distance D from the plane z = 0, on the axis through the picture's middle, sees a particle at depth z
//! magnified by D/(D − z) about that middle (central projection): out-of-plane motion shows as motion in the plane that grows
//! toward the edges. A lens with radial distortion k moves an image at the share ρ of the half diagonal outward by the share k ρ²
//! (the first term of Brown's model, Photogrammetric Engineering 32 (1966) 444; memory): k < 0 is a barrel. Truth follows both: it is
//! the displacement in the picture.
//!
//! *How wide.* d² = d_τ² + g² (r² − 1) + (δ (z − z_f))², all e⁻² diameters: d_τ the scene's particle image diameter, g the part of it that is
//! the geometric image of the mean particle (r: this one's diameter over the mean), δ the defocus in px of diameter a px of
//! depth off the plane in focus ([`Lens::defocus_diameter_m`](crate::optics::Lens::defocus_diameter_m); variances of convolved images add). In a
//! field-dependent lens d grows from the middle by the share a ρ².
//!
//! *What shape.* The Gaussian of that diameter, or the diffraction pattern itself ([`crate::airy`]). The pixel integrates it over its
//! sensitive part, a square of the share `fill_factor` of its area; the photo-electrons of a particle image are kept on average,
//! since the quantum efficiency of EMVA 1288 counts the fill factor already.

use crate::airy::{self, Airy};
use crate::flow::Vec3;
use crate::scene::{Scene, SceneError, SceneField, check, number};
use crate::splat::{self, Brush};

/// Shape of a particle image.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ImagePattern {
    /// Gaussian.
    Gaussian,
    /// Airy's diffraction pattern with the peak and the light of the Gaussian.
    Airy,
}

/// The lens, in picture units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Imaging {
    /// Shape of a particle image.
    pub pattern: ImagePattern,
    /// Growth of the defocus diameter with depth, px a px.
    pub defocus: f64,
    /// Depth of the plane in focus, px.
    pub focus_px: f64,
    /// Relative growth of the diameter from the middle to the corner of the picture.
    pub diameter_growth: f64,
    /// Distance of the camera, px; infinite (parallel projection) if `None`.
    pub distance_px: Option<f64>,
    /// Relative outward shift in the corner of the picture.
    pub distortion: f64,
}

impl Default for Imaging {
    /// A Gaussian, in focus everywhere, seen from far away.
    fn default() -> Self {
        Imaging {
            pattern: ImagePattern::Gaussian,
            defocus: 0.0,
            focus_px: 0.0,
            diameter_growth: 0.0,
            distance_px: None,
            distortion: 0.0,
        }
    }
}

impl Imaging {
    /// How points of light are drawn in a scene's pictures.
    pub(crate) fn brush(&self, scene: &Scene) -> Brush {
        match self.pattern {
            ImagePattern::Gaussian => Brush::Gaussian(libm::sqrt(scene.camera.fill_factor)),
            ImagePattern::Airy => Brush::Airy(Airy::new(0.25 * scene.particle_diameter_px)),
        }
    }

    /// How far from its point, in standard deviations, light is drawn.
    pub(crate) fn reach_sigmas(&self) -> f64 {
        match self.pattern {
            ImagePattern::Gaussian => splat::REACH_SIGMAS,
            ImagePattern::Airy => airy::REACH_SIGMAS,
        }
    }

    pub(crate) fn validate(&self, scene: &Scene) -> Result<(), SceneError> {
        let distance = self.distance_px.unwrap_or(f64::INFINITY);
        let [sx, sy] = scene.sheet.slope;
        let [w, h] = scene.size.map(|n| n as f64);
        let depth = scene.deepest_px() + 0.5 * (sx.abs() * w + sy.abs() * h);
        let sharp = self.defocus == 0.0
            && self.diameter_growth == 0.0
            && scene.population.geometric_diameter_px == 0.0;
        check([
            number(
                SceneField::Defocus,
                self.defocus,
                "px/px",
                (0.0..=10.0).contains(&self.defocus),
                "0 to 10",
            ),
            number(
                SceneField::Focus,
                self.focus_px,
                "px",
                self.focus_px.abs() <= 1e5,
                "at most 1e5 px",
            ),
            number(
                SceneField::DiameterGrowth,
                self.diameter_growth,
                "",
                (-0.5..=10.0).contains(&self.diameter_growth),
                "-0.5 to 10",
            ),
            number(
                SceneField::CameraDistance,
                distance,
                "px",
                distance >= 4.0 * depth && distance > 0.0,
                "at least four times the depth of the sheet",
            ),
            number(
                SceneField::Distortion,
                self.distortion,
                "",
                self.distortion.abs() <= 0.15,
                "-0.15 to 0.15",
            ),
            (
                SceneField::ImagePattern,
                "airy".to_owned(),
                self.pattern == ImagePattern::Gaussian
                    || (sharp && scene.particle_diameter_px <= 10.0 && scene.camera.fill_factor == 1.0),
                "gaussian: the diffraction pattern is drawn for particle images of one diameter of at most 10 px on full pixels, without defocus, growth of the diameter or geometric image",
            ),
        ])
    }
}

/// The picture's middle and scale, with the lens in front of it.
#[derive(Debug, Clone, Copy)]
pub struct View {
    /// The picture's middle, px.
    pub middle: [f64; 2],
    half_diagonal: f64,
    imaging: Imaging,
}

impl View {
    /// The view of a scene.
    pub fn of(scene: &Scene) -> View {
        let [width, height] = scene.size.map(|n| n as f64);
        View {
            middle: [0.5 * (width - 1.0), 0.5 * (height - 1.0)],
            half_diagonal: 0.5 * libm::hypot(width, height),
            imaging: scene.imaging,
        }
    }

    /// Where in the picture a particle shows, px.
    pub fn project(&self, at: Vec3) -> [f64; 2] {
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

    /// The point of the plane z = z₀ + s · (x − middle) that shows at (x, y).
    pub fn unproject(&self, x_px: f64, y_px: f64, z_px: f64, slope: [f64; 2]) -> Vec3 {
        let (mut dx, mut dy) = (x_px - self.middle[0], y_px - self.middle[1]);
        let k = self.imaging.distortion;
        if k != 0.0 {
            // The share s of the distorted radius: s (1 + k ρ² s²) = 1, by Newton's method.
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

    /// e⁻² diameter of the image, at (x, y) in the picture, of a particle at depth `z_px` with the relative diameter `relative`, px.
    pub fn diameter_px(&self, scene: &Scene, relative: f64, z_px: f64, [x, y]: [f64; 2]) -> f64 {
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

    /// Largest diameter of an image in the picture and near its border, px.
    pub(crate) fn largest_diameter_px(&self, scene: &Scene, deepest_px: f64) -> f64 {
        let largest = scene.population.diameter_range()[1];
        let corner = self.middle.map(|m| m * (1.0 - 1.2));
        [-deepest_px, deepest_px]
            .map(|z| self.diameter_px(scene, largest, z, corner))
            .into_iter()
            .fold(scene.particle_diameter_px, f64::max)
    }

    /// Squared distance from the middle over the half diagonal's.
    fn radius2(&self, x: f64, y: f64) -> f64 {
        let (dx, dy) = (x - self.middle[0], y - self.middle[1]);
        (dx * dx + dy * dy) / (self.half_diagonal * self.half_diagonal)
    }
}
