//! `correlate`

mod each;

use std::path::{Path, PathBuf};

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::uncertainty::{Estimator, cautions, estimate};
use motefield_evaluator::{Processing, correlate_ensemble};
use motefield_files::picture::GreyPicture;
use motefield_files::{self as files, Disk, FileSource};
use motefield_report::vectors;
use motefield_rig::setup::{Document, Referenced, Setup};
use motefield_study::caveat::Caveat;
use motefield_study::manifest::{EffectiveSetup, FileHash, Manifest};
use ndarray::Array2;
use serde_json::json;

use crate::arguments::{PictureArguments, changed};
use crate::output::{print, print_json};

#[derive(Args)]
pub struct CorrelateCommand {
    /// Frame A and frame B of a pair, pictures of the same size: TIFF, PNG, BMP or raw; the frames
    /// of several pairs of a steady flow, A B A B ..., are correlated together (ensemble
    /// correlation); a TIFF of two pages is a pair, and a folder stands for its pictures in the
    /// order of their names
    #[arg(required = true, num_args = 1.., value_names = ["A", "B"])]
    frames: Vec<PathBuf>,
    #[command(flatten)]
    pictures: PictureArguments,
    /// Measures each pair by itself, into vectors-00000.csv and so on in this directory, with mean
    /// and fluctuation over all and their standard uncertainties in mean.csv; pairs are read one
    /// after the other
    #[arg(long, value_name = "DIR", conflicts_with_all = ["out", "json"])]
    each: Option<PathBuf>,
    /// Setup whose [processing] is used; the default processing if none is given
    #[arg(long)]
    setup: Option<PathBuf>,
    /// Changes a key of the setup; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
    /// Adds the standard uncertainty of each vector, u_x_px and u_y_px, by correlation-statistics,
    /// particle-disparity or peak-ratio, and says where these are known to be wrong
    #[arg(long, value_name = "ESTIMATOR")]
    uncertainty: Option<Estimator>,
    /// File for the vectors; its manifest stands beside it (vectors.csv.manifest.json)
    #[arg(long, default_value = "vectors.csv")]
    out: PathBuf,
    /// Overwrites existing files
    #[arg(long)]
    force: bool,
    /// Prints the vectors as JSON
    #[arg(long)]
    json: bool,
}

/// The processing of a setup, or the default with changes.
pub fn processing(setup: Option<&Path>, changes: &[String]) -> Result<ReadProcessing, Failure> {
    let mut files_read = Vec::new();
    let document = match setup {
        Some(path) => {
            let (name, text) = (path.display().to_string(), files::read_text(path)?);
            files_read.push(FileHash::of(name.clone(), text.as_str()));
            Document::parse(&name, &text)?
        }
        None => Document::parse("the processing", "")?,
    };
    let document = changed(document, changes)?;
    let referenced = Referenced::on_disk();
    let processing = Setup::read_processing(&document, &referenced)?;
    files_read.extend(FileHash::of_source(referenced.files()));
    Ok(ReadProcessing {
        processing,
        setup: EffectiveSetup::of(&document),
        files_read,
    })
}

/// A processing, and from what it was read.
pub struct ReadProcessing {
    pub processing: Processing,
    pub setup: EffectiveSetup,
    pub files_read: Vec<FileHash>,
}

/// Where the manifest of a file of vectors stands.
pub fn manifest_of(vectors: &Path) -> PathBuf {
    let mut name = vectors.file_name().unwrap_or_default().to_owned();
    name.push(".manifest.json");
    vectors.with_file_name(name)
}

impl CorrelateCommand {
    /// The frames in their order, each with what to call it; a file of several pages holds as many.
    fn images(&self, files_read: &mut Vec<FileHash>) -> Result<Vec<(String, GreyPicture)>, Failure> {
        let mut images: Vec<(String, GreyPicture)> = Vec::new();
        for path in &self.pictures.files(&self.frames)? {
            let content = Disk::default().content(path)?;
            files_read.push(FileHash {
                path: path.display().to_string(),
                sha256: content.sha256.clone(),
            });
            let pages = self.pictures.pages(path, &content.bytes)?;
            let many = pages.len() > 1;
            if many && (!images.len().is_multiple_of(2) || !pages.len().is_multiple_of(2)) {
                return Err(Failure::input(format!(
                    "{} holds {} pictures, and it is not clear which are frame A and which frame B of a pair: give files of one picture, or of pairs",
                    path.display(),
                    pages.len()
                )));
            }
            for (k, page) in pages.into_iter().enumerate() {
                let name = match many {
                    true => format!("page {} of {}", k + 1, path.display()),
                    false => path.display().to_string(),
                };
                images.push((name, page));
            }
        }
        if !images.len().is_multiple_of(2) {
            return Err(Failure::input(format!(
                "{} pictures are given, an odd number: give frame A and frame B of each pair",
                images.len()
            )));
        }
        Ok(images)
    }

    /// Refuses frames that cannot be those of one camera, and pairs that are given twice.
    fn check(&self, images: &[(String, GreyPicture)], processing: &Processing) -> Result<(), Failure> {
        let count = images.len() / 2;
        if processing.ensemble > 1 && processing.ensemble != count {
            return Err(Failure::input(format!(
                "processing.ensemble is {}, but the frames of {count} pairs are given: give as many, or leave the key out, as all pairs given are measured together",
                processing.ensemble
            )));
        }
        let (first_name, first) = &images[0];
        for (name, image) in images {
            if first.pixels.dim() != image.pixels.dim() {
                let size = |(height, width): (usize, usize)| format!("{width} x {height} px");
                return Err(Failure::input(format!(
                    "{first_name} is {} and {name} is {}: all frames must have the same size; give the frames of one camera",
                    size(first.pixels.dim()),
                    size(image.pixels.dim())
                )));
            }
            if first.depth != image.depth {
                return Err(Failure::input(format!(
                    "{first_name} has grey levels of {} and {name} of {}: give the frames as the camera wrote them, all of the same depth",
                    first.depth, image.depth
                )));
            }
        }
        let pairs: Vec<_> = images.chunks_exact(2).collect();
        for (k, pair) in pairs.iter().enumerate() {
            let same = |other: &&&[(String, GreyPicture)]| (0..2).all(|i| other[i].1 == pair[i].1);
            if let Some(before) = pairs[..k].iter().find(same) {
                return Err(Failure::input(format!(
                    "{} and {} are the same pair as {} and {}: measured together it would count twice; give each pair once",
                    pair[0].0, pair[1].0, before[0].0, before[1].0
                )));
            }
        }
        Ok(())
    }

    /// The pairs, all of one size.
    fn pairs(
        &self,
        processing: &Processing,
        files_read: &mut Vec<FileHash>,
    ) -> Result<Vec<[Array2<f32>; 2]>, Failure> {
        let images = self.images(files_read)?;
        self.check(&images, processing)?;
        let count = images.len() / 2;
        let mut images = images.into_iter().map(|(_, image)| image.pixels);
        let pair = |_| [(); 2].map(|()| images.next().expect("two frames per pair"));
        Ok((0..count).map(pair).collect())
    }

    pub fn run(&self) -> Result<Exit, Failure> {
        let read = processing(self.setup.as_deref(), &self.changes)?;
        if let Some(directory) = &self.each {
            return self.each(directory, read);
        }
        let ReadProcessing {
            processing,
            setup,
            mut files_read,
        } = read;
        let beside = manifest_of(&self.out);
        files::may_write(&self.out, self.force)?;
        files::may_write(&beside, self.force)?;
        let mut frames = Vec::new();
        let pairs = self.pairs(&processing, &mut frames)?;
        let views: Vec<_> = pairs.iter().map(|[a, b]| [a.view(), b.view()]).collect();
        let field = correlate_ensemble(&views, &processing).map_err(|e| {
            let [first, last] = [&self.frames[0], &self.frames[self.frames.len() - 1]].map(|p| p.display());
            let to = if pairs.len() > 1 { "to" } else { "and" };
            Failure::input(format!("processing of {first} {to} {last}: {e}"))
        })?;
        let uncertainties = match self.uncertainty {
            None => None,
            Some(_) if views.len() > 1 => {
                return Err(Failure::input(
                    "--uncertainty: the estimators are for single pairs; give the two frames of one",
                ));
            }
            Some(estimator) => Some(
                estimate(views[0][0], views[0][1], &field, &processing, estimator)
                    .map_err(|e| Failure::input(format!("--uncertainty {estimator}: {e}")))?,
            ),
        };
        let uncertainties = uncertainties.as_deref();
        let mut caveats = Caveat::of_frames(&views);
        caveats.extend(Caveat::of_field(&field));
        let cautions = self
            .uncertainty
            .map(|estimator| cautions(estimator, &field))
            .unwrap_or_default();
        let table = vectors::csv(&field, uncertainties, &caveats);
        let asked = json!({
            "frames": frames,
            "uncertainty": self.uncertainty.map(|estimator| estimator.to_string()),
        });
        files_read.extend(frames);
        let mut manifest = Manifest::new("correlate", asked).with_files(files_read);
        manifest.setup = Some(setup);
        manifest.finished = true;
        let name = self.out.file_name().unwrap_or_default().to_string_lossy();
        manifest.files_written = vec![FileHash::of(name, table.as_str())];
        files::write(&beside, manifest.text().as_bytes())?;
        files::write(&self.out, table.as_bytes())?;
        if self.json {
            print_json(&vectors::json(&field, uncertainties, &caveats, &cautions))?;
        } else {
            print(&format!(
                "{}, in {}\n{}",
                vectors::words(&field),
                self.out.display(),
                vectors::cautions_words(&cautions)
            ))?;
            for caveat in &caveats {
                print(&format!("  caution: {caveat}\n"))?;
            }
        }
        Ok(Exit::Done)
    }
}
