//! `sweep`

use std::path::PathBuf;
use std::sync::atomic::Ordering;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_files::OutputDirectory;
use motefield_report::reliability;
use motefield_report::setup_json;
use motefield_report::table::{Label, csv, reliability_csv};
use motefield_rig::plan::{Speeds, plan};
use motefield_rig::quantity::{digits, short};
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
use motefield_study::response::{self, Response, Wave};
use motefield_study::run::trust;
use motefield_study::run::{Chain, Experiment, Journal, Point, Wanted, run_kept};
use motefield_study::values::figures;
use motefield_study::vary::Vary;
use serde_json::{Value, json};

use crate::arguments::{
    EffortArguments, Estimators, SetupArguments, estimators, print, print_json, stop_on_interrupt,
};
use crate::progress::Bar;

#[derive(Args)]
pub struct Sweep {
    #[command(flatten)]
    setup: SetupArguments,
    /// KEY=FROM..TO:log:N, KEY=FROM..TO:lin:N or KEY=a,b,c
    #[arg(long, value_name = "KEY=VALUES")]
    vary: String,
    #[command(flatten)]
    effort: EffortArguments,
    /// Adds the Cramér-Rao bound of the windows and the efficiency, bound over random error, to the table: five more renderings of the
    /// first two measurements of each point
    #[arg(long)]
    bound: bool,
    /// Holds the vectors' own estimates of uncertainty against their errors, in reliability.csv and reliability.svg: by all estimators, or by
    /// those named after `=` with commas between (correlation-statistics, particle-disparity, peak-ratio)
    #[arg(long, value_name = "ESTIMATORS", num_args = 0..=1, require_equals = true, default_missing_value = "all", value_parser = estimators)]
    uncertainty: Option<Estimators>,
    /// Directory for table.csv and study.json; a fresh one if not given
    #[arg(long)]
    out: Option<PathBuf>,
    /// Continues the study in the directory --out that was killed or stopped, with the measurements it had finished; it ends in
    /// the same bytes
    #[arg(long, requires = "out", conflicts_with = "force")]
    resume: bool,
    /// Overwrites what is there
    #[arg(long)]
    force: bool,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

/// Fewest pairs of which a rank correlation's interval is known.
const PAIRS_FOR_RANKS: usize = 5;

impl Sweep {
    pub fn run(&self) -> Result<Exit, Failure> {
        self.effort.use_threads()?;
        let setup = self.setup.setup(&[])?;
        let vary: Vary = self.vary.parse().map_err(|e| Failure::about("--vary", e))?;
        let mut labels = Vec::new();
        let mut experiments = Vec::new();
        let mut waves = Vec::new();
        let estimators = self
            .uncertainty
            .as_ref()
            .map_or_else(Vec::new, |all| all.0.clone());
        for value in &vary.values {
            let plan = plan(&setup.with(&vary.key, value.value())?)?;
            let speeds = Speeds::of(plan.scene.size, plan.scene.flow.as_ref());
            let streak_px = speeds.streak_px(plan.scene.exposure);
            if !estimators.is_empty() && plan.processing.ensemble > 1 {
                return Err(Failure::input(
                    "--uncertainty: the estimators are for single pairs; leave processing.ensemble out",
                ));
            }
            if vary.key == response::KEY {
                waves.extend(Wave::of(&value.text, &plan));
            }
            labels.push(Label {
                value: value.number.clone(),
                unit: value.unit.clone(),
                streak_px,
            });
            experiments.push(Experiment {
                scene: plan.scene,
                processing: plan.processing,
            });
        }
        let out = OutputDirectory::new(self.out.as_deref(), "sweep", self.force || self.resume);
        let mut names = vec!["table.csv", "study.json"];
        let mut effort = self.effort.effort();
        if !estimators.is_empty() {
            names.extend(["reliability.csv", "reliability.svg"]);
            effort.first_pairs = effort.first_pairs.max(PAIRS_FOR_RANKS).min(effort.most_pairs);
        }
        out.prepare(&names)?;
        let wanted = Wanted {
            bound: self.bound,
            figures: true,
            estimators,
        };
        let journal = self.journal(&setup, &out, effort.seed)?;
        let stop = stop_on_interrupt();
        let bar = Bar::new();
        let points = run_kept(
            Some(&journal),
            &Chain::default(),
            &wanted,
            &experiments,
            &effort,
            &bar,
            &stop,
        );
        bar.finish();
        let rows: Vec<(Label, &Point)> = labels
            .into_iter()
            .zip(&points)
            .filter_map(|(label, point)| Some((label, point.as_ref()?)))
            .collect();
        let stopped = stop.load(Ordering::Relaxed);
        out.write("table.csv", csv(&rows))?;
        if !wanted.estimators.is_empty() {
            out.write("reliability.csv", reliability_csv(&rows))?;
            out.write("reliability.svg", reliability::draw(&vary.key, &rows))?;
        }
        // A study that was stopped may lack points; then their waves are not those of the rows.
        let response = (vary.key == response::KEY && waves.len() == rows.len())
            .then(|| Response::of(&waves, &rows.iter().map(|(_, point)| *point).collect::<Vec<_>>()))
            .flatten();
        let study = json!({
            "schema": "motefield-sweep/1",
            "version": env!("CARGO_PKG_VERSION"),
            "setup": setup_json(&setup),
            "vary": vary.key,
            "seed": effort.seed,
            "precision": effort.precision,
            "stopped": stopped,
            "spatial_response": response.as_ref().map(motefield_report::response::json),
            "points": rows.iter().map(|(label, point)| json_row(label, point)).collect::<Vec<_>>(),
        });
        out.write("study.json", format!("{study:#}\n"))?;
        if self.json {
            print_json(&study);
        } else {
            print(&words(&vary.key, &rows));
            print(
                &response
                    .as_ref()
                    .map_or_else(String::new, motefield_report::response::words),
            );
            print(&format!("Whole table: {}\n", out.path("table.csv").display()));
        }
        if stopped {
            eprintln!(
                "Stopped early; the table holds what was done. To continue: the same command with --out {} --resume",
                out.directory().display()
            );
            return Ok(Exit::Interrupted);
        }
        journal.finish();
        Ok(Exit::Done)
    }
}

impl Sweep {
    /// The journal in the study's directory: begun, or taken up again.
    fn journal(&self, setup: &Setup, out: &OutputDirectory, seed: u64) -> Result<Journal, Failure> {
        let estimators = self.uncertainty.as_ref().map(|all| &all.0);
        let study = format!(
            "{:?}",
            (
                env!("CARGO_PKG_VERSION"),
                setup.text(),
                setup.document().changes(),
                &self.vary,
                seed,
                self.bound,
                estimators
            )
        );
        let path = out.path("journal");
        if self.resume {
            let journal = Journal::resume(&path, &study).map_err(|e| match e {
                StudyError::Request(message) => Failure::input(format!("{message} with --force")),
                other => other.into(),
            })?;
            eprintln!("Continuing with {} measurements done before.", journal.kept());
            return Ok(journal);
        }
        if path.exists() && !self.force {
            return Err(Failure::input(format!(
                "{}: a study was begun here and not finished; say --resume to continue it, or --force to begin anew",
                path.display()
            )));
        }
        Ok(Journal::begin(&path, &study)?)
    }
}

fn json_row(label: &Label, point: &Point) -> Value {
    let mut row = json!({
        "value": label.value,
        "unit": label.unit,
        "streak_px": label.streak_px,
        "pairs": point.pairs(),
        "ensemble": point.ensemble,
        "vectors": point.score.vectors,
        "effective_vectors": point.score.effective_vectors,
    });
    for (name, e) in figures(point) {
        row[name] = json!({ "value": e.value, "lo": e.lo, "hi": e.hi });
    }
    for trust in &point.besides.trust {
        for (axis, of) in ["x", "y"].iter().zip(&trust.of) {
            let figures = trust::named(of);
            let all: serde_json::Map<String, Value> = figures
                .iter()
                .map(|(name, e)| {
                    (
                        (*name).to_owned(),
                        json!({ "value": e.value, "lo": e.lo, "hi": e.hi }),
                    )
                })
                .collect();
            row["reliability"][trust.estimator.as_str()][axis] = all.into();
        }
    }
    row
}

/// The figures one looks at first, as a table for the eye.
fn words(key: &str, rows: &[(Label, &Point)]) -> String {
    let head = [
        key,
        "streak px",
        "bias x px",
        "random x px",
        "bias y px",
        "random y px",
        "total px",
        "outliers",
        "pairs",
    ];
    let body: Vec<Vec<String>> = rows
        .iter()
        .map(|(label, point)| {
            let s = &point.score;
            let [x, y] = &s.point;
            let spread = |e: motefield_evaluator::statistics::Estimate| {
                format!("{} ±{}", short(e.value), short(0.5 * (e.hi - e.lo)))
            };
            let value = if label.unit == "f/" {
                format!("f/{}", label.value)
            } else {
                format!("{} {}", label.value, label.unit)
            };
            vec![
                value.trim_end().to_owned(),
                short(label.streak_px),
                spread(x.bias_px),
                spread(x.random_px),
                spread(y.bias_px),
                spread(y.random_px),
                spread(s.total_px),
                format!("{} %", digits((1e4 * s.outliers.value).round() / 1e2)),
                point.pairs().to_string(),
            ]
        })
        .collect();
    let width = |k: usize| {
        body.iter()
            .map(|row| row[k].chars().count())
            .chain([head[k].chars().count()])
            .max()
            .unwrap_or(0)
    };
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let cells: Vec<String> = cells
            .enumerate()
            .map(|(k, cell)| format!("{cell:>w$}", w = width(k)))
            .collect();
        cells.join("  ") + "\n"
    };
    let mut text = line(&mut head.into_iter());
    for row in &body {
        text.push_str(&line(&mut row.iter().map(String::as_str)));
    }
    text + "± is half the 95 % interval.\n"
}
