//! `[sheet]`

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4};

use super::choices::{HeightProfile, SheetProfile};
use super::kind::LAB_OR_PICTURE;
use super::{Key, PRACTICE, Range, section};
use crate::quantity::Dimension as D;

const TILT: Range = Range::Within(-FRAC_PI_4, FRAC_PI_4);

section! {
    "sheet", "the light sheet", scene: false;

    PROFILE = Key::choice::<SheetProfile>("sheet.profile")
        .about("fall of the light across the thickness")
        .default("\"gaussian\"", "a Gaussian sheet");

    ORDER = Key::number("sheet.order", Range::Within(1.0, 100.0))
        .about("order n of a super-Gaussian profile, exp(-2 |2z/thickness|^n); 2 is the Gaussian")
        .default("4", "")
        .log_slider(2.0, 20.0);

    THICKNESS = Key::quantity("sheet.thickness", LAB_OR_PICTURE, Range::AboveZero, "mm")
        .about("thickness between the e^-2 points")
        .default("\"10 px\"", "")
        .usual("\"1 mm\"", PRACTICE)
        .log_slider(0.05, 20.0);

    DIVERGENCE = Key::quantity("sheet.divergence", &[D::Angle], Range::Between(0.0, FRAC_PI_4), "deg")
        .about("full angle between the e^-2 points at which the sheet widens across its thickness; \
                sheet.thickness is then that at the waist, sheet.distance before the picture, and \
                both are in the lab")
        .otherwise("none", "a sheet that is as thick as stated over the whole picture")
        .log_slider(0.01, 20.0);

    FAN_ANGLE = Key::quantity("sheet.fan_angle", &[D::Angle], Range::Between(0.0, FRAC_PI_2), "deg")
        .about("full angle at which the light spreads over the height, which is 2 x distance x \
                tan(angle / 2) (needs sheet.distance)")
        .otherwise("none", "")
        .instead_of("sheet.height")
        .slider(1.0, 89.0);

    DISTANCE = Key::quantity("sheet.distance", &[D::Length], Range::AboveZero, "mm")
        .about("way of the light from its waist, or from the tip of its fan, to the middle of the \
                picture; in water the length over the refractive index")
        .otherwise("needed with sheet.divergence and sheet.fan_angle", "")
        .log_slider(10.0, 10_000.0);

    HEIGHT = Key::quantity("sheet.height", LAB_OR_PICTURE, Range::AboveZero, "mm")
        .about("height over which the light is spread")
        .otherwise("none; the light budget needs it", "")
        .log_slider(1.0, 1000.0);

    SPOT = Key::quantity("sheet.spot", &[D::Length], Range::AboveZero, "mm")
        .about("diameter of the lit spot where the light does not come as a sheet from the side but \
                along the lens's axis, as through an objective, or from a lamp or the sun above: its \
                energy lies evenly on pi/4 x diameter squared (with tracer.fluorescence or \
                tracer.albedo); sheet.thickness is then the depth that is lit")
        .otherwise("none: a sheet from the side", "")
        .instead_of("sheet.height")
        .log_slider(0.1, 10_000.0);

    HEIGHT_PROFILE = Key::choice::<HeightProfile>("sheet.height_profile")
        .about("fall of the light over the height: even where the picture lies well inside it, or \
                a profile, which leaves the borders dark")
        .default("\"even\"", "even light over the height of the picture");

    TILT_X = Key::quantity("sheet.tilt_x", &[D::Angle], TILT, "deg")
        .about("tilt by which the sheet comes nearer to the camera along x")
        .default("\"0 deg\"", "a sheet at right angles to the lens axis")
        .slider(-45.0, 45.0);

    TILT_Y = Key::quantity("sheet.tilt_y", &[D::Angle], TILT, "deg")
        .about("tilt by which the sheet comes nearer to the camera along y")
        .default("\"0 deg\"", "a sheet at right angles to the lens axis")
        .slider(-45.0, 45.0);

    OFFSET = Key::quantity("sheet.offset", LAB_OR_PICTURE, Range::Any, "mm")
        .about("how much nearer to the camera the sheet of pulse B is than that of pulse A")
        .default("\"0 px\"", "both pulses in one plane")
        .slider(-1.0, 1.0);

    THICKNESS_RATIO = Key::number("sheet.thickness_ratio", Range::AboveUpTo(0.0, 1000.0))
        .about("thickness of pulse B's sheet over that of pulse A's, at the same energy")
        .default("1", "both sheets equally thick")
        .log_slider(0.2, 5.0);

    OUT_OF_PLANE = Key::number("sheet.out_of_plane", Range::Within(-2.0, 2.0))
        .about("displacement through the sheet between the pulses, over the thickness; adds to \
                that of the flow")
        .default("0", "no motion through the sheet")
        .usual("0.1", PRACTICE)
        .slider(-0.5, 0.5);
}
