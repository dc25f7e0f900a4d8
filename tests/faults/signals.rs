//! Told to end (SIGHUP, Ctrl-C, SIGTERM): every command ends with 128 and the number of the signal,
//! leaves nothing half-written, and keeps what was finished.

use std::path::Path;
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use super::studies::{STUDIES, Study};
use super::{Draw, Tally, contents, has_parts, message, program};

/// Names and exit codes (signal(7): 128 and the number of the signal, as shells report it).
const SIGNALS: [(&str, i32); 3] = [("HUP", 129), ("INT", 130), ("TERM", 143)];

/// Sends a signal; a process that has ended meanwhile does not mind.
fn send(signal: &str, process: u32) {
    let sent = Command::new("kill")
        .args(["-s", signal, &process.to_string()])
        .output();
    sent.expect("kill(1) starts");
}

/// Sends signals to study `k` so many times; also the longest wait for its end.
pub fn tries(k: usize, count: usize) -> (Tally, Duration) {
    let study = Study::new("signal", k);
    let mut draw = Draw(0x5167 + k as u64);
    let (mut tally, mut longest) = (Tally::default(), Duration::ZERO);
    for number in 0..count {
        study.clear();
        let (signal, code) = SIGNALS[number % SIGNALS.len()];
        let mut child = program(&study.directory, &study.cut(&[])).spawn().unwrap();
        // Before the handlers stand a signal ends the program as any other.
        while !study.path().exists() && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(2));
        }
        std::thread::sleep(study.moment(&mut draw));
        send(signal, child.id());
        let sent = Instant::now();
        let done = child.wait_with_output().unwrap();
        longest = longest.max(sent.elapsed());
        let in_time = done.status.success();
        let ended = done.status.code() == Some(code);
        if !(in_time || ended) {
            eprintln!("{} {signal}: {:?} {}", study.name, done.status, message(&done));
        }
        let tidy = !has_parts(&study.path());
        tally.add((in_time || ended) && tidy && study.ends_in_the_same_bytes());
    }
    (tally, longest)
}

#[test]
fn signals_end_every_study_in_order() {
    for (k, (name, _)) in STUDIES.iter().enumerate() {
        assert_eq!(tries(k, 3).0.lost(), 0, "{name}");
    }
}

/// A picture that takes far longer than the program may take to end, and a command that keeps
/// nothing: ended from outside their work.
#[test]
fn work_that_takes_long_is_not_waited_for() {
    let directory = super::empty("long");
    let scene = "[image]\nsize = [4000, 4000]\nparticle_diameter = \"3 px\"\nseeding_density = \"0.3 ppp\"\nelectrons = \"900 e\"\n[flow]\nkind = \"uniform\"\ndisplacement = [\"1 px\", \"0 px\"]\n";
    std::fs::write(directory.join("scene.toml"), scene).unwrap();
    let arguments = ["render", "scene.toml", "--out", "pairs", "--threads", "1"];
    for (signal, code) in SIGNALS {
        let child = program(&directory, &arguments).spawn().unwrap();
        while !directory.join("pairs/manifest.json").exists() {
            std::thread::sleep(Duration::from_millis(5));
        }
        send(signal, child.id());
        let done = child.wait_with_output().unwrap();
        assert_eq!(
            done.status.code(),
            Some(code),
            "{:?} {}",
            done.status,
            message(&done)
        );
        assert!(message(&done).contains("--resume"), "{}", message(&done));
        let left = contents(&directory.join("pairs"));
        let names: Vec<_> = left.keys().map(|name| name.to_str().unwrap()).collect();
        assert_eq!(names, ["journal", "manifest.json"]);
        std::fs::remove_dir_all(directory.join("pairs")).unwrap();
    }
}

/// Interrupts a decision of this kind once something is measured. On a machine so busy that the
/// program had no time to write what it had, once more.
fn interrupted(directory: &Path, kind: &[&str]) -> Output {
    let fixed = ["decide", "--set", "camera.size=[128, 128]", "--most-pairs", "500"];
    let more = ["--precision", "0.001", "--threads", "1", "--out", "cut"];
    loop {
        let _ = std::fs::remove_dir_all(directory.join("cut"));
        let child = program(directory, &[&fixed, kind, &more].concat())
            .spawn()
            .unwrap();
        // Each measurement takes above 1000 bytes in the journal.
        let journal = directory.join("cut/journal");
        while std::fs::metadata(&journal).map_or(0, |m| m.len()) < 20_000 {
            std::thread::sleep(Duration::from_millis(5));
        }
        send("TERM", child.id());
        let done = child.wait_with_output().unwrap();
        if directory.join("cut/decision.json").exists() {
            return done;
        }
    }
}

/// A decision that was interrupted recommends nothing: it says so in words, as JSON and in its
/// picture, and how to go on.
#[test]
fn an_interrupted_decision_recommends_nothing() {
    let directory = super::empty("undecided");
    let kinds: [(&[&str], &str); 3] = [
        (&[], "curve.svg"),
        (&["--free", "light.pulse_length,timing.separation"], "map.svg"),
        (&["--for", "processing.window=16,24,32"], "decision.json"),
    ];
    for (kind, picture) in kinds {
        let done = interrupted(&directory, kind);
        assert_eq!(done.status.code(), Some(143), "{}", message(&done));
        let words = String::from_utf8_lossy(&done.stdout).into_owned();
        let json = std::fs::read_to_string(directory.join("cut/decision.json")).unwrap();
        let picture = std::fs::read_to_string(directory.join("cut").join(picture)).unwrap();
        for text in [&words, &json, &picture] {
            assert!(text.contains("Unfinished"), "{kind:?}: {text}");
            assert!(text.contains("--out cut --resume"), "{kind:?}: {text}");
            assert!(!text.contains("Use "), "{kind:?}: {text}");
        }
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert!(json["best"].is_null() && json["window"].is_null(), "{json:#}");
        assert_eq!(json["stopped"], true);
        assert!(!picture.contains("best:"), "{picture}");
    }
}

/// `nohup` lets a study outlive its terminal.
#[test]
#[cfg(target_os = "linux")]
fn an_ignored_hang_up_stays_ignored() {
    let study = Study::new("nohup", 0);
    let mut command = Command::new("sh");
    let script = "trap '' HUP; exec \"$0\" \"$@\"";
    let child = command
        .args(["-c", script, env!("CARGO_BIN_EXE_motefield")])
        .args(study.cut(&[]))
        .current_dir(&study.directory)
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    while !study.path().join("journal").exists() {
        std::thread::sleep(Duration::from_millis(5));
    }
    send("HUP", child.id());
    assert!(child.wait_with_output().unwrap().status.success());
    assert!(study.ends_in_the_same_bytes());
}
