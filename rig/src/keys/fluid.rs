//! `[fluid]`

use crate::medium::Fluid;

use super::{Key, Range, section};
use crate::quantity::Dimension as D;

section! {
    "fluid", "what flows", scene: false;

    KIND = Key::choice::<Fluid>("fluid.kind")
        .about("the fluid, whose density, viscosity and refractive index are known")
        .otherwise("none; the particle image and the light budget need it", "");

    TEMPERATURE = Key::quantity("fluid.temperature", &[D::Temperature], Range::AboveZero, "degC")
        .about("its temperature; 0 to 100 degC for water, -50 to 100 degC for air")
        .default("\"20 degC\"", "")
        .slider(0.0, 100.0);
}
