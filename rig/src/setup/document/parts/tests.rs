//! Parts are read as if they stood in the setup, but for what the setup itself says.

use std::sync::Arc;

use motefield_files::Memory;

use crate::plan::plan;
use crate::setup::{Document, Referenced, Setup, SetupError, Value};

const CAMERA: &str = "[camera]\nsize = [64, 48]\npixel = \"5 um\"\nbits = 10\n\
                      quantum_efficiency = [{ at = \"400 nm\", share = 0.3 }, { at = \"600 nm\", share = 0.7 }]\n";
const LENS: &str = "[lens]\nmagnification = 0.1\naperture = \"f/4\"\n";
const OWN: &str = "[image]\nparticle_diameter = \"2.2 px\"\nseeding_density = \"0.02 ppp\"\nelectrons = \"500 e\"\n\
                   [light]\nwavelength = \"500 nm\"\n\
                   [flow]\nkind = \"uniform\"\ndisplacement = [\"3 px\", \"1 px\"]\n\
                   [processing]\npasses = [{ window = 16, overlap = 0.5 }]\n";

fn files(files: &[(&str, &str)]) -> Arc<Referenced> {
    let files = files
        .iter()
        .map(|(name, text)| ((*name).into(), text.as_bytes().to_vec()));
    Referenced::new(Arc::new(Memory::new(files)))
}

fn both() -> Arc<Referenced> {
    files(&[("lab/parts/camera.toml", CAMERA), ("lab/parts/lens.toml", LENS)])
}

fn read(text: &str, referenced: Arc<Referenced>) -> Result<Setup, SetupError> {
    Setup::read(Document::parse("lab/rig.toml", text)?, referenced)
}

const INCLUDE: &str = "include = [\"parts/camera.toml\", \"parts/lens.toml\"]\n";

/// The same values, and so the same plan, as with the parts' text in the setup.
#[test]
fn parts_act_as_if_they_stood_in_the_setup() {
    let parts = read(&format!("{INCLUDE}{OWN}"), both()).unwrap();
    let whole = read(&format!("{OWN}{CAMERA}{LENS}"), both()).unwrap();
    assert_eq!((&parts.camera, &parts.lens), (&whole.camera, &whole.lens));
    let [parts_plan, whole_plan] = [&parts, &whole].map(|setup| plan(setup).unwrap());
    assert_eq!(parts_plan.facts, whole_plan.facts);
    // They are among the files read, each with its hash.
    assert_eq!(parts.referenced().files().read_so_far().len(), 2);
    assert_eq!(parts.document().parts()[1].name.as_ref(), "lab/parts/lens.toml");
    assert_eq!(parts.text(), format!("{INCLUDE}{OWN}"));
}

/// A key of the setup overrides the part's, as does one that stands in its place, a whole list, and
/// a change; a change of one entry of a part's list leaves the others.
#[test]
fn the_setups_own_keys_override() {
    let own = |more: &str| read(&format!("{INCLUDE}{OWN}{more}"), both()).unwrap();
    let camera = own("[camera]\nbits = 12\nquantum_efficiency = 0.9\n").camera;
    assert_eq!(camera.quantum_efficiency, [0.9]);
    assert_eq!(camera.pixels.number(crate::keys::camera::BITS), Some(12.0));
    assert_eq!(camera.pixel_m, Some(5e-6));
    let lens = own("[lens]\nfield_width = \"32 mm\"\n").lens;
    assert_eq!((lens.field_width_m, lens.magnification), (Some(32e-3), None));
    let plain = own("");
    let wider = plain.with("lens.field_width", Value::parse("32 mm")).unwrap();
    assert_eq!(
        (wider.lens.field_width_m, wider.lens.magnification),
        (Some(32e-3), None)
    );
    assert_eq!(
        plain
            .with("camera.size[1]", Value::Number(32.0))
            .unwrap()
            .camera
            .size,
        Some([64, 32])
    );
}

/// Every message names the file and the line in which the key stands.
#[test]
fn faults_are_named_where_they_stand() {
    let refused = |text: &str, parts: &[(&str, &str)]| read(text, files(parts)).unwrap_err().to_string();
    let text = format!("{INCLUDE}{OWN}[sheet]\nthickness = 3\n");
    let camera = CAMERA.replace("bits = 10", "bits = 99");
    let lens = LENS.replace("aperture", "apertur");
    let message = refused(
        &text,
        &[
            ("lab/parts/camera.toml", camera.as_str()),
            ("lab/parts/lens.toml", lens.as_str()),
        ],
    );
    let mut rest = message.as_str();
    for part in [
        "lab/rig.toml, line 14: `sheet.thickness = 3` has no unit",
        "lab/parts/camera.toml, line 4: camera.bits is 99",
        "4 | bits = 99\n  |        ^^",
        "lab/parts/lens.toml, line 3: lens.apertur is not a key of a setup; did you mean lens.aperture?",
    ] {
        let at = rest.find(part).unwrap_or_else(|| panic!("{part} in\n{message}"));
        rest = &rest[at..];
    }
    for (camera, lens, words) in [
        (CAMERA, "[lens\n", "lab/parts/lens.toml, line 1: not valid TOML"),
        (
            CAMERA,
            "include = [\"camera.toml\"]\n",
            "lab/parts/lens.toml, line 1: include stands in a part, and parts include nothing",
        ),
        (
            CAMERA,
            "[camera]\nbits = 8\n[lens]\nmagnification = 1\n",
            "lab/parts/lens.toml, line 2: camera.bits stands in lab/parts/camera.toml too",
        ),
    ] {
        let parts = [("lab/parts/camera.toml", camera), ("lab/parts/lens.toml", lens)];
        let message = refused(&format!("{INCLUDE}{OWN}"), &parts);
        assert!(message.starts_with(words), "{words}: {message}");
    }
    let message = refused(&format!("{INCLUDE}{OWN}"), &[]);
    let words =
        "lab/rig.toml, line 1: include[0] cannot be included: lab/parts/camera.toml: there is no such file";
    assert!(message.starts_with(words), "{message}");
    for include in [
        "include = \"parts/camera.toml\"\n",
        "include = [3]\n",
        "[include]\na = 1\n",
    ] {
        let message = refused(&format!("{include}{OWN}"), &[]);
        assert!(
            message.contains("must be a list of the names of files"),
            "{message}"
        );
    }
}

/// A file that a part names lies beside the part.
#[test]
fn files_of_a_part_lie_beside_it() {
    let light = "[light]\nwavelength = \"500 nm\"\npower = \"1 W\"\npulse_file = \"led.csv\"\n";
    let pulse = "time [us],power\n0,1\n20,1\n";
    let referenced = files(&[
        ("lab/parts/camera.toml", CAMERA),
        ("lab/parts/led.toml", light),
        ("lab/parts/led.csv", pulse),
    ]);
    let own = OWN.replace("[light]\nwavelength = \"500 nm\"\n", "");
    let text = format!("include = [\"parts/camera.toml\", \"parts/led.toml\"]\n{own}");
    let setup = read(&text, referenced).unwrap();
    assert!((setup.light.pulse_length_s.unwrap() - 20e-6).abs() < 1e-18);
}
