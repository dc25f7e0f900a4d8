//! `[timing]`

use super::{Key, Range, section};
use crate::quantity::Dimension as D;

section! {
    "timing", "when the pulses come", scene: false;

    SEPARATION = Key::quantity("timing.separation", &[D::Time], Range::AboveZero, "ms")
        .about("pulse separation: time from the start of pulse A to the start of pulse B")
        .otherwise("from timing.displacement; velocities, pulse length and jitter need one of the two", "")
        .log_slider(0.0001, 1000.0);

    DISPLACEMENT = Key::quantity("timing.displacement", &[D::Pixels], Range::AboveZero, "px")
        .about("displacement wanted of the fastest fluid in the picture, from which the pulse \
                separation follows")
        .otherwise("from timing.separation", "")
        .usual("\"8 px\"", "a quarter of a window of 32 px: Keane and Adrian 1990 (memory)")
        .instead_of("timing.separation")
        .slider(1.0, 20.0);
}
