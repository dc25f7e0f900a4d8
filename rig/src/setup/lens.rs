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
    /// Focal length, and distance of the sheet from the front principal plane; the magnification
    /// follows from them.
    pub thin: Option<ThinLens>,
    /// Aperture, f-number for far objects.
    pub aperture: Option<f64>,
    /// Aperture on the side of the particles, n sin α; in place of the f-number.
    pub numerical_aperture: Option<f64>,
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

/// A lens by its focal length and the distance of what it pictures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThinLens {
    /// Focal length, m.
    pub focal_length_m: f64,
    /// From the front principal plane, m; longer than the focal length.
    pub distance_m: f64,
}

impl ThinLens {
    /// Image over object: f/(d − f), from 1/f = 1/d + 1/d′ and M = d′/d.
    pub fn magnification(self) -> f64 {
        self.focal_length_m / (self.distance_m - self.focal_length_m)
    }
}

fn thin(r: &Reader) -> Option<ThinLens> {
    let (focal, distance) = (r.number(keys::FOCAL_LENGTH), r.number(keys::WORKING_DISTANCE));
    if r.has(keys::WORKING_DISTANCE) && !r.has(keys::FOCAL_LENGTH) {
        r.fault(keys::WORKING_DISTANCE, "gives a magnification only with lens.focal_length, which is missing: write for example focal_length = \"35 mm\"");
    }
    let focal_length_m = focal?;
    let why = "lens.focal_length needs it: write for example working_distance = \"400 mm\"";
    let distance_m = r.needed(keys::WORKING_DISTANCE, distance, why, 2.0 * focal_length_m);
    if distance_m <= focal_length_m {
        r.fault(
            keys::WORKING_DISTANCE,
            "is not longer than lens.focal_length, so that no lens makes a picture: lengthen it",
        );
        return None;
    }
    Some(ThinLens {
        focal_length_m,
        distance_m,
    })
}

pub(super) fn lens(r: &Reader) -> LensSetup {
    const TWICE: &str = "say the same thing twice";
    r.exclude(keys::FIELD_WIDTH, keys::MAGNIFICATION, TWICE);
    r.exclude(keys::FOCAL_LENGTH, keys::MAGNIFICATION, TWICE);
    r.exclude(keys::FOCAL_LENGTH, keys::FIELD_WIDTH, TWICE);
    r.exclude(keys::NUMERICAL_APERTURE, keys::APERTURE, TWICE);
    LensSetup {
        magnification: r.number(keys::MAGNIFICATION),
        field_width_m: r.number(keys::FIELD_WIDTH),
        thin: thin(r),
        aperture: r.number(keys::APERTURE),
        numerical_aperture: r.number(keys::NUMERICAL_APERTURE),
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
