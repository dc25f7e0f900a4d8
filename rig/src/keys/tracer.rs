//! `[tracer]`

use std::f64::consts::PI;

use super::choices::{BrightnessLaw, SizeDistribution};
use super::kind::LAB_OR_PICTURE;
use super::{Key, Kind, NEEDED, PRACTICE, Range, section};
use crate::quantity::Dimension as D;

const PLACE: Kind = Kind::Quantity {
    dimensions: LAB_OR_PICTURE,
    range: Range::Any,
};

section! {
    "tracer", "the particles", scene: false;

    DIAMETER = Key::quantity("tracer.diameter", &[D::Length], Range::AboveZero, "um")
        .about("diameter of the particles; the mean where they differ")
        .otherwise("none; the particle image and the light budget need it", "")
        .usual("\"10 um\"", PRACTICE)
        .log_slider(0.1, 200.0);

    DIAMETER_SPREAD = Key::share("tracer.diameter_spread")
        .about("half-width, over the mean, of the range of diameters over which the light budget \
                averages the scattered light (Mie); where it is given, and no other distribution, \
                the particles of the pictures differ alike")
        .default("0.1", "in the budget; the particles of the pictures are of one size")
        .slider(0.0, 1.0);

    DENSITY = Key::quantity("tracer.density", &[D::Density], Range::AboveZero, "kg/m3")
        .about("density of the particles, from which follow response time and settling velocity")
        .otherwise("none", "particles that follow the flow")
        .log_slider(10.0, 10_000.0);

    REFRACTIVE_INDEX = Key::number("tracer.refractive_index", Range::Within(1.0, 4.0))
        .about("refractive index of the particles against vacuum")
        .otherwise("none; the light budget needs it", "")
        .slider(1.0, 3.0);

    FLUORESCENCE = Key::share_within("tracer.fluorescence", Range::AboveUpTo(0.0, 1.0))
        .about("fluorescence in place of scattering: photons emitted, evenly in all directions, over \
                photons that fall on the particle's cross-section, pi/4 x diameter squared")
        .otherwise("none: particles that scatter", "")
        .slider(0.01, 1.0);

    EMISSION = Key::quantity("tracer.emission", &[D::Length], Range::AboveZero, "nm")
        .about("vacuum wavelength of the fluorescence, at which lens and camera see the particles; \
                lens.transmission is then that of lens and filter at this wavelength")
        .otherwise("needed with tracer.fluorescence", "")
        .log_slider(300.0, 1000.0);

    ALBEDO = Key::share_within("tracer.albedo", Range::AboveUpTo(0.0, 1.0))
        .about("for tracers far larger than the wavelength, such as floats, in place of Mie's \
                scattering: share of the light that their surface throws back, evenly in all \
                directions (Lambert's sphere)")
        .otherwise("none: particles that scatter by Mie's theory", "")
        .slider(0.01, 1.0);

    PHASE_ANGLE = Key::quantity("tracer.phase_angle", &[D::Angle], Range::Within(0.0, PI), "deg")
        .about("with tracer.albedo, angle at the tracer between the ways to the light and to the \
                camera; 0 with the light behind the camera")
        .default("\"90 deg\"", "")
        .slider(0.0, 180.0);

    CONCENTRATION = Key::quantity("tracer.concentration", &[D::NumberDensity], Range::AboveZero, "/mm3")
        .about("number of particles per volume of fluid")
        .otherwise("from image.seeding_density or tracer.particles_per_window, one of which is needed", "")
        .log_slider(0.01, 1000.0);

    PARTICLES_PER_WINDOW = Key::number("tracer.particles_per_window", Range::AboveUpTo(0.0, 1e4))
        .about("in place of tracer.concentration, number of particle images wanted in a window of \
                the last pass; concentration and mass of tracer follow")
        .otherwise("none", "")
        .usual("10", "Keane and Adrian 1992 (memory)")
        .log_slider(1.0, 100.0);

    BROWNIAN = Key::switch("tracer.brownian")
        .about("whether particles wander by Brownian motion between the pulses, each for itself, with \
                the mean square displacement 2 kT/(3 pi viscosity diameter) x pulse separation along \
                each axis (Einstein 1905); the true displacement is that of the fluid")
        .default("false", "no Brownian motion")
        .usual("true", "Einstein 1905");

    DISTRIBUTION = Key::choice::<SizeDistribution>("tracer.distribution")
        .about("distribution of the diameters in the pictures; log-normal where only \
                tracer.diameter_sd is given")
        .default("\"same\"", "particles of one size");

    DIAMETER_SD = Key::number("tracer.diameter_sd", Range::AboveUpTo(0.0, 2.0))
        .about("standard deviation of the diameters over their mean, before tracer.diameter_limits \
                cut them")
        .otherwise("none; the distributions \"normal\" and \"log-normal\" need it", "particles of one size")
        .log_slider(0.02, 2.0);

    DIAMETER_LIMITS = Key::row(
            "tracer.diameter_limits",
            &[Kind::Number(Range::Between(0.0, 1.0)), Kind::Number(Range::AboveUpTo(1.0, 100.0))],
        )
        .about("[smallest, largest] diameter over the mean; no particle lies outside")
        .default("[0.1, 4]", "");

    BRIGHTNESS = Key::choice::<BrightnessLaw>("tracer.brightness")
        .about("light of a particle from its diameter: a power law, or Mie theory with the rig's \
                light and lens (on 512 diameters)")
        .default("\"power\"", "");

    BRIGHTNESS_POWER = Key::number("tracer.brightness_power", Range::Within(-10.0, 10.0))
        .about("exponent of the power law: 2 in geometric optics, 6 for particles much smaller \
                than the wavelength (Rayleigh)")
        .default("2", "light in proportion to the cross-section of a particle")
        .default_source("geometric optics")
        .slider(0.0, 6.0);

    CLUSTER_SIZE = Key::number("tracer.cluster_size", Range::Within(0.0, 100.0))
        .about("mean number of particles in a cluster; the seeding density stays the same")
        .default("0", "particles at independent places")
        .slider(0.0, 20.0);

    CLUSTER_RADIUS = Key::quantity("tracer.cluster_radius", LAB_OR_PICTURE, Range::Any, "px")
        .about("standard deviation of their places about the middle of the cluster, in each \
                direction")
        .default("\"1 px\"", "")
        .log_slider(0.1, 100.0);

    GRADIENT_X = Key::number("tracer.gradient_x", Range::Within(-1.0, 1.0))
        .about("relative change of the seeding from the middle of the picture to its right edge")
        .default("0", "even seeding")
        .slider(-1.0, 1.0);

    GRADIENT_Y = Key::number("tracer.gradient_y", Range::Within(-1.0, 1.0))
        .about("relative change of the seeding from the middle of the picture to its lower edge")
        .default("0", "even seeding")
        .slider(-1.0, 1.0);

    UNSEEDED = Key::tables("tracer.unseeded", [0, 100])
        .about("discs with less seeding, at the time midway between the pulses, such as `[{ centre \
                = [\"5 mm\", \"0 mm\"], radius = \"4 mm\", share = 0 }]`")
        .otherwise("none", "seeding everywhere in the fluid");

    UNSEEDED_CENTRE = Key::list("tracer.unseeded[].centre", &PLACE, [2, 2], "mm")
        .about("[x, y] of the centre of a disc, from the middle of the image")
        .default("[\"0 px\", \"0 px\"]", "")
        .slider(-50.0, 50.0);

    UNSEEDED_RADIUS = Key::quantity("tracer.unseeded[].radius", LAB_OR_PICTURE, Range::Any, "mm")
        .about("its radius")
        .otherwise(NEEDED, "")
        .log_slider(0.1, 100.0);

    UNSEEDED_SHARE = Key::share("tracer.unseeded[].share")
        .about("its seeding over that of the rest")
        .default("0", "")
        .slider(0.0, 1.0);
}
