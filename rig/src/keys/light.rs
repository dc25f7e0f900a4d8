//! `[light]`

use motefield_generator::PulseShape;

use super::choices::{HazardClass, Source};
use super::{Key, PRACTICE, Range, section};
use crate::quantity::Dimension as D;
use crate::scattering::Polarisation;

section! {
    "light", "the source and its two pulses", scene: false;

    POWER = Key::quantity("light.power", &[D::Power], Range::AboveZero, "W")
        .about("radiant power while a pulse lasts: a longer pulse gives more light (diode laser, \
                LED)")
        .otherwise("none; the light budget needs it, or light.pulse_energy", "")
        .log_slider(0.1, 100.0);

    PULSE_ENERGY = Key::quantity("light.pulse_energy", &[D::Energy], Range::AboveZero, "mJ")
        .about("energy of a pulse whatever its length (Q-switched laser)")
        .otherwise("none", "")
        .instead_of("light.power")
        .log_slider(0.01, 1000.0);

    PULSE_LENGTH = Key::quantity("light.pulse_length", &[D::Time], Range::AboveZero, "us")
        .about("length of pulse A; of a Gaussian pulse the full width at half maximum")
        .otherwise("none", "no motion of the particles during a pulse")
        .log_slider(0.001, 10_000.0);

    PULSE_SHAPE = Key::choice::<PulseShape>("light.pulse_shape")
        .about("power over time during a pulse: constant, or Gaussian")
        .default("\"rectangular\"", "constant power during a pulse");

    LENGTH_RATIO = Key::number("light.length_ratio", Range::AboveUpTo(0.0, 1000.0))
        .about("length of pulse B over that of pulse A; the true displacement is that from the \
                middle of pulse A to the middle of pulse B")
        .default("1", "pulses of equal length")
        .log_slider(0.1, 10.0);

    ENERGY_RATIO = Key::number("light.energy_ratio", Range::AboveUpTo(0.0, 1000.0))
        .about("energy of pulse B over that of pulse A")
        .otherwise(
            "1; the ratio of the pulse lengths where light.power is given",
            "pulses of equal energy, or of equal power where light.power is given",
        )
        .log_slider(0.1, 10.0);

    JITTER = Key::quantity("light.jitter", &[D::Time], Range::NotNegative, "ns")
        .about("standard deviation of the time of each pulse (needs timing.separation); the true \
                displacement does not follow it, so that jitter counts as error")
        .default("\"0 ns\"", "no jitter of the pulses")
        .usual("\"1 ns\"", PRACTICE)
        .log_slider(0.1, 100_000.0);

    CONTINUOUS = Key::switch("light.continuous")
        .about("continuous light: the exposures of the camera are the pulses (needs \
                camera.exposure)")
        .default("false", "");

    WAVELENGTH = Key::quantity("light.wavelength", &[D::Length], Range::AboveZero, "nm")
        .about("wavelength in vacuum; 0.2 to 1.1 um where a fluid is given")
        .otherwise("none; 532 nm for the refractive index of the fluid", "")
        .usual("\"532 nm\"", PRACTICE)
        .slider(350.0, 1100.0);

    DELIVERY = Key::share("light.delivery")
        .about("share of the light that arrives in the sheet")
        .default("1", "all the light arrives in the sheet")
        .usual("0.7", PRACTICE)
        .slider(0.0, 1.0);

    AMBIENT = Key::quantity("light.ambient", &[D::ElectronRate], Range::NotNegative, "e/s")
        .about("constant light in every pixel, as photo-electrons per second of each frame's \
                exposure (needs camera.exposure)")
        .default("\"0 e/s\"", "no constant light besides the pulses")
        .log_slider(1.0, 1e6);

    SOURCE = Key::choice::<Source>("light.source")
        .about("kind of source, for the safety caution")
        .otherwise("not known", "a laser");

    POLARISATION = Key::choice::<Polarisation>("light.polarisation")
        .about("direction of the electric field: perpendicular to the plane of beam and lens axis \
                (in the plane of the sheet), parallel to it, or unpolarised")
        .default("\"unpolarised\"", "unpolarised light");

    HAZARD_CLASS = Key::choice::<HazardClass>("light.hazard_class")
        .about("laser hazard class of IEC 60825-1 as the maker states it, for the safety caution")
        .otherwise("from the power", "visible, continuous light");

    MEASURED_GREY = Key::quantity("light.measured_grey", &[D::GreyLevels], Range::AboveZero, "DN")
        .about("grey level of the brightest particle images in a recorded picture, to which the \
                light budget is scaled")
        .otherwise("none", "the light that the budget computes")
        .log_slider(10.0, 65_535.0);

    MEASURED_AT = Key::quantity("light.measured_at", &[D::Time], Range::AboveZero, "us")
        .about("pulse length in that picture, or its exposure in continuous light")
        .otherwise("needed with light.measured_grey, but for light.pulse_energy", "")
        .log_slider(0.001, 10_000.0);
}
