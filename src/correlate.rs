//! `correlate`

use std::path::{Path, PathBuf};

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::uncertainty::{Estimator, cautions, estimate};
use motefield_evaluator::{Processing, correlate_ensemble};
use motefield_files::{self as files, picture};
use motefield_report::vectors;
use motefield_rig::setup::{Document, Referenced, Setup};
use ndarray::Array2;

use crate::arguments::{changed, print, print_json};

#[derive(Args)]
pub struct CorrelateCommand {
    /// Frame A and frame B of a pair, grey TIFF or PNG of the same size; the frames of several
    /// pairs of a steady flow, A B A B ..., are correlated together (ensemble correlation)
    #[arg(required = true, num_args = 2.., value_names = ["A", "B"])]
    frames: Vec<PathBuf>,
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
    /// File for the vectors
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
pub fn processing(setup: Option<&Path>, changes: &[String]) -> Result<Processing, Failure> {
    let document = match setup {
        Some(path) => Document::parse(&path.display().to_string(), &files::read_text(path)?)?,
        None => Document::parse("the processing", "")?,
    };
    let document = changed(document, changes)?;
    Ok(Setup::read_processing(&document, &Referenced::on_disk())?)
}

impl CorrelateCommand {
    /// The pairs, all of one size.
    fn pairs(&self, processing: &Processing) -> Result<Vec<[Array2<f32>; 2]>, Failure> {
        if !self.frames.len().is_multiple_of(2) {
            return Err(Failure::input(format!(
                "{} pictures are given, an odd number: give frame A and frame B of each pair",
                self.frames.len()
            )));
        }
        let count = self.frames.len() / 2;
        if processing.ensemble > 1 && processing.ensemble != count {
            return Err(Failure::input(format!(
                "processing.ensemble is {}, but the frames of {count} pairs are given: give as many, or leave the key out, as all pairs given are measured together",
                processing.ensemble
            )));
        }
        let mut images = Vec::new();
        for path in &self.frames {
            images.push(picture::read(path)?);
            let (first, image) = (images[0].dim(), images[images.len() - 1].dim());
            if first != image {
                let size = |(height, width): (usize, usize)| format!("{width} x {height} px");
                return Err(Failure::input(format!(
                    "{} is {} and {} is {}: all frames must have the same size; give the frames of one camera",
                    self.frames[0].display(),
                    size(first),
                    path.display(),
                    size(image)
                )));
            }
        }
        let mut images = images.into_iter();
        let pair = |_| [(); 2].map(|()| images.next().expect("two frames per pair"));
        Ok((0..count).map(pair).collect())
    }

    pub fn run(&self) -> Result<Exit, Failure> {
        let processing = processing(self.setup.as_deref(), &self.changes)?;
        files::may_write(&self.out, self.force)?;
        let pairs = self.pairs(&processing)?;
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
        let cautions = self
            .uncertainty
            .map(|estimator| cautions(estimator, &field))
            .unwrap_or_default();
        files::write(&self.out, vectors::csv(&field, uncertainties).as_bytes())?;
        if self.json {
            print_json(&vectors::json(&field, uncertainties, &cautions));
        } else {
            print(&format!(
                "{}, in {}\n{}",
                vectors::words(&field),
                self.out.display(),
                vectors::cautions_words(&cautions)
            ));
        }
        Ok(Exit::Done)
    }
}
