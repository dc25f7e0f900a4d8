//! Bias, local bias and random error: that they add up, that averaging pairs does with them what
//! their definitions say (ISO 5725-1, JCGM 100), and that what cannot be told is not.

use serde_json::Value;

use super::{empty, figure, motefield, points, table};
use motefield_study::run::Effort;

const VORTEX: &str = r#"
[image]
size = [256, 192]
particle_diameter = "2.4 px"
seeding_density = "0.03 ppp"
electrons = "500 e"
background = "20 e"
[flow]
kind = "lamb-oseen"
peak_displacement = "4 px"
core_radius = "40 px"
[camera]
dark_noise = "5 e"
"#;

/// In every row of a table the squares of the parts add up to the total's, against both truths; the
/// table has six digits.
#[test]
fn squares_of_the_parts_add_up() {
    let directory = empty("parts_add_up");
    std::fs::write(directory.join("vortex.toml"), VORTEX).unwrap();
    let rows = table(
        &directory,
        &[
            "vortex.toml",
            "--vary",
            "image.electrons=100e,2000e",
            "--most-pairs",
            "4",
        ],
    );
    assert_eq!(rows.len(), 2);
    for row in &rows {
        for of in ["x", "y"]
            .iter()
            .flat_map(|axis| [format!("_{axis}_px"), format!("window {axis}")])
        {
            let name = |part: &str| match of.strip_prefix("window ") {
                Some(axis) => format!("window_{part}_{axis}_px"),
                None => format!("{part}{of}"),
            };
            let square = |part: &str| figure(row, &name(part))[0].powi(2);
            let parts = square("bias") + square("local") + square("random");
            assert!((parts / square("total") - 1.0).abs() < 1e-5, "{of}: {row:?}");
            for part in ["bias", "local", "random", "total"] {
                let [value, lo, hi] = figure(row, &name(part));
                assert!(lo <= value && value <= hi, "{part} {of}: {row:?}");
            }
        }
    }
}

/// A vortex whose core is no wider than a window is smoothed in every pair alike. The mean of N
/// other pairs errs by √(local² + random²/N) about its own mean, as the definitions say, with the
/// intervals of both parts; and not by 1/√N of what a single pair does, which would be below them.
/// Particles and noise of the two studies are independent. What the other pairs scatter is itself a
/// sample, but of the same local bias, so that the intervals have room for it.
#[test]
fn averaging_pairs_removes_the_random_part_only() {
    let vortex = r#"
        [image]
        size = [384, 384]
        particle_diameter = "2.4 px"
        seeding_density = "0.03 ppp"
        electrons = "2000 e"
        [flow]
        kind = "lamb-oseen"
        peak_displacement = "8 px"
        core_radius = "25 px"
        [camera]
        dark_noise = "5 e"
    "#;
    let measured = |seed| {
        let effort = Effort {
            seed,
            first_pairs: 8,
            most_pairs: 8,
            ..Effort::default()
        };
        points(vortex, &[vec![]], &effort).remove(0)
    };
    let (one, other) = (measured(1), measured(2));
    let errors: Vec<_> = (0..8).map(|pair| other.errors.pair(pair)).collect();
    for c in [0, 1] {
        let parts = one.score.point[c];
        let local = parts.local_px.unwrap();
        println!("local {local:?}, random {:?}", parts.random_px);
        // Only places that are valid in all pairs: 1/N is meant for all alike.
        let places: Vec<usize> = (0..errors[0].point_px.len())
            .filter(|&k| errors.iter().all(|e| e.point_px[k][c].is_finite()))
            .collect();
        assert!(places.len() * 10 > errors[0].point_px.len() * 9);
        let mut single = None;
        for n in [1, 2, 4, 8] {
            let means: Vec<f64> = places
                .iter()
                .map(|&k| errors[..n].iter().map(|e| e.point_px[k][c]).sum::<f64>() / n as f64)
                .collect();
            let mean = means.iter().sum::<f64>() / means.len() as f64;
            let square = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / means.len() as f64;
            let [expected, lo, hi] = [
                [local.value, parts.random_px.value],
                [local.lo, parts.random_px.lo],
                [local.hi, parts.random_px.hi],
            ]
            .map(|[local, random]| local * local + random * random / n as f64);
            println!("{n}: {:.4} px, expected {:.4} px", square.sqrt(), expected.sqrt());
            assert!(
                lo <= square && square <= hi,
                "{n}: {square}, expected {lo} to {hi}"
            );
            let single = *single.get_or_insert(square);
            assert!(n < 8 || lo > single / n as f64, "{n}: {lo} against {single}");
        }
        // There is something of either that a wrong split would miss.
        assert!(local.lo > 0.3 * parts.random_px.value, "{parts:?}");
    }
}

/// Renders `pairs` pairs of a setup and measures them: the files of vectors.
fn measured(directory: &std::path::Path, setup: &str, pairs: usize) -> Vec<String> {
    std::fs::write(directory.join("setup.toml"), setup).unwrap();
    let number = pairs.to_string();
    let render = ["render", "setup.toml", "--pairs", &number, "--out", "pairs"];
    assert!(motefield(directory, &render).status.success());
    (0..pairs)
        .map(|k| {
            let name = format!("{k}.csv");
            let [a, b] = ["a", "b"].map(|frame| format!("pairs/pair-{k:05}-{frame}.tif"));
            let correlate = ["correlate", &a, &b, "--setup", "setup.toml", "--out", &name];
            assert!(motefield(directory, &correlate).status.success());
            name
        })
        .collect()
}

/// One pair cannot tell, nor can pairs of flows that differ: text, table and JSON say so and why,
/// no number stands there, and the random error may be anything from 0.
#[test]
fn what_cannot_be_told_is_said() {
    let directory = empty("parts_cannot_tell");
    let names = measured(&directory, VORTEX, 2);
    let score = |names: &[String], more: &[&str]| {
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let arguments = [
            &["score"],
            &names[..],
            &["--truth", "pairs", "--setup", "setup.toml"],
            more,
        ];
        let done = motefield(&directory, &arguments.concat());
        let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
        (done.status.code(), text(&done.stdout), text(&done.stderr))
    };
    let json = |names: &[String]| -> Value { serde_json::from_str(&score(names, &["--json"]).1).unwrap() };
    let both = json(&names);
    assert_eq!(both["schema"], "motefield-score/2");
    assert!(both["local_x_px"]["value"].is_number() && both["random_x_px"]["lo"].as_f64().unwrap() > 0.0);

    let one = json(&names[..1]);
    assert_eq!(one["local_x_px"]["cannot_tell"], "one-pair");
    assert!(one["local_x_px"]["value"].is_null());
    assert_eq!(one["random_x_px"]["lo"], 0.0);
    let text = score(&names[..1], &[]).1;
    assert!(text.contains("cannot tell: one pair only"), "{text}");

    // The second pair's flow is made another: the same field moved by a hundredth of a pixel.
    let file = directory.join("pairs/truth-00001.npy");
    let field = motefield_files::npy::read_field(&file).unwrap();
    std::fs::write(&file, motefield_files::npy::field(&field.mapv(|d| d + 0.01))).unwrap();
    // Without a manifest the truths are taken in their order.
    std::fs::remove_file(directory.join("pairs/manifest.json")).unwrap();
    let differ = json(&names);
    assert_eq!(differ["local_x_px"]["cannot_tell"], "flow-differs");
    assert!(
        score(&names, &[])
            .1
            .contains("the flow differs from pair to pair")
    );
    // Each pair is held against its own flow.
    let moved = differ["bias_x_px"]["value"].as_f64().unwrap() - both["bias_x_px"]["value"].as_f64().unwrap();
    assert!((moved + 0.005).abs() < 1e-3, "{moved}");
    let three = [names.clone(), names[..1].to_vec()].concat();
    let (code, _, error) = score(&three, &[]);
    assert_eq!(code, Some(2));
    assert!(
        error.contains("differ") && error.contains("3 files of vectors"),
        "{error}"
    );

    let rows = table(
        &directory,
        &[
            "setup.toml",
            "--vary",
            "image.electrons=500e",
            "--most-pairs",
            "1",
        ],
    );
    for end in ["", "_lo", "_hi"] {
        assert_eq!(rows[0][&format!("local_x_px{end}")], "cannot tell: one-pair");
    }
    assert_eq!(figure(&rows[0], "random_y_px")[1], 0.0);
    let study = std::fs::read_to_string(directory.join("study/study.json")).unwrap();
    let study: Value = serde_json::from_str(&study).unwrap();
    assert_eq!(study["schema"], "motefield-sweep/2");
    assert_eq!(study["points"][0]["local_y_px"]["cannot_tell"], "one-pair");
}
