//! Files under a temporary name while they are being written: `name.PROCESS.part`.
//!
//! All that are open are listed, so that a program that must end at once leaves none behind.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
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

/// A file that is written piece by piece under a temporary name. It is taken away again unless it
/// is [kept](Part::keep).
pub(crate) struct Part {
    part: PathBuf,
    whole: PathBuf,
    file: BufWriter<File>,
}

impl Part {
    pub(crate) fn begin(path: &Path) -> io::Result<Part> {
        let mut name = path.file_name().unwrap_or_default().to_owned();
        name.push(format!(".{}.part", std::process::id()));
        let part = path.with_file_name(name);
        let file = BufWriter::new(begin(&part)?);
        Ok(Part {
            part,
            whole: path.to_owned(),
            file,
        })
    }

    /// Brings all that was written to the disk.
    pub(crate) fn sync(&mut self) -> io::Result<()> {
        self.file.flush()?;
        self.file.get_ref().sync_all()
    }

    /// The temporary name.
    pub(crate) fn path(&self) -> &Path {
        &self.part
    }

    /// Gives it the name of the whole.
    pub(crate) fn keep(mut self) -> io::Result<()> {
        self.sync()?;
        fs::rename(&self.part, &self.whole)
    }
}

impl Write for Part {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Seek for Part {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        // Once it has the name of the whole there is none left under this one.
        let _ = fs::remove_file(&self.part);
        parts().open.remove(&self.part);
    }
}

/// Writes `bytes` to a part, then gives it the name of the whole.
pub(crate) fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut part = Part::begin(path)?;
    part.write_all(bytes)?;
    part.keep()
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
