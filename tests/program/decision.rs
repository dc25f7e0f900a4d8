//! The decision: what light and blur must do to it, whatever the figures.

use std::path::Path;

use serde_json::Value;

use super::{empty, motefield};

/// The embedded rig with little effort: these tests are about the shape of the answer.
fn decide(directory: &Path, out: &str, changes: &[&str]) -> (i32, Value) {
    let mut arguments = vec![
        "decide",
        "--out",
        out,
        "--json",
        "--most-pairs",
        "3",
        "--set",
        "camera.size[0]=256",
        "--set",
        "camera.size[1]=256",
    ];
    for change in changes {
        arguments.extend(["--set", change]);
    }
    let done = motefield(directory, &arguments);
    let code = done.status.code().unwrap();
    assert!(code < 2, "{}", String::from_utf8_lossy(&done.stderr));
    let written: Value =
        serde_json::from_slice(&std::fs::read(directory.join(out).join("decision.json")).unwrap()).unwrap();
    let printed: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(written, printed);
    (code, written)
}

fn number(value: &Value, path: &str) -> f64 {
    value
        .pointer(path)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("{path} is no number in {value:#}"))
}

/// A power-limited source: light limits below, blur above, and the best lies between (the trade-off the program is for; common
/// practice, no source).
#[test]
fn power_limited_source_has_two_walls() {
    let directory = empty("two_walls");
    let (code, d) = decide(&directory, "d", &[]);
    assert_eq!(code, 0);
    assert_eq!(d["schema"], "motefield-decision/1");
    assert_eq!(d["short_side"]["limits"], "light");
    assert_eq!(d["long_side"]["limits"], "blur");
    let (short, best, long) = (
        number(&d, "/window/shortest_s"),
        number(&d, "/best/pulse_s"),
        number(&d, "/window/longest_s"),
    );
    assert!(short < best && best < long);
    assert!(number(&d, "/best/pulse_s_lo") <= best && best <= number(&d, "/best/pulse_s_hi"));
    assert!(number(&d, "/best/total_px/lo") < number(&d, "/best/total_px/value"));
    for file in [
        "table.csv",
        "curve.svg",
        "shortest-a.tif",
        "best-b.tif",
        "longest-a.tif",
        "shortest.png",
        "best.png",
        "longest.png",
    ] {
        assert!(directory.join("d").join(file).is_file(), "{file}");
    }
}

/// A source of fixed pulse energy gains nothing from a longer pulse: the window opens toward short pulses and light does not
/// limit there (derived: the photo-electrons do not depend on the pulse length, the streak does).
#[test]
fn fixed_energy_has_no_wall_of_light() {
    let directory = empty("fixed_energy");
    let setup =
        include_str!("../../cases/flume.toml").replace("power = \"2.5 W\"", "pulse_energy = \"1 mJ\"");
    std::fs::write(directory.join("rig.toml"), setup).unwrap();
    let done = motefield(
        &directory,
        &[
            "decide",
            "rig.toml",
            "--out",
            "d",
            "--json",
            "--most-pairs",
            "3",
            "--set",
            "camera.size[0]=256",
            "--set",
            "camera.size[1]=256",
        ],
    );
    assert_eq!(
        done.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let d: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(d["short_side"]["limits"], "range", "{:#}", d["short_side"]);
    assert!(number(&d, "/best/streak_px") < 1.0);
}

/// A hopeless rig says no, exits 1, and computes what would help: at a twelfth of the light, more light comes out ahead of a
/// shorter separation.
#[test]
fn hopeless_rig_says_what_would_help() {
    let directory = empty("hopeless");
    let (code, d) = decide(&directory, "d", &["light.power=0.2 W"]);
    assert_eq!(code, 1);
    assert!(d["window"].is_null());
    let remedies = d["remedies"].as_array().unwrap();
    assert_eq!(remedies.len(), 4);
    // They stand in the order of their help.
    let place = |words: &str| {
        remedies
            .iter()
            .position(|r| r["change"].as_str().unwrap().contains(words))
            .unwrap()
    };
    assert!(
        place("four times the light") < place("pulse separation"),
        "{remedies:#?}"
    );
}
