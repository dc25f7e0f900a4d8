//! Renders pairs or frames into a folder, one by one, each file some rows at a time.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard};

use motefield_evaluator::Processing;
use motefield_files::npy::{self, FieldWriter};
use motefield_files::picture::{Encoding, PictureWriter};
use motefield_files::record::{RecordFile, RecordPlace};
use motefield_files::{FileError, OutputFile, sha256};
use motefield_generator::pair::{self, Bands, shared};
use motefield_generator::truth::TrueDisplacement;
use motefield_generator::{Scene, Seed};
use motefield_report::pairs;
use motefield_study::folder::Folder;
use motefield_study::manifest::FileHash;
use motefield_study::run::{Progress, bound};
use rayon::prelude::*;
use serde_json::json;

use super::{PictureFormat, RenderCommand, bad};
use crate::exit::Failure;
use crate::output::say;
use crate::progress::Bar;

fn name(kind: &str, k: u32, rest: &str) -> String {
    format!("{kind}-{k:05}{rest}")
}

/// What the files are called.
#[derive(Clone, Copy)]
pub(super) struct FileNames<'a>(&'a RenderCommand);

impl FileNames<'_> {
    pub(super) fn of(render: &RenderCommand) -> FileNames<'_> {
        FileNames(render)
    }

    /// The files of pair, or of series frame, number `k`, and those of the truth from it on.
    pub(super) fn all(self, k: u32) -> Vec<String> {
        let FileNames(render) = self;
        let (kind, parts): (_, &[&str]) = match render.series {
            Some(_) => ("frame", &[""]),
            None => ("pair", &["-a", "-b"]),
        };
        let mut names = Vec::new();
        for part in parts {
            names.push(name(kind, k, &format!("{part}.{}", render.format.extension())));
            if render.expected {
                names.push(name("expected", k, &format!("{part}.tif")));
            }
            if render.particles {
                names.push(name("particles", k, &format!("{part}.csv")));
            }
        }
        if render.series.is_none_or(|frames| k + 1 < frames) {
            names.push(truth_name(k));
        }
        if render.bound {
            names.push(name("bound", k, ".npy"));
        }
        names
    }
}

/// What is to be done for the frames of one seed.
pub(super) struct RenderJob<'a> {
    pub(super) render: &'a RenderCommand,
    pub(super) names: FileNames<'a>,
    pub(super) scene: &'a Scene,
    pub(super) processing: &'a Processing,
    pub(super) folder: &'a Folder,
}

impl RenderJob<'_> {
    /// Renders all that the journal does not hold, until `stop` is set: what stands there then.
    pub(super) fn all(&self, count: u32, stop: &AtomicBool) -> Result<RenderedFiles, Failure> {
        let mut kept = self.kept();
        if !kept.is_empty() {
            say(&format!("Continuing with {} done before.", kept.len()));
        }
        let bar = Bar::new();
        bar.expect(count as usize);
        let rest: Vec<u32> = (0..count).filter(|k| !kept.contains_key(k)).collect();
        let truth = self.truth_of_pairs(&kept, &rest)?;
        let one = |k: u32| -> Result<Option<(u32, FilesOfPair)>, Failure> {
            if stop.load(Ordering::Relaxed) {
                return Ok(None);
            }
            let files = match &truth {
                Some(truth) => self.pair(k, truth, stop)?,
                None => self.frame(k, count, stop)?,
            };
            let Some(files) = files else { return Ok(None) };
            let record = json!([k, files]).to_string();
            bar.done();
            Ok(Some(match self.folder.journal().add(record.as_bytes()) {
                Some(place) => (k, FilesOfPair::InJournal(place)),
                None => (k, FilesOfPair::Held(files)),
            }))
        };
        (0..kept.len()).for_each(|_| bar.done());
        // A large picture uses all threads, and one at a time needs the least memory.
        let rendered: Result<Vec<_>, Failure> = if shared(self.scene.size) {
            rest.into_iter().map(one).collect()
        } else {
            rest.into_par_iter().map(one).collect()
        };
        bar.finish();
        kept.extend(rendered?.into_iter().flatten());
        Ok(RenderedFiles {
            journal: Arc::clone(self.folder.journal()),
            pairs: kept,
        })
    }

    /// The truth of all pairs: none of the flow fields knows the pair's number. None for a series,
    /// or if nothing is left to do.
    fn truth_of_pairs(
        &self,
        kept: &BTreeMap<u32, FilesOfPair>,
        rest: &[u32],
    ) -> Result<Option<TruthOfPairs<'_>>, Failure> {
        let Some(&first) = rest.first().filter(|_| self.render.series.is_none()) else {
            return Ok(None);
        };
        let (owner, file) = match kept.keys().next() {
            Some(done) => (*done, None),
            None => (
                first,
                Some(self.truth_file(first, &TrueDisplacement::of_pair(self.scene))?),
            ),
        };
        Ok(Some(TruthOfPairs {
            owner,
            file: Mutex::new(file),
        }))
    }

    /// What the journal holds and the folder still has: the files of each pair or frame.
    fn kept(&self) -> BTreeMap<u32, FilesOfPair> {
        let whole = |(place, record): (RecordPlace, Vec<u8>)| {
            let (k, files) = read_record(&record)?;
            let names: Vec<&str> = files.iter().map(|file| file.path.as_str()).collect();
            let mut asked = self.names.all(k);
            asked.retain(|name| !names.contains(&name.as_str()));
            let stand = asked.is_empty() && files.iter().all(|file| self.stands(file));
            stand.then_some((k, FilesOfPair::InJournal(place)))
        };
        self.folder.records().filter_map(whole).collect()
    }

    fn stands(&self, file: &FileHash) -> bool {
        sha256(&self.folder.path(&file.path)).as_ref() == Some(&file.sha256)
    }

    fn write(&self, name: String, bytes: Vec<u8>) -> Result<FileHash, Failure> {
        self.folder.out().write(&name, &bytes)?;
        Ok(FileHash::of(name, bytes))
    }

    /// Pictures of the frames, of which `parts` are the names after the number: those of each
    /// frame. None if `stop` was set.
    fn pictures(
        &self,
        bands: Bands,
        kind: &str,
        number: u32,
        parts: &[&str],
        stop: &AtomicBool,
    ) -> Result<Option<Vec<Vec<FileHash>>>, Failure> {
        let render = self.render;
        let grey = match (render.format, self.scene.camera.sensor.is_none()) {
            (PictureFormat::Png, _) => Encoding::Png,
            (PictureFormat::Tiff, true) => Encoding::TiffFloat,
            (PictureFormat::Tiff, false) => Encoding::Tiff,
        };
        let mut pictures = Vec::new();
        for (frame, part) in parts.iter().enumerate() {
            let name_of = |kind: &str, extension| name(kind, number, &format!("{part}.{extension}"));
            pictures.push((frame, false, name_of(kind, render.format.extension()), grey));
            if render.expected {
                pictures.push((frame, true, name_of("expected", "tif"), Encoding::TiffFloat));
            }
        }
        let out = self.folder.out();
        let begun: Result<Vec<_>, FileError> = pictures.iter().map(|(.., name, _)| out.begin(name)).collect();
        let mut files = begun?;
        let write = |files: &mut Vec<OutputFile>| -> Result<bool, (usize, io::Error)> {
            let mut writers = Vec::new();
            for (k, file) in files.iter_mut().enumerate() {
                let writer = PictureWriter::new(file, pictures[k].3, self.scene.size);
                writers.push(writer.map_err(|e| (k, e))?);
            }
            let mut rows = Vec::new();
            for (k, writer) in writers.iter_mut().enumerate() {
                rows.push(writer.rows().map_err(|e| (k, e))?);
            }
            for band in bands {
                if stop.load(Ordering::Relaxed) {
                    return Ok(false);
                }
                for (k, (frame, expected, ..)) in pictures.iter().enumerate() {
                    let light = if *expected { &band.expected } else { &band.grey };
                    rows[k].add(&light[*frame]).map_err(|e| (k, e))?;
                }
            }
            let mut rows = rows.into_iter().enumerate();
            rows.try_for_each(|(k, rows)| rows.finish().map_err(|e| (k, e)))?;
            Ok(true)
        };
        if !write(&mut files).map_err(|(k, e)| out.failed(&pictures[k].2, e))? {
            return Ok(None);
        }
        let mut of_frames = vec![Vec::new(); parts.len()];
        for (file, (frame, _, name, _)) in files.into_iter().zip(pictures) {
            let sha256 = file.finish()?;
            of_frames[frame].push(FileHash { path: name, sha256 });
        }
        Ok(Some(of_frames))
    }

    /// The particles of a frame, if asked for; `frame` is its number in the pair or series.
    fn particles(
        &self,
        number: u32,
        part: &str,
        frame: u32,
        seed: Seed,
    ) -> Result<Option<FileHash>, Failure> {
        if !self.render.particles {
            return Ok(None);
        }
        let list = pair::shown(self.scene, seed, frame, self.render.series.is_some()).map_err(bad)?;
        let name = name("particles", number, &format!("{part}.csv"));
        self.write(name, pairs::particles(&list).into_bytes()).map(Some)
    }

    fn pair(
        &self,
        k: u32,
        truth: &TruthOfPairs,
        stop: &AtomicBool,
    ) -> Result<Option<Vec<FileHash>>, Failure> {
        let seed = Seed {
            study: self.render.seed,
            point: 0,
            realisation: k.into(),
        };
        let bands = pair::bands(self.scene, seed).map_err(bad)?;
        let parts = ["-a", "-b"];
        let Some(pictures) = self.pictures(bands, "pair", k, &parts, stop)? else {
            return Ok(None);
        };
        let mut files = Vec::new();
        for ((frame, of_frame), part) in (0..).zip(pictures).zip(parts) {
            files.extend(of_frame);
            files.extend(self.particles(k, part, frame, seed)?);
        }
        if self.render.bound {
            let bound = bound::field(self.scene, self.processing, seed);
            files.push(self.write(name("bound", k, ".npy"), npy::field(&bound))?);
        }
        files.push(self.truth_of_pair(k, truth)?);
        Ok(Some(files))
    }

    fn frame(&self, k: u32, frames: u32, stop: &AtomicBool) -> Result<Option<Vec<FileHash>>, Failure> {
        let seed = Seed {
            study: self.render.seed,
            ..Seed::default()
        };
        let bands = pair::series_bands(self.scene, seed, k).map_err(bad)?;
        let Some(pictures) = self.pictures(bands, "frame", k, &[""], stop)? else {
            return Ok(None);
        };
        let mut files: Vec<FileHash> = pictures.into_iter().flatten().collect();
        files.extend(self.particles(k, "", k, seed)?);
        if k + 1 < frames {
            let file = self.truth_file(k, &TrueDisplacement::of_series(self.scene, k))?;
            let (path, sha256) = (truth_name(k), file.finish()?);
            files.push(FileHash { path, sha256 });
        }
        Ok(Some(files))
    }

    /// Writes the truth of pair or frame `k`, some rows at a time. It has its name once it is
    /// finished.
    fn truth_file(&self, k: u32, truth: &TrueDisplacement) -> Result<OutputFile<'_>, Failure> {
        let [_, height] = self.scene.size;
        let (out, name) = (self.folder.out(), truth_name(k));
        let mut file = out.begin(&name)?;
        let write = |file: &mut OutputFile| -> io::Result<()> {
            let mut field = FieldWriter::new(&mut *file, self.scene.size)?;
            for first in (0..height).step_by(TRUTH_ROWS) {
                let some = first..height.min(first + TRUTH_ROWS);
                let rows: Vec<_> = some.into_par_iter().map(|y| truth.row(y)).collect();
                rows.iter().try_for_each(|row| field.add(row))?;
            }
            file.flush()
        };
        write(&mut file).map_err(|e| out.failed(&name, e))?;
        Ok(file)
    }

    /// The truth of pair `k`, which is that of all pairs.
    fn truth_of_pair(&self, k: u32, truth: &TruthOfPairs) -> Result<FileHash, Failure> {
        let (out, name) = (self.folder.out(), truth_name(k));
        let mut original = truth.file();
        // Under the lock, so that nobody looks for it while its name changes.
        if let Some(file) = original.take_if(|_| k == truth.owner) {
            let sha256 = file.finish()?;
            return Ok(FileHash { path: name, sha256 });
        }
        let from = match &*original {
            Some(file) => file.reopen(),
            None => out.open(&truth_name(truth.owner)),
        };
        drop(original);
        let mut file = out.begin(&name)?;
        from.and_then(|mut from| io::copy(&mut from, &mut file))
            .map_err(|e| out.failed(&name, e))?;
        let sha256 = file.finish()?;
        Ok(FileHash { path: name, sha256 })
    }
}

/// The files of the pairs, or frames, that were rendered: of many, so that their names and hashes
/// stay in the journal until they are asked for.
pub(super) struct RenderedFiles {
    journal: Arc<RecordFile>,
    pairs: BTreeMap<u32, FilesOfPair>,
}

/// The files of a pair or frame.
enum FilesOfPair {
    InJournal(RecordPlace),
    /// What the journal did not take.
    Held(Vec<FileHash>),
}

impl RenderedFiles {
    /// All files, pair by pair; errors are those of the journal.
    pub(super) fn files(&self) -> impl Iterator<Item = io::Result<FileHash>> {
        let of_pair = |files: &FilesOfPair| match files {
            FilesOfPair::Held(files) => Ok(files.clone()),
            FilesOfPair::InJournal(place) => match read_record(&self.journal.read(*place)?) {
                Some((_, files)) => Ok(files),
                None => Err(io::Error::other("a record is damaged")),
            },
        };
        let told = |error: io::Error| {
            io::Error::other(format!(
                "the journal does not give back what was written to it ({error}); check the disk, then run \
                 the command again"
            ))
        };
        self.pairs.values().flat_map(move |files| match of_pair(files) {
            Ok(files) => files.into_iter().map(Ok).collect(),
            Err(error) => vec![Err(told(error))],
        })
    }
}

fn read_record(record: &[u8]) -> Option<(u32, Vec<FileHash>)> {
    serde_json::from_slice(record).ok()
}

/// The truth of all pairs, as the file of one of them.
struct TruthOfPairs<'a> {
    /// The pair whose file it is.
    owner: u32,
    /// The file until that pair is done, for the others to copy; then it has its name.
    file: Mutex<Option<OutputFile<'a>>>,
}

impl<'a> TruthOfPairs<'a> {
    fn file(&self) -> MutexGuard<'_, Option<OutputFile<'a>>> {
        self.file.lock().expect("no thread panics with the lock")
    }
}

fn truth_name(k: u32) -> String {
    name("truth", k, ".npy")
}

/// Rows of the truth that are in memory at a time.
const TRUTH_ROWS: usize = 128;

#[cfg(test)]
mod tests {
    use super::*;

    /// A journal that was shortened is told of, and nothing is listed in its place.
    #[test]
    fn a_journal_that_lost_records_is_an_error() {
        let path = std::env::temp_dir().join(format!("motefield-rendered-{}", std::process::id()));
        let journal = Arc::new(RecordFile::begin(&path, "test", true).unwrap());
        let hash = |k: u32| vec![FileHash::of(format!("a{k}.tif"), [1])];
        let record = |k: u32| json!([k, hash(k)]).to_string();
        let add = |k: u32| FilesOfPair::InJournal(journal.add(record(k).as_bytes()).unwrap());
        let rendered = RenderedFiles {
            pairs: [(0, add(0)), (1, FilesOfPair::Held(hash(1)))].into(),
            journal,
        };
        let names = || -> io::Result<Vec<String>> { rendered.files().map(|f| Ok(f?.path)).collect() };
        assert_eq!(names().unwrap(), ["a0.tif", "a1.tif"]);
        std::fs::OpenOptions::new()
            .write(true)
            .open(&path)
            .unwrap()
            .set_len(9)
            .unwrap();
        let error = names().unwrap_err().to_string();
        assert!(
            error.contains("journal") && error.contains("run the command again"),
            "{error}"
        );
        std::fs::remove_file(path).unwrap();
    }
}
