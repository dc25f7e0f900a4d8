//! `[reflections]`

use super::kind::LAB_OR_PICTURE;
use super::{Key, Range, section};
use crate::quantity::Dimension as D;

section! {
    "reflections",
    "light from walls and windows, the same in every pair, in proportion to the pulse energy",
    scene: false;

    PICTURE = Key::file("reflections.picture")
        .about("grey TIFF or PNG of the reflected light, of the size of the image, such as one \
                taken without particles")
        .otherwise("none", "no reflections");

    PICTURE_PEAK = Key::quantity("reflections.picture_peak", &[D::Electrons], Range::AboveZero, "e")
        .about("photo-electrons in its brightest pixel")
        .otherwise("needed with reflections.picture", "")
        .log_slider(10.0, 100_000.0);

    GLARE = Key::quantity("reflections.glare", &[D::Electrons], Range::NotNegative, "e")
        .about("photo-electrons per pixel on a glare line, where the sheet meets a wall")
        .otherwise("none", "no glare line")
        .log_slider(10.0, 100_000.0);

    GLARE_X = Key::quantity("reflections.glare_x", LAB_OR_PICTURE, Range::Any, "mm")
        .about("x of a point on the line, from the middle of the image")
        .default("\"0 px\"", "")
        .slider(-50.0, 50.0);

    GLARE_Y = Key::quantity("reflections.glare_y", LAB_OR_PICTURE, Range::Any, "mm")
        .about("y of that point")
        .default("\"0 px\"", "")
        .slider(-50.0, 50.0);

    GLARE_ANGLE = Key::quantity("reflections.glare_angle", &[D::Angle], Range::Any, "deg")
        .about("angle of the line to x, positive from x toward y (clockwise on the screen)")
        .default("\"0 deg\"", "")
        .slider(-90.0, 90.0);

    GLARE_WIDTH = Key::quantity("reflections.glare_width", LAB_OR_PICTURE, Range::Any, "mm")
        .about("full width of the line between its e^-2 points; above 0")
        .otherwise("needed with reflections.glare", "")
        .log_slider(0.01, 10.0);

    HOT_SPOTS = Key::whole("reflections.hot_spots", 0, 100_000)
        .about("number of bright spots, at random places that stay the same in all pairs of a \
                study")
        .otherwise("none", "no bright spots")
        .slider(0.0, 100.0);

    HOT_SPOT_PEAK = Key::quantity("reflections.hot_spot_peak", &[D::Electrons], Range::NotNegative, "e")
        .about("photo-electrons in the middle of each spot")
        .otherwise("needed with reflections.hot_spots", "")
        .log_slider(10.0, 100_000.0);

    HOT_SPOT_DIAMETER = Key::quantity("reflections.hot_spot_diameter", &[D::Pixels], Range::AboveZero, "px")
        .about("diameter of a spot between its e^-2 points")
        .otherwise("needed with reflections.hot_spots", "")
        .log_slider(1.0, 100.0);
}
