//! `[lens]`: what stands between sheet and sensor.

use motefield_generator::ImagePattern;

use super::flow::{Extent, extent};
use super::reader::Reader;
use crate::keys::lens as keys;

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
    /// Whether images grow with their distance from the plane in focus, as aperture and
    /// magnification say.
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

pub(super) fn lens(r: &Reader) -> LensSetup {
    r.exclude(keys::FIELD_WIDTH, keys::MAGNIFICATION, "say the same thing twice");
    LensSetup {
        magnification: r.number(keys::MAGNIFICATION),
        field_width_m: r.number(keys::FIELD_WIDTH),
        f_number: r.number(keys::APERTURE),
        transmission: r.number(keys::TRANSMISSION),
        blur_m: r.number(keys::BLUR),
        defocus: r.switch(keys::DEFOCUS).unwrap_or(false),
        focus: extent(r, keys::FOCUS),
        distance: extent(r, keys::DISTANCE),
        distortion: r.number(keys::DISTORTION),
        diameter_growth: r.number(keys::DIAMETER_GROWTH),
        pattern: r.choice(keys::PATTERN),
    }
}
