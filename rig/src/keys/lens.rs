//! `[lens]`

use motefield_generator::ImagePattern;

use super::kind::LAB_OR_PICTURE;
use super::{Key, PRACTICE, Range, section};
use crate::quantity::Dimension as D;

section! {
    "lens", "what lies between sheet and sensor", scene: false;

    MAGNIFICATION = Key::number("lens.magnification", Range::AboveUpTo(0.0, 100.0))
        .about("size of the image over that of the object; with camera.pixel it fixes the scale")
        .otherwise(
            "from lens.field_width or lens.focal_length, else none: no scale between lab and picture",
            "",
        )
        .log_slider(0.01, 10.0);

    FIELD_WIDTH = Key::quantity("lens.field_width", &[D::Length], Range::AboveZero, "mm")
        .about("width of the field of view")
        .otherwise("from lens.magnification", "")
        .instead_of("lens.magnification")
        .log_slider(1.0, 5000.0);

    FOCAL_LENGTH = Key::quantity("lens.focal_length", &[D::Length], Range::AboveZero, "mm")
        .about("focal length, from which with lens.working_distance follows the magnification, f / \
                (distance - f) of a thin lens")
        .otherwise("none", "")
        .instead_of("lens.magnification")
        .log_slider(1.0, 500.0);

    WORKING_DISTANCE = Key::quantity("lens.working_distance", &[D::Length], Range::AboveZero, "mm")
        .about("distance of the middle of the sheet from the lens's front principal plane, in a \
                photographic lens somewhere inside it; of a way through water the length over the \
                water's refractive index (needs lens.focal_length)")
        .otherwise("needed with lens.focal_length", "")
        .log_slider(10.0, 10_000.0);

    APERTURE = Key::quantity("lens.aperture", &[D::Aperture], Range::AboveZero, "f/")
        .about("f-number as engraved on the lens, for far objects; the plan shows the working one, \
                larger by magnification + 1")
        .otherwise("none; the particle image and the light budget need it", "")
        .log_slider(1.0, 32.0);

    NUMERICAL_APERTURE = Key::number("lens.numerical_aperture", Range::AboveUpTo(0.0, 1.4))
        .about("numerical aperture on the side of the particles, n sin a, as engraved on a \
                microscope objective; the f-number is magnification / (2 x numerical aperture x \
                (magnification + 1))")
        .otherwise("none", "")
        .instead_of("lens.aperture")
        .log_slider(0.01, 1.0);

    TRANSMISSION = Key::share("lens.transmission")
        .about("share of the light that passes lens and filter")
        .default("1", "no light is lost in lens and filter")
        .usual("0.9", PRACTICE)
        .slider(0.0, 1.0);

    BLUR = Key::quantity("lens.blur", &[D::Length], Range::NotNegative, "um")
        .about("e^-2 diameter that aberrations and imperfect focus add to a particle image, on the \
                sensor")
        .default("\"0 um\"", "a lens without aberrations, in perfect focus")
        .usual("\"10 um\"", PRACTICE)
        .slider(0.0, 50.0);

    DEFOCUS = Key::switch("lens.defocus")
        .about("whether particle images grow with the distance from the plane in focus, as \
                aperture and magnification demand")
        .default("false", "every particle in focus");

    FOCUS = Key::quantity("lens.focus", LAB_OR_PICTURE, Range::Any, "mm")
        .about("distance of the plane in focus from the middle of the sheet, positive toward the \
                camera")
        .default("\"0 px\"", "the middle of the sheet in focus")
        .slider(-5.0, 5.0);

    DISTANCE = Key::quantity("lens.distance", LAB_OR_PICTURE, Range::Any, "mm")
        .about("distance of the lens's entrance pupil from the sheet; with it perspective turns \
                motion through the sheet into motion in the picture, toward the edges")
        .otherwise("infinite", "no perspective")
        .log_slider(50.0, 10_000.0);

    DISTORTION = Key::number("lens.distortion", Range::Within(-0.15, 0.15))
        .about("relative outward shift of the corners of the picture (first radial term); negative \
                for a barrel")
        .default("0", "no distortion")
        .slider(-0.15, 0.15);

    DIAMETER_GROWTH = Key::number("lens.diameter_growth", Range::Within(-0.5, 10.0))
        .about("relative growth of the particle images from the middle of the picture to its \
                corners")
        .default("0", "particle images of one diameter over the picture")
        .slider(-0.5, 2.0);

    PATTERN = Key::choice::<ImagePattern>("lens.pattern")
        .about("shape of a particle image: Gaussian, or Airy's diffraction pattern of the same \
                peak and light, drawn to four diameters along each axis (its farther rings, 2 to \
                2.8 % of the light, are left out)")
        .default("\"gaussian\"", "");
}
