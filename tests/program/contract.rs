//! Names that scripts rely on: files, columns, keys. A change here is a change of the schema's
//! version and of the changelog.

use serde_json::Value;

use super::{empty, motefield};

/// A scene with every key that scripts were promised.
const SCENE: &str = r#"
[image]
size = [256, 192]
particle_diameter = "2.2 px"
seeding_density = "0.03 ppp"
electrons = "20000 e"
background = "20 e"
streak = ["2 px", "0 px"]
[sheet]
profile = "top-hat"
out_of_plane = 0.1
[flow]
kind = "uniform"
displacement = ["3.3 px", "0 px"]
[camera]
bits = 12
gain = "0.3 DN/e"
full_well = "12000 e"
dark_noise = "5 e"
[processing]
passes = [{ window = 64, overlap = 0.5 }, { window = 32, overlap = 0.75 }]
weighting = "top-hat"
peak_fit = "gaussian3"
normalise = "none"
deform = true
"#;

fn json(bytes: &[u8]) -> Value {
    serde_json::from_slice(bytes).expect("JSON")
}

/// render → correlate → score, by the names promised; the measured field is the one rendered.
#[test]
fn pictures_vectors_and_scores() {
    let directory = empty("contract");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let done = motefield(
        &directory,
        &[
            "render",
            "scene.toml",
            "--pairs",
            "2",
            "--seed",
            "5",
            "--out",
            "pairs",
        ],
    );
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    for file in [
        "pair-00000-a.tif",
        "pair-00000-b.tif",
        "truth-00000.npy",
        "pair-00001-b.tif",
        "manifest.json",
    ] {
        assert!(directory.join("pairs").join(file).is_file(), "{file}");
    }
    let manifest = json(&std::fs::read(directory.join("pairs/manifest.json")).unwrap());
    for key in ["schema", "version", "setup", "seed", "pairs"] {
        assert!(!manifest[key].is_null(), "{key}");
    }
    let correlate = [
        "correlate",
        "pairs/pair-00000-a.tif",
        "pairs/pair-00000-b.tif",
        "--setup",
        "scene.toml",
        "--out",
        "vectors.csv",
    ];
    assert!(motefield(&directory, &correlate).status.success());
    let vectors = std::fs::read_to_string(directory.join("vectors.csv")).unwrap();
    assert_eq!(
        vectors.lines().next().unwrap(),
        "x_px,y_px,dx_px,dy_px,peak_ratio,status"
    );
    let done = motefield(
        &directory,
        &[
            "score",
            "vectors.csv",
            "--truth",
            "pairs",
            "--setup",
            "scene.toml",
            "--json",
        ],
    );
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let score = json(&done.stdout);
    for figure in [
        "bias_x_px",
        "random_x_px",
        "total_x_px",
        "bias_y_px",
        "random_y_px",
        "total_y_px",
        "outliers",
    ] {
        for end in ["value", "lo", "hi"] {
            assert!(score[figure][end].is_number(), "{figure} {end}");
        }
    }
    // Bright particles: a few hundredths of a pixel at most (Raffel et al., handbook figures for 32
    // px windows, from memory).
    assert!(score["total_x_px"]["value"].as_f64().unwrap() < 0.05, "{score:#}");
}

#[test]
fn sweep_table() {
    let directory = empty("sweep_table");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let sweep = [
        "sweep",
        "scene.toml",
        "--vary",
        "image.particle_diameter=1.5px..3px:lin:2",
        "--most-pairs",
        "3",
        "--out",
        "study",
    ];
    assert!(motefield(&directory, &sweep).status.success());
    let table = std::fs::read_to_string(directory.join("study/table.csv")).unwrap();
    let head: Vec<&str> = table.lines().next().unwrap().split(',').collect();
    assert_eq!(
        head[..6],
        [
            "value",
            "unit",
            "streak_px",
            "pairs",
            "vectors",
            "effective_vectors"
        ]
    );
    let mut expected: Vec<String> = Vec::new();
    for axis in ["x", "y"] {
        for figure in ["bias", "local", "random", "total"] {
            expected.extend(["", "_lo", "_hi"].map(|end| format!("{figure}_{axis}_px{end}")));
        }
    }
    expected.extend(["", "_lo", "_hi"].map(|end| format!("outliers{end}")));
    assert_eq!(head[6..6 + expected.len()], expected);
    let row: Vec<&str> = table.lines().nth(2).unwrap().split(',').collect();
    assert_eq!(row.len(), head.len());
    assert_eq!(row[..3], ["3", "px", "2"]);
}

/// Every command shows an example, and the version and exit codes are there.
#[test]
fn help_has_examples() {
    let directory = empty("help");
    for command in ["plan", "render", "correlate", "score", "sweep", "decide"] {
        let help = motefield(&directory, &[command, "--help"]);
        let text = String::from_utf8(help.stdout).unwrap();
        assert!(text.contains(&format!("Example: motefield {command}")), "{text}");
    }
    assert!(
        String::from_utf8(motefield(&directory, &["--help"]).stdout)
            .unwrap()
            .contains("Exit codes")
    );
    assert!(std::fs::read_dir(&directory).unwrap().next().is_none());
}

/// Every key that the reader asks for stands in the setup's description, which `plan --keys`
/// prints.
#[test]
fn every_key_is_described() {
    let keys = String::from_utf8(motefield(&empty("keys"), &["plan", "--keys"]).stdout).unwrap();
    for line in include_str!("../../cases/flume.toml").lines() {
        let Some((key, _)) = line.split_once('=').filter(|_| !line.starts_with('#')) else {
            continue;
        };
        let key = key.trim();
        assert!(keys.contains(&format!("`{key}`")), "`{key}` is not described");
    }
}
