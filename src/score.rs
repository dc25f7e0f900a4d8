//! `score`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::score::{ErrorSample, Errors, VectorTruth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_files::npy;
use motefield_rig::quantity::short;
use motefield_study::run::{FurtherFigures, trust};
use motefield_study::vectors;
use serde_json::json;

use crate::arguments::{print, print_json};
use crate::correlate::processing;

#[derive(Args)]
pub struct Score {
    /// Vectors of one pair each, as `correlate` writes them
    #[arg(required = true)]
    vectors: Vec<PathBuf>,
    /// Directory with the truth that `render` wrote (truth-00000.npy), or such a file
    #[arg(long)]
    truth: PathBuf,
    /// Setup with the [processing] that was used: its final window averages the truth; the default processing if none is named
    #[arg(long)]
    setup: Option<PathBuf>,
    /// Another value for a key of the setup, as KEY=VALUE; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

impl Score {
    pub fn run(&self) -> Result<Exit, Failure> {
        let processing = processing(self.setup.as_deref(), &self.changes)?;
        let file = if self.truth.is_dir() {
            self.truth.join("truth-00000.npy")
        } else {
            self.truth.clone()
        };
        let truth = npy::read_field(&file)?;
        let mask = file.with_file_name("valid.npy");
        let mask = if mask.is_file() {
            Some(npy::read_mask(&mask)?)
        } else {
            None
        };
        let window = processing.passes.last().expect("at least one pass").window;
        let mut grid = None;
        let mut errors = Vec::new();
        let mut uncertainties = Vec::new();
        let mut exact = None;
        // Vectors inside a body have no truth and do not count, nor do masked ones.
        let mut fluid = Vec::new();
        for path in &self.vectors {
            let vectors::Measured {
                vectors,
                uncertainties_px,
                grid: found,
            } = vectors::read(path, window)?;
            let grid = grid.get_or_insert_with(|| found.clone());
            if *grid != found {
                return Err(Failure::input(format!(
                    "{}: its vectors stand on another grid than those of {}; score them apart",
                    path.display(),
                    self.vectors[0].display()
                )));
            }
            let (_, height, width) = truth.dim();
            if vectors::end(&found)
                .iter()
                .zip([width, height])
                .any(|(end, size)| *end > size)
            {
                return Err(Failure::input(format!(
                    "{}: its windows of {} x {} px reach beyond the {width} x {height} px of {}; name the setup whose processing was used with --setup",
                    path.display(),
                    window[0],
                    window[1],
                    file.display()
                )));
            }
            let masked = processing.preparation.mask.as_ref();
            if let Some(mask) = masked.filter(|mask| mask.dim() != (height, width)) {
                return Err(Failure::input(format!(
                    "processing.mask is {} x {} px, but the truth in {} is {width} x {height} px; give the mask of this picture",
                    mask.ncols(),
                    mask.nrows(),
                    file.display()
                )));
            }
            let mut truth = VectorTruth::new(&found, processing.weighting, 1, |x, y| match &mask {
                Some(mask) if !vectors::all_around(mask, x, y) => [f64::NAN; 2],
                _ => vectors::interpolate(&truth, x, y),
            });
            for (vector, truth) in vectors.iter().zip(&mut truth.point_px) {
                if masked
                    .is_some_and(|mask| mask[[vector.y_px.round() as usize, vector.x_px.round() as usize]])
                {
                    *truth = [f64::NAN; 2];
                }
            }
            errors.push(Errors::of(&vectors, &truth));
            uncertainties.extend(uncertainties_px);
            fluid = truth.point_px.iter().map(|t| t[0].is_finite()).collect();
            exact = Some(truth);
        }
        let grid = grid.expect("at least one file");
        let sample = ErrorSample {
            columns: grid.columns,
            reach: reach(&grid),
            pairs: &errors,
            part: Some(&fluid),
            confidence: Confidence::USUAL,
        };
        let score = sample.score();
        let exact = exact.expect("at least one file");
        // Where all files carry uncertainties, these are held against the errors.
        let trusted = (uncertainties.len() == errors.len()).then(|| {
            let of_pairs: Vec<&[[f64; 2]]> = uncertainties.iter().map(Vec::as_slice).collect();
            trust::trust(&sample, &of_pairs)
        });
        let width_px = truth.dim().2;
        let mut value = json!({
            "schema": "motefield-score/1",
            "version": env!("CARGO_PKG_VERSION"),
            "pairs": score.pairs,
            "vectors": score.vectors,
            "effective_vectors": score.effective_vectors,
        });
        let mut lines = String::new();
        let figures = [("", &score.point), ("window_", &score.window)]
            .into_iter()
            .flat_map(|(prefix, parts)| {
                ["x", "y"]
                    .into_iter()
                    .zip(parts)
                    .map(move |(axis, c)| (prefix, axis, c))
            })
            .flat_map(|(prefix, axis, c)| {
                [
                    ("bias", c.bias_px),
                    ("random", c.random_px),
                    ("total", c.total_px),
                ]
                .map(|(what, e)| (format!("{prefix}{what}_{axis}_px"), e))
            })
            .chain([
                ("total_px".to_owned(), score.total_px),
                ("outliers".to_owned(), score.outliers),
            ])
            .chain(FurtherFigures::of(&sample, &exact, &score, width_px).named())
            .chain(trusted.iter().flat_map(|both| {
                ["x", "y"]
                    .into_iter()
                    .zip(both)
                    .flat_map(|(axis, of)| trust::named(of).map(|(name, e)| (format!("{name}_{axis}"), e)))
            }));
        for (name, e) in figures {
            lines.push_str(&format!(
                "  {name:<20} {:>10}   95 %: {} to {}\n",
                short(e.value),
                short(e.lo),
                short(e.hi)
            ));
            value[name] = json!({ "value": e.value, "lo": e.lo, "hi": e.hi });
        }
        if self.json {
            print_json(&value);
        } else {
            print(&format!(
                "{} vectors of {} pairs, worth {} independent ones; measured - true:\n{lines}",
                score.vectors,
                score.pairs,
                short(score.effective_vectors)
            ));
        }
        Ok(Exit::Done)
    }
}
