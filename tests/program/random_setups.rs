//! Random setups, with the files that they refer to: what a user may write down, key by key.

use std::collections::BTreeMap;
use std::path::Path;

/// A seeded stream of numbers (SplitMix64; Steele, Lea and Flood 2014).
pub struct Draw(pub u64);

impl Draw {
    pub fn next(&mut self) -> u64 {
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

    pub fn below(&mut self, n: usize) -> usize {
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

/// Makes the directory of random setup `k`, with all the files that it names; what
/// to vary in it.
pub fn prepare(directory: &Path, k: usize) -> &'static str {
    std::fs::create_dir_all(directory).unwrap();
    let (text, vary) = setup(k);
    std::fs::write(directory.join("setup.toml"), &text).unwrap();
    referenced(directory);
    pictures(directory, &text);
    vary
}

/// Random setup `k`, and what a sweep may vary in it. It is valid line by line; the plan may still
/// refuse what does not go together.
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
