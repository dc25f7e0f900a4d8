//! `[lens]`: what stands between sheet and sensor.

use motefield_generator::ImagePattern;

use super::flow::{Extent, extent};
use super::reader::{Reader, SetupError};
use crate::quantity::Dimension as D;

/// `[lens]`
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LensSetup {
    /// Image over object.
    pub magnification: Option<f64>,
    /// Width of the field pictured; the magnification follows from it.
    pub field_width_m: Option<f64>,
    /// Aperture, f-number.
    pub f_number: Option<f64>,
    /// Share of light that passes lens and filter.
    pub transmission: Option<f64>,
    /// e⁻² diameter of what aberrations and focus add to the image, on the sensor.
    pub blur_m: Option<f64>,
    /// Whether images grow with their distance from the plane in focus, as aperture and magnification say.
    pub defocus: bool,
    /// Depth of the plane in focus before the sheet's middle.
    pub focus: Option<Extent>,
    /// Distance of the camera from the sheet.
    pub distance: Option<Extent>,
    /// Relative outward shift of the picture's corner.
    pub distortion: Option<f64>,
    /// Relative growth of the images' diameter toward the picture's corner.
    pub diameter_growth: Option<f64>,
    /// Shape of a particle image.
    pub pattern: Option<ImagePattern>,
}

pub(super) fn lens(r: &Reader) -> Result<LensSetup, SetupError> {
    let lens = LensSetup {
        magnification: r.number(
            "lens.magnification",
            |n| n > 0.0 && n <= 100.0,
            "above 0 and at most 100",
        )?,
        field_width_m: r.positive("lens.field_width", D::Length)?,
        f_number: r.positive("lens.aperture", D::Aperture)?,
        transmission: r.share("lens.transmission")?,
        blur_m: r.not_negative("lens.blur", D::Length)?,
        defocus: r.switch("lens.defocus")?.unwrap_or(false),
        focus: extent(r, "lens.focus")?,
        distance: extent(r, "lens.distance")?,
        distortion: r.number("lens.distortion", |n| n.abs() <= 0.15, "-0.15 to 0.15")?,
        diameter_growth: r.number(
            "lens.diameter_growth",
            |n| (-0.5..=10.0).contains(&n),
            "-0.5 to 10",
        )?,
        pattern: r.word(
            "lens.pattern",
            &[("gaussian", ImagePattern::Gaussian), ("airy", ImagePattern::Airy)],
        )?,
    };
    if lens.magnification.is_some() && lens.field_width_m.is_some() {
        return Err(r.error(
            "lens.field_width",
            "and lens.magnification say the same thing twice: leave one out",
        ));
    }
    Ok(lens)
}
