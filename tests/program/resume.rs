//! A study that was killed continues where it was and ends in the same bytes.

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::{empty, motefield};

const SCENE: &str = r#"
[image]
size = [192, 192]
particle_diameter = "2.2 px"
seeding_density = "0.03 ppp"
electrons = "900 e"
background = "10 e"
[flow]
kind = "uniform"
displacement = ["4.3 px", "1.6 px"]
"#;

const SWEEP: [&str; 9] = [
    "sweep",
    "scene.toml",
    "--vary",
    "image.electrons=100e..900e:log:4",
    "--most-pairs",
    "12",
    "--precision",
    "0.001",
    "--bound",
];

#[test]
fn killed_study_continues_and_ends_in_the_same_bytes() {
    let directory = empty("resume");
    std::fs::write(directory.join("scene.toml"), SCENE).unwrap();
    let run = |more: &[&str]| {
        let done = motefield(&directory, &[&SWEEP[..], more].concat());
        (
            done.status.code(),
            String::from_utf8_lossy(&done.stderr).into_owned(),
        )
    };
    assert_eq!(run(&["--out", "whole"]).0, Some(0));
    assert!(!directory.join("whole/journal").exists());

    // Killed once some measurements are written down: that is when the journal holds more than two
    // (each above 3000 bytes).
    let mut child = Command::new(env!("CARGO_BIN_EXE_motefield"))
        .args(SWEEP)
        .args(["--out", "cut", "--threads", "1"])
        .current_dir(&directory)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let journal = directory.join("cut/journal");
    let begun = Instant::now();
    while std::fs::metadata(&journal).map_or(0, |m| m.len()) < 30_000 {
        assert!(begun.elapsed() < Duration::from_secs(60), "no journal");
        std::thread::sleep(Duration::from_millis(5));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(!directory.join("cut/table.csv").exists(), "it was over already");

    // Not overwritten unasked, not taken for another study's.
    let (code, message) = run(&["--out", "cut"]);
    assert!(
        code == Some(2) && message.contains("not finished") && message.contains("--resume"),
        "{message}"
    );
    let (code, message) = run(&["--out", "cut", "--resume", "--seed", "2"]);
    assert!(
        code == Some(2) && message.contains("seed: 1 then, 2 now") && message.contains("--fresh"),
        "{message}"
    );

    // What was half-written at the end does no harm.
    let mut file = std::fs::OpenOptions::new().append(true).open(&journal).unwrap();
    file.write_all(&[200, 1, 0, 0, 0, 0, 0, 0, 7, 7, 7]).unwrap();
    drop(file);
    let (code, message) = run(&["--out", "cut", "--resume"]);
    assert_eq!(code, Some(0), "{message}");
    let kept: usize = message
        .split_whitespace()
        .find_map(|word| word.parse().ok())
        .expect("how many measurements were kept");
    assert!((1..48).contains(&kept), "{message}");
    for file in ["table.csv", "study.json"] {
        let [cut, whole] =
            ["cut", "whole"].map(|name| std::fs::read(directory.join(name).join(file)).unwrap());
        assert!(cut == whole, "{file} differs");
    }
    assert!(!journal.exists());
    let (code, message) = run(&["--out", "cut", "--resume"]);
    assert!(
        code == Some(2) && message.contains("no study to continue"),
        "{message}"
    );
    let (code, message) = run(&["--resume"]);
    assert!(code == Some(2) && message.contains("--out"), "{message}");
}
