//! The parts that the program brings along: each one plans within a rig, and the folder and the
//! program hold the same ones.

use std::path::Path;

use motefield_files::read_text;
use motefield_rig::plan::{FactId, plan};
use motefield_rig::setup::{Document, Referenced, Setup, usual_parts};

/// What no part says.
const REST: &str = r#"
[sheet]
thickness = "1 mm"
height = "60 mm"
[fluid]
kind = "water"
[tracer]
particles_per_window = 8
[lens]
FIELD
[flow]
kind = "uniform"
velocity = ["20 mm/s", "0 m/s"]
[timing]
displacement = "8 px"
"#;

/// A rig of usual parts, with this one in the place of its kind.
fn rig_with(part: &str) -> Setup {
    let usual = [
        "camera-small",
        "light-diode-bar-blue",
        "lens-35mm",
        "tracer-polyamide",
    ];
    let kind = part.split('-').next().expect("a kind");
    let names = usual.map(|usual| if usual.starts_with(kind) { part } else { usual });
    assert!(names.contains(&part), "{part} is of no kind");
    let include: Vec<String> = names.iter().map(|name| format!("\"usual:{name}\"")).collect();
    // Lenses by focal length need their distance; with an objective the field is its own.
    let field = match part {
        "lens-objective-4x" => "",
        _ if kind == "lens" => "working_distance = \"600 mm\"",
        _ => "field_width = \"100 mm\"",
    };
    let rest = REST.replace("FIELD", field);
    let text = format!("include = [{}]\n{rest}", include.join(", "));
    let document = Document::parse("rig.toml", &text).expect("TOML");
    Setup::read(document, Referenced::on_disk()).unwrap_or_else(|e| panic!("{part}: {e}"))
}

#[test]
fn every_part_plans() {
    for part in usual_parts() {
        let setup = rig_with(part);
        let plan = plan(&setup).unwrap_or_else(|e| panic!("{part}: {e}"));
        assert!(plan.scene.electrons > 0.0, "{part}");
        assert!(plan.figure(FactId::PulseEnergy).is_some(), "{part}");
        assert!(setup.document().parts().iter().any(|p| p.name.ends_with(part)));
    }
}

#[test]
fn the_folder_holds_the_parts_that_the_program_brings() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../cases/parts");
    let files = motefield_files::list(&folder, "toml").expect("the folder");
    let names: Vec<String> = files
        .iter()
        .map(|path| path.file_stem().expect("a name").to_string_lossy().into_owned())
        .collect();
    assert_eq!(names, usual_parts().collect::<Vec<_>>());
    for path in files {
        // Every part says what it is, and that it is invented or where its figures come from.
        let text = read_text(&path).expect("a part");
        let says = text.contains("nvented") || text.contains("memory") || text.contains("makers state");
        assert!(text.starts_with("# ") && says, "{}", path.display());
    }
}

#[test]
fn a_part_that_is_not_known_is_named() {
    let text = "include = [\"usual:camera-smal\"]\n[flow]\nkind = \"uniform\"\ndisplacement = [\"3 px\", \"0 px\"]\n";
    let document = Document::parse("rig.toml", text).expect("TOML");
    let error = Setup::read(document, Referenced::on_disk())
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("line 1: include[0] is usual:camera-smal"),
        "{error}"
    );
    assert!(error.contains("did you mean usual:camera-small?"), "{error}");
}
