//! `[image]`

use super::camera::SIDE;
use super::{Key, Kind, PRACTICE, Range, section};
use crate::quantity::Dimension as D;

const OFFSET: Kind = Kind::Quantity {
    dimensions: &[D::Pixels],
    range: Range::Any,
};

section! {
    "image", "what the pictures show; stands in place of what would follow from the rig", scene: true;

    SIZE = Key::list("image.size", &SIDE, [2, 2], "")
        .about("[width, height] of the picture, px")
        .otherwise("camera.size", "");

    PARTICLE_DIAMETER = Key::quantity("image.particle_diameter", &[D::Pixels], Range::AboveZero, "px")
        .about("particle image diameter between the e^-2 points; at most 100 px")
        .otherwise("from the rig", "")
        .usual("\"2.5 px\"", PRACTICE)
        .slider(0.5, 10.0);

    GEOMETRIC_DIAMETER = Key::quantity("image.geometric_diameter", &[D::Pixels], Range::NotNegative, "px")
        .about("part of it that is the geometric image of the mean particle, which grows with a \
                particle's diameter")
        .otherwise("from the rig where particles differ in size, else 0 px", "")
        .slider(0.0, 10.0);

    DEFOCUS = Key::number("image.defocus", Range::Within(0.0, 10.0))
        .about("growth of the particle image diameter with the distance from the plane in focus, \
                px per px of depth")
        .otherwise("from lens.defocus", "")
        .slider(0.0, 2.0);

    SEEDING_DENSITY = Key::quantity("image.seeding_density", &[D::SeedingDensity], Range::NotNegative, "ppp")
        .about("particles per pixel within the thickness of the sheet; at most 10 ppp, and 0 only \
                with image.flat_field")
        .otherwise("from tracer.concentration or tracer.particles_per_window", "")
        .usual("\"0.03 ppp\"", PRACTICE)
        .log_slider(0.001, 0.2);

    ELECTRONS = Key::quantity("image.electrons", &[D::Electrons], Range::NotNegative, "e")
        .about("photo-electrons of a particle in the middle of the sheet")
        .otherwise("from the rig", "")
        .log_slider(10.0, 100_000.0);

    PEAK_ELECTRONS = Key::quantity("image.peak_electrons", &[D::Electrons], Range::NotNegative, "e")
        .about("photo-electrons of the pixel in the middle of the longest streak of such a \
                particle")
        .otherwise("from image.electrons or the rig", "")
        .instead_of("image.electrons")
        .log_slider(1.0, 10_000.0);

    BACKGROUND = Key::quantity("image.background", &[D::Electrons], Range::NotNegative, "e")
        .about("photo-electrons of background light in every pixel")
        .default("\"0 e\"", "no background light")
        .usual("\"20 e\"", PRACTICE)
        .slider(0.0, 500.0);

    BACKGROUND_B = Key::quantity("image.background_b", &[D::Electrons], Range::NotNegative, "e")
        .about("the same in frame B; not below image.background")
        .otherwise("image.background", "the same background light in both frames")
        .slider(0.0, 500.0);

    PULSE_FRACTION = Key::number("image.pulse_fraction", Range::Within(0.0, 1.0))
        .about("pulse length over pulse separation: length of the streaks over the displacement")
        .otherwise("from light.pulse_length and timing.separation, else 0", "")
        .slider(0.0, 1.0);

    STREAK = Key::list("image.streak", &OFFSET, [2, 2], "px")
        .about("[x, y] of the streak that every particle draws during a pulse, whatever its \
                velocity")
        .otherwise("from the motion of each particle during the pulse", "")
        .instead_of("image.pulse_fraction")
        .slider(-10.0, 10.0);

    JITTER = Key::number("image.jitter", Range::Within(0.0, 0.1))
        .about("standard deviation of the time of each pulse over the pulse separation")
        .otherwise("from light.jitter and timing.separation", "")
        .slider(0.0, 0.1);

    FLAT_FIELD = Key::switch("image.flat_field")
        .about("pictures without particles, which show the camera alone")
        .default("false", "");
}
