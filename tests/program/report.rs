//! The report of a study.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use motefield_report::answer::AS_GOOD;

use super::{empty, motefield};

/// A value of the setup that would be markup, were it not escaped.
const NAME: &str = "rig-<script>&.toml";

const RIG: &str = r#"# <script>alert("not run")</script>
[image]
size = [128, 128]
particle_diameter = "2.2 px"
electrons = "900 e"
[tracer]
particles_per_window = 30
[flow]
kind = "uniform"
displacement = ["2.3 px", "1.6 px"]
[processing]
passes = [{ window = 32, overlap = 0.5 }]
"#;

/// One page that holds the answer, where it comes from and no script; `report` makes the same
/// again.
fn check(arguments: &[&str], name: &str, has: &[&str]) -> PathBuf {
    let directory = empty(name);
    std::fs::write(directory.join(NAME), RIG).unwrap();
    let done = motefield(&directory, arguments);
    assert!(
        done.status.code().unwrap() < 2,
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let read = |file: &str| std::fs::read_to_string(directory.join(file)).unwrap();
    let page = read("d/report.html");
    for part in has {
        assert!(page.contains(part), "{part}");
    }
    assert!(!page.contains("<script"));
    assert!(page.contains("not a safety assessment; local rules and licensed practice decide"));
    assert!(page.contains("How to cite") && page.contains("To compute it again"));
    let again = motefield(&directory, &["report", "d", "--out", "again.html"]);
    assert!(
        again.status.success(),
        "{}",
        String::from_utf8_lossy(&again.stderr)
    );
    assert_eq!(read("again.html"), page);
    let refused = motefield(&directory, &["report", "d"]);
    assert_eq!(refused.status.code(), Some(2));
    directory
}

#[test]
fn a_sweep_is_reported() {
    let arguments = [
        "sweep",
        NAME,
        "--vary",
        "image.electrons=100e,900e",
        "--most-pairs",
        "3",
        "--seed",
        "4",
        "--out",
        "d",
    ];
    let has = [
        "Of 2 values of electrons the total error is smallest at",
        "&lt;script&gt;alert(&quot;not run&quot;)",
        "motefield sweep &#39;rig-",
        "Total error over electrons",
    ];
    let has = has.map(|part| part.replace("&#39;", "'"));
    check(&arguments, "report_sweep", &has.each_ref().map(String::as_str));
}

/// The embedded rig, quickly: answer with its interval, curve, pictures, timing, light, setup.
#[test]
fn a_decision_is_reported() {
    let size = ["--set", "camera.size[0]=256", "--set", "camera.size[1]=256"];
    let arguments: Vec<&str> = ["decide", "--most-pairs", "3", "--no-worth", "--out", "d"]
        .into_iter()
        .chain(size)
        .collect();
    let has = [
        // Found in the answer, the interval joins its sentence.
        &format!("({}", AS_GOOD.trim_end()),
        "What to do first",
        "What it assumes",
        "curve.svg",
        "specimens.svg",
        "data:image/png;base64,",
        "Timing of a pair",
        "From the lamp to the grey level",
        "motefield decide --set 'camera.size[0]=256'",
        "[camera]",
    ];
    check(&arguments, "report_decision", &has);
}

/// A choice of windows, in pictures that stay the same: every combination is drawn and named, and
/// the legend tells of what is to be seen.
#[test]
fn a_choice_is_reported() {
    let arguments = [
        "decide",
        NAME,
        "--for",
        "processing.window=16,32",
        "--for",
        "processing.weighting",
        "--most-pairs",
        "2",
        "--out",
        "d",
    ];
    let has = [
        "Error of the velocity by window and weighting",
        ">16, top-hat</text>",
        ">32, blackman</text>",
        ">best</text>",
        "choice.svg",
        "specimens.svg",
        "vectors.svg",
    ];
    let directory = check(&arguments, "report_choice", &has);
    let read = |file: &str| std::fs::read_to_string(directory.join("d").join(file)).unwrap();
    let drawn = read("choice.svg");
    assert_eq!(
        drawn.contains("loses too many vectors"),
        drawn.contains("fill=\"#bbb\"")
    );
    assert!(
        read("answer.txt").contains("whatever window is tried"),
        "{}",
        read("answer.txt")
    );
}

/// `report d --pdf` where programs are looked for in `places`.
fn pdf(directory: &Path, places: &str) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_motefield"));
    let command = command.args(["report", "d", "--pdf"]).current_dir(directory);
    command.env("PATH", places).output().unwrap()
}

/// Without the typesetter, or where it fails, the message says what to do, and nothing is written.
#[cfg(unix)]
#[test]
fn a_pdf_needs_its_typesetter() {
    use std::os::unix::fs::PermissionsExt;

    let arguments = [
        "sweep",
        NAME,
        "--vary",
        "image.electrons=900e",
        "--most-pairs",
        "2",
        "--out",
        "d",
    ];
    let directory = check(&arguments, "report_pdf", &["To compute it again"]);
    let said = |done: &Output| String::from_utf8_lossy(&done.stderr).into_owned();

    let none = pdf(&directory, "nowhere");
    assert_eq!(none.status.code(), Some(2), "{}", said(&none));
    assert!(said(&none).contains("typst is not installed"), "{}", said(&none));

    let command = directory.join("typst");
    std::fs::write(&command, "#!/bin/sh\necho no such function >&2\nexit 1\n").unwrap();
    std::fs::set_permissions(&command, std::fs::Permissions::from_mode(0o755)).unwrap();
    let failing = pdf(&directory, &directory.display().to_string());
    assert_eq!(failing.status.code(), Some(3), "{}", said(&failing));
    assert!(said(&failing).contains("no such function"), "{}", said(&failing));
    assert!(said(&failing).contains("prints to A4"), "{}", said(&failing));
    assert!(!directory.join("d/report.pdf").exists());
}
