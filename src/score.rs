//! `score`

use std::path::{Path, PathBuf};

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::score::{ErrorSample, Errors, VectorTruth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::{Grid, Processing, Vector};
use motefield_files::npy;
use motefield_report::score as report;
use motefield_study::caveat::Caveat;
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
    /// True displacement as `render` writes it: the directory with truth-00000.npy, or the file
    /// itself
    #[arg(long)]
    truth: PathBuf,
    /// Setup whose [processing] was used: its final window averages the truth; the default
    /// processing if none is given
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
    /// Reads the file, or the first one in the directory.
    fn read(path: &Path) -> Result<Truth, Failure> {
        let file = match path.is_dir() {
            true => path.join("truth-00000.npy"),
            false => path.to_owned(),
        };
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
        let truth = Truth::read(&self.truth)?;
        let window = processing.passes.last().expect("at least one pass").window;
        let mut grid: Option<Grid> = None;
        let mut exact = None;
        let mut errors = Vec::new();
        let mut uncertainties = Vec::new();
        let mut read: Vec<Vec<Vector>> = Vec::new();
        for path in &self.vectors {
            let measured = vectors::read(path, window)?;
            if let Some(before) = read.iter().position(|vectors| *vectors == measured.vectors) {
                return Err(Failure::input(format!(
                    "{} holds the same vectors as {}: scored together they would count twice; give each pair once",
                    path.display(),
                    self.vectors[before].display()
                )));
            }
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
            exact = Some(at_vectors);
        }
        let (grid, exact) = grid.zip(exact).expect("at least one file");
        let fluid: Vec<bool> = exact.point_px.iter().map(|t| t[0].is_finite()).collect();
        let sample = ErrorSample {
            columns: grid.columns,
            reach: reach(&grid),
            pairs: &errors,
            part: Some(&fluid),
            confidence: Confidence::USUAL,
        };
        let score = sample.score();
        // Where all files carry uncertainties, these are compared with the errors.
        let trusted = (uncertainties.len() == errors.len()).then(|| {
            let of_pairs: Vec<&[[f64; 2]]> = uncertainties.iter().map(Vec::as_slice).collect();
            trust::trust(&sample, &of_pairs)
        });
        let figures = FurtherFigures::of(&sample, &exact, &score, truth.field.dim().2);
        let named = report::named(&score, &figures, trusted.as_ref());
        let caveats = Caveat::of_score(&score, grid.len() * errors.len());
        if self.json {
            print_json(&report::json(&score, &named, &caveats));
        } else {
            print(&report::words(&score, &named, &caveats));
        }
        Ok(Exit::Done)
    }
}
