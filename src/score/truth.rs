//! The true displacement with which vectors are compared: which file it is, and where it holds.
//!
//! What stands in a directory is believed if the directory's manifest lists it with the content
//! that it has: a file that an earlier `render` left there is not taken for one of the last.

use std::path::{Path, PathBuf};

use motefield_evaluator::score::VectorTruth;
use motefield_evaluator::{Grid, Processing, Vector};
use motefield_files::{Disk, FileSource, list, npy};
use motefield_study::manifest::{FileHash, Manifest};
use motefield_study::vectors;
use ndarray::{Array2, Array3};

use crate::correlate::manifest_of;
use crate::exit::Failure;
use crate::output::say;

/// The true displacement with which vectors are compared.
pub struct Truth {
    file: PathBuf,
    /// Displacement along x and y, px: (2, height, width).
    pub field: Array3<f64>,
    /// Where the field holds; everywhere if there is none.
    valid: Option<Array2<bool>>,
    pub files_read: Vec<FileHash>,
}

const VALID: &str = "valid.npy";

/// A file with the hash of its content.
pub fn hash(path: &Path) -> Result<FileHash, Failure> {
    Ok(FileHash {
        path: path.display().to_string(),
        sha256: Disk::default().content(path)?.sha256.clone(),
    })
}

impl Truth {
    /// Reads the file `path`, or the one in that directory that is the truth of all the `vectors`;
    /// where they have different ones, that of each.
    pub fn read_all(path: &Path, valid: Option<&Path>, vectors: &[PathBuf]) -> Result<Vec<Truth>, Failure> {
        let directory = match path.is_dir() {
            true => path,
            false => path.parent().unwrap_or(Path::new("")),
        };
        let rendered = RenderedPair {
            directory,
            manifest: Manifest::read(directory).filter(|m| m.command == "render"),
        };
        let files = match path.is_dir() {
            true => rendered.truths_of(vectors)?,
            false => vec![path.to_owned()],
        };
        let read = |file: PathBuf| Truth::read(file, valid, &rendered);
        files.into_iter().map(read).collect()
    }

    fn read(file: PathBuf, valid: Option<&Path>, rendered: &RenderedPair) -> Result<Truth, Failure> {
        let field = npy::read_field(&file)?;
        let valid = match valid {
            Some(valid) => Some(valid.to_owned()),
            None => rendered.valid(&file)?,
        };
        let mut files_read = vec![hash(&file)?];
        files_read.extend(valid.as_deref().map(hash).transpose()?);
        let valid = valid.map(|valid| npy::read_mask(&valid)).transpose()?;
        let (_, height, width) = field.dim();
        if let Some(valid) = valid.as_ref().filter(|valid| valid.dim() != (height, width)) {
            return Err(Failure::input(format!(
                "{}: is {width} x {height} px, but the mask of where it holds is {} x {} px; give the one that was rendered with it",
                file.display(),
                valid.ncols(),
                valid.nrows()
            )));
        }
        Ok(Truth {
            file,
            field,
            valid,
            files_read,
        })
    }

    /// Refuses windows beyond the picture.
    pub fn holds(&self, path: &Path, grid: &Grid) -> Result<(), Failure> {
        let (_, height, width) = self.field.dim();
        let [right, bottom] = vectors::end(grid);
        if right <= width && bottom <= height {
            return Ok(());
        }
        Err(Failure::input(format!(
            "{}: its windows of {} x {} px reach beyond the {width} x {height} px of {}; name the setup whose processing was used with --setup",
            path.display(),
            grid.window[0],
            grid.window[1],
            self.file.display()
        )))
    }

    /// Width and height of the picture, px.
    pub fn size_px(&self) -> [usize; 2] {
        let (_, height, width) = self.field.dim();
        [width, height]
    }

    /// The file.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// At places anywhere, px; `NaN` beyond the picture and inside bodies. The field is known at
    /// every pixel and interpolated between (see [`vectors::interpolate`]).
    pub fn at_places(&self, at_px: &[[f64; 2]]) -> Vec<[f64; 2]> {
        let size = self.size_px();
        let known = |[x, y]: [f64; 2]| {
            let inside = [x, y]
                .iter()
                .zip(size)
                .all(|(v, s)| *v >= -0.5 && *v <= s as f64 - 0.5);
            inside
                && self
                    .valid
                    .as_ref()
                    .is_none_or(|valid| vectors::all_around(valid, x.max(0.0), y.max(0.0)))
        };
        let one = |at: &[f64; 2]| match known(*at) {
            true => vectors::interpolate(&self.field, at[0], at[1]),
            false => [f64::NAN; 2],
        };
        at_px.iter().map(one).collect()
    }

    /// At the windows of a grid. Vectors inside a body have no truth and do not count, nor do
    /// masked ones.
    pub fn at(
        &self,
        grid: &Grid,
        vectors: &[Vector],
        processing: &Processing,
    ) -> Result<VectorTruth, Failure> {
        let (_, height, width) = self.field.dim();
        let masked = processing.preparation.mask.as_ref();
        if let Some(mask) = masked.filter(|mask| mask.dim() != (height, width)) {
            return Err(Failure::input(format!(
                "processing.mask is {} x {} px, but the truth in {} is {width} x {height} px; give the mask of this picture",
                mask.ncols(),
                mask.nrows(),
                self.file.display()
            )));
        }
        let mut truth = VectorTruth::new(grid, processing.weighting, 1, |x, y| match &self.valid {
            Some(valid) if !vectors::all_around(valid, x, y) => [f64::NAN; 2],
            _ => vectors::interpolate(&self.field, x, y),
        });
        for (vector, truth) in vectors.iter().zip(&mut truth.point_px) {
            let at = [vector.y_px.round() as usize, vector.x_px.round() as usize];
            if masked.is_some_and(|mask| mask[at]) {
                *truth = [f64::NAN; 2];
            }
        }
        Ok(truth)
    }
}

/// A directory with truths, and the manifest of the `render` that made it.
struct RenderedPair<'a> {
    directory: &'a Path,
    manifest: Option<Manifest>,
}

impl RenderedPair<'_> {
    /// The files of truth in the directory: those that the manifest lists, with their content
    /// checked; all, where there is no manifest.
    fn truths(&self) -> Result<Vec<FileHash>, Failure> {
        let is_truth = |name: &str| {
            let number = name.strip_prefix("truth-").and_then(|n| n.strip_suffix(".npy"));
            number.is_some_and(|n| n.parse::<u32>().is_ok())
        };
        let Some(manifest) = &self.manifest else {
            let files = list(self.directory, "npy")?;
            let names = files.iter().filter_map(|path| path.file_name()?.to_str());
            return names
                .filter(|name| is_truth(name))
                .map(|name| {
                    let path = self.directory.join(name);
                    Ok(FileHash {
                        path: name.to_owned(),
                        ..hash(&path)?
                    })
                })
                .collect();
        };
        let written = manifest.files_written.iter();
        let truths: Vec<FileHash> = written.filter(|file| is_truth(&file.path)).cloned().collect();
        match truths.is_empty() && !manifest.finished {
            true => Err(Failure::input(format!(
                "{}: its rendering was stopped and is not finished; continue it with --resume",
                self.directory.display()
            ))),
            false => Ok(truths),
        }
    }

    /// The truth that all vectors are of, or one for each.
    fn truths_of(&self, vectors: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
        let truths = self.truths()?;
        let Some(first) = truths.first() else {
            return Err(Failure::input(format!(
                "{}: holds no truth-00000.npy; give the directory that `render` wrote, or the file of a truth",
                self.directory.display()
            )));
        };
        // The flow does not change from pair to pair; in a series it may from frame to frame.
        if truths.iter().all(|truth| truth.sha256 == first.sha256) {
            return Ok(vec![self.checked(first)?]);
        }
        // What somebody put together without a manifest is taken in the order of its names.
        if self.manifest.is_none() {
            if truths.len() != vectors.len() {
                return Err(Failure::input(format!(
                    "{}: its {} fields of true displacement differ, but {} files of vectors are given: give as many, in the order of the pairs, or name one with --truth {}",
                    self.directory.display(),
                    truths.len(),
                    vectors.len(),
                    self.directory.join(&first.path).display()
                )));
            }
            return truths.iter().map(|truth| self.checked(truth)).collect();
        }
        let mut own_truths: Vec<&FileHash> = Vec::new();
        for path in vectors {
            let own = self.frame_of(path).and_then(|k| {
                let name = format!("truth-{k:05}.npy");
                truths.iter().find(|truth| truth.path == name)
            });
            let Some(own) = own else {
                return Err(Failure::input(format!(
                    "{}: holds the truths of {} pairs of frames, which differ, and nothing says of which {} are the vectors; name the file, such as --truth {}",
                    self.directory.display(),
                    truths.len(),
                    path.display(),
                    self.directory.join(&first.path).display()
                )));
            };
            own_truths.push(own);
        }
        own_truths.dedup_by(|a, b| a.sha256 == b.sha256);
        // One truth of all, or as many as there are vectors.
        if own_truths.len() > 1 && own_truths.len() < vectors.len() {
            return Err(Failure::input(format!(
                "{}: some of the vectors share a true displacement and some do not; score those of one displacement together, or each by itself",
                self.directory.display()
            )));
        }
        own_truths.into_iter().map(|truth| self.checked(truth)).collect()
    }

    /// The frame of the series from which vectors were measured to the next, as the manifest beside
    /// them tells.
    fn frame_of(&self, vectors: &Path) -> Option<u32> {
        let text = motefield_files::read_text(&manifest_of(vectors)).ok()?;
        let measured = Manifest::parse(&text)?;
        let content = Disk::default().content(vectors).ok()?;
        let theirs = measured.files_written.iter().any(|f| f.sha256 == content.sha256);
        let frames: Vec<FileHash> = serde_json::from_value(measured.asked.get("frames")?.clone()).ok()?;
        let [a, b] = frames.first_chunk()?;
        let number = |frame: &FileHash| -> Option<u32> {
            let written = &self.manifest.as_ref()?.files_written;
            let name = &written.iter().find(|f| f.sha256 == frame.sha256)?.path;
            name.strip_prefix("frame-")?.split('.').next()?.parse().ok()
        };
        let (first, next) = (number(a)?, number(b)?);
        (theirs && frames.len() == 2 && next == first + 1).then_some(first)
    }

    /// Where a file stands that the manifest lists.
    fn checked(&self, file: &FileHash) -> Result<PathBuf, Failure> {
        let path = self.directory.join(&file.path);
        match hash(&path)?.sha256 == file.sha256 {
            true => Ok(path),
            false => Err(Failure::input(format!(
                "{}: is not the file that manifest.json beside it lists; render it anew, or name it as --truth {}",
                path.display(),
                path.display()
            ))),
        }
    }

    /// Where the truth in `file` holds, if the manifest lists both.
    fn valid(&self, file: &Path) -> Result<Option<PathBuf>, Failure> {
        let written = self.manifest.iter().flat_map(|manifest| &manifest.files_written);
        let sha256 = hash(file)?.sha256;
        let its_own = written.clone().any(|listed| listed.sha256 == sha256);
        if let Some(valid) = written.clone().find(|f| f.path == VALID).filter(|_| its_own) {
            return self.checked(valid).map(Some);
        }
        let path = self.directory.join(VALID);
        if path.exists() {
            say(&format!(
                "{} is not used: no manifest says that it belongs to {}. If it does, give it as --valid.",
                path.display(),
                file.display()
            ));
        }
        Ok(None)
    }
}
