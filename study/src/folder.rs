//! One study, one folder: its results, its manifest, and, until it is finished, its journal.
//!
//! The journal holds what was finished, so that a study that was stopped or killed continues where
//! it was; it is gone when the study is whole. It belongs to one process at a time.
//!
//! Files that stand in the folder are replaced only if the folder's manifest lists them with the
//! content that they have: then this program wrote them, and nobody changed them since.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use motefield_files::record::{Found, RecordFile, RecordPlace, Resumed};
use motefield_files::{FileError, OutputDirectory, sha256};
use rayon::prelude::*;

use crate::StudyError;
use crate::manifest::{self, FileHash, Manifest};

/// Name of the journal.
const JOURNAL: &str = "journal";
/// How the first line of every journal begins, of whatever version.
const JOURNALS: &str = "motefield journal ";
/// Version of the records in it.
const VERSION: u32 = 2;

/// How a folder is taken up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// A study that was not begun yet.
    New,
    /// The same study, finished or not, or one that was not begun yet.
    GoOn,
    /// The same study, begun and not finished.
    Resume,
    /// Anew, whatever study of this program stands there.
    Fresh,
}

/// Where the results go.
#[derive(Debug, Clone, Copy)]
pub struct Destination<'a> {
    /// The directory; without one, the next that is free of the usual name.
    pub directory: Option<&'a Path>,
    /// Usual name of a directory.
    pub usual: &'a str,
    /// How it is taken up.
    pub start: Start,
    /// Whether files that are not this program's may be overwritten as well.
    pub overwrite: bool,
}

/// Names of the files of a study.
#[derive(Clone, Copy, Default)]
pub struct Names<'a> {
    /// Those that are written at its end.
    pub at_the_end: &'a [String],
    /// Those that are written one by one while it runs, always with the same content. There may be
    /// many, so they are not listed but told again.
    pub on_the_way: Option<ToldNames<'a>>,
}

/// What tells names one by one.
pub type ToldNames<'a> = &'a dyn Fn() -> Box<dyn Iterator<Item = String> + 'a>;

impl Names<'_> {
    fn on_the_way(&self) -> impl Iterator<Item = String> {
        self.on_the_way.into_iter().flat_map(|names| names())
    }
}

/// The folder of a study under way.
#[derive(Debug)]
pub struct Folder {
    out: OutputDirectory,
    manifest: Manifest,
    journal: Arc<RecordFile>,
    records: Vec<RecordPlace>,
}

impl Folder {
    /// Opens the folder for the study that `manifest` describes, with the `names` of its files.
    ///
    /// # Errors
    /// When a file would be overwritten unasked, an unfinished or another study stands there, there
    /// is none to resume, another process is at work there, or the system fails.
    pub fn open(place: &Destination, manifest: Manifest, names: &Names) -> Result<Folder, StudyError> {
        let out = OutputDirectory::new(place.directory, place.usual, place.overwrite);
        Folder::open_in(out, place, manifest, names)
    }

    fn open_in(
        mut out: OutputDirectory,
        place: &Destination,
        mut manifest: Manifest,
        names: &Names,
    ) -> Result<Folder, StudyError> {
        // One that nobody chose is made below, and made by this process: what stands under its name
        // by now is the work of another.
        let (then, found) = match place.directory {
            None => (None, Found::Other),
            Some(_) => (
                Manifest::read(out.directory()),
                RecordFile::look(&out.path(JOURNAL), JOURNALS),
            ),
        };
        let (begun, torn) = (found == Found::Begun, found == Found::Torn);
        let replace = place.overwrite || place.start == Start::Fresh || torn;
        let taken_up = taken_up(place, &out, then.as_ref(), &manifest, begun || torn)?;
        let old = then
            .as_ref()
            .map_or_else(Vec::new, |then| then.files_written.clone());
        if taken_up || place.start == Start::Fresh {
            out.own(old.iter().map(|file| (file.path.clone(), file.sha256.clone())));
            // The manifest of this program's own study, and a journal that has none yet.
            out.own(own(&out, manifest::NAME, then.is_some()));
            out.own(own(&out, JOURNAL, begun));
        } else if place.overwrite {
            out.own(old.iter().map(|file| (file.path.clone(), file.sha256.clone())));
        }
        let mut checked = names.at_the_end.to_vec();
        checked.push(manifest::NAME.to_owned());
        if !begun && !torn {
            checked.push(JOURNAL.to_owned());
        }
        let new = names.on_the_way().filter(|_| !taken_up);
        out.prepare(checked.iter().cloned().chain(new))?;
        let journal = out.path(JOURNAL);
        let head = format!("{JOURNALS}{VERSION} {}", manifest.identity());
        let (journal, records) = match taken_up && begun {
            true => match RecordFile::resume(&journal, &head)? {
                Resumed::Records(file, records) => (file, records),
                Resumed::Foreign => return Err(other_study(&out, Vec::new())),
            },
            false => match RecordFile::begin(&journal, &head, replace) {
                Ok(file) => (file, Vec::new()),
                Err(failure) => {
                    out.abandon();
                    return Err(failure.into());
                }
            },
        };
        out.remove_parts(&checked);
        out.remove_parts(names.on_the_way());
        if taken_up {
            manifest.files_written = old;
        } else {
            old.iter().for_each(|file| out.remove_own(&file.path));
        }
        let folder = Folder {
            out,
            manifest,
            journal: Arc::new(journal),
            records,
        };
        folder.write_manifest()?;
        Ok(folder)
    }

    /// Where the files go.
    pub fn out(&self) -> &OutputDirectory {
        &self.out
    }

    /// The directory.
    pub fn directory(&self) -> &Path {
        self.out.directory()
    }

    /// Where the file `name` stands.
    pub fn path(&self, name: &str) -> PathBuf {
        self.out.path(name)
    }

    /// What the folder holds, as far as it is known.
    pub fn manifest(&self) -> &Manifest {
        &self.manifest
    }

    /// The same, to be changed before the folder is [closed](Folder::close).
    pub fn manifest_mut(&mut self) -> &mut Manifest {
        &mut self.manifest
    }

    /// The journal, which grows.
    pub fn journal(&self) -> &Arc<RecordFile> {
        &self.journal
    }

    /// What the journal held when the folder was opened, and where it stands there.
    pub fn records(&self) -> impl Iterator<Item = (RecordPlace, Vec<u8>)> {
        let read = |place: &RecordPlace| Some((*place, self.journal.read(*place).ok()?));
        self.records.iter().filter_map(read)
    }

    fn write_manifest(&self) -> Result<(), FileError> {
        self.out.replace(manifest::NAME, |to| self.manifest.write(to, []))
    }

    /// Writes the study's files, and takes away those of before that are none of them. A study that
    /// is finished needs its journal no more.
    ///
    /// # Errors
    /// When the system fails; what stood there is then listed as before, beside what is new.
    pub fn write(mut self, files: &[(String, Vec<u8>)], finished: bool) -> Result<(), FileError> {
        let new: Vec<FileHash> = files
            .par_iter()
            .map(|(name, bytes)| FileHash::of(name.clone(), bytes.clone()))
            .collect();
        // Both lists stand there while old and new files do.
        let old = self.manifest.files_written.clone();
        self.manifest.files_written.extend(new.clone());
        self.write_manifest()?;
        // Each waits for the disk.
        files
            .par_iter()
            .try_for_each(|(name, bytes)| self.out.write(name, bytes))?;
        self.manifest.files_written = old;
        self.close(|| new.iter().cloned().map(Ok), finished)
    }

    /// Says which files stand in the folder now, and takes away those of before that are none of
    /// them. A study that is finished needs its journal no more.
    ///
    /// # Errors
    /// When the system fails or the list cannot be read; the folder then stays as it is.
    pub fn close<I: Iterator<Item = io::Result<FileHash>>>(
        mut self,
        written: impl Fn() -> I,
        finished: bool,
    ) -> Result<(), FileError> {
        let old = std::mem::take(&mut self.manifest.files_written);
        let mut gone: BTreeSet<&str> = old.iter().map(|file| file.path.as_str()).collect();
        if !gone.is_empty() {
            for file in written() {
                let file = file.map_err(|error| FileError::System {
                    path: self.path(manifest::NAME),
                    action: "write",
                    error,
                })?;
                gone.remove(file.path.as_str());
            }
        }
        gone.into_iter().for_each(|name| self.out.remove_own(name));
        self.manifest.finished = finished;
        self.out
            .replace(manifest::NAME, |to| self.manifest.write(to, written()))?;
        if finished {
            self.journal.remove();
        }
        Ok(())
    }
}

/// Whether the study that stands in the directory is continued; `false` where a new one begins.
fn taken_up(
    place: &Destination,
    out: &OutputDirectory,
    then: Option<&Manifest>,
    now: &Manifest,
    begun: bool,
) -> Result<bool, StudyError> {
    let directory = || out.directory().to_owned();
    let overwrite = place.overwrite;
    match (place.start, then) {
        (Start::Fresh, _) => Ok(false),
        (Start::New, _) if begun && !overwrite => Err(StudyError::Unfinished {
            directory: directory(),
        }),
        (Start::New, _) => Ok(false),
        (Start::GoOn, _) if overwrite => Ok(false),
        (Start::GoOn, None) => Ok(begun),
        (Start::Resume, _) if !begun => Err(StudyError::NothingToResume {
            directory: directory(),
            finished: then.is_some_and(|then| then.finished),
        }),
        (Start::Resume, None) => Ok(true),
        (Start::GoOn | Start::Resume, Some(then)) => match then.differences(now) {
            differences if differences.is_empty() => Ok(true),
            differences => Err(other_study(out, differences)),
        },
    }
}

fn other_study(out: &OutputDirectory, mut differences: Vec<String>) -> StudyError {
    if differences.is_empty() {
        differences.push("its journal has another identity, and no manifest says which".to_owned());
    }
    StudyError::OtherStudy {
        directory: out.directory().to_owned(),
        differences,
    }
}

/// A file of the folder's own, whatever it holds.
fn own(out: &OutputDirectory, name: &str, there: bool) -> Option<(String, String)> {
    let hash = there.then(|| sha256(&out.path(name))).flatten()?;
    Some((name.to_owned(), hash))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Between the choice of a name and the making of the folder another process may begin its
    /// study under this name.
    #[test]
    fn studies_without_a_directory_each_have_a_folder() {
        let inside = std::env::temp_dir().join(format!("motefield-folder-{}", std::process::id()));
        let usual = inside.join("study").display().to_string();
        std::fs::create_dir(&inside).unwrap();
        let place = Destination {
            directory: None,
            usual: &usual,
            start: Start::New,
            overwrite: false,
        };
        let chosen = [0, 1].map(|_| OutputDirectory::new(None, &usual, false));
        let folders = chosen.map(|out| {
            let manifest = Manifest::new("test", json!({}));
            Folder::open_in(out, &place, manifest, &Names::default()).unwrap()
        });
        let directories = folders.each_ref().map(|folder| folder.directory().to_owned());
        assert_eq!(directories, ["study", "study-2"].map(|name| inside.join(name)));
        std::fs::remove_dir_all(&inside).unwrap();
    }
}
