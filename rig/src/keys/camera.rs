//! `[camera]`

use super::{Key, Kind, NEEDED, PRACTICE, Range, section};
use crate::quantity::Dimension as D;

/// Width or height of a picture, px.
pub(super) const SIDE: Kind = Kind::Whole {
    low: 8,
    high: motefield_generator::Scene::MAX_SIDE as u64,
    odd: false,
};

/// Where the figures of the camera come from that holds where none is described.
const COMMON: &str = "a common industrial 12-bit camera, no source";

section! {
    "camera",
    "the sensor by its EMVA 1288 figures (release 4.0, linear model), and its exposures",
    scene: false;

    SIZE = Key::list("camera.size", &SIDE, [2, 2], "")
        .about("[width, height] of the picture, px")
        .otherwise("needed where image.size is not given", "");

    PIXEL = Key::quantity("camera.pixel", &[D::Length], Range::AboveZero, "um")
        .about("distance between the centres of neighbouring pixels")
        .otherwise("none; the scale of the picture needs it", "")
        .log_slider(1.0, 50.0);

    FILL_FACTOR = Key::share_within("camera.fill_factor", Range::AboveUpTo(0.0, 1.0))
        .about("share of a pixel's area that is sensitive, a square in its middle; the light of a \
                particle stays the same on average")
        .default("1", "pixels that are sensitive all over")
        .usual("0.7", PRACTICE)
        .slider(0.1, 1.0);

    BITS = Key::whole("camera.bits", 1, 16)
        .about("bits of a grey level")
        .default("12", "")
        .default_source(COMMON)
        .slider(8.0, 16.0);

    GAIN = Key::quantity("camera.gain", &[D::Gain], Range::AboveZero, "DN/e")
        .about("overall system gain K (EMVA 1288): grey levels per electron")
        .also(&["camera.overall_system_gain"])
        .otherwise("such that the full well just reaches the largest grey level", "")
        .log_slider(0.01, 10.0);

    FULL_WELL = Key::quantity("camera.full_well", &[D::Electrons], Range::AboveZero, "e")
        .about("saturation capacity mu_e.sat (EMVA 1288): electrons at which a pixel saturates")
        .also(&["camera.saturation_capacity"])
        .default("\"12000 e\"", "")
        .default_source(COMMON)
        .log_slider(1000.0, 200_000.0);

    DARK_NOISE = Key::quantity("camera.dark_noise", &[D::Electrons], Range::NotNegative, "e")
        .about("temporal dark noise sigma_d (EMVA 1288), without that of the dark current")
        .also(&["camera.temporal_dark_noise"])
        .default("\"5 e\"", "")
        .default_source(COMMON)
        .usual("\"5 e\"", PRACTICE)
        .slider(0.0, 50.0);

    BLACK_LEVEL = Key::quantity("camera.black_level", &[D::GreyLevels], Range::NotNegative, "DN")
        .about("dark signal mu_y.dark (EMVA 1288): mean grey level of a dark pixel")
        .also(&["camera.dark_signal"])
        .otherwise("5 x gain x dark noise, rounded up, at least 1 DN, at most half the largest grey level", "")
        .slider(0.0, 500.0);

    DARK_CURRENT = Key::quantity("camera.dark_current", &[D::ElectronRate], Range::NotNegative, "e/s")
        .about("dark current mu_I (EMVA 1288): electrons per second that gather without light during each frame's exposure (needs \
                camera.exposure)")
        .default("\"0 e/s\"", "no dark current")
        .log_slider(0.1, 10_000.0);

    DSNU = Key::quantity("camera.dsnu", &[D::Electrons], Range::NotNegative, "e")
        .also(&["camera.dsnu_1288"])
        .about("dark signal non-uniformity DSNU_1288: standard deviation of the pixels' offsets")
        .default("\"0 e\"", "pixels of equal offset")
        .usual("\"1 e\"", PRACTICE)
        .slider(0.0, 20.0);

    PRNU = Key::share("camera.prnu")
        .also(&["camera.prnu_1288"])
        .about("photo response non-uniformity PRNU_1288: relative standard deviation of the pixels' \
                response; at most 0.5")
        .default("0", "pixels of equal response")
        .usual("\"1 %\"", PRACTICE)
        .slider(0.0, 0.05);

    HOT_PIXELS = Key::share("camera.hot_pixels")
        .about("share of the pixels that are hot")
        .default("0", "no hot pixels")
        .log_slider(1e-6, 0.01);

    HOT_LEVEL = Key::quantity("camera.hot_level", &[D::Electrons], Range::NotNegative, "e")
        .about("dark signal of a hot pixel")
        .otherwise("the full well", "")
        .log_slider(10.0, 100_000.0);

    DEAD_PIXELS = Key::share("camera.dead_pixels")
        .about("share of the pixels that are dead, which stay at the black level")
        .default("0", "no dead pixels")
        .log_slider(1e-6, 0.01);

    CROSSTALK = Key::share("camera.crosstalk")
        .about("share of a pixel's light that goes to its four neighbours; at most 0.8")
        .default("0", "no crosstalk")
        .slider(0.0, 0.8);

    NONLINEARITY = Key::share("camera.nonlinearity")
        .about("share by which the reading of a full pixel falls short of a straight line, in \
                proportion to its charge; at most 0.3")
        .default("0", "a linear response")
        .slider(0.0, 0.3);

    PARASITIC_SENSITIVITY = Key::share("camera.parasitic_sensitivity")
        .about("share of frame A's light that leaks into frame B")
        .default("0", "no light of frame A in frame B")
        .usual("0.0001", PRACTICE)
        .log_slider(1e-6, 0.1);

    QUANTUM_EFFICIENCY = Key::either(
            "camera.quantum_efficiency",
            &Kind::Share(Range::Within(0.0, 1.0)),
            &Kind::Tables { least: 2, most: 1000 },
        )
        .about("quantum efficiency eta (EMVA 1288), photo-electrons per photon: one share, or a list over the wavelength, such as `[{ \
                at = \"450 nm\", share = 0.5 }, { at = \"650 nm\", share = 0.4 }]`, read at \
                light.wavelength or at each line of light.spectrum")
        .otherwise("none; the light budget needs it", "")
        .usual("0.6", PRACTICE)
        .slider(0.0, 1.0);

    QUANTUM_EFFICIENCY_AT =
        Key::quantity("camera.quantum_efficiency[].at", &[D::Length], Range::AboveZero, "nm")
            .about("wavelength of an entry; each longer than the one before")
            .otherwise(NEEDED, "")
            .slider(350.0, 1100.0);

    QUANTUM_EFFICIENCY_SHARE = Key::share("camera.quantum_efficiency[].share")
        .about("photo-electrons per photon at that wavelength")
        .otherwise(NEEDED, "")
        .slider(0.0, 1.0);

    IDEAL = Key::switch("camera.ideal")
        .about("no camera: the pictures are the expected photo-electrons, as 32-bit floating point")
        .default("false", "");

    DEAD_TIME = Key::quantity("camera.dead_time", &[D::Time], Range::NotNegative, "us")
        .about("time from the end of exposure A to the beginning of exposure B")
        .default("\"0 us\"", "no dead time between the exposures")
        .usual("\"1 us\"", PRACTICE)
        .log_slider(0.1, 10_000.0);

    EXPOSURE = Key::quantity("camera.exposure", &[D::Time], Range::AboveZero, "ms")
        .about("length of exposure A, and of exposure B where camera.exposure_b is not given")
        .otherwise("none", "exposures long enough for both pulses")
        .log_slider(0.001, 1000.0);

    EXPOSURE_B = Key::quantity("camera.exposure_b", &[D::Time], Range::AboveZero, "ms")
        .about("length of exposure B; the second frame of many cameras stays open longer")
        .otherwise("camera.exposure", "")
        .log_slider(0.001, 1000.0);

    FRAME_RATE = Key::quantity("camera.frame_rate", &[D::Frequency], Range::AboveZero, "Hz")
        .about("frames per second; a pair takes two frames")
        .otherwise("none", "")
        .log_slider(1.0, 100_000.0);
}
