//! What happens when things go wrong on the way: the program is killed, told to end, runs out of
//! disk, may not write, is started twice, or finds what earlier runs and other people left.
//!
//! Nothing may be lost and nothing believed unasked: whatever happened, the study ends in the same
//! bytes as one that ran through, and no file of other origin is touched. The expected bytes are
//! those of the undisturbed run, so the check needs no judgement.
//!
//! A few tries of each run with the other tests; `results/reliability` makes many and writes down
//! how many survived.

mod campaign;
mod disk;
mod kill;
mod random;
mod signals;
mod stale;
mod studies;
mod twice;

#[path = "../program/random_setups.rs"]
mod random_setups;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use random_setups::Draw;

/// How often something was tried and what became of it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Tally {
    tries: usize,
    /// Ended in the bytes of the undisturbed run, or in the refusal that was due.
    survived: usize,
}

impl Tally {
    fn lost(self) -> usize {
        self.tries - self.survived
    }

    fn add(&mut self, survived: bool) {
        self.tries += 1;
        self.survived += usize::from(survived);
    }
}

/// The program, to be run in `directory`.
fn program(directory: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_motefield"));
    command
        .args(arguments)
        .current_dir(directory)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn run(directory: &Path, arguments: &[&str]) -> Output {
    program(directory, arguments)
        .output()
        .expect("the program starts")
}

fn message(done: &Output) -> String {
    String::from_utf8_lossy(&done.stderr).into_owned()
}

/// Runs and expects success.
fn runs(directory: &Path, arguments: &[&str]) {
    let done = run(directory, arguments);
    assert!(done.status.success(), "{arguments:?}: {}", message(&done));
}

/// Runs and expects refusal (exit code 2) with all of `words` in the message.
fn refused(directory: &Path, arguments: &[&str], words: &[&str]) {
    let done = run(directory, arguments);
    let message = message(&done);
    assert_eq!(done.status.code(), Some(2), "{arguments:?}: {message}");
    for word in words {
        assert!(
            message.contains(word),
            "{arguments:?} should say \"{word}\": {message}"
        );
    }
}

/// An empty directory for one test.
fn empty(name: &str) -> PathBuf {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("faults").join(name);
    let _ = std::fs::remove_dir_all(&directory);
    std::fs::create_dir_all(&directory).expect("a directory for the test");
    directory
}

/// Every file below a directory with its bytes.
fn contents(directory: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut open = vec![directory.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(next).into_iter().flatten().flatten() {
            let path = entry.path();
            match path.is_dir() {
                true => open.push(path),
                false => {
                    let name = path.strip_prefix(directory).unwrap().to_owned();
                    all.insert(name, std::fs::read(&path).unwrap());
                }
            }
        }
    }
    all
}

/// Whether some file below the directory is half-written.
fn has_parts(directory: &Path) -> bool {
    let mut names = contents(directory).into_keys();
    names.any(|name| name.extension().is_some_and(|e| e == "part"))
}
