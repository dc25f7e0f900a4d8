//! Results go to a directory: each file whole or not at all, nothing overwritten unasked.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::FileError;

/// A directory that results go to, and whether what is there may be replaced.
#[derive(Debug, Clone)]
pub struct OutputDirectory {
    directory: PathBuf,
    replace: bool,
    /// Whether the directory was not there before.
    fresh: bool,
}

impl OutputDirectory {
    /// The directory `path`, or, without one, the first of `name`, `name-2`, `name-3` … that does
    /// not exist yet. Nothing is made yet.
    pub fn new(path: Option<&Path>, name: &str, replace: bool) -> OutputDirectory {
        let free = || {
            let numbered = (2..).map(|k| PathBuf::from(format!("{name}-{k}")));
            std::iter::once(PathBuf::from(name))
                .chain(numbered)
                .find(|p| !p.exists())
                .expect("one of endless names is free")
        };
        let directory = path.map_or_else(free, Path::to_path_buf);
        OutputDirectory {
            fresh: !directory.exists(),
            directory,
            replace,
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
    /// directory.
    ///
    /// # Errors
    /// When one of the files exists and must not be replaced, or the directory cannot be made.
    pub fn prepare<N: AsRef<str>>(&self, names: &[N]) -> Result<(), FileError> {
        for name in names {
            may_write(&self.path(name.as_ref()), self.replace)?;
        }
        self.make("")
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

    /// Writes the file `name`.
    ///
    /// # Errors
    /// When the system fails; nothing half-written is left.
    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> Result<(), FileError> {
        write(&self.path(name), bytes.as_ref())
    }
}

/// Whether a file may be written.
///
/// # Errors
/// When it exists and must not be replaced.
pub fn may_write(path: &Path, replace: bool) -> Result<(), FileError> {
    match path.exists() && !replace {
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
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let part = path.with_file_name(name);
    let result = File::create(&part)
        .and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&part, path));
    result.map_err(|e| {
        let _ = fs::remove_file(&part);
        FileError::of(path, "write", e)
    })
}
