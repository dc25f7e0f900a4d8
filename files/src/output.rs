//! Results go to a directory: each file whole or not at all, nothing overwritten unasked.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, BufRead, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::FileError;
use crate::part::{self, Part};
use crate::source::hexadecimal;

/// A directory that results go to, and what there may be replaced.
///
/// ```
/// use motefield_files::OutputDirectory;
///
/// let path = std::env::temp_dir().join(format!("an-output-{}", std::process::id()));
/// let mut results = OutputDirectory::new(Some(&path), "results", false);
/// results.prepare(&["table.csv"])?;
/// results.write("table.csv", "pulse_s\n")?;
/// // What stands there is not replaced unasked.
/// let again = OutputDirectory::new(Some(&path), "results", false);
/// assert!(again.write("table.csv", "another\n").is_err());
/// # std::fs::remove_dir_all(&path).unwrap();
/// # Ok::<(), motefield_files::FileError>(())
/// ```
#[derive(Debug, Clone)]
pub struct OutputDirectory {
    directory: PathBuf,
    /// Where nobody chose the directory: its usual name; the next that is free will do.
    usual: Option<String>,
    replace: bool,
    /// Files that an earlier run wrote here, with the hashes that their contents may have.
    own: BTreeMap<String, Vec<String>>,
    /// Whether the directory was not there before.
    fresh: bool,
}

/// Names of the kind `name`, `name-2`, `name-3` …
fn numbered(name: &str) -> impl Iterator<Item = PathBuf> + '_ {
    let more = (2..).map(move |k| PathBuf::from(format!("{name}-{k}")));
    std::iter::once(PathBuf::from(name)).chain(more)
}

impl OutputDirectory {
    /// The directory `path`, or, without one, the first of `name`, `name-2`, `name-3` … that does
    /// not exist yet. Nothing is made yet.
    #[allow(clippy::missing_panics_doc, reason = "one of endless names is free")]
    pub fn new(path: Option<&Path>, name: &str, replace: bool) -> OutputDirectory {
        let mut free = numbered(name).filter(|path| !exists(path));
        let directory = path.map_or_else(
            || free.next().expect("one of endless names is free"),
            Path::to_path_buf,
        );
        OutputDirectory {
            fresh: path.is_none() || !directory.exists(),
            directory,
            usual: path.is_none().then(|| name.to_owned()),
            replace,
            own: BTreeMap::new(),
        }
    }

    /// Lets files be replaced that an earlier run wrote: each name with the SHA-256 of its content.
    /// A file of another content is somebody else's.
    pub fn own(&mut self, files: impl IntoIterator<Item = (String, String)>) {
        for (name, sha256) in files {
            self.own.entry(name).or_default().push(sha256);
        }
    }

    /// Where the file `name` goes.
    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.join(name)
    }

    /// The directory itself.
    pub fn directory(&self) -> &Path {
        &self.directory
    }

    /// Makes sure beforehand that none of `names` would be overwritten unasked, and makes the
    /// directory. One that nobody chose is made by this program alone: where another process was
    /// faster, it is the next that is free.
    ///
    /// # Errors
    /// When one of the files exists and must not be replaced, or the directory cannot be made.
    pub fn prepare(&mut self, names: impl IntoIterator<Item: AsRef<str>>) -> Result<(), FileError> {
        let Some(usual) = &self.usual else {
            for name in names {
                self.may_write(name.as_ref())?;
            }
            return self.make("");
        };
        for path in numbered(usual) {
            match fs::create_dir(&path) {
                Ok(()) => {
                    self.directory = path;
                    return Ok(());
                }
                Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(e) => return Err(FileError::of(&path, "make the directory", e)),
            }
        }
        unreachable!("one of endless names is free")
    }

    /// Whether the file `name` may be written.
    ///
    /// # Errors
    /// When it exists, must not be replaced, and is not what an earlier run wrote.
    fn may_write(&self, name: &str) -> Result<(), FileError> {
        let path = self.path(name);
        match self.replace || !exists(&path) || self.is_own(name) {
            true => Ok(()),
            false => Err(FileError::Exists { path }),
        }
    }

    /// Whether the file is there as an earlier run wrote it.
    pub fn is_own(&self, name: &str) -> bool {
        let Some(hashes) = self.own.get(name) else {
            return false;
        };
        sha256(&self.path(name)).is_some_and(|hash| hashes.contains(&hash))
    }

    /// Takes away a file that an earlier run wrote, unless somebody changed it since.
    pub fn remove_own(&self, name: &str) {
        if self.is_own(name) {
            // What cannot be taken away is in no list of this run's files, and not believed.
            let _ = fs::remove_file(self.path(name));
        }
    }

    /// Takes away what a run that was killed left half-written under one of `names`, which may
    /// stand in directories inside this one. No other process may be at work in the directory.
    pub fn remove_parts(&self, names: impl IntoIterator<Item: AsRef<str>>) {
        let mut looked = BTreeSet::new();
        // Parts that stand there, by the files of which they are. There are few, and many names.
        let mut parts: BTreeMap<PathBuf, Vec<PathBuf>> = BTreeMap::new();
        for name in names {
            let whole = self.path(name.as_ref());
            let Some(directory) = whole.parent() else { continue };
            if !looked.contains(directory) {
                looked.insert(directory.to_owned());
                for entry in fs::read_dir(directory).into_iter().flatten().flatten() {
                    let file = entry.file_name();
                    if let Some(of) = file.to_str().and_then(part::whole_name) {
                        parts.entry(directory.join(of)).or_default().push(entry.path());
                    }
                }
            }
            for part in parts.remove(&whole).into_iter().flatten() {
                let _ = fs::remove_file(part);
            }
        }
    }

    /// Makes a directory inside this one.
    ///
    /// # Errors
    /// When the system fails.
    pub fn make(&self, name: &str) -> Result<(), FileError> {
        let path = self.path(name);
        fs::create_dir_all(&path).map_err(|e| FileError::of(&path, "make the directory", e))
    }

    /// Takes the directory away again if it was made for results that did not come and nothing is
    /// in it.
    pub fn abandon(&self) {
        if self.fresh {
            // A directory that holds anything stays.
            let _ = fs::remove_dir(&self.directory);
        }
    }

    /// Writes the file `name`, unless it stands there already with this content.
    ///
    /// # Errors
    /// When it exists with another content and must not be replaced, or the system fails; nothing
    /// half-written is left.
    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> Result<(), FileError> {
        let (path, bytes) = (self.path(name), bytes.as_ref());
        match self.may_write(name) {
            Ok(()) => write(&path, bytes),
            Err(_) if fs::read(&path).is_ok_and(|there| there == bytes) => Ok(()),
            Err(exists) => Err(exists),
        }
    }

    /// Begins the file `name`, to be written piece by piece.
    ///
    /// # Errors
    /// When the system fails.
    pub fn begin(&self, name: &str) -> Result<OutputFile<'_>, FileError> {
        let part = Part::begin(&self.path(name)).map_err(|e| self.failed(name, e))?;
        Ok(OutputFile {
            directory: self,
            name: name.to_owned(),
            part,
        })
    }

    /// Opens the file of this name that stands there, for reading.
    ///
    /// # Errors
    /// When the system fails.
    pub fn open(&self, name: &str) -> io::Result<fs::File> {
        fs::File::open(self.path(name))
    }

    /// The error of something that went wrong while the file `name` was written.
    pub fn failed(&self, name: &str, error: io::Error) -> FileError {
        FileError::of(&self.path(name), "write", error)
    }

    /// Writes the file `name` piece by piece, whatever stood there.
    ///
    /// # Errors
    /// When the system fails; nothing half-written is left.
    pub fn replace(
        &self,
        name: &str,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), FileError> {
        let whole = || {
            let mut part = Part::begin(&self.path(name))?;
            write(&mut part)?;
            part.keep()
        };
        whole().map_err(|e| self.failed(name, e))
    }
}

/// A file of an [`OutputDirectory`] while it is written. It does not stand under its name, and
/// leaves nothing behind, until it is [finished](OutputFile::finish).
pub struct OutputFile<'a> {
    directory: &'a OutputDirectory,
    name: String,
    part: Part,
}

impl OutputFile<'_> {
    /// Opens what was [flushed](Write::flush) so far, for reading.
    ///
    /// # Errors
    /// When the system fails.
    pub fn reopen(&self) -> io::Result<fs::File> {
        fs::File::open(self.part.path())
    }

    /// Gives the file its name, unless it stands there already with this content: the SHA-256 of
    /// the content.
    ///
    /// # Errors
    /// When it exists with another content and must not be replaced, or the system fails; nothing
    /// half-written is left.
    pub fn finish(mut self) -> Result<String, FileError> {
        let path = self.directory.path(&self.name);
        let bad = |e| self.directory.failed(&self.name, e);
        self.part.sync().map_err(bad)?;
        let hash = hash(self.part.path()).map_err(bad)?;
        match self.directory.may_write(&self.name) {
            Ok(()) => self.part.keep().map_err(bad)?,
            Err(exists) if sha256(&path).as_ref() != Some(&hash) => return Err(exists),
            Err(_) => {}
        }
        Ok(hash)
    }
}

impl Write for OutputFile<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.part.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.part.flush()
    }
}

impl Seek for OutputFile<'_> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.part.seek(to)
    }
}

/// SHA-256 of a file's content; `None` where it cannot be read.
pub fn sha256(path: &Path) -> Option<String> {
    hash(path).ok()
}

fn hash(path: &Path) -> io::Result<String> {
    let mut hash = Sha256::new();
    let mut file = io::BufReader::new(fs::File::open(path)?);
    loop {
        let part = file.fill_buf()?;
        let length = part.len();
        if length == 0 {
            break;
        }
        hash.update(part);
        file.consume(length);
    }
    Ok(hexadecimal(&hash.finalize()))
}

/// Whether anything stands under the path, be it a link that leads nowhere.
pub fn exists(path: &Path) -> bool {
    path.symlink_metadata().is_ok()
}

/// Whether a file may be written.
///
/// # Errors
/// When it exists and must not be replaced.
pub fn may_write(path: &Path, replace: bool) -> Result<(), FileError> {
    match exists(path) && !replace {
        true => Err(FileError::Exists {
            path: path.to_owned(),
        }),
        false => Ok(()),
    }
}

/// Writes a file under a temporary name, then gives it its own: whoever looks sees all of it or
/// nothing.
///
/// # Errors
/// When the system fails; the temporary file is taken away.
pub fn write(path: &Path, bytes: &[u8]) -> Result<(), FileError> {
    part::write(path, bytes).map_err(|e| FileError::of(path, "write", e))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Between the choice of a name and the making of the directory another process may take it,
    /// and even write files of the same names there.
    #[test]
    fn a_directory_that_nobody_chose_is_made_by_one_alone() {
        let inside = std::env::temp_dir().join(format!("motefield-output-{}", std::process::id()));
        let usual = inside.join("study").display().to_string();
        fs::create_dir(&inside).unwrap();
        let mut two = [0, 1].map(|_| OutputDirectory::new(None, &usual, false));
        for out in &mut two {
            out.prepare(&["table.csv"]).unwrap();
            out.write("table.csv", "t_s\n").unwrap();
        }
        let directories = two.each_ref().map(|out| out.directory().to_owned());
        assert_eq!(directories, ["study", "study-2"].map(|name| inside.join(name)));
        fs::remove_dir_all(&inside).unwrap();
    }
}
