//! A disk that is full, a directory that may not be written, output that nobody takes.

use std::process::{Command, Output, Stdio};

use super::studies::{STUDIES, Study};
use super::{Draw, Tally, has_parts, message, program, run};

/// Runs the study where no file may grow beyond `blocks` of 512 bytes (POSIX, `ulimit -f`): writes
/// fail in the middle as on a full disk.
fn with_little_room(study: &Study, blocks: u64) -> Output {
    let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
    Command::new("sh")
        .args(["-c", &script, env!("CARGO_BIN_EXE_motefield")])
        .args(study.cut(study.resume()))
        .current_dir(&study.directory)
        .output()
        .expect("sh starts")
}

/// Lets study `k` run out of room so many times, then gives it room.
pub fn tries(k: usize, count: usize) -> Tally {
    let study = Study::new("disk", k);
    // In blocks, up to a little more than the largest file needs.
    let largest = study.whole.values().map(Vec::len).max().unwrap_or(0) as u64 / 512;
    let mut draw = Draw(0xd15c + k as u64);
    let mut tally = Tally::default();
    for _ in 0..count {
        study.clear();
        let done = with_little_room(&study, draw.next() % (largest + largest / 8 + 2));
        // Either it says that it failed, or all there is was written.
        let honest = match done.status.code() {
            Some(3) => !message(&done).contains("panicked"),
            Some(0) => true,
            _ => false,
        };
        if !honest {
            eprintln!("{}: {:?} {}", study.name, done.status, message(&done));
        }
        let tidy = !has_parts(&study.path());
        tally.add(honest && tidy && study.ends_in_the_same_bytes());
    }
    tally
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn a_full_disk_is_told_and_overcome() {
    for (k, (name, _)) in STUDIES.iter().enumerate() {
        assert_eq!(tries(k, 3).lost(), 0, "{name}");
    }
}

/// What cannot be printed is a failure; messages that cannot be are not; a reader that went away
/// had enough.
#[test]
#[cfg(target_os = "linux")]
fn output_that_nobody_takes() {
    let full = || Stdio::from(std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap());
    let directory = super::empty("output");
    let commands: [&[&str]; 6] = [
        &["--help"],
        &["plan", "--keys"],
        &["plan"],
        &["plan", "--json"],
        &["verify", "--list"],
        &["verify", "--case", "tracer-stokes"],
    ];
    for arguments in commands {
        let whole = run(&directory, arguments);
        assert!(whole.status.success(), "{arguments:?}: {}", message(&whole));
        let failed = program(&directory, arguments).stdout(full()).output().unwrap();
        assert_eq!(
            failed.status.code(),
            Some(3),
            "{arguments:?}: {}",
            message(&failed)
        );
        let silent = program(&directory, arguments).stderr(full()).output().unwrap();
        assert!(silent.status.success(), "{arguments:?}: {:?}", silent.status);
        assert!(silent.stdout == whole.stdout, "{arguments:?}");
        let mut unread = program(&directory, arguments).spawn().unwrap();
        drop(unread.stdout.take());
        let unread = unread.wait_with_output().unwrap();
        assert!(unread.status.success(), "{arguments:?}: {}", message(&unread));
        assert!(!message(&unread).contains("panicked"), "{}", message(&unread));
    }
    // A refusal that cannot be told is still one.
    let refused = program(&directory, &["plan", "absent.toml"])
        .stderr(full())
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(2));
}

/// A study's results are printed last: its folder is whole also where they could not be.
#[test]
#[cfg(target_os = "linux")]
fn a_folder_is_whole_before_its_answer_is_printed() {
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let study = Study::new("unprinted", 0);
    let done = program(&study.directory, &study.cut(&[]))
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(done.status.code(), Some(3), "{}", message(&done));
    assert!(super::contents(&study.path()) == study.whole);
}

/// The user "nobody" may write no directory of ours.
#[test]
#[cfg(target_os = "linux")]
fn a_directory_that_may_not_be_written() {
    use std::os::unix::fs::PermissionsExt;
    let study = Study::new("read-only", 0);
    std::fs::create_dir(study.path()).unwrap();
    std::fs::set_permissions(study.path(), std::fs::Permissions::from_mode(0o555)).unwrap();
    let plain = program(&study.directory, &study.cut(&[])).output().unwrap();
    // The superuser may write everywhere.
    let done = match plain.status.success() {
        false => plain,
        true => {
            study.clear();
            std::fs::create_dir(study.path()).unwrap();
            std::fs::set_permissions(study.path(), std::fs::Permissions::from_mode(0o555)).unwrap();
            let dropped = Command::new("setpriv")
                .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
                .arg(env!("CARGO_BIN_EXE_motefield"))
                .args(study.cut(&[]))
                .current_dir(&study.directory)
                .output();
            match dropped {
                Ok(done) if !message(&done).contains("setpriv") => done,
                // Without another user there is nothing to try.
                _ => return,
            }
        }
    };
    assert_eq!(done.status.code(), Some(3), "{}", message(&done));
    assert!(
        message(&done).contains("cut") && message(&done).contains("ermission"),
        "{}",
        message(&done)
    );
}
