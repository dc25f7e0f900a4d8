//! Bad input: one paragraph that names the key and the remedy, exit code 2, nothing written, no
//! panic.

use std::path::Path;

use super::{empty, motefield};

const GOOD: &str = include_str!("../../cases/flume.toml");

/// Runs and expects refusal with all of `words` in the message.
fn refused(directory: &Path, arguments: &[&str], words: &[&str]) {
    let before = std::fs::read_dir(directory).unwrap().count();
    let done = motefield(directory, arguments);
    let message = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(2), "{arguments:?}: {message}");
    assert!(!message.contains("panicked"), "{message}");
    for word in words {
        assert!(
            message.contains(word),
            "{arguments:?} should say \"{word}\": {message}"
        );
    }
    assert_eq!(
        std::fs::read_dir(directory).unwrap().count(),
        before,
        "{arguments:?} left something behind"
    );
}

/// Each wrong value, by the line it replaces, and what the message must name.
#[test]
fn wrong_setups_name_line_and_key() {
    let directory = empty("wrong_setups");
    let cases: &[(&str, &str, &[&str])] = &[
        (
            "power = \"2.5 W\"",
            "power = 2.5",
            &["rig.toml, line 7", "light.power", "2.5 W"],
        ),
        (
            "power = \"2.5 W\"",
            "power = \"2.5 s\"",
            &["rig.toml, line 7", "light.power", "expected a power"],
        ),
        (
            "power = \"2.5 W\"",
            "power = \"-2.5 W\"",
            &["rig.toml, line 7", "light.power", "must be above 0"],
        ),
        (
            "power = \"2.5 W\"",
            "power = \"inf W\"",
            &["rig.toml, line 7", "light.power"],
        ),
        (
            "power = \"2.5 W\"",
            "power = \"1e999 W\"",
            &["rig.toml, line 7", "light.power", "finite"],
        ),
        (
            "power = \"2.5 W\"",
            "powr = \"2.5 W\"",
            &["rig.toml, line 7", "light.powr", "did you mean light.power?"],
        ),
        (
            "pulse_length = \"200 us\"",
            "pulse_length = \"20 ms\"",
            &["rig.toml, line 8", "light.pulse_length", "shorten it"],
        ),
        ("window = 64", "window = 640", &["processing.passes", "640"]),
        (
            "window = 64, overlap = 0.5",
            "window = 64, overlap = 1.5",
            &["processing.passes[0].overlap", "0 to 1"],
        ),
        (
            "background = \"12 e\"",
            "background = \"12 e\"\nseeding_density = \"0 ppp\"",
            &["image.seeding_density", "without particles"],
        ),
        (
            "size = [512, 384]",
            "size = [512]",
            &["camera.size", "must have 2"],
        ),
        (
            "kind = \"vortex-street\"",
            "kind = \"vortices\"",
            &["flow.kind", "vortex-street"],
        ),
        ("separation = \"2.4 ms\"", "", &["timing.separation", "missing"]),
        (
            "wavelength = \"450 nm\"",
            "wavelength = 450 nm",
            &["rig.toml, line 9", "TOML"],
        ),
        (
            "index = 1.53",
            "index = \"high\"",
            &["tracer.refractive_index", "1 to 4"],
        ),
        (
            "temperature = \"18 degC\"",
            "temperature = \"180 degC\"",
            &["fluid.temperature", "0 to 100"],
        ),
        (
            "full_well = \"10000 e\"",
            "full_well = \"10000 e\"\nfull_well = \"1 e\"",
            &["rig.toml", "TOML"],
        ),
    ];
    for (line, wrong, words) in cases {
        assert!(GOOD.contains(line), "{line}");
        std::fs::write(directory.join("rig.toml"), GOOD.replacen(line, wrong, 1)).unwrap();
        for command in [
            &["plan", "rig.toml"][..],
            &["decide", "rig.toml", "--out", "d"],
            &["render", "rig.toml", "--out", "p"],
        ] {
            refused(&directory, command, words);
        }
    }
}

/// What the flow, the scene and the processing refuse, and what the rig lacks, is told in one go,
/// each with its line.
#[test]
fn all_faults_of_a_scene_are_told_at_once() {
    const BAD: &str = r#"[camera]
size = [640, 480]
gain = "1e9 DN/e"
[image]
electrons = "1e13 e"
background = "1e12 e"
background_b = "1e13 e"
[flow]
kind = "uniform"
displacement = ["30000 px", "2 px"]
[processing]
window = 2048
"#;
    let directory = empty("all_faults");
    std::fs::write(directory.join("rig.toml"), BAD).unwrap();
    let words = [
        "rig.toml, line 3: camera.gain",
        "rig.toml, line 4: image.particle_diameter is not given",
        "rig.toml, line 4: image.seeding_density is missing",
        "rig.toml, line 5: image.electrons",
        "photo-electrons per particle is 1e13 e",
        "rig.toml, line 6: image.background",
        "rig.toml, line 7: image.background_b",
        "rig.toml, line 9: flow.kind",
        "rig.toml, line 12: processing.window",
    ];
    refused(&directory, &["plan", "rig.toml"], &words);
}

#[test]
fn wrong_arguments_are_named() {
    let directory = empty("wrong_arguments");
    std::fs::write(directory.join("rig.toml"), GOOD).unwrap();
    refused(
        &directory,
        &["plan", "absent.toml"],
        &["absent.toml", "no such file"],
    );
    refused(
        &directory,
        &[
            "sweep",
            "rig.toml",
            "--vary",
            "light.pulse_length=1us..2m:log:3",
            "--out",
            "s",
        ],
        &["same kind", "for example"],
    );
    refused(
        &directory,
        &[
            "sweep",
            "rig.toml",
            "--vary",
            "light.pulses=1us..2us:log:3",
            "--out",
            "s",
        ],
        &["light.pulses", "not a key"],
    );
    refused(
        &directory,
        &["plan", "rig.toml", "--set", "camera.bits=99"],
        &["camera.bits", "1 to 16", "changed to 99"],
    );
    refused(
        &directory,
        &["decide", "rig.toml", "--limit", "-1"],
        &["--limit", "above 0"],
    );
    refused(
        &directory,
        &[
            "decide",
            "rig.toml",
            "--set",
            "image.pulse_fraction=0.1",
            "--out",
            "d",
        ],
        &["image.pulse_fraction", "sweep image.pulse_fraction"],
    );
    refused(
        &directory,
        &[
            "decide",
            "rig.toml",
            "--set",
            "flow.carried_by[0]=0 px",
            "--set",
            "flow.peak_velocity=0 m/s",
            "--out",
            "d",
        ],
        &["timing.separation", "still picture"],
    );
    let decide = |more: &[&str], words: &[&str]| {
        let arguments = [&["decide", "rig.toml"], more].concat();
        refused(&directory, &arguments, words);
    };
    decide(
        &["--free", "light.pulse_length"],
        &["two settings", "timing.separation"],
    );
    decide(
        &["--free", "light.pulse_length,flow.kind"],
        &[
            "--free flow.kind",
            "give its range, as --range flow.kind=FROM..TO",
        ],
    );
    decide(
        &["--free", "light.pulse_length,image.puls_fraction"],
        &["--free image.puls_fraction: not a key of a setup; did you mean image.pulse_fraction?"],
    );
    decide(
        &[
            "--free",
            "light.pulse_length,timing.separation",
            "--range",
            "light.pulse_lengt=20us..1ms",
        ],
        &["--range light.pulse_lengt: not a key of a setup; did you mean light.pulse_length?"],
    );
    decide(
        &[
            "--free",
            "light.pulse_length,lens.none",
            "--range",
            "lens.none=1..2",
        ],
        &["lens.none", "not a key"],
    );
    decide(
        &[
            "--free",
            "light.pulse_length,timing.separation",
            "--range",
            "light.pulse_length=1ms",
        ],
        &["--range light.pulse_length=1ms", "for example"],
    );
    decide(
        &["--for", "processing.none"],
        &[
            "--for processing.none: not a key of a setup",
            "did you mean processing.mask?",
        ],
    );
    decide(
        &["--for", "processing.mask"],
        &["--for processing.mask: say which values", "processing.mask=a,b,c"],
    );
    decide(
        &["--for", "processing.weighting=flat"],
        &["processing.weighting", "\"flat\"", "gaussian"],
    );
    decide(
        &["--for", "processing.window=600"],
        &["600x600", "smaller window"],
    );
}

#[test]
fn wrong_pictures_are_named() {
    let directory = empty("wrong_pictures");
    let small = |name: &str, size: &str| {
        let scene = format!(
            "[image]\nsize = {size}\nparticle_diameter = \"2 px\"\nseeding_density = \"0.02 ppp\"\nelectrons = \"900 e\"\n[flow]\nkind = \"uniform\"\ndisplacement = [\"1 px\", \"0 px\"]\n[processing]\npasses = [{{ window = 32 }}]\n"
        );
        std::fs::write(directory.join("scene.toml"), scene).unwrap();
        assert!(
            motefield(&directory, &["render", "scene.toml", "--out", name])
                .status
                .success()
        );
    };
    small("wide", "[96, 64]");
    small("narrow", "[64, 64]");
    let (a, b) = ("wide/pair-00000-a.tif", "wide/pair-00000-b.tif");
    refused(
        &directory,
        &["correlate", a, "narrow/pair-00000-b.tif", "--out", "v.csv"],
        &["same size", "96 x 64", "64 x 64"],
    );
    refused(
        &directory,
        &["correlate", a, "absent.tif", "--out", "v.csv"],
        &["absent.tif", "no such file"],
    );
    let whole = std::fs::read(directory.join(a)).unwrap();
    for (name, bytes) in [
        ("cut.tif", &whole[..whole.len() / 2]),
        ("empty.tif", &[][..]),
        ("text.tif", &b"not a picture"[..]),
        ("cut.png", &b"\x89PNG\r\n\x1a\n"[..]),
    ] {
        std::fs::write(directory.join(name), bytes).unwrap();
        refused(
            &directory,
            &["correlate", name, b, "--out", "v.csv"],
            &[name, "save as grey TIFF"],
        );
    }
    let colour = image::RgbImage::new(96, 64);
    colour.save(directory.join("colour.png")).unwrap();
    refused(
        &directory,
        &["correlate", "colour.png", b, "--out", "v.csv"],
        &[
            "colour.png",
            "no channel is named",
            "name the channel with --channel",
        ],
    );
    // A header that claims 4 GB must not be believed.
    let mut huge = whole.clone();
    // Tag 256 (width), type 4 (32-bit), one value: TIFF 6.0, section 8.
    let width = huge
        .windows(8)
        .position(|w| w == [0, 1, 4, 0, 1, 0, 0, 0])
        .expect("the width's tag");
    huge[width + 8..width + 12].copy_from_slice(&0x7fff_ffffu32.to_le_bytes());
    std::fs::write(directory.join("huge.tif"), &huge).unwrap();
    refused(
        &directory,
        &["correlate", "huge.tif", b, "--out", "v.csv"],
        &["huge.tif"],
    );
    // The default first window is larger than these pictures.
    std::fs::write(directory.join("big.toml"), "[flow]\nkind = \"uniform\"\nvelocity = [\"0 px\", \"0 px\"]\n[processing]\npasses = [{ window = 128 }]\n").unwrap();
    refused(
        &directory,
        &["correlate", a, b, "--setup", "big.toml", "--out", "v.csv"],
        &["128", "window"],
    );
    // Vectors that are none, and a truth that is none.
    std::fs::write(directory.join("v0.csv"), "x,y\n1,2\n").unwrap();
    refused(
        &directory,
        &["score", "v0.csv", "--truth", "wide"],
        &["v0.csv, line 1", "dx, dy"],
    );
    std::fs::write(directory.join("t.npy"), &whole[..64]).unwrap();
    std::fs::write(
        directory.join("v1.csv"),
        "x_px,y_px,dx_px,dy_px,peak_ratio,status\n15.5,15.5,1,0,2,valid\n",
    )
    .unwrap();
    refused(
        &directory,
        &["score", "v1.csv", "--truth", "t.npy"],
        &["t.npy", "float64"],
    );
    // Nothing is overwritten unasked.
    assert!(
        motefield(
            &directory,
            &["correlate", a, b, "--setup", "scene.toml", "--out", "kept.csv"]
        )
        .status
        .success()
    );
    refused(
        &directory,
        &["correlate", a, b, "--setup", "scene.toml", "--out", "kept.csv"],
        &["kept.csv", "--force"],
    );
}
