//! `score`: vectors of this program or of any other against the truth.

mod truth;

use std::borrow::Cow;
use std::path::{Path, PathBuf};

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_evaluator::conventions::{Claim, Explanation, Mistake, PlacedVectors, TruthAt, diagnose};
use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, fractions, reach};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::{Grid, Processing, Vector, VectorStatus};
use motefield_files::table::Table;
use motefield_files::{Disk, FileSource};
use motefield_report::score as report;
use motefield_report::{explanation, score_picture};
use motefield_study::caveat::Caveat;
use motefield_study::folder::{Names, Start};
use motefield_study::manifest::Manifest;
use motefield_study::own_vectors::{self, Lattice, thinned};
use motefield_study::run::{FurtherFigures, trust};
use motefield_study::vectors;
use serde_json::{Value, json};
use truth::{Truth, hash};

use crate::arguments::FolderArguments;
use crate::correlate::{ReadProcessing, processing};
use crate::output::{print, print_json};
use crate::own_vectors::VectorArguments;

#[derive(Args)]
pub struct ScoreCommand {
    /// Files of vectors, one pair each: as `correlate` writes them, or of any other program as
    /// delimited text, NPY, NPZ or VTK
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
    /// window_..., which tell spatial resolution after one plain pass, but not after deforming
    /// ones; the default processing if none is given
    #[arg(long)]
    setup: Option<PathBuf>,
    /// Changes a key of the setup; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
    /// Directory for errors.csv, score.json, score.svg (error map, distribution, peak locking) and
    /// manifest.json
    #[arg(long)]
    out: Option<PathBuf>,
    #[command(flatten)]
    folder: FolderArguments,
    #[command(flatten)]
    written: VectorArguments,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

/// Classes of the fractions of displacements.
const FRACTION_CLASSES: usize = 20;

/// Vectors of all pairs with their errors, in the cells of a grid.
struct Scored {
    columns: usize,
    reach: [usize; 2],
    errors: Vec<Errors>,
    exact: Vec<VectorTruth>,
    /// Which cells count.
    part: Vec<bool>,
    uncertainties: Vec<Vec<[f64; 2]>>,
    /// Where the cells' vectors stand, px; `NaN` in empty cells.
    at_px: Vec<[f64; 2]>,
    /// Vectors that were read, of all pairs, and every which of them is scored along x and y.
    read: usize,
    every: usize,
    /// Whether the window is known, so that there is a truth averaged over it.
    windows: bool,
    /// Vectors as read, px, of each pair, for [`diagnose`].
    placed: Vec<PlacedVectors>,
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
        for path in &self.vectors {
            files_read.push(hash(path)?);
        }
        let scored = match self.foreign()? {
            true => self.any_program(&truths)?,
            false => self.own_program(&truths, &processing)?,
        };
        let sample = ErrorSample {
            columns: scored.columns,
            reach: scored.reach,
            pairs: &scored.errors,
            truths: match truths.len() {
                1 => Truths::Repeat,
                _ => Truths::Differ,
            },
            part: Some(&scored.part),
            confidence: Confidence::USUAL,
        };
        let score = sample.score();
        // Where all files carry uncertainties, these are compared with the errors.
        let trusted = (scored.uncertainties.len() == scored.errors.len())
            .then(|| trust::trust(&sample, |pair| Cow::Borrowed(&scored.uncertainties[pair][..])));
        let width = truths[0].size_px()[0];
        let figures = FurtherFigures::of(&sample, &scored.exact, &score, width, None);
        let mut named = report::named(&score, &figures, trusted.as_ref());
        if !scored.windows {
            named.retain(|(name, _)| !name.starts_with("window_"));
        }
        let caveats = Caveat::of_score(&score, scored.read / scored.every.pow(2));
        let explained = self.explain(&scored, &truths);
        let files: Vec<&Path> = truths.iter().map(Truth::file).collect();
        // Every mistake has a remedy once the options are understood, as they were above.
        let remedy = |m: &Mistake| self.written.remedy(m, &files).unwrap_or_default();
        let mut json = report::json(&score, &named, &caveats);
        json["files_read"] = json!(files_read);
        json["explanation"] = explanation::json(explained.as_ref(), &remedy);
        if scored.every > 1 {
            json["every"] = json!(scored.every);
        }
        if self.out.is_some() {
            let manifest = Manifest::new("score", self.written.asked()?).with_files(files_read);
            self.write(&scored, &sample, truths[0].size_px(), &json, manifest)?;
        }
        if self.json {
            print_json(&json)?;
            return Ok(Exit::Done);
        }
        print(&report::words(&score, &named, &caveats))?;
        if scored.every > 1 {
            print(&format!(
                "Of so dense a field every {}th vector along x and y is scored.\n",
                scored.every
            ))?;
        }
        if let Some(explained) = &explained {
            print(&explanation::words(explained, &remedy))?;
        }
        Ok(Exit::Done)
    }

    /// Whether the vectors are another program's: their file begins otherwise than this program's,
    /// or it is said how they are written.
    fn foreign(&self) -> Result<bool, Failure> {
        let content = Disk::default().content(&self.vectors[0])?;
        Ok(self.written.any() || !content.bytes.starts_with(vectors::COLUMNS.join(",").as_bytes()))
    }

    /// Refuses vectors that are given twice.
    fn once<T: PartialEq>(&self, read: &[T], now: &T) -> Result<(), Failure> {
        match read.iter().position(|before| before == now) {
            None => Ok(()),
            Some(before) => Err(Failure::input(format!(
                "{} holds the same vectors as {}: scored together they would count twice; give each pair once",
                self.vectors[read.len()].display(),
                self.vectors[before].display()
            ))),
        }
    }

    fn other_grid(&self, path: &Path) -> Failure {
        Failure::input(format!(
            "{}: its vectors are on another grid than those of {}; score them separately",
            path.display(),
            self.vectors[0].display()
        ))
    }

    /// Vectors as `correlate` writes them.
    fn own_program(&self, truths: &[Truth], processing: &Processing) -> Result<Scored, Failure> {
        let window = processing.passes.last().expect("at least one pass").window;
        let mut grid: Option<Grid> = None;
        let mut exact: Vec<VectorTruth> = Vec::new();
        let (mut errors, mut uncertainties) = (Vec::new(), Vec::new());
        let mut read: Vec<Vec<Vector>> = Vec::new();
        for (k, path) in self.vectors.iter().enumerate() {
            let truth = truths.get(k).unwrap_or(&truths[0]);
            let measured = vectors::read(path, window)?;
            self.once(&read, &measured.vectors)?;
            let grid = grid.get_or_insert_with(|| measured.grid.clone());
            if *grid != measured.grid {
                return Err(self.other_grid(path));
            }
            truth.holds(path, grid)?;
            let at_vectors = truth.at(grid, &measured.vectors, processing)?;
            errors.push(Errors::of(&measured.vectors, &at_vectors));
            read.push(measured.vectors);
            uncertainties.extend(measured.uncertainties_px);
            exact.push(at_vectors);
        }
        let grid = grid.expect("at least one file");
        let in_fluid = |k: usize| exact.iter().all(|truth| truth.point_px[k][0].is_finite());
        let moved = |v: &Vector| match v.status {
            VectorStatus::Valid => [v.dx_px, v.dy_px],
            _ => [f64::NAN; 2],
        };
        let at_px: Vec<[f64; 2]> = read[0].iter().map(|v| [v.x_px, v.y_px]).collect();
        let placed = read.iter().map(|pair| PlacedVectors {
            at: at_px.clone(),
            moved: pair.iter().map(moved).collect(),
        });
        Ok(Scored {
            columns: grid.columns,
            reach: reach(&grid),
            part: (0..grid.len()).map(in_fluid).collect(),
            placed: placed.collect(),
            at_px,
            read: grid.len() * errors.len(),
            every: 1,
            windows: true,
            errors,
            exact,
            uncertainties,
        })
    }

    /// Vectors of any other program.
    fn any_program(&self, truths: &[Truth]) -> Result<Scored, Failure> {
        let reading = self.written.reading()?;
        let height = truths[0].size_px()[1];
        let mut placed: Vec<PlacedVectors> = Vec::new();
        let mut lattice: Option<Lattice> = None;
        let (mut errors, mut exact, mut at) = (Vec::new(), Vec::new(), Vec::new());
        let (mut count, mut every) = (0, 1);
        for (k, path) in self.vectors.iter().enumerate() {
            let truth = truths.get(k).unwrap_or(&truths[0]);
            let content = Disk::default().content(path)?;
            let whole = own_vectors::read(path, &content.bytes, &reading, height)?;
            self.once(&placed, &whole)?;
            count += whole.at.len();
            let (thin, step) = thinned(whole.clone());
            placed.push(whole);
            every = step;
            let lattice = lattice.get_or_insert_with(|| {
                at = thin.at.clone();
                Lattice::of(&thin.at, self.written.window_px())
            });
            let moved = lattice.matched(&thin).ok_or_else(|| self.other_grid(path))?;
            let true_px = truth.at_places(&at);
            let differences = moved
                .iter()
                .zip(&true_px)
                .map(|(m, t)| [m[0] - t[0], m[1] - t[1]]);
            errors.push(lattice.errors(&differences.collect::<Vec<_>>()));
            exact.push(lattice.truth(&true_px));
        }
        let lattice = lattice.expect("at least one file");
        let in_fluid = |(k, taken): (usize, bool)| {
            taken
                && exact
                    .iter()
                    .all(|truth: &VectorTruth| truth.point_px[k][0].is_finite())
        };
        Ok(Scored {
            columns: lattice.columns,
            reach: lattice.reach,
            part: lattice.taken().into_iter().enumerate().map(in_fluid).collect(),
            at_px: lattice.spread(&at),
            read: count,
            every,
            windows: false,
            errors,
            exact,
            uncertainties: Vec::new(),
            placed,
        })
    }

    /// The first mistake in the convention that explains the error of a pair.
    fn explain(&self, scored: &Scored, truths: &[Truth]) -> Option<Explanation> {
        let functions: Vec<_> = truths
            .iter()
            .map(|truth| |at: &[[f64; 2]]| truth.at_places(at))
            .collect();
        let others: Vec<&TruthAt> = functions.iter().map(|f| f as &TruthAt).collect();
        scored.placed.iter().enumerate().find_map(|(k, vectors)| {
            let own = k.min(others.len() - 1);
            diagnose(&Claim {
                vectors,
                size_px: truths[0].size_px(),
                truth: others[own],
                others: if others.len() > 1 { &others } else { &[] },
            })
        })
    }

    /// Writes table, figures and pictures.
    fn write(
        &self,
        scored: &Scored,
        sample: &ErrorSample,
        size_px: [usize; 2],
        json: &Value,
        manifest: Manifest,
    ) -> Result<(), Failure> {
        let names = ["errors.csv", "score.json", "score.svg"].map(str::to_owned);
        let names = Names {
            at_the_end: &names,
            on_the_way: None,
        };
        let folder = self
            .folder
            .open(self.out.as_deref(), "score", Start::New, manifest, &names)?;
        let cells: Vec<usize> = (0..scored.part.len()).filter(|k| scored.part[*k]).collect();
        let mut table = Table::new([
            "pair",
            "x_px",
            "y_px",
            "true_dx_px",
            "true_dy_px",
            "error_x_px",
            "error_y_px",
        ]);
        for (pair, errors) in scored.errors.iter().enumerate() {
            for &k in &cells {
                let ([x, y], [tx, ty]) = (scored.at_px[k], scored.exact[pair].point_px[k]);
                let [ex, ey] = errors.point_px[k];
                let numbers = [x, y, tx, ty, ex, ey].map(|v| format!("{v:.7}"));
                table
                    .rows
                    .push(std::iter::once(pair.to_string()).chain(numbers).collect());
            }
        }
        let of = |all: &[[f64; 2]]| cells.iter().map(|&k| all[k]).collect::<Vec<_>>();
        let errors: Vec<Vec<[f64; 2]>> = scored.errors.iter().map(|e| of(&e.point_px)).collect();
        let picture = score_picture::draw(&score_picture::ScorePicture {
            at_px: &of(&scored.at_px),
            errors_px: &errors,
            size_px,
            fractions: [0, 1].map(|c| fractions(sample, &scored.exact[0], c, FRACTION_CLASSES)),
        });
        let files = [
            ("errors.csv".to_owned(), table.csv().into_bytes()),
            ("score.json".to_owned(), format!("{json:#}\n").into_bytes()),
            ("score.svg".to_owned(), picture.into_bytes()),
        ];
        folder.write(&files, true)?;
        Ok(())
    }
}
