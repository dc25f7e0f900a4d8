//! The lens: projection, distortion, focus and the shape of a particle image.
//!
//! The formulas of position and width are those of [`crate::view`]. The shape is a Gaussian of that
//! width, or the diffraction pattern itself ([`crate::airy`]), integrated over the sensitive square
//! of each pixel.

use crate::error::{SceneError, SceneField, failed, in_range, number};

/// Shape of a particle image.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ImagePattern {
    /// A Gaussian spot.
    Gaussian,
    /// Diffraction pattern of a circular aperture (Airy) with the peak and the light of the
    /// Gaussian. For images of one diameter of at most 10 px, without defocus, growth or geometric
    /// image, on pixels sensitive all over.
    Airy,
}

/// The lens, in px of the picture.
///
/// ```
/// use motefield_generator::{Imaging, Scene, truth};
/// use motefield_generator::flow::Uniform;
///
/// // Perspective shows motion toward the camera as motion away from the middle.
/// let scene = Scene {
///     imaging: Imaging { distance_px: Some(2000.0), ..Imaging::default() },
///     flow: std::sync::Arc::new(Uniform { displacement_px: [0.0, 0.0, 4.0] }),
///     ..Scene::default()
/// };
/// let [dx, _] = truth::at(&scene, 455.5, 255.5).expect("no body stands there");
/// assert!((dx - 200.0 * 4.0 / 2000.0).abs() < 1e-3);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Imaging {
    /// Shape of a particle image.
    pub pattern: ImagePattern,
    /// Growth of the defocus diameter with the distance from the plane in focus, px per px; 0 to
    /// 10.
    pub defocus: f64,
    /// Depth of the plane in focus, px; positive toward the camera.
    pub focus_px: f64,
    /// Relative growth of the diameter from the middle to the corner of the picture, −0.5 to 10.
    pub diameter_growth: f64,
    /// Distance of the camera from the plane z = 0, px, at least four times the depth of the sheet;
    /// `None` for parallel projection.
    pub distance_px: Option<f64>,
    /// Radial distortion: relative outward shift in the corner of the picture, −0.15 to 0.15.
    pub distortion: f64,
}

impl Default for Imaging {
    /// Gaussian images, in focus everywhere, in parallel projection without distortion.
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
    /// `depth_px` is the largest depth of a lit particle, `uniform` whether all particle images of
    /// the scene are alike, small and on full pixels.
    pub(crate) fn faults(&self, depth_px: f64, uniform: bool) -> Vec<SceneError> {
        let distance = self.distance_px.unwrap_or(f64::INFINITY);
        let sharp = self.defocus == 0.0 && self.diameter_growth == 0.0;
        failed([
            in_range(SceneField::Defocus, self.defocus, "px/px", 0.0..=10.0, "0 to 10"),
            in_range(
                SceneField::Focus,
                self.focus_px,
                "px",
                -1e5..=1e5,
                "at most 1e5 px",
            ),
            in_range(
                SceneField::DiameterGrowth,
                self.diameter_growth,
                "",
                -0.5..=10.0,
                "-0.5 to 10",
            ),
            number(
                SceneField::CameraDistance,
                distance,
                "px",
                distance >= 4.0 * depth_px && distance > 0.0,
                "at least four times the depth of the sheet",
            ),
            in_range(
                SceneField::Distortion,
                self.distortion,
                "",
                -0.15..=0.15,
                "-0.15 to 0.15",
            ),
            (
                SceneField::ImagePattern,
                "airy".to_owned(),
                self.pattern == ImagePattern::Gaussian || (sharp && uniform),
                "gaussian: the diffraction pattern is drawn for particle images of one diameter of at most 10 px on full pixels, without defocus, growth of the diameter or geometric image",
            ),
        ])
    }
}
