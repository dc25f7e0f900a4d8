//! What the program computes stays what it was: pictures, tables and JSON values of 200 random
//! setups and of the README's commands, held against recorded hashes.
//!
//! A change of the code that is meant to change no value must leave this test green. A change that
//! is meant to change values raises the results version, records anew
//! (`MOTEFIELD_RECORD=1 cargo test --test program frozen`, which fails on purpose) and says in
//! CHANGELOG.md what moved and why. Names and words may change: hashes are taken of numbers, of
//! switches and of the words that scripts rely on, with renamed fields under their first name.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::Value;
use sha2::{Digest, Sha256};

use super::{empty, motefield};

/// How many random setups are held.
const SETUPS: usize = 200;
const RECORD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/program/frozen.csv");

/// Fields of JSON files and columns of tables that are called otherwise now: new name, first name.
const RENAMED: &[(&str, &str)] = &[];

/// Fields that JSON files have gained since.
const ADDED: &[&str] = &["results_version", "working_f_number"];

/// Fields whose texts are for people, or say which program wrote them.
const WORDS: &[&str] = &[
    "schema", "version", "label", "shown", "how", "words", "limit", "source", "notes", "events", "caution",
    "reason", "truth", "pixels", "name", "change",
];

/// A seeded stream of numbers (SplitMix64; Steele, Lea and Flood 2014).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from `low` to `high`, to four digits: as a person would write it.
    fn number(&mut self, low: f64, high: f64) -> f64 {
        let t = (self.next() >> 11) as f64 / (1u64 << 53) as f64;
        format!("{:.3e}", low + t * (high - low)).parse().unwrap()
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    fn of<'a>(&mut self, all: &[&'a str]) -> &'a str {
        all[self.below(all.len())]
    }
}

/// Lines of a setup, collected section by section.
#[derive(Default)]
struct Text(BTreeMap<&'static str, String>);

impl Text {
    fn put(&mut self, section: &'static str, line: impl AsRef<str>) {
        let text = self.0.entry(section).or_default();
        text.push_str(line.as_ref());
        text.push('\n');
    }

    /// Puts the line in one of `n` setups.
    fn maybe(&mut self, d: &mut Draw, n: usize, section: &'static str, line: String) {
        if d.one_in(n) {
            self.put(section, line);
        }
    }

    fn toml(&self) -> String {
        self.0
            .iter()
            .map(|(name, lines)| format!("[{name}]\n{lines}"))
            .collect()
    }
}

const KINDS: [&str; 19] = [
    "uniform",
    "linear-shear",
    "sinusoidal-shear",
    "solid-rotation",
    "plane-strain",
    "rankine",
    "lamb-oseen",
    "taylor-green",
    "vortex-pair",
    "vortex-street",
    "vortex-ring",
    "channel",
    "blasius-layer",
    "turbulent-layer",
    "cylinder",
    "bickley-jet",
    "mixing-layer",
    "turbulence",
    "imported",
];

/// The flow: lengths in px or mm, velocities in px or m/s. A px is 0.05 mm and about 0.05 m/s.
fn flow(d: &mut Draw, text: &mut Text, kind: &str, lab: bool) {
    let mut put = |line: String| text.put("flow", line);
    put(format!("kind = \"{kind}\""));
    let length = |px: f64| match lab {
        true => format!("\"{:.4} mm\"", 0.05 * px),
        false => format!("\"{px} px\""),
    };
    let motion = |px: f64| match lab {
        true => format!("\"{:.5} m/s\"", 0.05 * px),
        false => format!("\"{px} px\""),
    };
    let mut l = |low: f64, high: f64| length(d.number(low, high));
    let centre = format!("centre = [{}, {}]", l(-9.0, 9.0), l(-9.0, 9.0));
    let (small, middling, large) = (l(8.0, 20.0), l(24.0, 60.0), l(60.0, 140.0));
    let mut m = |low: f64, high: f64| motion(d.number(low, high));
    let (slow, fast) = (m(0.5, 2.0), m(2.0, 5.0));
    let (u, v, w) = (m(2.0, 5.0), m(-2.0, 2.0), m(-0.5, 0.5));
    let peak = match d.one_in(2) && !lab {
        true => format!("peak_displacement = {slow}"),
        false => format!("peak_velocity = {slow}"),
    };
    let (rate, angle) = (d.number(0.005, 0.03), d.number(-20.0, 20.0));
    match kind {
        "uniform" => put(format!("velocity = [{u}, {v}, {w}]")),
        "linear-shear" => {
            put(format!("velocity = [{u}, {v}]"));
            put(match lab {
                true => format!("shear_rate = \"{} /s\"", 1000.0 * rate),
                false => format!("shear = {rate}"),
            });
        }
        "sinusoidal-shear" => {
            put(format!(
                "displacement = [{u}, {v}]\namplitude = {slow}\nwavelength = {large}"
            ));
            put(format!("phase = \"{angle} deg\"\ncentre_y = {small}"));
        }
        "solid-rotation" => put(format!("{centre}\nrotation = \"{} deg\"", 0.1 * angle)),
        "plane-strain" => put(format!("{centre}\nstrain = {rate}")),
        "rankine" | "lamb-oseen" => put(format!("{centre}\n{peak}\ncore_radius = {small}")),
        "taylor-green" => put(format!("{centre}\n{peak}\nwavelength = {large}")),
        "vortex-pair" => put(format!(
            "{centre}\n{peak}\ncore_radius = {small}\nspacing = {middling}"
        )),
        "vortex-street" => {
            put(format!(
                "{centre}\n{peak}\ncore_radius = {small}\nspacing = {large}"
            ));
            put(format!(
                "row_distance = {middling}\neach_row = {}",
                1 + d.below(4)
            ));
        }
        "vortex-ring" => {
            put(format!("{centre}\nradius = {middling}\ncore_radius = {small}"));
            put(format!("centre_velocity = {slow}"));
        }
        "channel" => put(format!("{peak}\nheight = {large}\ncentre_y = {}", length(3.0))),
        "blasius-layer" => {
            put(format!(
                "free_stream = {fast}\nthickness = {middling}\nwall_y = {}",
                length(50.0)
            ));
            if d.one_in(2) {
                put(format!("leading_edge = {}", length(400.0)));
            }
        }
        "turbulent-layer" => {
            put(format!(
                "free_stream = {}\nfriction_velocity = {}",
                motion(4.0),
                motion(0.2)
            ));
            put(format!("thickness = {large}\nwall_y = {}", length(50.0)));
        }
        "cylinder" => put(format!("{centre}\nradius = {small}\nfree_stream = {fast}")),
        "bickley-jet" => put(format!("{peak}\nhalf_width = {middling}")),
        "mixing-layer" => {
            put(format!("velocity_above = {slow}\nvelocity_below = {fast}"));
            put(format!("vorticity_thickness = {middling}"));
        }
        "turbulence" => {
            put(format!("rms_velocity = {slow}\nintegral_scale = {middling}"));
            put(format!("seed = {}", d.below(1000)));
        }
        "imported" => {
            let file = d.of(&["field.csv", "scattered.txt"]);
            put(format!(
                "file = \"{file}\"\nlength_unit = \"px\"\nvelocity_unit = \"px\""
            ));
            put(format!(
                "y_axis = \"{}\"\nvelocity_scale = {rate}",
                d.of(&["up", "down"])
            ));
        }
        other => unreachable!("{other}"),
    }
    if d.one_in(3) {
        put(format!("carried_by = [{u}, {v}]"));
    }
    if d.one_in(4) {
        put(format!("angle = \"{angle} deg\""));
    }
}

fn processing(d: &mut Draw, text: &mut Text) {
    let mut put = |line: String| text.put("processing", line);
    put(match d.below(4) {
        0 => "passes = [{ window = 32, overlap = 0.5 }]".into(),
        1 => "passes = [{ window = 32, overlap = 0.5 }, { window = 24, overlap = 0.5 }]".into(),
        2 => "passes = [{ window = [32, 24], overlap = 0 }, { window = 16, overlap = 0.25 }]".into(),
        _ => "passes = [{ window = 48, overlap = 0.5 }]\nwindow = 32\noverlap = \"50 %\"".into(),
    });
    for (key, words) in [
        (
            "weighting",
            &["top-hat", "gaussian", "blackman", "triangular"][..],
        ),
        ("correlation", &["circular", "zero-padded", "direct"]),
        ("normalise", &["none", "window", "covariance"]),
        (
            "peak_fit",
            &["gaussian3", "parabola3", "centroid3", "gaussian2d", "gaussian2d5"],
        ),
        (
            "interpolator",
            &["bilinear", "cubic", "quintic", "septic", "lanczos3", "lanczos4"],
        ),
        ("predictor_filter", &["none", "b-spline", "regression"]),
    ] {
        // Some combinations of correlation and normalisation exclude each other.
        if d.one_in(3) && (key != "correlation" || d.one_in(3)) {
            put(format!("{key} = \"{}\"", d.of(words)));
        }
    }
    if d.one_in(12) {
        put("refinement = \"least-squares\"".into());
    }
    if d.one_in(5) {
        put(format!("deform = {}", d.one_in(2)));
    }
    if d.one_in(5) {
        put(format!("outlier_threshold = {}", d.number(1.5, 4.0)));
    }
    if d.one_in(6) {
        put(format!("outlier_epsilon = \"{} px\"", d.number(0.05, 0.3)));
    }
    if d.one_in(8) {
        put(format!("min_peak_ratio = {}", d.number(1.05, 1.5)));
    }
    if d.one_in(8) {
        put("max_displacement = \"12 px\"".into());
    }
    if d.one_in(8) {
        put(format!("intensity_cap = {}", d.number(2.0, 4.0)));
    }
    if d.one_in(8) {
        put("high_pass = 9".into());
    }
    if d.one_in(10) {
        put("local_normalisation = 15".into());
    }
    if d.one_in(10) {
        put("mask = \"mask.png\"".into());
    }
    match d.below(14) {
        0 => put("background = \"mean\"\nbackground_frames = 4".into()),
        1 => put("background = \"minimum\"\nensemble = 2".into()),
        2 => put("background_picture = \"shine.png\"".into()),
        3 => put("ensemble = 2".into()),
        _ => {}
    }
}

/// What scenes and rigs share.
fn effects(d: &mut Draw, text: &mut Text, lab: bool) {
    let length = |px: f64| match lab {
        true => format!("\"{:.4} mm\"", 0.05 * px),
        false => format!("\"{px} px\""),
    };
    if d.one_in(2) {
        let profile = d.of(&["gaussian", "top-hat", "super-gaussian"]);
        text.put("sheet", format!("profile = \"{profile}\""));
        if profile == "super-gaussian" && d.one_in(2) {
            text.put("sheet", format!("order = {}", d.number(2.0, 8.0)));
        }
    }
    let line = format!("out_of_plane = {}", d.number(-0.2, 0.2));
    text.maybe(d, 3, "sheet", line);
    let line = format!(
        "tilt_x = \"{} deg\"\ntilt_y = \"{} deg\"",
        d.number(-8.0, 8.0),
        d.number(0.0, 5.0)
    );
    text.maybe(d, 8, "sheet", line);
    let line = format!(
        "offset = {}\nthickness_ratio = {}",
        length(1.5),
        d.number(0.8, 1.2)
    );
    text.maybe(d, 8, "sheet", line);
    if d.one_in(4) {
        let kind = d.of(&["same", "normal", "log-normal"]);
        text.put(
            "tracer",
            format!("distribution = \"{kind}\"\ndiameter_sd = {}", d.number(0.05, 0.4)),
        );
        if !lab || d.one_in(2) {
            text.put("tracer", format!("brightness_power = {}", d.number(1.0, 3.0)));
        } else if d.one_in(2) {
            text.put("tracer", "brightness = \"mie\"");
        }
        if d.one_in(2) {
            text.put("tracer", "diameter_limits = [0.3, 2.5]");
        }
    }
    let line = format!(
        "cluster_size = {}\ncluster_radius = {}",
        d.number(1.0, 4.0),
        length(3.0)
    );
    text.maybe(d, 8, "tracer", line);
    let line = format!(
        "gradient_x = {}\ngradient_y = {}",
        d.number(-0.5, 0.5),
        d.number(-0.5, 0.5)
    );
    text.maybe(d, 8, "tracer", line);
    let line = format!(
        "unseeded = [{{ centre = [{}, {}], radius = {}, share = \"20 %\" }}]",
        length(9.0),
        length(-7.0),
        length(12.0)
    );
    text.maybe(d, 8, "tracer", line);
    let line = format!("distortion = {}", d.number(-0.04, 0.04));
    text.maybe(d, 8, "lens", line);
    let line = format!("distance = {}", length(9000.0));
    text.maybe(d, 8, "lens", line);
    let line = format!("diameter_growth = {}", d.number(0.0, 0.4));
    text.maybe(d, 8, "lens", line);
    text.maybe(d, 6, "lens", "pattern = \"airy\"".into());
    let line = format!("focus = {}", length(2.0));
    text.maybe(d, 8, "lens", line);
    let line = format!(
        "glare = \"{} e\"\nglare_x = {}\nglare_angle = \"{} deg\"\nglare_width = {}",
        d.number(50.0, 400.0),
        length(11.0),
        d.number(-60.0, 60.0),
        length(6.0)
    );
    text.maybe(d, 10, "reflections", line);
    let line = format!(
        "hot_spots = {}\nhot_spot_peak = \"800 e\"\nhot_spot_diameter = \"4 px\"",
        1 + d.below(6)
    );
    text.maybe(d, 10, "reflections", line);
    text.maybe(
        d,
        12,
        "reflections",
        "picture = \"shine.png\"\npicture_peak = \"120 e\"".into(),
    );
    let line = format!("length_ratio = {}", d.number(0.8, 1.2));
    text.maybe(d, 8, "light", line);
    let line = format!("energy_ratio = {}", d.number(0.7, 1.3));
    text.maybe(d, 8, "light", line);
    text.maybe(d, 6, "light", "pulse_shape = \"gaussian\"".into());
    camera(d, text);
}

fn camera(d: &mut Draw, text: &mut Text) {
    if d.one_in(12) {
        text.put("camera", "ideal = true");
        return;
    }
    for (n, line) in [
        (3, format!("bits = {}", d.of(&["8", "10", "12", "16"]))),
        (4, format!("full_well = \"{} ke\"", d.number(6.0, 40.0))),
        (3, format!("dark_noise = \"{} e\"", d.number(1.0, 12.0))),
        (6, format!("gain = \"{} DN/e\"", d.number(0.1, 0.4))),
        (6, format!("black_level = \"{} DN\"", d.number(5.0, 60.0))),
        (
            8,
            format!(
                "dark_current = \"{} e/s\"\nexposure = \"5 ms\"",
                d.number(10.0, 900.0)
            ),
        ),
        (
            6,
            format!(
                "dsnu = \"{} e\"\nprnu = \"{} %\"",
                d.number(0.5, 4.0),
                d.number(0.1, 2.0)
            ),
        ),
        (
            8,
            "hot_pixels = 0.001\nhot_level = \"2000 e\"\ndead_pixels = 0.001".to_owned(),
        ),
        (6, format!("crosstalk = {}", d.number(0.01, 0.2))),
        (8, format!("parasitic_sensitivity = {}", d.number(0.001, 0.02))),
        (6, format!("fill_factor = {}", d.number(0.4, 1.0))),
    ] {
        text.maybe(d, n, "camera", line);
    }
}

/// A scene without a rig, and what a sweep may vary in it.
fn scene(d: &mut Draw, kind: &str) -> (String, &'static str) {
    let mut text = Text::default();
    let mut put = |line: String| text.put("image", line);
    put(format!(
        "size = [{}, {}]",
        80 + 8 * d.below(5),
        72 + 8 * d.below(4)
    ));
    put(format!("particle_diameter = \"{} px\"", d.number(1.6, 4.0)));
    put(format!("seeding_density = \"{} ppp\"", d.number(0.02, 0.06)));
    put(match d.one_in(3) {
        true => format!("peak_electrons = \"{} e\"", d.number(150.0, 900.0)),
        false => format!("electrons = \"{} e\"", d.number(800.0, 6000.0)),
    });
    if d.one_in(2) {
        put(format!("background = \"{} e\"", d.number(1.0, 40.0)));
        if d.one_in(3) {
            put("background_b = \"50 e\"".into());
        }
    }
    match d.below(4) {
        0 => put(format!(
            "streak = [\"{} px\", \"{} px\"]",
            d.number(0.0, 3.0),
            d.number(0.0, 1.0)
        )),
        1 => {}
        _ => put(format!("pulse_fraction = {}", d.number(0.02, 0.5))),
    }
    if d.one_in(8) {
        put(format!("jitter = {}", d.number(0.001, 0.01)));
    }
    if d.one_in(8) {
        put(format!("geometric_diameter = \"{} px\"", d.number(0.2, 1.2)));
    }
    if d.one_in(8) {
        put(format!("defocus = {}", d.number(0.05, 0.4)));
    }
    let line = format!("thickness = \"{} px\"", d.number(6.0, 30.0));
    text.maybe(d, 2, "sheet", line);
    flow(d, &mut text, kind, false);
    effects(d, &mut text, false);
    processing(d, &mut text);
    let vary = d.of(&[
        "image.particle_diameter=1.8px..3.5px:lin:2",
        "image.seeding_density=0.03ppp..0.05ppp:log:2",
        "sheet.out_of_plane=0,0.1",
        "processing.peak_fit=gaussian3,gaussian2d",
        "processing.interpolator=cubic,septic",
        "camera.dark_noise=2e,7.3e",
        "tracer.gradient_x=0..0.3:lin:2",
    ]);
    (text.toml(), vary)
}

/// A rig: 5 um pixels at magnification 0.1, so a px is 0.05 mm; pulses 1 ms apart.
fn rig(d: &mut Draw, kind: &str) -> (String, &'static str) {
    let mut text = Text::default();
    text.put("light", format!("source = \"{}\"", d.of(&["laser", "led"])));
    text.put(
        "light",
        format!("wavelength = \"{} nm\"", d.of(&["450", "520", "532", "638"])),
    );
    if d.one_in(4) {
        text.put("light", format!("pulse_energy = \"{} mJ\"", d.number(2.0, 20.0)));
    } else {
        text.put("light", format!("power = \"{} W\"", d.number(5.0, 60.0)));
    }
    text.put(
        "light",
        format!("pulse_length = \"{} us\"", d.number(30.0, 300.0)),
    );
    text.maybe(d, 2, "light", "delivery = 0.7".into());
    let line = format!(
        "polarisation = \"{}\"",
        d.of(&["unpolarised", "perpendicular", "parallel"])
    );
    text.maybe(d, 3, "light", line);
    text.maybe(d, 8, "light", "jitter = \"2 us\"".into());
    text.maybe(
        d,
        8,
        "light",
        "measured_grey = \"600 DN\"\nmeasured_at = \"100 us\"".into(),
    );
    text.put("sheet", format!("thickness = \"{} mm\"", d.number(0.6, 2.0)));
    text.put("sheet", format!("height = \"{} mm\"", d.number(30.0, 80.0)));
    text.maybe(d, 8, "sheet", "height_profile = \"gaussian\"".into());
    text.put("tracer", format!("diameter = \"{} um\"", d.number(8.0, 20.0)));
    text.put(
        "tracer",
        format!("density = \"{} kg/m3\"", d.number(950.0, 1200.0)),
    );
    text.put("tracer", format!("refractive_index = {}", d.number(1.4, 1.6)));
    text.maybe(d, 3, "tracer", "diameter_spread = 0.2".into());
    text.put(
        "tracer",
        match d.one_in(3) {
            true => format!("particles_per_window = {}", d.number(8.0, 20.0)),
            false => format!("concentration = \"{} /mm3\"", d.number(8.0, 20.0)),
        },
    );
    text.put(
        "fluid",
        format!("kind = \"{}\"", d.of(&["water", "water", "air"])),
    );
    text.maybe(d, 2, "fluid", "temperature = \"25 degC\"".into());
    text.put(
        "lens",
        match d.one_in(3) {
            true => "field_width = \"6.4 mm\"".to_owned(),
            false => "magnification = 0.1".to_owned(),
        },
    );
    text.put("lens", format!("aperture = \"f/{}\"", d.of(&["2.8", "4", "5.6"])));
    text.maybe(d, 2, "lens", "transmission = \"90 %\"".into());
    text.put("lens", format!("blur = \"{} um\"", d.number(6.0, 12.0)));
    text.maybe(d, 6, "lens", "defocus = true".into());
    text.put("camera", "size = [96, 88]\npixel = \"5 um\"");
    text.put(
        "camera",
        match d.one_in(3) {
            true => {
                "quantum_efficiency = [{ at = \"400 nm\", share = 0.3 }, { at = \"700 nm\", share = 0.6 }]"
            }
            false => "quantum_efficiency = 0.6",
        },
    );
    text.maybe(d, 2, "camera", "dead_time = \"50 us\"".into());
    text.put(
        "timing",
        match d.one_in(4) {
            true => "displacement = \"5 px\"",
            false => "separation = \"1 ms\"",
        },
    );
    flow(d, &mut text, kind, true);
    effects(d, &mut text, true);
    processing(d, &mut text);
    let vary = d.of(&[
        "light.pulse_length=20us..200us:log:2",
        "lens.aperture=f/2.8,f/4",
        "tracer.diameter=9um..15um:log:2",
        "light.delivery=0.5,0.61803",
        "sheet.thickness=0.8mm,1.23457mm",
        "processing.window=16,24",
        "camera.dark_noise=2e,7.3e",
    ]);
    (text.toml(), vary)
}

fn setup(k: usize) -> (String, &'static str) {
    let mut d = Draw(0x5eed_0000 + k as u64);
    let kind = KINDS[k / 2 % KINDS.len()];
    match k % 2 {
        0 => scene(&mut d, kind),
        _ => rig(&mut d, kind),
    }
}

/// The files that setups refer to.
fn referenced(directory: &Path) {
    let (mut grid, mut scattered) = ("x,y,u,v\n".to_owned(), "x y u v\n".to_owned());
    for j in 0..12 {
        for i in 0..14 {
            let (x, y) = (f64::from(i) * 16.0, f64::from(j) * 16.0);
            let (u, v) = (90.0 + 40.0 * (y / 50.0).sin(), 30.0 * (x / 60.0).cos());
            grid += &format!("{x},{y},{u:.5},{v:.5}\n");
            let (x, y) = (x + 5.0 * (y / 9.0).sin(), y + 5.0 * (x / 7.0).cos());
            scattered += &format!("{x:.4} {y:.4} {u:.5} {v:.5}\n");
        }
    }
    std::fs::write(directory.join("field.csv"), grid).unwrap();
    std::fs::write(directory.join("scattered.txt"), scattered).unwrap();
}

/// A mask and a picture of reflected light, in the size of one setup.
fn pictures(directory: &Path, text: &str) {
    let size = text
        .lines()
        .find(|line| line.starts_with("size"))
        .expect("a size");
    let numbers: Vec<u32> = size
        .split(|c: char| !c.is_ascii_digit())
        .filter_map(|n| n.parse().ok())
        .collect();
    let draw = |name: &str, grey: fn(u32, u32) -> u8| {
        image::GrayImage::from_fn(numbers[0], numbers[1], |x, y| image::Luma([grey(x, y)]))
            .save(directory.join(name))
            .unwrap();
    };
    draw("mask.png", |x, y| if x < 20 && y < 30 { 0 } else { 255 });
    draw("shine.png", |x, y| ((x + 2 * y) % 97) as u8);
}

#[derive(Default)]
struct Hashes {
    pictures: Sha256,
    tables: Sha256,
    json: Sha256,
}

impl Hashes {
    fn words(self) -> String {
        let hex = |hash: Sha256| {
            let bytes = hash.finalize();
            bytes[..8].iter().map(|b| format!("{b:02x}")).collect::<String>()
        };
        format!("{},{},{}", hex(self.pictures), hex(self.tables), hex(self.json))
    }

    /// Takes in every file of a directory, in the order of their names.
    fn directory(&mut self, directory: &Path) {
        let mut paths: Vec<_> = std::fs::read_dir(directory)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        paths.sort();
        for path in paths.into_iter().filter(|path| path.is_file()) {
            let bytes = std::fs::read(&path).unwrap();
            match path.extension().and_then(|e| e.to_str()) {
                Some("tif" | "png" | "npy") => self.pictures.update(&bytes),
                Some("csv") => self.table(std::str::from_utf8(&bytes).unwrap()),
                Some("json") => self.value(&serde_json::from_slice(&bytes).unwrap()),
                _ => {}
            }
        }
    }

    /// A table: names of columns, and numbers by their value.
    fn table(&mut self, text: &str) {
        for cell in text.lines().flat_map(|line| line.split(',')) {
            self.tables.update(match cell.parse::<f64>() {
                Ok(number) => format!("{number:e};"),
                Err(_) => format!("{};", first_name(cell)),
            });
        }
    }

    /// A JSON value: fields in the order of their names, words for people left out.
    fn value(&mut self, value: &Value) {
        match value {
            Value::Object(fields) => {
                let mut fields: Vec<_> = fields.iter().map(|(k, v)| (first_name(k), v)).collect();
                fields.sort_by_key(|(name, _)| *name);
                for (name, value) in fields.into_iter().filter(|(name, _)| !ADDED.contains(name)) {
                    if !WORDS.contains(&name) || !(value.is_string() || value.is_array()) {
                        self.json.update(name);
                        self.value(value);
                    }
                }
            }
            Value::Array(values) => values.iter().for_each(|value| self.value(value)),
            Value::Number(number) => {
                self.json.update(format!("{:.11e};", number.as_f64().unwrap()));
            }
            other => self.json.update(format!("{other};")),
        }
    }
}

fn first_name(name: &str) -> &str {
    RENAMED
        .iter()
        .find(|(now, _)| *now == name)
        .map_or(name, |(_, first)| first)
}

/// Hashes of what the program makes of random setup `k`; none where it cannot be planned.
fn of_setup(root: &Path, k: usize) -> Option<String> {
    let directory = root.join(format!("setup-{k}"));
    std::fs::create_dir_all(&directory).unwrap();
    let (text, vary) = setup(k);
    std::fs::write(directory.join("setup.toml"), &text).unwrap();
    referenced(&directory);
    pictures(&directory, &text);
    let plan = motefield(&directory, &["plan", "setup.toml", "--json"]);
    if !plan.status.success() {
        return None;
    }
    let mut hashes = Hashes::default();
    hashes.value(&serde_json::from_slice(&plan.stdout).unwrap());
    let render = motefield(
        &directory,
        &[
            "render",
            "setup.toml",
            "--seed",
            "5",
            "--threads",
            "1",
            "--out",
            "pairs",
        ],
    );
    assert!(
        render.status.success(),
        "{k}: {}",
        String::from_utf8_lossy(&render.stderr)
    );
    hashes.directory(&directory.join("pairs"));
    let sweep = motefield(
        &directory,
        &[
            "sweep",
            "setup.toml",
            "--vary",
            vary,
            "--most-pairs",
            "2",
            "--threads",
            "1",
            "--out",
            "study",
        ],
    );
    if !sweep.status.success() {
        return None;
    }
    hashes.directory(&directory.join("study"));
    let _ = std::fs::remove_dir_all(&directory);
    Some(hashes.words())
}

/// The commands of the README, with fewer pairs where nothing else changes.
const COMMANDS: [(&str, &[&str]); 11] = [
    ("plan", &["plan", "--out", "out"]),
    (
        "plan displacement",
        &[
            "plan",
            "rig.toml",
            "--displacement",
            "8",
            "--set",
            "lens.aperture=f/2.8",
            "--out",
            "out",
        ],
    ),
    ("decide", &["decide", "--out", "out"]),
    (
        "decide without an answer",
        &["decide", "--limit", "0.02", "--most-pairs", "6", "--out", "out"],
    ),
    (
        "decide free",
        &[
            "decide",
            "--free",
            "light.pulse_length,timing.separation",
            "--most-pairs",
            "4",
            "--out",
            "out",
        ],
    ),
    (
        "decide for",
        &[
            "decide",
            "--for",
            "processing.window",
            "--for",
            "processing.weighting",
            "--most-pairs",
            "4",
            "--out",
            "out",
        ],
    ),
    (
        "sweep",
        &[
            "sweep",
            "rig.toml",
            "--vary",
            "light.pulse_length=10us..1ms:log:9",
            "--most-pairs",
            "5",
            "--bound",
            "--uncertainty",
            "--out",
            "out",
        ],
    ),
    (
        "response",
        &[
            "sweep",
            "wave.toml",
            "--vary",
            "flow.wavelength=64px..512px:log:4",
            "--most-pairs",
            "4",
            "--out",
            "out",
        ],
    ),
    (
        "render",
        &[
            "render",
            "rig.toml",
            "--pairs",
            "2",
            "--seed",
            "7",
            "--particles",
            "--expected",
            "--mask",
            "--bound",
            "--truth-at",
            "40,50.5",
            "--out",
            "out",
        ],
    ),
    (
        "series",
        &[
            "render", "rig.toml", "--series", "3", "--format", "png", "--out", "out",
        ],
    ),
    (
        "verify",
        &[
            "verify",
            "--case",
            "mie",
            "--case",
            "noise-error",
            "--case",
            "streak-bias",
            "--case",
            "statistics",
            "--out",
            "out",
        ],
    ),
];

const WAVE: &str = r#"
[image]
size = [256, 256]
particle_diameter = "2.2 px"
seeding_density = "0.04 ppp"
electrons = "4000 e"
[flow]
kind = "sinusoidal-shear"
amplitude = "2 px"
wavelength = "128 px"
"#;

fn of_command(root: &Path, k: usize) -> String {
    let (name, arguments) = COMMANDS[k];
    let directory = root.join(format!("command-{k}"));
    std::fs::create_dir_all(&directory).unwrap();
    std::fs::copy("cases/flume.toml", directory.join("rig.toml")).unwrap();
    std::fs::write(directory.join("wave.toml"), WAVE).unwrap();
    let done = motefield(&directory, arguments);
    assert!(
        matches!(done.status.code(), Some(0 | 1)),
        "{name}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
    let mut hashes = Hashes::default();
    hashes.directory(&directory.join("out"));
    if name == "render" {
        // The rest of the way: vectors of the pair, and their score.
        let [a, b] = ["out/pair-00000-a.tif", "out/pair-00000-b.tif"];
        let done = motefield(
            &directory,
            &[
                "correlate",
                a,
                b,
                "--setup",
                "rig.toml",
                "--uncertainty",
                "correlation-statistics",
                "--json",
            ],
        );
        hashes.value(&serde_json::from_slice(&done.stdout).unwrap());
        hashes.table(&std::fs::read_to_string(directory.join("vectors.csv")).unwrap());
        let done = motefield(
            &directory,
            &[
                "score",
                "vectors.csv",
                "--truth",
                "out",
                "--setup",
                "rig.toml",
                "--json",
            ],
        );
        hashes.value(&serde_json::from_slice(&done.stdout).unwrap());
    }
    hashes.words()
}

/// Runs `of` for every one of `all` on as many threads as there are, in any order.
fn each<T: Send>(all: usize, of: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let (next, found) = (AtomicUsize::new(0), Mutex::new(BTreeMap::new()));
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let k = next.fetch_add(1, Ordering::Relaxed);
                    if k >= all {
                        return;
                    }
                    let one = of(k);
                    found.lock().unwrap().insert(k, one);
                }
            });
        }
    });
    found.into_inner().unwrap().into_values().collect()
}

#[test]
fn pictures_tables_and_json_are_what_they_were() {
    let root = empty("frozen");
    if std::env::var_os("MOTEFIELD_RECORD").is_some() {
        let mut lines = vec!["what,pictures,tables,json".to_owned()];
        let candidates = each(2 * SETUPS, |k| of_setup(&root, k));
        let good = candidates
            .iter()
            .enumerate()
            .filter_map(|(k, found)| Some((k, found.as_ref()?)));
        lines.extend(good.take(SETUPS).map(|(k, hashes)| format!("{k},{hashes}")));
        assert_eq!(lines.len(), 1 + SETUPS, "too few setups can be planned");
        let commands = each(COMMANDS.len(), |k| of_command(&root, k));
        lines.extend(
            commands
                .iter()
                .enumerate()
                .map(|(k, h)| format!("{},{h}", COMMANDS[k].0)),
        );
        std::fs::write(RECORD, lines.join("\n") + "\n").unwrap();
        panic!("{RECORD} is recorded anew: look at what changed, then run without MOTEFIELD_RECORD");
    }
    let record = std::fs::read_to_string(RECORD).expect("the recorded hashes");
    let rows: Vec<(&str, &str)> = record
        .lines()
        .skip(1)
        .map(|l| l.split_once(',').unwrap())
        .collect();
    assert_eq!(rows.len(), SETUPS + COMMANDS.len());
    let found = each(rows.len(), |row| match rows[row].0.parse() {
        Ok(k) => of_setup(&root, k).unwrap_or_else(|| "refused".to_owned()),
        Err(_) => of_command(&root, COMMANDS.iter().position(|c| c.0 == rows[row].0).unwrap()),
    });
    // The Fourier transforms round differently on each instruction set: tables are compared on the
    // one they were recorded on, pictures everywhere.
    #[cfg(target_arch = "x86_64")]
    let same_arithmetic = is_x86_feature_detected!("avx") && is_x86_feature_detected!("fma");
    #[cfg(not(target_arch = "x86_64"))]
    let same_arithmetic = false;
    let moved: Vec<String> = rows
        .iter()
        .zip(&found)
        .filter(|((_, held), found)| match same_arithmetic {
            true => held != found,
            false => held.split(',').next() != found.split(',').next(),
        })
        .map(|((what, held), found)| format!("{what}: held {held}, found {found}"))
        .collect();
    assert!(
        moved.is_empty(),
        "pictures,tables,json moved:\n{}",
        moved.join("\n")
    );
}
