//! The whole program, from setup text to answer.
//!
//! Physics (`blur`, `diameter`, `decision`, `reference`) is held against reference figures, theory
//! and facts of the trade, each named beside its check; the rest holds what scripts rely on: names,
//! bytes, exit codes, messages.

mod assumed;
mod bad_input;
mod blur;
mod book;
mod bound;
mod caution;
mod contract;
mod decision;
mod diameter;
mod enough;
mod ensemble;
mod error_parts;
mod faults;
mod frozen;
mod licences;
mod no_answer;
mod plan;
mod plan_images;
mod preparation;
mod question;
mod random_setups;
mod reference;
mod reliability;
mod report;
mod response;
mod resume;
mod same_bytes;
mod shell;
mod sources;
mod start;
mod verify_command;
mod window_bias;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::AtomicBool;

use motefield_rig::plan::plan;
use motefield_rig::setup::{Setup, Value};
use motefield_study::run::{Effort, Experiment, Point, Silent, run};

/// The conditions of the classic Monte Carlo studies: no noise, top-hat sheet, one plain pass with
/// a top-hat window of 32 px.
const PLAIN: &str = r#"
[image]
size = [512, 512]
particle_diameter = "2 px"
seeding_density = "0.03 ppp"
electrons = "1000 e"
[sheet]
profile = "top-hat"
[camera]
ideal = true
[flow]
kind = "uniform"
displacement = ["2.3 px", "1.6 px"]
[processing]
passes = [{ window = 32, overlap = 0 }]
weighting = "top-hat"
deform = false
"#;

/// A bright uniform flow of 4 px/ms whose first window is 64 px, with other lines of `[light]`,
/// `[camera]` and `[image]`. Invented.
fn bright_rig(light: &str, camera: &str, image: &str) -> String {
    format!(
        r#"
[light]
{light}
[sheet]
thickness = "1 mm"
[lens]
magnification = 0.1
[camera]
size = [160, 160]
pixel = "5 um"
dark_noise = "4 e"
full_well = "10000 e"
bits = 12
{camera}
[image]
particle_diameter = "2.5 px"
seeding_density = "0.04 ppp"
background = "10 e"
{image}
[flow]
kind = "uniform"
velocity = ["0.2 m/s", "0 m/s"]
[timing]
separation = "1 ms"
[processing]
passes = [{{ window = 64, overlap = 0.5 }}, {{ window = 32, overlap = 0.5 }}]
"#
    )
}

/// Runs the program in `directory`.
fn motefield(directory: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_motefield"))
        .args(arguments)
        .current_dir(directory)
        .output()
        .expect("the program starts")
}

/// An empty directory for one test.
fn empty(name: &str) -> PathBuf {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&directory);
    std::fs::create_dir_all(&directory).expect("a directory for the test");
    directory
}

/// A sweep's table: each row by the names of its columns.
fn table(directory: &Path, arguments: &[&str]) -> Vec<BTreeMap<String, String>> {
    let done = motefield(
        directory,
        &[&["sweep"], arguments, &["--out", "study", "--force"]].concat(),
    );
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let text = std::fs::read_to_string(directory.join("study/table.csv")).expect("the table");
    let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned));
    let head: Vec<String> = lines.next().expect("a heading").collect();
    lines.map(|row| head.iter().cloned().zip(row).collect()).collect()
}

/// A figure of a row and the ends of its interval.
fn figure(row: &BTreeMap<String, String>, name: &str) -> [f64; 3] {
    ["", "_lo", "_hi"].map(|end| row[&format!("{name}{end}")].parse().expect("a number"))
}

/// Runs one point per list of changes to a setup.
fn points(text: &str, changes: &[Vec<(&str, String)>], effort: &Effort) -> Vec<Point> {
    let setup = Setup::from_text::<&str>("test", text, &[]).expect("a setup");
    let experiments: Vec<Experiment> = changes
        .iter()
        .map(|change| {
            let changes: Vec<(&str, Value)> = change
                .iter()
                .map(|(key, value)| (*key, Value::parse(value)))
                .collect();
            let setup = setup.with_all(&changes).expect("a setup");
            let plan = plan(&setup).expect("a setup that can be planned");
            Experiment {
                scene: plan.scene,
                processing: plan.processing,
            }
        })
        .collect();
    run(&experiments, effort, &Silent, &AtomicBool::new(false))
        .into_iter()
        .map(|p| p.expect("a point that ran"))
        .collect()
}
