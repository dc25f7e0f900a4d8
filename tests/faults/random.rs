//! Random valid setups end in an answer or in a refusal that names a key: no panic, no table with
//! numbers that are none.

use super::random_setups::prepare;
use super::{Tally, empty, message, run};

/// Whether a run was refused with a key of a setup named, `section.key`.
fn names_a_key(done: &std::process::Output) -> bool {
    let text = message(done);
    let sections = [
        "camera.",
        "flow.",
        "fluid.",
        "image.",
        "lens.",
        "light.",
        "processing",
        "reflections.",
        "sheet.",
        "timing.",
        "tracer.",
    ];
    done.status.code() == Some(2) && sections.iter().any(|section| text.contains(section))
}

/// Plans random setups `from` to `to`.
pub fn plans(from: usize, to: usize) -> Tally {
    let root = empty(&format!("plans-{from}"));
    let mut tally = Tally::default();
    for k in from..to {
        let directory = root.join(format!("{k}"));
        prepare(&directory, k);
        let done = run(&directory, &["plan", "setup.toml", "--json"]);
        let answered =
            done.status.success() && serde_json::from_slice::<serde_json::Value>(&done.stdout).is_ok();
        let good = answered || names_a_key(&done);
        if !good {
            eprintln!("setup {k}: {:?} {}", done.status, message(&done));
        }
        tally.add(good);
        let _ = std::fs::remove_dir_all(directory);
    }
    tally
}

/// Figures that the flow may leave unknown: the degree of peak locking where all displacements have
/// much the same fraction of a pixel, the amplitude where they are all the same, or none.
const MAY_BE_UNKNOWN: [&str; 2] = ["peak_locking", "amplitude"];

/// Remarks of a row that has no answer.
const NO_ANSWER: [&str; 2] = ["no-vector", "no-truth"];

/// Whether a sweep's table has a row for both values, with finite errors and no cell that is no
/// number.
fn is_whole(table: &str) -> bool {
    let mut lines = table.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = lines.next().unwrap_or_default();
    let rows: Vec<Vec<&str>> = lines.collect();
    let cell = |name: &str, cell: &str| {
        let number = cell.parse::<f64>().unwrap_or(f64::NAN);
        let end = name.ends_with("_lo") || name.ends_with("_hi");
        let unknown = MAY_BE_UNKNOWN.iter().any(|start| name.starts_with(start));
        // An interval may be open where two pairs tell nothing of it.
        let told = cell.starts_with("cannot tell: ");
        number.is_finite() || end && !number.is_nan() || unknown || told || name == "caveats"
    };
    let one = |row: &Vec<&str>| {
        let remark = |id: &&str| row.last().is_some_and(|caveats| caveats.contains(*id));
        let lost = all_outliers(&head, row, "outliers") || NO_ANSWER.iter().any(remark);
        let fast_lost = all_outliers(&head, row, "fast_outliers");
        let cells = head.iter().zip(row).skip(2);
        let bad: Vec<_> = cells
            .filter(|(name, value)| !cell(name, value))
            .filter(|(name, _)| !(lost || fast_lost && name.starts_with("fast_")))
            .collect();
        if !bad.is_empty() {
            eprintln!("{bad:?}");
        }
        row.len() == head.len() && bad.is_empty()
    };
    rows.len() == 2 && rows.iter().all(one)
}

/// Whether all vectors are outliers, of the field or of its fastest tenth, as the column `name` has
/// it: then there is no error to tell.
fn all_outliers(head: &[&str], row: &[&str], name: &str) -> bool {
    let at = head.iter().position(|column| *column == name);
    at.is_some_and(|at| row[at] == "1")
}

/// Sweeps random setups `from` to `to`, two pairs per point.
pub fn sweeps(from: usize, to: usize) -> Tally {
    let root = empty(&format!("sweeps-{from}"));
    let mut tally = Tally::default();
    for k in from..to {
        let directory = root.join(format!("{k}"));
        let vary = prepare(&directory, k);
        let arguments = [
            "sweep",
            "setup.toml",
            "--vary",
            vary,
            "--most-pairs",
            "2",
            "--out",
            "study",
        ];
        let done = run(&directory, &arguments);
        let table = std::fs::read_to_string(directory.join("study/table.csv")).unwrap_or_default();
        let good = done.status.success() && is_whole(&table) || names_a_key(&done);
        if !good {
            eprintln!("setup {k}: {:?} {}", done.status, message(&done));
        }
        tally.add(good);
        let _ = std::fs::remove_dir_all(directory);
    }
    tally
}

// Beyond those whose values are held by hashes elsewhere.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn some_setups_are_planned() {
    assert_eq!(plans(1000, 1100).lost(), 0);
}

#[test]
fn some_setups_are_swept() {
    assert_eq!(sweeps(1000, 1012).lost(), 0);
}

#[test]
#[ignore = "minutes"]
fn many_setups_are_planned() {
    assert_eq!(plans(1000, 3000).lost(), 0);
}

#[test]
#[ignore = "minutes"]
fn many_setups_are_swept() {
    assert_eq!(sweeps(1000, 1300).lost(), 0);
}
