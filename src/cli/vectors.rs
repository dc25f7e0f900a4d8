//! `correlate` and `score`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use motefield::failure::Failure;
use motefield::files;
use motefield::plan::short;
use motefield::setup::Setup;
use motefield::study::{Figures, trust};
use motefield::vectors;
use motefield_evaluator::score::{ErrorSample, Errors, VectorTruth, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::uncertainty::{Estimator, estimate};
use motefield_evaluator::{Processing, correlate_ensemble};
use ndarray::Array2;
use serde_json::json;

use super::{print, print_json};

#[derive(Args)]
pub struct Correlate {
    /// Frame A and frame B of a pair, grey TIFF or PNG of one size; the frames of several pairs of a steady flow, A B A B ..., are measured
    /// together (ensemble correlation)
    #[arg(required = true, num_args = 2.., value_names = ["A", "B"])]
    frames: Vec<PathBuf>,
    /// Setup whose [processing] is used; the default processing if none is named
    #[arg(long)]
    setup: Option<PathBuf>,
    /// Another value for a key of the setup, as KEY=VALUE; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
    /// Adds each vector's standard uncertainty, u_x_px and u_y_px: correlation-statistics, particle-disparity or peak-ratio
    #[arg(long, value_name = "ESTIMATOR")]
    uncertainty: Option<Estimator>,
    /// File for the vectors
    #[arg(long, default_value = "vectors.csv")]
    out: PathBuf,
    /// Overwrites what is there
    #[arg(long)]
    force: bool,
    /// Prints the vectors as JSON
    #[arg(long)]
    json: bool,
}

/// The processing of a setup, or the default with changes.
fn processing(setup: Option<&Path>, changes: &[String]) -> Result<Processing, Failure> {
    use motefield::source::Source;
    Ok(match setup {
        Some(path) => Source::open(Some(path), changes)?.setup()?.processing,
        None => {
            let source = Source {
                name: "the command line".to_owned(),
                text: "[flow]\nkind = \"uniform\"\nvelocity = [\"0 px\", \"0 px\"]\n".to_owned(),
                changes: Source::open(None, changes)?.changes,
            };
            let setup: Setup = source.setup()?;
            setup.processing
        }
    })
}

impl Correlate {
    /// The pairs, all of one size.
    fn pairs(&self, processing: &Processing) -> Result<Vec<[Array2<f32>; 2]>, Failure> {
        if !self.frames.len().is_multiple_of(2) {
            return Err(Failure::input(format!(
                "{} pictures are given, which are no whole pairs: give frame A and frame B of each",
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
            images.push(files::read_image(path)?);
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
        let pair = |_| [(); 2].map(|()| images.next().expect("two frames a pair"));
        Ok((0..count).map(pair).collect())
    }

    pub fn run(&self) -> Result<ExitCode, Failure> {
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
        files::write(
            &self.out,
            vectors::csv(&field, uncertainties.as_deref()).as_bytes(),
        )?;
        let valid = field
            .vectors
            .iter()
            .filter(|v| v.status == motefield_evaluator::VectorStatus::Valid)
            .count();
        if self.json {
            print_json(&json!({
                "schema": "motefield-vectors/1",
                "columns": field.columns,
                "rows": field.rows,
                "window_px": field.window,
                "spacing_px": field.spacing,
                "vectors": field.vectors.iter().enumerate().map(|(k, v)| {
                    let mut one = json!({ "x_px": v.x_px, "y_px": v.y_px, "dx_px": v.dx_px, "dy_px": v.dy_px, "peak_ratio": v.peak_ratio, "status": v.status.as_str() });
                    if let Some(all) = &uncertainties {
                        one["u_x_px"] = json!(all[k][0]);
                        one["u_y_px"] = json!(all[k][1]);
                    }
                    one
                }).collect::<Vec<_>>(),
            }));
        } else {
            print(&format!(
                "{} vectors, {valid} of them valid, in {}\n",
                field.vectors.len(),
                self.out.display()
            ));
        }
        Ok(ExitCode::SUCCESS)
    }
}

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
    pub fn run(&self) -> Result<ExitCode, Failure> {
        let processing = processing(self.setup.as_deref(), &self.changes)?;
        let file = if self.truth.is_dir() {
            self.truth.join("truth-00000.npy")
        } else {
            self.truth.clone()
        };
        let truth = files::read_npy(&file)?;
        let mask = file.with_file_name("valid.npy");
        let mask = if mask.is_file() {
            Some(files::read_npy_mask(&mask)?)
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
            .chain(Figures::of(&sample, &exact, &score, width_px).named())
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
        Ok(ExitCode::SUCCESS)
    }
}
