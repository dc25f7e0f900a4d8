//! One small study of every command that can be continued.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::{Draw, contents, empty, message, run, runs};

const SCENE: &str = r#"
[image]
size = [128, 128]
particle_diameter = "2.2 px"
seeding_density = "0.03 ppp"
electrons = "900 e"
background = "10 e"
[flow]
kind = "uniform"
displacement = ["4.3 px", "1.6 px"]
"#;

const CASE: &str = r#"
title = "Random error of a small picture"
topic = "faults"
[source]
citation = "none: a study to be disturbed"
kind = "derived"
differs = "Nothing."
[setup.image]
size = [96, 96]
particle_diameter = "2.5 px"
seeding_density = "0.03 ppp"
electrons = "900 e"
[setup.flow]
kind = "uniform"
displacement = ["2.3 px", "0 px"]
[pairs]
quick = 3
full = 12
[[expect]]
name = "random error"
quantity = "random_x_px"
at_most = 5
reason = "none"
"#;

/// What each is called, and its arguments without `--out`.
pub const STUDIES: [(&str, &[&str]); 4] = [
    (
        "sweep",
        &[
            "sweep",
            "scene.toml",
            "--vary",
            "image.electrons=100e..900e:log:3",
            "--most-pairs",
            "16",
            "--precision",
            "0.001",
        ],
    ),
    (
        "decide",
        &["decide", "--set", "camera.size=[128, 96]", "--most-pairs", "3"],
    ),
    (
        "render",
        &[
            "render",
            "scene.toml",
            "--pairs",
            "30",
            "--particles",
            "--expected",
        ],
    ),
    ("verify", &["verify", "--from", "cases", "--full"]),
];

/// A study that ran through, and what it takes to repeat it.
pub struct Study {
    pub name: &'static str,
    pub arguments: &'static [&'static str],
    pub directory: PathBuf,
    /// The files of the undisturbed run.
    pub whole: BTreeMap<PathBuf, Vec<u8>>,
    /// How long it took on one thread.
    pub took: Duration,
}

impl Study {
    /// Study number `k`, run through once in a directory of its own.
    pub fn new(purpose: &str, k: usize) -> Study {
        let (name, arguments) = STUDIES[k];
        let directory = empty(&format!("{purpose}-{name}"));
        std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
        std::fs::create_dir(directory.join("cases")).unwrap();
        for case in ["one", "three", "two"] {
            std::fs::write(directory.join(format!("cases/{case}.toml")), CASE).unwrap();
        }
        let begun = Instant::now();
        runs(
            &directory,
            &[arguments, &["--out", "whole", "--threads", "1"]].concat(),
        );
        let whole = contents(&directory.join("whole"));
        assert!(!whole.contains_key(Path::new("journal")), "{name}");
        Study {
            name,
            arguments,
            directory,
            whole,
            took: begun.elapsed(),
        }
    }

    /// The arguments of the run that is disturbed.
    pub fn cut<'a>(&self, more: &[&'a str]) -> Vec<&'a str> {
        [self.arguments, &["--out", "cut", "--threads", "1"], more].concat()
    }

    pub fn path(&self) -> PathBuf {
        self.directory.join("cut")
    }

    /// Some time from the study's beginning to a little after its end.
    pub fn moment(&self, draw: &mut Draw) -> Duration {
        self.took
            .mul_f64(1.1 * (draw.next() >> 11) as f64 / (1u64 << 53) as f64)
    }

    /// Whether a disturbed study can be taken up: continued if it was begun, else begun.
    pub fn resume(&self) -> &'static [&'static str] {
        match self.path().join("journal").exists() {
            true => &["--resume"],
            false => &[],
        }
    }

    /// Whether the disturbed study is finished.
    fn finished(&self) -> bool {
        let manifest = std::fs::read(self.path().join("manifest.json")).unwrap_or_default();
        let manifest: Option<serde_json::Value> = serde_json::from_slice(&manifest).ok();
        manifest.is_some_and(|manifest| manifest["finished"] == true) && !self.path().join("journal").exists()
    }

    /// Continues the disturbed study to its end: whether it ends in the bytes of the whole one.
    pub fn ends_in_the_same_bytes(&self) -> bool {
        if !self.finished() {
            let done = run(&self.directory, &self.cut(self.resume()));
            if !done.status.success() {
                eprintln!("{}: {}", self.name, message(&done));
                return false;
            }
        }
        let found = contents(&self.path());
        for (name, bytes) in &self.whole {
            if found.get(name) != Some(bytes) {
                eprintln!("{}: {} is missing or differs", self.name, name.display());
            }
        }
        for name in found.keys().filter(|name| !self.whole.contains_key(*name)) {
            eprintln!("{}: {} is left over", self.name, name.display());
        }
        found == self.whole
    }

    pub fn clear(&self) {
        let _ = std::fs::remove_dir_all(self.path());
    }
}
