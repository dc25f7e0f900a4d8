//! The frames of a recording: files, pages of files, folders; read one at a time.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use crate::FileError;
use crate::picture::{GreyPicture, Reading};

/// The frames of a recording in their order, A B A B ...; only their places are held in memory.
#[derive(Debug, Clone)]
pub struct Series {
    reading: Reading,
    /// Each file with the number of a frame in it and of all frames in it.
    frames: Vec<(PathBuf, [usize; 2])>,
}

/// Extensions of pictures in a folder.
const EXTENSIONS: [&str; 4] = ["tif", "tiff", "png", "bmp"];

/// The files in `paths`, of a folder its pictures in the order of their names, where numbers count
/// as numbers; none is read.
///
/// # Errors
/// When a folder cannot be listed or holds no picture.
pub fn picture_files(paths: &[PathBuf], reading: &Reading) -> Result<Vec<PathBuf>, FileError> {
    let each = paths.iter().map(|path| files_of(path, reading));
    Ok(each.collect::<Result<Vec<_>, _>>()?.concat())
}

impl Series {
    /// The frames in `paths`: a file gives all that it holds, a folder those of its files in the
    /// order of their names, where numbers count as numbers.
    ///
    /// # Errors
    /// When there is no such file, it is no picture, or a folder holds none.
    pub fn open(paths: &[PathBuf], reading: Reading) -> Result<Series, FileError> {
        let mut frames = Vec::new();
        for file in picture_files(paths, &reading)? {
            let count = reading.count(&file, &mut source(&file)?)?;
            frames.extend((0..count).map(|k| (file.clone(), [k, count])));
        }
        Ok(Series { reading, frames })
    }

    /// Number of frames.
    pub fn len(&self) -> usize {
        self.frames.len()
    }

    /// Whether there is no frame.
    pub fn is_empty(&self) -> bool {
        self.frames.is_empty()
    }

    /// The files, each once.
    pub fn files(&self) -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = self.frames.iter().map(|(file, _)| file.clone()).collect();
        files.dedup();
        files
    }

    /// What to call frame `k`, counted from 0.
    pub fn name(&self, k: usize) -> String {
        match &self.frames[k] {
            (file, [_, 1]) => file.display().to_string(),
            (file, [number, _]) => format!("frame {} of {}", number + 1, file.display()),
        }
    }

    /// Reads frame `k`, counted from 0.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn frame(&self, k: usize) -> Result<GreyPicture, FileError> {
        let (file, [number, _]) = &self.frames[k];
        self.reading.frame(file, &mut source(file)?, *number)
    }

    /// Reads frame A and frame B of pair `k`, counted from 0.
    ///
    /// # Errors
    /// When they cannot be read, or are of another size or depth of grey levels than the first
    /// frame.
    pub fn pair(&self, k: usize) -> Result<[GreyPicture; 2], FileError> {
        let pair = [self.frame(2 * k)?, self.frame(2 * k + 1)?];
        let about = |frame: &GreyPicture| {
            let (height, width) = frame.pixels.dim();
            format!("{width} x {height} px of {}", frame.depth)
        };
        let usual = match k {
            0 => about(&pair[0]),
            _ => about(&self.frame(0)?),
        };
        for (i, frame) in pair.iter().enumerate() {
            if about(frame) != usual {
                let (file, _) = &self.frames[2 * k + i];
                let why = format!(
                    "{} has {}, but {} has {usual}: give the frames of one camera as it wrote them",
                    self.name(2 * k + i),
                    about(frame),
                    self.name(0)
                );
                return Err(FileError::unusable(file, why));
            }
        }
        Ok(pair)
    }
}

fn source(path: &Path) -> Result<BufReader<File>, FileError> {
    let about = std::fs::metadata(path).map_err(|e| FileError::of(path, "read", e))?;
    if !about.is_file() {
        return Err(FileError::unusable(path, "is not a file"));
    }
    let file = File::open(path).map_err(|e| FileError::of(path, "read", e))?;
    Ok(BufReader::with_capacity(1 << 16, file))
}

fn files_of(path: &Path, reading: &Reading) -> Result<Vec<PathBuf>, FileError> {
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let entries = std::fs::read_dir(path).map_err(|e| FileError::of(path, "list", e))?;
    let is_picture = |file: &PathBuf| {
        let extension = file.extension().and_then(|e| e.to_str()).unwrap_or("");
        let is = |known: &str| extension.eq_ignore_ascii_case(known);
        EXTENSIONS.into_iter().any(is) || (reading.raw.is_some() && is("raw"))
    };
    let files = entries.filter_map(|entry| Some(entry.ok()?.path()));
    let mut files: Vec<PathBuf> = files.filter(|file| file.is_file() && is_picture(file)).collect();
    files.sort_by_cached_key(|file| natural(&file.file_name().unwrap_or_default().to_string_lossy()));
    match files.is_empty() {
        true => Err(FileError::unusable(
            path,
            "holds no picture (*.tif, *.tiff, *.png, *.bmp, and *.raw where its layout is stated)",
        )),
        false => Ok(files),
    }
}

/// A name in pieces that sort as people count: frame2 before frame10.
fn natural(name: &str) -> Vec<(u64, String)> {
    let digit = |c: &char| c.is_ascii_digit();
    let characters: Vec<char> = name.chars().collect();
    let pieces = characters.chunk_by(|a, b| digit(a) == digit(b));
    pieces
        .map(|piece| {
            let text: String = piece.iter().collect();
            (text.parse().unwrap_or(u64::MAX), text)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_sort_as_people_count() {
        let mut names = ["b10.tif", "b9.tif", "b09b.tif", "a.tif"];
        names.sort_by_cached_key(|name| natural(name));
        assert_eq!(names, ["a.tif", "b09b.tif", "b9.tif", "b10.tif"]);
    }
}
