//! What the program computes stays what it was: pictures, tables and JSON values of 200 random
//! setups and of the README's commands, held against recorded hashes.
//!
//! A change of the code that is meant to change no value must leave this test green. A change that
//! is meant to change values raises the results version, records anew
//! (`MOTEFIELD_RECORD=1 cargo test --test program frozen -- --ignored`, which fails on purpose) and
//! says in CHANGELOG.md what moved and why. Names and words may change: hashes are taken of
//! numbers, of switches and of the words that scripts rely on, with renamed fields under their
//! first name and reworded texts in their first words.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::Value;
use sha2::{Digest, Sha256};

use super::random_setups::prepare;
use super::{empty, motefield};

/// How many random setups are held.
const SETUPS: usize = 200;
const RECORD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/program/frozen.csv");

/// Fields of JSON files and columns of tables that are called otherwise now: new name, first name.
const RENAMED: &[(&str, &str)] = &[];

/// Fields that JSON files have gained since.
const ADDED: &[&str] = &[
    "results_version",
    "asked",
    "command",
    "effort",
    "files_read",
    "files_written",
    "finished",
    "kernel",
    "question",
    "at_edge_of_tried",
    "ended_by",
    "rules_broken",
    "lost_vectors_counted",
    "compared_px",
    "unfinished",
    "working_f_number",
    "enough",
    "proposal",
    "depth_of_correlation_px",
    "share_in_correlation",
    "upper_edge_pixels_per_mm",
    "lower_edge_pixels_per_mm",
    "left_edge_pixels_per_mm",
    "right_edge_pixels_per_mm",
    "brownian_displacement_px",
    "brownian_error_px",
];

/// Texts that are others than when the hashes were recorded: the words now, and the first ones.
const REWORDED: &[(&str, &str)] = &[
    ("power that ends instantly", "power that is gone at once"),
    (
        "seen through its glass wall. The wake of one bar of a\n\
         # fish-protection screen at the intake of a small hydropower plant: 5 mm bar, 0.25 m/s \
         between bars.",
        "seen from the side through its glass wall. The wake behind one bar of a\n\
         # fish-protection screen, as it stands before the intake of a small hydropower plant: \
         5 mm bar, 0.25 m/s between the bars.",
    ),
];

/// Fields whose texts are for people, or say which program wrote them.
const WORDS: &[&str] = &[
    "schema", "version", "label", "shown", "how", "words", "limit", "source", "notes", "events", "caution",
    "reason", "truth", "pixels", "name", "change",
];

#[derive(Default)]
struct Hashes {
    pictures: Sha256,
    tables: Sha256,
    json: Sha256,
}

impl Hashes {
    fn words(self) -> String {
        let hex = |hash: Sha256| {
            let bytes = hash.finalize();
            bytes[..8].iter().map(|b| format!("{b:02x}")).collect::<String>()
        };
        format!("{},{},{}", hex(self.pictures), hex(self.tables), hex(self.json))
    }

    /// Takes in every file of a directory, in the order of their names.
    fn directory(&mut self, directory: &Path) {
        let mut paths: Vec<_> = std::fs::read_dir(directory)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        paths.sort();
        for path in paths.into_iter().filter(|path| path.is_file()) {
            let bytes = std::fs::read(&path).unwrap();
            match path.extension().and_then(|e| e.to_str()) {
                Some("tif" | "png" | "npy") => self.pictures.update(&bytes),
                Some("csv") => self.table(std::str::from_utf8(&bytes).unwrap()),
                Some("json") => {
                    let value: Value = serde_json::from_slice(&bytes).unwrap();
                    // A manifest that says nothing beyond how the folder came about.
                    if value["schema"] != "motefield-manifest/1" {
                        self.value(&value);
                    }
                }
                _ => {}
            }
        }
    }

    /// A table: names of columns, and numbers by their value.
    fn table(&mut self, text: &str) {
        for cell in text.lines().flat_map(|line| line.split(',')) {
            self.tables.update(match cell.parse::<f64>() {
                Ok(number) => format!("{number:e};"),
                Err(_) => format!("{};", first_name(cell)),
            });
        }
    }

    /// A JSON value: fields in the order of their names, words for people left out.
    fn value(&mut self, value: &Value) {
        match value {
            Value::Object(fields) => {
                let mut fields: Vec<_> = fields.iter().map(|(k, v)| (first_name(k), v)).collect();
                fields.sort_by_key(|(name, _)| *name);
                for (name, value) in fields.into_iter().filter(|(name, _)| !ADDED.contains(name)) {
                    if !WORDS.contains(&name) || !(value.is_string() || value.is_array()) {
                        self.json.update(name);
                        self.value(value);
                    }
                }
            }
            Value::Array(values) => values.iter().for_each(|value| self.value(value)),
            Value::Number(number) => {
                self.json.update(format!("{:.11e};", number.as_f64().unwrap()));
            }
            Value::String(text) => {
                let first = |text: String, (now, first): &(&str, &str)| text.replace(now, first);
                let text = REWORDED.iter().fold(text.clone(), first);
                self.json.update(format!("{};", Value::String(text)));
            }
            other => self.json.update(format!("{other};")),
        }
    }
}

fn first_name(name: &str) -> &str {
    RENAMED
        .iter()
        .find(|(now, _)| *now == name)
        .map_or(name, |(_, first)| first)
}

/// Hashes of what the program makes of random setup `k`; none where it cannot be planned.
fn of_setup(root: &Path, k: usize) -> Option<String> {
    let directory = root.join(format!("setup-{k}"));
    let vary = prepare(&directory, k);
    let plan = motefield(&directory, &["plan", "setup.toml", "--json"]);
    if !plan.status.success() {
        return None;
    }
    let mut hashes = Hashes::default();
    hashes.value(&serde_json::from_slice(&plan.stdout).unwrap());
    let render = motefield(
        &directory,
        &[
            "render",
            "setup.toml",
            "--seed",
            "5",
            "--threads",
            "1",
            "--out",
            "pairs",
        ],
    );
    assert!(
        render.status.success(),
        "{k}: {}",
        String::from_utf8_lossy(&render.stderr)
    );
    hashes.directory(&directory.join("pairs"));
    let sweep = motefield(
        &directory,
        &[
            "sweep",
            "setup.toml",
            "--vary",
            vary,
            "--most-pairs",
            "2",
            "--threads",
            "1",
            "--out",
            "study",
        ],
    );
    if !sweep.status.success() {
        return None;
    }
    hashes.directory(&directory.join("study"));
    let _ = std::fs::remove_dir_all(&directory);
    Some(hashes.words())
}

/// The commands of the README, with fewer pairs where nothing else changes.
const COMMANDS: [(&str, &[&str]); 11] = [
    ("plan", &["plan", "--out", "out"]),
    (
        "plan displacement",
        &[
            "plan",
            "rig.toml",
            "--displacement",
            "8",
            "--set",
            "lens.aperture=f/2.8",
            "--out",
            "out",
        ],
    ),
    ("decide", &["decide", "--out", "out"]),
    (
        "decide without an answer",
        &["decide", "--limit", "0.02", "--most-pairs", "6", "--out", "out"],
    ),
    (
        "decide free",
        &[
            "decide",
            "--free",
            "light.pulse_length,timing.separation",
            "--most-pairs",
            "4",
            "--out",
            "out",
        ],
    ),
    (
        "decide for",
        &[
            "decide",
            "--for",
            "processing.window",
            "--for",
            "processing.weighting",
            "--most-pairs",
            "4",
            "--out",
            "out",
        ],
    ),
    (
        "sweep",
        &[
            "sweep",
            "rig.toml",
            "--vary",
            "light.pulse_length=10us..1ms:log:9",
            "--most-pairs",
            "5",
            "--bound",
            "--uncertainty",
            "--out",
            "out",
        ],
    ),
    (
        "response",
        &[
            "sweep",
            "wave.toml",
            "--vary",
            "flow.wavelength=64px..512px:log:4",
            "--most-pairs",
            "4",
            "--out",
            "out",
        ],
    ),
    (
        "render",
        &[
            "render",
            "rig.toml",
            "--pairs",
            "2",
            "--seed",
            "7",
            "--particles",
            "--expected",
            "--mask",
            "--bound",
            "--truth-at",
            "40,50.5",
            "--out",
            "out",
        ],
    ),
    (
        "series",
        &[
            "render", "rig.toml", "--series", "3", "--format", "png", "--out", "out",
        ],
    ),
    (
        "verify",
        &[
            "verify",
            "--case",
            "mie",
            "--case",
            "noise-error",
            "--case",
            "streak-bias",
            "--case",
            "statistics",
            "--out",
            "out",
        ],
    ),
];

const WAVE: &str = r#"
[image]
size = [256, 256]
particle_diameter = "2.2 px"
seeding_density = "0.04 ppp"
electrons = "4000 e"
[flow]
kind = "sinusoidal-shear"
amplitude = "2 px"
wavelength = "128 px"
"#;

fn of_command(root: &Path, k: usize) -> String {
    let (name, arguments) = COMMANDS[k];
    let directory = root.join(format!("command-{k}"));
    std::fs::create_dir_all(&directory).unwrap();
    std::fs::copy("cases/flume.toml", directory.join("rig.toml")).unwrap();
    std::fs::write(directory.join("wave.toml"), WAVE).unwrap();
    let done = motefield(&directory, arguments);
    assert!(
        matches!(done.status.code(), Some(0 | 1)),
        "{name}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
    let mut hashes = Hashes::default();
    hashes.directory(&directory.join("out"));
    if name == "render" {
        // The rest of the way: vectors of the pair, and their score.
        let [a, b] = ["out/pair-00000-a.tif", "out/pair-00000-b.tif"];
        let done = motefield(
            &directory,
            &[
                "correlate",
                a,
                b,
                "--setup",
                "rig.toml",
                "--uncertainty",
                "correlation-statistics",
                "--json",
            ],
        );
        hashes.value(&serde_json::from_slice(&done.stdout).unwrap());
        hashes.table(&std::fs::read_to_string(directory.join("vectors.csv")).unwrap());
        let done = motefield(
            &directory,
            &[
                "score",
                "vectors.csv",
                "--truth",
                "out",
                "--setup",
                "rig.toml",
                "--json",
            ],
        );
        hashes.value(&serde_json::from_slice(&done.stdout).unwrap());
    }
    hashes.words()
}

/// Runs `of` for every one of `all` on as many threads as there are, in any order.
fn each<T: Send>(all: usize, of: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let (next, found) = (AtomicUsize::new(0), Mutex::new(BTreeMap::new()));
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let k = next.fetch_add(1, Ordering::Relaxed);
                    if k >= all {
                        return;
                    }
                    let one = of(k);
                    found.lock().unwrap().insert(k, one);
                }
            });
        }
    });
    found.into_inner().unwrap().into_values().collect()
}

/// A tenth of them, for a run of all tests in a few minutes.
#[test]
fn a_tenth_is_what_it_was() {
    hold(&empty("frozen_tenth"), |row| row % 10 == 0);
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn pictures_tables_and_json_are_what_they_were() {
    let root = empty("frozen");
    match std::env::var_os("MOTEFIELD_RECORD") {
        Some(_) => record(&root),
        None => hold(&root, |_| true),
    }
}

/// Records all anew.
fn record(root: &Path) {
    let mut lines = vec!["what,pictures,tables,json".to_owned()];
    let candidates = each(2 * SETUPS, |k| of_setup(root, k));
    let good = candidates
        .iter()
        .enumerate()
        .filter_map(|(k, found)| Some((k, found.as_ref()?)));
    lines.extend(good.take(SETUPS).map(|(k, hashes)| format!("{k},{hashes}")));
    assert_eq!(lines.len(), 1 + SETUPS, "too few setups can be planned");
    let commands = each(COMMANDS.len(), |k| of_command(root, k));
    lines.extend(
        commands
            .iter()
            .enumerate()
            .map(|(k, h)| format!("{},{h}", COMMANDS[k].0)),
    );
    std::fs::write(RECORD, lines.join("\n") + "\n").unwrap();
    panic!("{RECORD} is recorded anew: look at what changed, then run without MOTEFIELD_RECORD");
}

/// Holds these rows of the record.
fn hold(root: &Path, which: impl Fn(usize) -> bool) {
    let record = std::fs::read_to_string(RECORD).expect("the recorded hashes");
    let rows: Vec<(&str, &str)> = record
        .lines()
        .skip(1)
        .map(|l| l.split_once(',').unwrap())
        .collect();
    assert_eq!(rows.len(), SETUPS + COMMANDS.len());
    let rows: Vec<(&str, &str)> = (0..rows.len()).filter(|n| which(*n)).map(|n| rows[n]).collect();
    let found = each(rows.len(), |row| match rows[row].0.parse() {
        Ok(k) => of_setup(root, k).unwrap_or_else(|| "refused".to_owned()),
        Err(_) => of_command(root, COMMANDS.iter().position(|c| c.0 == rows[row].0).unwrap()),
    });
    // The Fourier transforms round differently on each instruction set: tables are compared on the
    // one they were recorded on, pictures everywhere.
    #[cfg(target_arch = "x86_64")]
    let same_arithmetic = is_x86_feature_detected!("avx") && is_x86_feature_detected!("fma");
    #[cfg(not(target_arch = "x86_64"))]
    let same_arithmetic = false;
    let moved: Vec<String> = rows
        .iter()
        .zip(&found)
        .filter(|((_, held), found)| match same_arithmetic {
            true => held != found,
            false => held.split(',').next() != found.split(',').next(),
        })
        .map(|((what, held), found)| format!("{what}: held {held}, found {found}"))
        .collect();
    assert!(
        moved.is_empty(),
        "pictures,tables,json moved:\n{}",
        moved.join("\n")
    );
}
