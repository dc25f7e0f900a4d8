//! The page of `plan`: worked examples of the trade, the rules and what would meet them, the light
//! anchored to a measurement, files and exit codes.

use std::path::Path;

use serde_json::Value;

use super::{empty, motefield};

const FLUME: &str = include_str!("../../cases/flume.toml");

/// 100 mm on 2000 px, seen at 100 frames/s.
const FIELD: &str = r#"
[lens]
field_width = "100 mm"
[camera]
size = [2000, 1000]
pixel = "5 um"
frame_rate = "100 Hz"
[image]
particle_diameter = "2.5 px"
seeding_density = "0.02 ppp"
electrons = "1000 e"
[light]
pulse_length = "1 us"
[flow]
kind = "uniform"
velocity = ["0.05 m/s", "0 m/s"]
[timing]
displacement = "10 px"
"#;

/// The page as JSON.
fn page(directory: &Path, setup: &str, changes: &[(&str, &str)]) -> Value {
    std::fs::write(directory.join("rig.toml"), setup).unwrap();
    let mut arguments = vec!["plan".to_owned(), "rig.toml".to_owned(), "--json".to_owned()];
    for (key, value) in changes {
        arguments.extend(["--set".to_owned(), format!("{key}={value}")]);
    }
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = motefield(directory, &arguments);
    assert!(
        done.status.success(),
        "{changes:?}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
    serde_json::from_slice(&done.stdout).unwrap()
}

fn figure(page: &Value, name: &str) -> f64 {
    page[name]
        .as_f64()
        .unwrap_or_else(|| panic!("{name} in {page:#}"))
}

fn rule<'a>(page: &'a Value, name: &str) -> &'a Value {
    let rules = page["rules"].as_array().unwrap();
    rules
        .iter()
        .find(|rule| rule["name"] == name)
        .unwrap_or_else(|| panic!("{name}"))
}

fn near(got: f64, expected: f64, relative: f64) {
    assert!((got / expected - 1.0).abs() <= relative, "{got} for {expected}");
}

/// Worked examples (common practice, no source): 0.05 m/s at 10 ms between images, 0.5 at 1 ms, 5
/// at 100 us, 50 at 10 us; 100 frames/s give 50 pairs/s. 1e-6: the separation is solved for to
/// 1e-9.
#[test]
fn worked_examples_of_velocity_and_pair_rate() {
    let directory = empty("plan_velocity");
    for (velocity, separation) in [(0.05, 10e-3), (0.5, 1e-3), (5.0, 100e-6), (50.0, 10e-6)] {
        let speed = format!("{velocity} m/s");
        let shown = page(&directory, FIELD, &[("flow.velocity[0]", &speed)]);
        near(figure(&shown, "separation_s"), separation, 1e-6);
        near(figure(&shown, "fastest_measurable_m_s"), velocity, 1e-6);
        near(figure(&shown, "pair_rate_hz"), 50.0, 1e-12);
    }
    // Frame after frame at 100 frames/s: 10 ms between images, so 0.05 m/s.
    let shown = page(&directory, FIELD, &[]);
    let series = shown["arrangements"]
        .as_array()
        .unwrap()
        .iter()
        .find(|a| a["name"] == "pulsed-series")
        .unwrap();
    near(series["fastest_velocity_m_s"].as_f64().unwrap(), 0.05, 1e-12);
}

/// EMVA 1288's worked cameras (published formulas, memory; derived): full well, dark noise and gain
/// → threshold and dynamic range in dB; and Adrian's ranges (derived): 2000 px, d 2.5 px, 5 %, 8 px
/// → DVR 64, DSR 250. Half a unit of the last digit printed.
#[test]
fn dynamic_ranges_of_camera_and_vectors() {
    let directory = empty("plan_ranges");
    for (bits, well, noise, gain, ratio, decibel) in [
        ("12", "10500 e", "2.5 e", "0.39 DN/e", 3379.0, 70.6),
        ("12", "30000 e", "7 e", "0.1365 DN/e", 3840.0, 71.7),
    ] {
        let changes = [
            ("camera.bits", bits),
            ("camera.full_well", well),
            ("camera.dark_noise", noise),
            ("camera.gain", gain),
            ("timing.displacement", "8 px"),
        ];
        let shown = page(&directory, FIELD, &changes);
        near(figure(&shown, "dynamic_range"), ratio, 2e-4);
        assert!((20.0 * figure(&shown, "dynamic_range").log10() - decibel).abs() < 0.06);
        near(figure(&shown, "dynamic_velocity_range"), 64.0, 1e-6);
        near(figure(&shown, "dynamic_spatial_range"), 250.0, 1e-6);
    }
}

/// Rigs that break one rule each: the change that the page names, made, meets the rule.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn the_change_named_meets_the_rule() {
    let directory = empty("plan_fixes");
    let cases: &[(&str, &[(&str, &str)])] = &[
        ("quarter_in_plane", &[("timing.separation", "6 ms")]),
        ("quarter_out_of_plane", &[("sheet.out_of_plane", "0.4")]),
        ("gradient", &[]),
        ("pairs_first_window", &[("tracer.concentration", "0.6 /mm3")]),
        ("pairs_final_window", &[("processing.window", "12")]),
        ("particle_image_diameter", &[("lens.blur", "2 um")]),
        ("particle_image_diameter", &[("lens.blur", "30 um")]),
        ("streak", &[("light.pulse_length", "1 ms")]),
        ("overlap", &[("tracer.concentration", "40 /mm3")]),
        ("depth_of_field", &[("lens.aperture", "f/1.4")]),
        ("saturation", &[("light.power", "200 W")]),
        ("saturation", &[("image.electrons", "50000 e")]),
        ("peak_snr", &[("light.pulse_length", "100 us")]),
        (
            "peak_snr",
            &[("light.pulse_length", "50 us"), ("light.power", "1 W")],
        ),
        ("straddling", &[("camera.exposure", "1.1 ms")]),
        (
            "straddling",
            &[("light.jitter", "0.21 ms"), ("image.jitter", "0")],
        ),
        (
            "stokes_number",
            &[("tracer.diameter", "300 um"), ("image.electrons", "500 e")],
        ),
        (
            "settling",
            &[
                ("tracer.diameter", "600 um"),
                ("image.electrons", "500 e"),
                ("lens.blur", "0 um"),
            ],
        ),
        ("frame_rate", &[("camera.frame_rate", "400 Hz")]),
    ];
    for (name, changes) in cases {
        let broken = page(&directory, FLUME, changes);
        let found = rule(&broken, name);
        assert_ne!(found["status"], "pass", "{name} {changes:?}: {found:#}");
        let (key, value) = (&found["fix"]["key"], &found["fix"]["value"]);
        let (Some(key), Some(value)) = (key.as_str(), value.as_str()) else {
            panic!("{name} {changes:?} names no key: {found:#}");
        };
        let mended = [changes.to_vec(), vec![(key, value)]].concat();
        let mended = page(&directory, FLUME, &mended);
        assert_eq!(
            rule(&mended, name)["status"],
            "pass",
            "{name}: {key} = {value}: {:#}",
            rule(&mended, name)
        );
    }
}

/// The measurement fixes the light: its own grey level comes back at its pulse length, a chain
/// twice as bright halves the factor, and what the command line changes is planned with the factor
/// found.
#[test]
fn light_is_anchored_to_a_measurement() {
    let directory = empty("plan_measured");
    let measured = FLUME.replace(
        "[sheet]",
        "measured_grey = \"300 DN\"\nmeasured_at = \"200 us\"\n[sheet]",
    );
    let plain = page(&directory, FLUME, &[]);
    let anchored = page(&directory, &measured, &[]);
    near(figure(&anchored, "brightest_grey_dn"), 300.0, 1e-9);
    // Grey levels above black and background: K and both of them are told by the plain plan.
    near(
        figure(&anchored, "measured_factor"),
        figure(&anchored, "electrons_e") / figure(&plain, "electrons_e"),
        1e-9,
    );
    // Another power in the file is another chain for the same light; on the command line it is
    // another light.
    let stronger = page(&directory, &measured.replace("2.5 W", "5 W"), &[]);
    near(
        figure(&stronger, "electrons_e"),
        figure(&anchored, "electrons_e"),
        1e-9,
    );
    near(
        2.0 * figure(&stronger, "measured_factor"),
        figure(&anchored, "measured_factor"),
        1e-9,
    );
    let changed = page(
        &directory,
        &measured,
        &[("light.power", "5 W"), ("light.pulse_length", "100 us")],
    );
    near(
        figure(&changed, "electrons_e"),
        figure(&anchored, "electrons_e"),
        1e-9,
    );
    let wider = page(&directory, &measured, &[("lens.aperture", "f/2.8")]);
    let wider_plain = page(&directory, FLUME, &[("lens.aperture", "f/2.8")]);
    near(
        figure(&wider, "electrons_e") / figure(&anchored, "electrons_e"),
        figure(&wider_plain, "electrons_e") / figure(&plain, "electrons_e"),
        1e-9,
    );
    // Without a chain the pulse length alone counts.
    let bare = measured.replace("power = \"2.5 W\"", "");
    near(
        figure(
            &page(&directory, &bare, &[("light.pulse_length", "400 us")]),
            "electrons_e",
        ),
        2.0 * figure(&anchored, "electrons_e"),
        1e-9,
    );
    let absurd = page(&directory, &measured.replace("2.5 W", "1 mW"), &[]);
    assert_eq!(rule(&absurd, "measured_factor")["status"], "fail");
    for (grey, word) in [("4095 DN", "saturated"), ("10 DN", "no brighter")] {
        std::fs::write(directory.join("rig.toml"), measured.replace("300 DN", grey)).unwrap();
        let done = motefield(&directory, &["plan", "rig.toml"]);
        let message = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(
            done.status.code() == Some(2)
                && message.contains("light.measured_grey")
                && message.contains(word),
            "{message}"
        );
    }
}

/// Files, exit codes, and that nothing is overwritten unasked.
#[test]
fn writes_its_page_and_keeps_its_exit_codes() {
    let directory = empty("plan_files");
    std::fs::write(directory.join("rig.toml"), FLUME).unwrap();
    let run = |more: &[&str]| motefield(&directory, &[&["plan", "rig.toml"], more].concat());
    let done = run(&["--out", "page"]);
    assert!(done.status.success());
    for file in ["plan.txt", "plan.json", "plan.html", "timing.svg", "timing.txt"] {
        assert!(directory.join("page").join(file).is_file(), "{file}");
    }
    let read = |file: &str| std::fs::read_to_string(directory.join("page").join(file)).unwrap();
    assert!(read("plan.txt").starts_with(&String::from_utf8(done.stdout).unwrap()));
    let page = read("plan.html");
    assert!(page.contains("<svg") && page.contains("no safety approval"));
    assert!(
        !page.contains("src=") && !page.contains("href="),
        "the page stands alone"
    );
    // The names that scripts read (schema motefield-plan/1).
    let json: Value = serde_json::from_str(&read("plan.json")).unwrap();
    assert_eq!(json["schema"], "motefield-plan/1");
    for name in [
        "electrons_e",
        "peak_electrons_e",
        "peak_snr",
        "peak_share_of_full_well",
        "particle_image_diameter_px",
        "seeding_density_ppp",
        "longest_streak_px",
        "separation_s",
        "pulse_s",
        "longest_pulse_s",
        "fastest_displacement_px",
        "response_time_s",
        "photons",
        "fluence_j_m2",
    ] {
        assert!(json[name].is_number(), "{name}");
    }
    assert_eq!(run(&["--out", "page"]).status.code(), Some(2));
    assert!(run(&["--out", "page", "--force"]).status.success());
    // A rule that fails changes the exit code only where asked; a warning never does.
    let failing = ["--set", "lens.blur=0 um", "--set", "light.power=1e-3 W"];
    assert_eq!(run(&failing).status.code(), Some(0));
    assert_eq!(
        run(&[&failing[..], &["--strict"]].concat()).status.code(),
        Some(1)
    );
    assert_eq!(run(&["--strict"]).status.code(), Some(0));
}

/// The caution: once, deferring to those who decide; the norm for lasers or for LEDs; breathing air
/// where the fluid is air.
#[test]
fn the_caution_fits_the_source() {
    let directory = empty("plan_caution");
    let caution = |changes: &[(&str, &str)]| {
        page(&directory, FLUME, changes)["caution"]
            .as_str()
            .unwrap_or("")
            .to_owned()
    };
    let laser = caution(&[]);
    for word in [
        "class 4",
        "IEC 60825-1",
        "eye and skin",
        "diffuse reflection",
        "interlock",
        "Enclose",
        "450 nm",
        "laser-safety officer",
        "no safety approval",
    ] {
        assert!(laser.contains(word), "{word}: {laser}");
    }
    assert!(!laser.contains("breathing"));
    assert!(caution(&[("fluid.kind", "air")]).contains("breathing air"));
    let led = caution(&[("light.source", "led")]);
    assert!(led.contains("IEC 62471") && !led.contains("60825"), "{led}");
    std::fs::write(directory.join("scene.toml"), FIELD).unwrap();
    let done = motefield(&directory, &["plan", "scene.toml"]);
    assert!(!String::from_utf8_lossy(&done.stderr).contains("Caution"));
}
