//! `[light]`

use super::choices::{HazardClass, PulseForm, PulseFreedom, Source};
use super::{Key, NEEDED, PRACTICE, Range, section};
use crate::quantity::Dimension as D;
use crate::scattering::Polarisation;

section! {
    "light", "the source and its two pulses", scene: false;

    POWER = Key::quantity("light.power", &[D::Power], Range::AboveZero, "W")
        .about("radiant power while a pulse lasts: a longer pulse gives more light (diode laser, \
                LED)")
        .otherwise("none; the light budget needs it, or light.pulse_energy", "")
        .log_slider(0.1, 100.0);

    PEAK_POWER = Key::tables("light.peak_power", [1, 100])
        .about("radiant power of an emitter that is overdriven in short pulses, against pulse \
                length, such as `[{ length = \"10 us\", power = \"40 W\" }, { length = \"1 ms\", \
                power = \"8 W\" }]`: interpolated in the logarithms, held below the shortest length, \
                refused beyond the longest")
        .otherwise("none", "")
        .instead_of("light.power");

    PEAK_POWER_LENGTH =
        Key::quantity("light.peak_power[].length", &[D::Time], Range::AboveZero, "us")
            .about("pulse length of an entry; each longer than the one before")
            .otherwise(NEEDED, "")
            .log_slider(0.001, 10_000.0);

    PEAK_POWER_POWER =
        Key::quantity("light.peak_power[].power", &[D::Power], Range::AboveZero, "W")
            .about("largest radiant power in a pulse of that length")
            .otherwise(NEEDED, "")
            .log_slider(0.1, 1000.0);

    LUMINOUS_FLUX =
        Key::quantity("light.luminous_flux", &[D::LuminousFlux], Range::AboveZero, "lm")
            .about("luminous flux while a pulse lasts, from which follows the radiant power by \
                    light.wavelength or light.spectrum")
            .otherwise("none", "")
            .instead_of("light.power")
            .log_slider(10.0, 100_000.0);

    ELECTRICAL_POWER =
        Key::quantity("light.electrical_power", &[D::Power], Range::AboveZero, "W")
            .about("electrical power while a pulse lasts (needs light.efficiency)")
            .otherwise("none", "")
            .instead_of("light.power")
            .log_slider(0.1, 1000.0);

    EFFICIENCY = Key::share_within("light.efficiency", Range::AboveUpTo(0.0, 1.0))
        .about("radiant power over electrical power")
        .otherwise("needed with light.electrical_power", "")
        .usual("0.35", PRACTICE)
        .slider(0.05, 0.8);

    SOURCES = Key::whole("light.sources", 1, 1000)
        .about("number of equal sources side by side, whose light adds up in the sheet; power, \
                energy and limits are those of each")
        .default("1", "one source");

    PULSE_ENERGY = Key::quantity("light.pulse_energy", &[D::Energy], Range::AboveZero, "mJ")
        .about("energy of a pulse whatever its length (Q-switched laser)")
        .otherwise("none", "")
        .instead_of("light.power")
        .log_slider(0.01, 1000.0);

    PULSE_LENGTH = Key::quantity("light.pulse_length", &[D::Time], Range::AboveZero, "us")
        .about("length of pulse A: where its power is not constant, the time between its half \
                powers (full width at half maximum)")
        .otherwise(
            "that of the pulse in light.pulse_file, else none",
            "no motion of the particles during a pulse",
        )
        .log_slider(0.001, 10_000.0);

    PULSE = Key::choice::<PulseFreedom>("light.pulse")
        .about("whether the pulse length may be chosen: of a source that gives pulses of one length \
                only, the question is the pulse separation, not the pulse length")
        .otherwise("fixed where light.pulse_energy is given and the streak is below 0.05 px, else free", "");

    PULSE_SHAPE = Key::choice::<PulseForm>("light.pulse_shape")
        .about("power over time during a pulse: constant, or Gaussian")
        .default("\"rectangular\"", "constant power during a pulse");

    PULSE_FILE = Key::file("light.pulse_file")
        .about("a measured pulse: a table (CSV) with the columns time, its unit in brackets, and \
                power in any unit, such as `time [us],power`; stretched to light.pulse_length, its \
                largest power being light.power")
        .otherwise("none", "")
        .instead_of("light.pulse_shape");

    RISE_TIME = Key::quantity("light.rise_time", &[D::Time], Range::NotNegative, "us")
        .about("time in which the power rises from 10 % to 90 %, in a straight line; in a pulse too \
                short for it the power does not reach its full value")
        .default("\"0 us\"", "power that is there at once")
        .log_slider(0.001, 1000.0);

    FALL_TIME = Key::quantity("light.fall_time", &[D::Time], Range::NotNegative, "us")
        .about("time in which the power falls from 90 % to 10 %, in a straight line")
        .default("\"0 us\"", "power that ends instantly")
        .log_slider(0.001, 1000.0);

    ON_TIME_LIMIT = Key::quantity("light.on_time_limit", &[D::Time], Range::AboveZero, "us")
        .about("longest pulse that the source bears")
        .otherwise("none", "a source that bears pulses of any length")
        .log_slider(0.01, 100_000.0);

    ENERGY_LIMIT = Key::quantity("light.energy_limit", &[D::Energy], Range::AboveZero, "mJ")
        .about("largest energy of a pulse that the source bears")
        .otherwise("none", "a source that bears pulses of any energy")
        .log_slider(0.01, 1000.0);

    DUTY_LIMIT = Key::share_within("light.duty_limit", Range::AboveUpTo(0.0, 1.0))
        .about("largest share of the time in which the source may be on: both pulses over the two \
                frame periods of a pair (needs camera.frame_rate)")
        .otherwise("none", "a source that may be on all the time")
        .log_slider(0.0001, 1.0);

    LENGTH_RATIO = Key::number("light.length_ratio", Range::AboveUpTo(0.0, 1000.0))
        .about("length of pulse B over that of pulse A; the true displacement is that from the \
                middle of pulse A to the middle of pulse B")
        .default("1", "pulses of equal length")
        .log_slider(0.1, 10.0);

    ENERGY_RATIO = Key::number("light.energy_ratio", Range::AboveUpTo(0.0, 1000.0))
        .about("energy of pulse B over that of pulse A")
        .otherwise(
            "1; as the power and the pulse lengths say where a power is given",
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

    SPECTRUM = Key::tables("light.spectrum", [1, 100])
        .about("white or broad light as a few lines, such as `[{ at = \"450 nm\", weight = 0.3 }, { \
                at = \"560 nm\", weight = 0.7 }]`; each line goes through scattering, fluid and \
                camera, and diffraction is that of the mean wavelength")
        .otherwise("none", "light of one wavelength")
        .instead_of("light.wavelength");

    SPECTRUM_AT = Key::quantity("light.spectrum[].at", &[D::Length], Range::AboveZero, "nm")
        .about("wavelength of a line, in vacuum")
        .otherwise(NEEDED, "")
        .slider(350.0, 1100.0);

    SPECTRUM_WEIGHT = Key::number("light.spectrum[].weight", Range::AboveZero)
        .about("radiant power of the line, in any unit; the shares of all add up to 1")
        .otherwise(NEEDED, "")
        .log_slider(0.01, 1.0);

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
