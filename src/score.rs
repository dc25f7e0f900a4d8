//! `score`

mod truth;

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::Grid;
use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_report::score as report;
use motefield_study::caveat::Caveat;
use motefield_study::run::{FurtherFigures, trust};
use motefield_study::vectors;
use serde_json::json;
use truth::{Truth, hash};

use crate::correlate::{ReadProcessing, processing};
use crate::output::{print, print_json};

#[derive(Args)]
pub struct ScoreCommand {
    /// Files of vectors, one pair each, as `correlate` writes them
    #[arg(required = true)]
    vectors: Vec<PathBuf>,
    /// True displacement as `render` writes it: its directory, or the file of one pair. Where the
    /// truths of a directory differ, each file of vectors is judged by its own: as the manifests
    /// tell, or in their order where the directory has none
    #[arg(long)]
    truth: PathBuf,
    /// Where the truth holds: a bool array as NPY, false inside bodies; by default the valid.npy
    /// that the manifest beside the truth lists, if any
    #[arg(long, value_name = "FILE")]
    valid: Option<PathBuf>,
    /// Setup whose [processing] was used: its final window averages the truth for the figures
    /// window_..., which tell spatial resolution after one plain pass, but not after deforming ones;
    /// the default processing if none is given
    #[arg(long)]
    setup: Option<PathBuf>,
    /// Changes a key of the setup; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

impl ScoreCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        let ReadProcessing {
            processing,
            mut files_read,
            ..
        } = processing(self.setup.as_deref(), &self.changes)?;
        let truths = Truth::read_all(&self.truth, self.valid.as_deref(), &self.vectors)?;
        files_read.extend(truths.iter().flat_map(|truth| truth.files_read.iter().cloned()));
        let window = processing.passes.last().expect("at least one pass").window;
        let mut grid: Option<Grid> = None;
        let mut exact: Vec<VectorTruth> = Vec::new();
        let mut errors = Vec::new();
        let mut uncertainties = Vec::new();
        let mut read: Vec<Vec<motefield_evaluator::Vector>> = Vec::new();
        for (k, path) in self.vectors.iter().enumerate() {
            let truth = truths.get(k).unwrap_or(&truths[0]);
            let measured = vectors::read(path, window)?;
            if let Some(before) = read.iter().position(|vectors| *vectors == measured.vectors) {
                return Err(Failure::input(format!(
                    "{} holds the same vectors as {}: scored together they would count twice; give each pair once",
                    path.display(),
                    self.vectors[before].display()
                )));
            }
            files_read.push(hash(path)?);
            let grid = grid.get_or_insert_with(|| measured.grid.clone());
            if *grid != measured.grid {
                return Err(Failure::input(format!(
                    "{}: its vectors are on another grid than those of {}; score them separately",
                    path.display(),
                    self.vectors[0].display()
                )));
            }
            truth.holds(path, grid)?;
            let at_vectors = truth.at(grid, &measured.vectors, &processing)?;
            errors.push(Errors::of(&measured.vectors, &at_vectors));
            read.push(measured.vectors);
            uncertainties.extend(measured.uncertainties_px);
            exact.push(at_vectors);
        }
        let grid = grid.expect("at least one file");
        let in_fluid = |k: usize| exact.iter().all(|truth| truth.point_px[k][0].is_finite());
        let fluid: Vec<bool> = (0..grid.len()).map(in_fluid).collect();
        let sample = ErrorSample {
            columns: grid.columns,
            reach: reach(&grid),
            pairs: &errors,
            truths: match truths.len() {
                1 => Truths::Repeat,
                _ => Truths::Differ,
            },
            part: Some(&fluid),
            confidence: Confidence::USUAL,
        };
        let score = sample.score();
        // Where all files carry uncertainties, these are compared with the errors.
        let trusted = (uncertainties.len() == errors.len()).then(|| {
            let of_pairs: Vec<&[[f64; 2]]> = uncertainties.iter().map(Vec::as_slice).collect();
            trust::trust(&sample, &of_pairs)
        });
        let figures = FurtherFigures::of(&sample, &exact, &score, truths[0].field.dim().2);
        let named = report::named(&score, &figures, trusted.as_ref());
        let caveats = Caveat::of_score(&score, grid.len() * errors.len());
        if self.json {
            print_json(&{
                let mut json = report::json(&score, &named, &caveats);
                json["files_read"] = json!(files_read);
                json
            })?;
        } else {
            print(&report::words(&score, &named, &caveats))?;
        }
        Ok(Exit::Done)
    }
}
