//! Files under a temporary name while they are being written: `name.PROCESS.part`.
//!
//! All that are open are listed, so that a program that must end at once leaves none behind.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard};

struct Parts {
    open: BTreeSet<PathBuf>,
    /// Directories of the kind of [`Scratch`](crate::Scratch).
    scratch: BTreeSet<PathBuf>,
    /// Whether no more may be begun.
    closed: bool,
}

static PARTS: Mutex<Parts> = Mutex::new(Parts {
    open: BTreeSet::new(),
    scratch: BTreeSet::new(),
    closed: false,
});

fn parts() -> MutexGuard<'static, Parts> {
    PARTS.lock().expect("no thread panics with the lock")
}

/// Takes away every file that is half-written at this moment and lets no more be begun: for a
/// program that ends without waiting for its threads.
pub fn abandon_parts() {
    let mut parts = parts();
    parts.closed = true;
    for path in std::mem::take(&mut parts.open) {
        let _ = fs::remove_file(path);
    }
    for path in std::mem::take(&mut parts.scratch) {
        let _ = fs::remove_dir_all(path);
    }
}

/// Makes and lists a directory in one step, so that none is made unseen.
pub(crate) fn begin_scratch(path: &Path) -> io::Result<()> {
    let mut parts = parts();
    if parts.closed {
        return Err(io::Error::other("the program is ending"));
    }
    fs::create_dir(path)?;
    parts.scratch.insert(path.to_owned());
    Ok(())
}

pub(crate) fn end_scratch(path: &Path) {
    let _ = fs::remove_dir_all(path);
    parts().scratch.remove(path);
}

/// Writes `bytes` to a part, then gives it the name of the whole.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let part = path.with_file_name(name);
    let result = begin(&part)
        .and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&part, path));
    if result.is_err() {
        let _ = fs::remove_file(&part);
    }
    parts().open.remove(&part);
    result
}

/// Makes and lists a part in one step, so that none is made unseen.
fn begin(part: &Path) -> io::Result<File> {
    let mut parts = parts();
    if parts.closed {
        return Err(io::Error::other("the program is ending"));
    }
    let file = File::create(part)?;
    parts.open.insert(part.to_owned());
    Ok(file)
}

/// The name of the file of which this is the name of a part.
pub(crate) fn whole_name(name: &str) -> Option<&str> {
    let (whole, process) = name.strip_suffix(".part")?.rsplit_once('.')?;
    let number = !process.is_empty() && process.bytes().all(|b| b.is_ascii_digit());
    number.then_some(whole)
}

#[cfg(test)]
mod tests {
    use super::whole_name;

    #[test]
    fn only_parts_of_this_program_are_taken_for_such() {
        assert_eq!(whole_name("table.csv.4711.part"), Some("table.csv"));
        for other in ["table.csv", "table.csv.part", "table.csv.x1.part", ".part"] {
            assert_eq!(whole_name(other), None, "{other}");
        }
    }
}
