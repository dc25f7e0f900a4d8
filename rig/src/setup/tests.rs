//! Faults are told all at once, with their lines; changes act like text.

use super::*;
use crate::plan::plan;
use crate::quantity::Dimension;

fn refused(text: &str) -> String {
    let read = Setup::from_text::<&str>("rig.toml", text, &[]);
    read.and_then(|setup| plan(&setup))
        .map(|_| ())
        .unwrap_err()
        .to_string()
}

/// A scene that can be planned.
const SCENE: &str = r#"[image]
size = [64, 48]
particle_diameter = "2.2 px"
seeding_density = "0.02 ppp"
electrons = "500 e"
pulse_fraction = 0.1
[flow]
kind = "uniform"
displacement = ["3 px", "1 px"]
[processing]
passes = [{ window = 16, overlap = 0.5 }]
"#;

fn scene() -> Setup {
    Setup::from_text::<&str>("scene.toml", SCENE, &[]).unwrap()
}

/// Five faults of five kinds, one of them a missing key, in one message, in the order of the text,
/// each with its line and the faulty value underlined.
#[test]
fn all_faults_are_told_at_once() {
    let text = "[light]\npower = 4\npulse_lenght = \"20 us\"\n[camera]\nbits = 99\n\
                [flow]\nkind = \"rankine\"\npeak_velocity = \"0.1 kg\"\n";
    let message = refused(text);
    let places = [
        "rig.toml, line 2: `light.power = 4` has no unit: write for example \"4 W\"",
        "2 | power = 4\n  |         ^",
        "rig.toml, line 3: light.pulse_lenght is not a key of a setup; did you mean light.pulse_length?",
        "rig.toml, line 5: camera.bits is 99, but must be a whole number from 1 to 16",
        "5 | bits = 99\n  |        ^^",
        "rig.toml, line 6: flow.core_radius is missing",
        "rig.toml, line 8: `flow.peak_velocity = \"0.1 kg\"` has the unknown unit `kg`",
        "8 | peak_velocity = \"0.1 kg\"\n  |                 ^^^^^^^^",
    ];
    let mut rest = message.as_str();
    for part in places {
        let at = rest.find(part).unwrap_or_else(|| panic!("{part} in\n{message}"));
        rest = &rest[at..];
    }
}

/// A list under a misspelt key has one fault, not one more for each entry.
#[test]
fn a_misspelt_list_is_told_once() {
    let message = refused("[flow]\nkind = \"uniform\"\nvelocty = [\"0.1 m/s\", \"0 m/s\"]\n");
    let told = message.matches("did you mean flow.velocity?").count();
    assert_eq!(told, 1, "{message}");
}

/// A refusal of the scene names the key that the text gives, with its line.
#[test]
fn what_a_scene_refuses_is_named_by_the_key_in_the_text() {
    for (from, to, key, line) in [
        (
            "electrons = \"500 e\"",
            "peak_electrons = \"1e13 e\"",
            "image.peak_electrons",
            5,
        ),
        (
            "electrons = \"500 e\"",
            "electrons = \"1e13 e\"",
            "image.electrons",
            5,
        ),
        (
            "electrons = \"500 e\"",
            "electrons = \"500 e\"\nbackground = \"1 e\"\nbackground_b = \"1e13 e\"",
            "image.background_b",
            7,
        ),
        (
            "size = [64, 48]",
            "size = [64, 48]\nbackground = \"1e13 e\"",
            "image.background",
            3,
        ),
    ] {
        let message = refused(&SCENE.replace(from, to));
        assert!(
            message.starts_with(&format!("rig.toml, line {line}: {key} ")),
            "{key}: {message}"
        );
    }
    // Continuous light with a second exposure too long for its separation.
    let continuous = SCENE.replace("pulse_fraction = 0.1\n", "")
        + "[light]\ncontinuous = true\n[camera]\nexposure = \"1 us\"\nexposure_b = \"9 ms\"\n\
           [timing]\nseparation = \"1 ms\"\n";
    let message = refused(&continuous);
    assert!(message.contains("line 15: camera.exposure_b"), "{message}");
}

/// What a key may hold is said where it is wrong; a list that is cut short, and a value for a list.
#[test]
fn lists_are_checked_as_wholes_and_by_their_entries() {
    for (from, to, words) in [
        ("[64, 48]", "[64]", "image.size has 1 entry, but must have 2"),
        ("[64, 48]", "64", "image.size must be a list of 2 entries"),
        (
            "[64, 48]",
            "[64, 48]\nbackground = \"-5 e\"",
            "image.background is -5 e, but must be at least 0\n",
        ),
        (
            "[64, 48]",
            "[64, 4.5]",
            "image.size[1] is 4.5, but must be a whole number from 8",
        ),
        (
            "[\"3 px\", \"1 px\"]",
            "[\"3 px\", 1]",
            "`flow.displacement[1] = 1` has no unit",
        ),
        (
            "window = 16",
            "window = [16, 3]",
            "processing.passes[0].window[1] is 3",
        ),
        (
            "overlap = 0.5",
            "overlap = 1.5",
            "processing.passes[0].overlap is 1.5, but must be 0 to 1",
        ),
        (
            "overlap = 0.5",
            "overlaps = 0.5",
            "did you mean processing.passes[].overlap?",
        ),
    ] {
        let message = refused(&SCENE.replace(from, to));
        assert!(message.contains(words), "{words} in\n{message}");
    }
}

/// A figure under the standard's name is the same, changed under either name, named as the text has
/// it, and stated once.
#[test]
fn figures_of_a_camera_by_the_names_of_the_standard() {
    let text = format!(
        "{SCENE}[camera]\nsaturation_capacity = \"9000 e\"\ndsnu_1288 = \"2 e\"\noverall_system_gain = \"0.4 DN/e\"\n"
    );
    let setup = Setup::from_text::<&str>("rig.toml", &text, &[]).unwrap();
    let sensor = |setup: &Setup| plan(setup).unwrap().scene.camera.sensor.unwrap();
    let own = format!("{SCENE}[camera]\nfull_well = \"9000 e\"\ndsnu = \"2 e\"\ngain = \"0.4 DN/e\"\n");
    assert_eq!(
        sensor(&setup),
        sensor(&Setup::from_text::<&str>("rig.toml", &own, &[]).unwrap())
    );
    assert!(setup.has(crate::keys::camera::FULL_WELL));
    for name in ["camera.full_well", "camera.saturation_capacity"] {
        let changed = setup.with(name, Value::parse("7000 e")).unwrap();
        assert_eq!(sensor(&changed).full_well_e, 7000.0);
    }
    let message = refused(&text.replace("9000 e", "1e12 e"));
    assert!(
        message.starts_with("rig.toml, line 13: camera.saturation_capacity "),
        "{message}"
    );
    let message = refused(&format!("{text}full_well = \"1 e\"\n"));
    assert!(
        message.contains("line 13: camera.saturation_capacity says the same as camera.full_well"),
        "{message}"
    );
}

/// Values that a study sets give the same scene as the same values in the text.
#[test]
fn changes_act_like_text() {
    let px = |value| Setup::quantity(value, Dimension::Pixels);
    for (path, value, from, to) in [
        ("image.particle_diameter", px(3.7), "\"2.2 px\"", "\"3.7 px\""),
        ("flow.displacement[1]", px(-0.125), "\"1 px\"", "\"-0.125 px\""),
        (
            "image.size",
            Value::List(vec![Value::Number(80.0), Value::Number(72.0)]),
            "[64, 48]",
            "[80, 72]",
        ),
        ("image.size", Value::parse("[80, 72]"), "[64, 48]", "[80, 72]"),
        ("image.electrons", Value::parse("750 e"), "\"500 e\"", "\"750 e\""),
        (
            "processing.passes[0].window",
            Value::Number(24.0),
            "window = 16",
            "window = 24",
        ),
        (
            "processing.passes",
            Value::parse("[{ window = 24 }, { window = 16, overlap = 0.75 }]"),
            "[{ window = 16, overlap = 0.5 }]",
            "[{ window = 24 }, { window = 16, overlap = 0.75 }]",
        ),
        (
            "processing.peak_fit",
            Value::parse("gaussian2d"),
            "overlap = 0.5 }]",
            "overlap = 0.5 }]\npeak_fit = \"gaussian2d\"",
        ),
    ] {
        let changed = plan(&scene().with(path, value).unwrap()).unwrap();
        let text = SCENE.replace(from, to);
        let written = plan(&Setup::from_text::<&str>("x", &text, &[]).unwrap()).unwrap();
        let all = |plan: &crate::plan::Plan| {
            format!("{:?} {:?} {:?}", plan.scene.size, plan.processing, plan.facts)
        };
        assert_eq!(all(&changed), all(&written), "{path}");
        assert_eq!(
            changed.scene.flow.velocity([3.0, 2.0, 0.0], 0.0),
            written.scene.flow.velocity([3.0, 2.0, 0.0], 0.0)
        );
    }
}

/// A change that is wrong says what was changed; the text itself is not to blame.
#[test]
fn wrong_changes_are_told_apart_from_the_text() {
    let message = scene()
        .with("image.size", Value::Number(3.0))
        .unwrap_err()
        .to_string();
    assert!(
        message.starts_with("scene.toml: image.size must be a list"),
        "{message}"
    );
    assert!(message.contains("(changed to 3)"), "{message}");
}

/// Files come from where the caller says, each read once.
#[test]
fn referenced_files_come_from_the_caller() {
    let text = SCENE.replace(
        "kind = \"uniform\"\ndisplacement = [\"3 px\", \"1 px\"]",
        "kind = \"imported\"\nfile = \"field.csv\"\nlength_unit = \"px\"\nvelocity_unit = \"px\"\nalign = \"pixels\"",
    );
    let field = b"x,y,u,v\n0,0,1,2\n64,0,1,2\n0,48,1,2\n64,48,1,2\n".to_vec();
    let files = motefield_files::Memory::new([(std::path::PathBuf::from("lab/field.csv"), field)]);
    let document = Document::parse("lab/rig.toml", &text).unwrap();
    let setup = Setup::read(document, Referenced::new(Arc::new(files))).unwrap();
    let velocity = plan(&setup).unwrap().scene.flow.velocity([20.0, 10.0, 0.0], 0.0);
    assert!((velocity[0] - 1.0).abs() < 1e-12 && (velocity[1] - 2.0).abs() < 1e-12);
    let read = setup.referenced().files().read_so_far();
    assert_eq!(read.len(), 1);
    assert_eq!(read[0].1.len(), 64);
}

/// A text of many tables is read in a time in proportion to its length, and every one is named.
#[test]
fn long_texts_are_read_to_the_end() {
    let text: String = (0..2000).map(|k| format!("[t{k}]\n")).collect();
    let message = refused(&text);
    assert!(message.contains("line 2000: t1999 is not a section of a setup"));
}

/// A text that is longer than any setup is not read, however it goes on.
#[test]
fn texts_are_bounded() {
    let long = "# nothing\n".repeat(200_000);
    let long = Setup::from_text::<&str>("long", &long, &[]).unwrap_err();
    assert!(long.to_string().contains("2000000 bytes"), "{long}");
}
