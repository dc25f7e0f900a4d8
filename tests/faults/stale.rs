//! What earlier runs and other people left: never overwritten unasked, never taken for what it is
//! not.

use std::path::Path;
use std::time::Duration;

use serde_json::Value;

use super::studies::Study;
use super::{contents, empty, has_parts, program, refused, run, runs};

const RIG: &str = r#"
[image]
size = [128, 128]
particle_diameter = "2.2 px"
seeding_density = "0.03 ppp"
electrons = "900 e"
[flow]
kind = "imported"
file = "field.csv"
length_unit = "px"
velocity_unit = "px"
[processing]
passes = [{ window = 32, overlap = 0.5 }]
mask = "mask.png"
"#;

/// A grid of velocities, px, `u` along x everywhere.
fn field(u: f64) -> String {
    let mut text = "x,y,u,v\n".to_owned();
    for k in 0..100 {
        text += &format!("{},{},{u},0.5\n", 16 * (k % 10), 16 * (k / 10));
    }
    text
}

fn mask(directory: &Path, white_from: u32) {
    image::GrayImage::from_fn(128, 128, |x, _| {
        image::Luma([if x < white_from { 0 } else { 255 }])
    })
    .save(directory.join("mask.png"))
    .unwrap();
}

/// Begins a study and kills it once its journal holds something.
fn begin(directory: &Path, arguments: &[&str]) {
    let mut child = program(directory, arguments).spawn().unwrap();
    while std::fs::metadata(directory.join("cut/journal")).map_or(0, |m| m.len()) < 3000 {
        assert!(
            child.try_wait().unwrap().is_none(),
            "{arguments:?} was over already"
        );
        std::thread::sleep(Duration::from_millis(2));
    }
    child.kill().unwrap();
    child.wait().unwrap();
}

/// A study that another version or machine began is refused.
fn another_program(directory: &Path, resume: &[&str]) {
    let path = directory.join("cut/manifest.json");
    let manifest: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    for (key, other, words) in [
        ("version", Value::from("0.0.1"), "program version: 0.0.1 then"),
        ("results_version", Value::from(0), "results version: 0 then"),
        ("kernel", Value::from("abacus"), "numeric kernel: abacus then"),
    ] {
        let mut manifest = manifest.clone();
        manifest[key] = other;
        std::fs::write(&path, manifest.to_string()).unwrap();
        refused(directory, resume, &[words]);
    }
}

/// A study continues only if all that decides its values is what it was; the refusal says what is
/// not, and the study stays as it is until it is thrown away.
#[test]
fn a_study_whose_files_or_program_changed_is_another() {
    let directory = empty("changed");
    std::fs::write(directory.join("rig.toml"), RIG).unwrap();
    std::fs::write(directory.join("field.csv"), field(2.0)).unwrap();
    mask(&directory, 20);
    let sweep = |more: &[&'static str]| -> Vec<&'static str> {
        let fixed = [
            "sweep",
            "rig.toml",
            "--vary",
            "image.electrons=300e,900e",
            "--out",
            "cut",
        ];
        [
            &fixed,
            &["--most-pairs", "400", "--precision", "0.0001", "--threads", "1"],
            more,
        ]
        .concat()
    };
    begin(&directory, &sweep(&[]));
    let before = contents(&directory.join("cut"));
    let resume = sweep(&["--resume"]);

    std::fs::write(directory.join("field.csv"), field(2.5)).unwrap();
    refused(
        &directory,
        &resume,
        &["another study", "field.csv: its content has changed", "--fresh"],
    );
    std::fs::write(directory.join("field.csv"), field(2.0)).unwrap();
    mask(&directory, 30);
    refused(&directory, &resume, &["mask.png: its content has changed"]);
    mask(&directory, 20);
    std::fs::write(directory.join("rig.toml"), RIG.replace("900 e", "950 e")).unwrap();
    let words = [
        "rig.toml: its content has changed",
        "`electrons = \"900 e\"` then, `electrons = \"950 e\"` now",
    ];
    refused(&directory, &resume, &words);
    std::fs::write(directory.join("rig.toml"), RIG).unwrap();
    refused(
        &directory,
        &sweep(&["--resume", "--bound"]),
        &["bound: false then, true now"],
    );

    another_program(&directory, &resume);
    // The journal knows by itself what it belongs to.
    let path = directory.join("cut/manifest.json");
    std::fs::remove_file(&path).unwrap();
    refused(
        &directory,
        &sweep(&["--resume", "--seed", "3"]),
        &["another study"],
    );
    std::fs::write(&path, &before[Path::new("manifest.json")]).unwrap();
    assert!(
        contents(&directory.join("cut")) == before,
        "a refusal changed the study"
    );

    let anew: Vec<&str> = sweep(&["--fresh"])
        .into_iter()
        .map(|a| if a == "400" { "4" } else { a })
        .collect();
    runs(&directory, &anew);
    let whole: Vec<&str> = anew
        .iter()
        .map(|a| if *a == "cut" { "whole" } else { a })
        .collect();
    runs(&directory, &whole[..whole.len() - 1]);
    assert!(contents(&directory.join("cut")) == contents(&directory.join("whole")));
}

/// Files that are the user's own stay, whichever command would write under their names, also where
/// it starts over; what the program wrote and somebody changed is somebody's.
#[test]
fn files_of_other_origin_stay() {
    let studies = [0, 1, 2, 3].map(|k| Study::new("own", k));
    for (study, theirs) in studies
        .iter()
        .zip(["table.csv", "decision.json", "pair-00003-a.tif", "README.md"])
    {
        let (path, cut) = (study.path().join(theirs), study.path());
        std::fs::create_dir(&cut).unwrap();
        std::fs::write(&path, "my own").unwrap();
        for more in [&[][..], &["--fresh"]] {
            refused(&study.directory, &study.cut(more), &[theirs, "not overwritten"]);
        }
        assert_eq!(contents(&cut).len(), 1, "{theirs}");
        assert_eq!(std::fs::read(&path).unwrap(), b"my own");
        runs(&study.directory, &study.cut(&["--force"]));
        assert!(contents(&cut) == study.whole, "{theirs}");
        // Its own results it may replace when it starts over; changed ones it may not.
        std::fs::write(cut.join("notes.txt"), "mine").unwrap();
        runs(&study.directory, &study.cut(&["--fresh"]));
        assert_eq!(std::fs::read(cut.join("notes.txt")).unwrap(), b"mine");
        std::fs::write(&path, "my own again").unwrap();
        refused(
            &study.directory,
            &study.cut(&["--fresh"]),
            &[theirs, "not overwritten"],
        );
        assert_eq!(std::fs::read(&path).unwrap(), b"my own again");
    }
}

/// `verify --full` does not measure again what it has: a figure that is changed on disk is found
/// again in the table. Another selection, depth or seed is another study.
#[test]
fn finished_cases_are_used_again() {
    let study = Study::new("reused", 3);
    runs(&study.directory, &study.cut(&[]));
    let path = study.path().join("cases/one.json");
    let mut record: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    record["figures"][0][0]["random_x_px"] = serde_json::json!([1.25, 1.0, 1.5]);
    std::fs::write(&path, record.to_string()).unwrap();
    runs(&study.directory, &study.cut(&[]));
    let table = std::fs::read_to_string(study.path().join("table.csv")).unwrap();
    assert!(table.contains(",1.25,1,1.5,"), "{table}");
    refused(
        &study.directory,
        &study.cut(&["--seed", "2"]),
        &["seed: 1 then, 2 now", "--fresh"],
    );
    refused(
        &study.directory,
        &study.cut(&["--case", "one"]),
        &["cases: [", "--fresh"],
    );
    // Whoever starts over measures anew, and leaves nothing of the cases that are none of it.
    runs(&study.directory, &study.cut(&["--case", "one", "--fresh"]));
    let table = std::fs::read_to_string(study.path().join("table.csv")).unwrap();
    assert!(!table.contains(",1.25,"), "{table}");
    assert!(!study.path().join("two.svg").exists());
    // A file that is no record stays.
    std::fs::write(&path, "my own").unwrap();
    refused(
        &study.directory,
        &study.cut(&["--case", "one", "--fresh"]),
        &["one.json", "not overwritten"],
    );
}

/// Cases and expectations may be called anything: what is compared with an earlier table is found
/// again.
#[test]
fn names_with_line_breaks_are_compared() {
    let directory = empty("names");
    std::fs::create_dir(directory.join("cases")).unwrap();
    let case = include_str!("../../cases/reference/tracer-stokes.toml");
    for (k, name) in ["a\nb", "\n", "c\r", " d", "\"e,\n\"f"].iter().enumerate() {
        std::fs::write(directory.join(format!("cases/{name}.toml")), case).unwrap();
        let named = case.replacen("name = \"", &format!("name = \"{k}\\n\\r\\\", "), 1);
        assert_ne!(named, case);
        std::fs::write(directory.join(format!("cases/{name}-named.toml")), named).unwrap();
    }
    runs(&directory, &["verify", "--from", "cases", "--out", "then"]);
    let done = run(&directory, &["verify", "--from", "cases", "--against", "then"]);
    let text = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(
        done.status.success() && text.ends_with("Nothing moved.\n"),
        "{text}"
    );
}

const BODY: &str = r#"
[image]
size = [128, 128]
particle_diameter = "2.2 px"
seeding_density = "0.04 ppp"
electrons = "2000 e"
[flow]
kind = "cylinder"
centre = ["0 px", "0 px"]
radius = "20 px"
free_stream = "3 px"
[processing]
passes = [{ window = 32, overlap = 0.5 }]
"#;

/// What an earlier `render` left is gone when it is overwritten, and what stands there by other
/// means is not taken for the truth.
#[test]
fn a_score_believes_only_what_was_rendered_together() {
    let directory = empty("score");
    std::fs::write(directory.join("body.toml"), BODY).unwrap();
    let still = BODY.replace(
        "kind = \"cylinder\"\ncentre = [\"0 px\", \"0 px\"]\nradius = \"20 px\"\nfree_stream = \"3 px\"",
        "kind = \"uniform\"\ndisplacement = [\"3 px\", \"0 px\"]",
    );
    std::fs::write(directory.join("free.toml"), still).unwrap();
    runs(
        &directory,
        &["render", "body.toml", "--pairs", "3", "--mask", "--out", "pairs"],
    );
    let valid = std::fs::read(directory.join("pairs/valid.npy")).unwrap();
    runs(
        &directory,
        &["render", "free.toml", "--pairs", "1", "--out", "pairs", "--force"],
    );
    let names: Vec<_> = contents(&directory.join("pairs")).into_keys().collect();
    let expected = [
        "manifest.json",
        "pair-00000-a.tif",
        "pair-00000-b.tif",
        "truth-00000.npy",
    ];
    assert_eq!(names, expected.map(std::path::PathBuf::from));

    let (a, b) = ("pairs/pair-00000-a.tif", "pairs/pair-00000-b.tif");
    runs(
        &directory,
        &["correlate", a, b, "--setup", "free.toml", "--out", "v.csv"],
    );
    let score = |more: &[&str]| {
        let fixed = [
            "score",
            "v.csv",
            "--truth",
            "pairs",
            "--setup",
            "free.toml",
            "--json",
        ];
        let done = run(&directory, &[&fixed, more].concat());
        assert!(done.status.success(), "{}", super::message(&done));
        let json: Value = serde_json::from_slice(&done.stdout).unwrap();
        (json["vectors"].as_u64().unwrap(), super::message(&done))
    };
    let (all, _) = score(&[]);
    // A mask of unknown origin is not used, and named.
    std::fs::write(directory.join("pairs/valid.npy"), valid).unwrap();
    let (without, message) = score(&[]);
    assert_eq!(without, all);
    assert!(
        message.contains("valid.npy is not used") && message.contains("--valid"),
        "{message}"
    );
    let (with, _) = score(&["--valid", "pairs/valid.npy"]);
    assert!(with < all, "{with} of {all}");
    // Nor is a truth that is not the one that was rendered.
    std::fs::write(directory.join("pairs/truth-00001.npy"), "not rendered").unwrap();
    score(&[]);
    let mut truth = std::fs::read(directory.join("pairs/truth-00000.npy")).unwrap();
    *truth.last_mut().unwrap() ^= 1;
    std::fs::write(directory.join("pairs/truth-00000.npy"), truth).unwrap();
    let arguments = ["score", "v.csv", "--truth", "pairs", "--setup", "free.toml"];
    refused(&directory, &arguments, &["truth-00000.npy", "manifest.json"]);
}

/// Each two frames of a series have a truth of their own; which it is follows from the manifest
/// beside the vectors, or must be said.
#[test]
fn a_series_is_scored_frame_by_frame() {
    let directory = empty("series");
    // The displacement grows along x, so what moves has another truth at another time.
    let unsteady = BODY.replace("kind = \"cylinder\"\ncentre = [\"0 px\", \"0 px\"]\nradius = \"20 px\"\nfree_stream = \"3 px\"", "kind = \"vortex-street\"\npeak_displacement = \"2 px\"\ncore_radius = \"14 px\"\nspacing = \"60 px\"\nrow_distance = \"40 px\"\ncarried_by = [\"9 px\", \"0 px\"]");
    std::fs::write(directory.join("scene.toml"), unsteady).unwrap();
    runs(
        &directory,
        &["render", "scene.toml", "--series", "4", "--out", "series"],
    );
    let truths = [0, 2].map(|k| std::fs::read(directory.join(format!("series/truth-0000{k}.npy"))).unwrap());
    assert!(truths[0] != truths[1], "the flow is steady");
    for k in 0..3 {
        let [a, b] = [k, k + 1].map(|k| format!("series/frame-0000{k}.tif"));
        let out = format!("v{k}.csv");
        runs(
            &directory,
            &["correlate", &a, &b, "--setup", "scene.toml", "--out", &out],
        );
    }
    let score = |vectors: &str, truth: &str| {
        let fixed = [
            "score",
            vectors,
            "--truth",
            truth,
            "--setup",
            "scene.toml",
            "--json",
        ];
        let done = run(&directory, &fixed);
        assert!(done.status.success(), "{}", super::message(&done));
        let json: Value = serde_json::from_slice(&done.stdout).unwrap();
        json["total_px"]["value"].as_f64().unwrap()
    };
    assert_eq!(
        score("v2.csv", "series"),
        score("v2.csv", "series/truth-00002.npy")
    );
    assert!(score("v2.csv", "series") < score("v2.csv", "series/truth-00000.npy"));
    // Together, each by its own truth: the mean square is that of both.
    let together = |vectors: &[&str]| {
        let mut arguments = vec!["score"];
        arguments.extend(vectors);
        arguments.extend(["--truth", "series", "--setup", "scene.toml", "--json"]);
        let done = run(&directory, &arguments);
        assert!(done.status.success(), "{}", super::message(&done));
        let json: Value = serde_json::from_slice(&done.stdout).unwrap();
        let number = |value: &Value| value.as_f64().unwrap();
        let counted = number(&json["vectors"]) * (1.0 - number(&json["outliers"]["value"]));
        [number(&json["total_px"]["value"]), counted]
    };
    let [[first, n], [last, m], [both, all]] =
        [&["v0.csv"][..], &["v2.csv"], &["v0.csv", "v2.csv"]].map(together);
    let expected = ((n * first * first + m * last * last) / all).sqrt();
    assert!((n + m - all).abs() < 1e-3 * all, "{n} {m} {all}");
    assert!((both / expected - 1.0).abs() < 1e-3, "{both} {expected}");
    std::fs::remove_file(directory.join("v1.csv.manifest.json")).unwrap();
    let unknown = ["score", "v1.csv", "--truth", "series", "--setup", "scene.toml"];
    refused(
        &directory,
        &unknown,
        &["v1.csv", "--truth series/truth-00000.npy"],
    );
}

/// Half-written files of a run that was killed are taken away by whoever continues; those of other
/// names are not ours.
#[test]
fn half_written_files_do_not_stay() {
    let study = Study::new("parts", 0);
    begin(&study.directory, &study.cut(&[]));
    let cut = study.path();
    std::fs::write(cut.join("table.csv.4711.part"), "half").unwrap();
    std::fs::write(cut.join("film.mp4.part"), "mine").unwrap();
    runs(&study.directory, &study.cut(&["--resume"]));
    assert!(has_parts(&cut) && !cut.join("table.csv.4711.part").exists());
    assert_eq!(std::fs::read(cut.join("film.mp4.part")).unwrap(), b"mine");
    std::fs::remove_file(cut.join("film.mp4.part")).unwrap();
    assert!(contents(&cut) == study.whole);
    // Also those of finished cases, in their own directory.
    let study = Study::new("parts", 3);
    let part = study.path().join("cases/one.json.4711.part");
    std::fs::create_dir_all(part.parent().unwrap()).unwrap();
    std::fs::write(part, "half").unwrap();
    runs(&study.directory, &study.cut(&[]));
    assert!(contents(&study.path()) == study.whole);
}
