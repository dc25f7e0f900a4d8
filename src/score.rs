//! `score`

use std::path::{Path, PathBuf};

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::{Grid, Processing, Vector};
use motefield_files::npy;
use motefield_report::score as report;
use motefield_study::run::{FurtherFigures, trust};
use motefield_study::vectors;
use ndarray::{Array2, Array3};

use crate::arguments::{print, print_json};
use crate::correlate::processing;

#[derive(Args)]
pub struct ScoreCommand {
    /// Files of vectors, one pair each, as `correlate` writes them
    #[arg(required = true)]
    vectors: Vec<PathBuf>,
    /// True displacement as `render` writes it: a file, or the directory with truth-00000.npy and
    /// so on. Where these differ from pair to pair, the files of vectors are taken in their order
    #[arg(long)]
    truth: PathBuf,
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

/// The true displacement with which vectors are compared.
struct Truth {
    file: PathBuf,
    /// Displacement along x and y, px: (2, height, width).
    field: Array3<f64>,
    /// Where the field holds; everywhere if there is none.
    valid: Option<Array2<bool>>,
}

impl Truth {
    /// Reads the file, or the first one in the directory; or all that are there, where they differ.
    fn read_all(path: &Path, pairs: usize) -> Result<Vec<Truth>, Failure> {
        if !path.is_dir() {
            return Ok(vec![Truth::read(path)?]);
        }
        let file = |k: usize| path.join(format!("truth-{k:05}.npy"));
        let first = Truth::read(&file(0))?;
        let mut truths = vec![first];
        while pairs > 1 && file(truths.len()).is_file() {
            truths.push(Truth::read(&file(truths.len()))?);
        }
        let same = |t: &Truth| t.field.dim() == truths[0].field.dim() && t.same(&truths[0]);
        if truths.iter().all(same) {
            truths.truncate(1);
        } else if truths.len() != pairs {
            return Err(Failure::input(format!(
                "{}: its {} fields of true displacement differ, but {pairs} files of vectors are given: give as many, in the order of the pairs",
                path.display(),
                truths.len()
            )));
        }
        Ok(truths)
    }

    /// Whether the displacements are the same, bit by bit (they are not numbers inside a body).
    fn same(&self, other: &Truth) -> bool {
        let mut both = self.field.iter().zip(&other.field);
        both.all(|(a, b)| a.to_bits() == b.to_bits())
    }

    fn read(file: &Path) -> Result<Truth, Failure> {
        let file = file.to_owned();
        let field = npy::read_field(&file)?;
        let valid = file.with_file_name("valid.npy");
        let valid = valid.is_file().then(|| npy::read_mask(&valid)).transpose()?;
        Ok(Truth { file, field, valid })
    }

    /// Refuses windows beyond the picture.
    fn holds(&self, path: &Path, grid: &Grid) -> Result<(), Failure> {
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

    /// At the windows of a grid. Vectors inside a body have no truth and do not count, nor do
    /// masked ones.
    fn at(&self, grid: &Grid, vectors: &[Vector], processing: &Processing) -> Result<VectorTruth, Failure> {
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

impl ScoreCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        let processing = processing(self.setup.as_deref(), &self.changes)?;
        let truths = Truth::read_all(&self.truth, self.vectors.len())?;
        let window = processing.passes.last().expect("at least one pass").window;
        let mut grid: Option<Grid> = None;
        let mut exact: Vec<VectorTruth> = Vec::new();
        let mut errors = Vec::new();
        let mut uncertainties = Vec::new();
        for (k, path) in self.vectors.iter().enumerate() {
            let truth = truths.get(k).unwrap_or(&truths[0]);
            let measured = vectors::read(path, window)?;
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
        if self.json {
            print_json(&report::json(&score, &named));
        } else {
            print(&report::words(&score, &named));
        }
        Ok(Exit::Done)
    }
}
