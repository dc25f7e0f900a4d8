//! `sweep`

use std::path::PathBuf;
use std::sync::atomic::Ordering;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_files::{FileError, OutputDirectory};
use motefield_report::sweep::Study;
use motefield_report::table::{Label, csv, reliability_csv};
use motefield_report::{self as report, reliability};
use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
use motefield_study::response::{self, Response, Wave};
use motefield_study::run::{Chain, Experiment, Journal, Point, Wanted, run_kept};
use motefield_study::vary::Vary;

use crate::arguments::{
    EffortArguments, Estimators, SetupArguments, estimators, print, print_json, stop_on_interrupt,
};
use crate::progress::Bar;

#[derive(Args)]
pub struct SweepCommand {
    #[command(flatten)]
    setup: SetupArguments,
    /// Key to vary and its values: KEY=FROM..TO:log:N, KEY=FROM..TO:lin:N or KEY=a,b,c
    #[arg(long, value_name = "KEY=VALUES")]
    vary: String,
    #[command(flatten)]
    effort: EffortArguments,
    /// Adds the Cramér-Rao bound of the windows and the efficiency (bound over random error) to the
    /// table; renders the first two measurements of each point five more times
    #[arg(long)]
    bound: bool,
    /// Compares estimated uncertainties with the actual errors, in reliability.csv and
    /// reliability.svg: of all estimators, or of those named after `=`, separated by commas
    /// (correlation-statistics, particle-disparity, peak-ratio)
    #[arg(long, value_name = "ESTIMATORS", num_args = 0..=1, require_equals = true, default_missing_value = "all", value_parser = estimators)]
    uncertainty: Option<Estimators>,
    /// Directory for table.csv and study.json; a new one by default
    #[arg(long)]
    out: Option<PathBuf>,
    /// Continues a study in the directory --out that was stopped or killed, from the measurements
    /// it had finished; the results are the same to the byte
    #[arg(long, requires = "out", conflicts_with = "force")]
    resume: bool,
    /// Overwrites existing files
    #[arg(long)]
    force: bool,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

/// The points of a sweep before anything is rendered.
struct Points {
    labels: Vec<Label>,
    experiments: Vec<Experiment>,
    /// Where the sweep varies the flow's wavelength.
    waves: Vec<Wave>,
}

impl Points {
    fn of(setup: &Setup, vary: &Vary) -> Result<Points, Failure> {
        let mut points = Points {
            labels: Vec::new(),
            experiments: Vec::new(),
            waves: Vec::new(),
        };
        for value in &vary.values {
            let plan = plan(&setup.with(&vary.key, value.value())?)?;
            if vary.key == response::KEY {
                points.waves.extend(Wave::of(&value.text, &plan));
            }
            points.labels.push(Label {
                value: value.number.clone(),
                unit: value.unit.clone(),
                streak_px: plan.rig.speeds.streak_px(plan.scene.exposure),
            });
            points.experiments.push(Experiment {
                scene: plan.scene,
                processing: plan.processing,
            });
        }
        Ok(points)
    }
}

/// Fewest pairs of which a rank correlation's interval is known.
const PAIRS_FOR_RANKS: usize = 5;

impl SweepCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        self.effort.use_threads()?;
        let setup = self.setup.read(&[])?;
        let vary: Vary = self.vary.parse().map_err(|e| Failure::about("--vary", e))?;
        let estimators = self
            .uncertainty
            .as_ref()
            .map_or_else(Vec::new, |all| all.0.clone());
        let Points {
            labels,
            experiments,
            waves,
        } = Points::of(&setup, &vary)?;
        if !estimators.is_empty() && experiments.iter().any(|e| e.processing.ensemble > 1) {
            return Err(Failure::input(
                "--uncertainty: the estimators are for single pairs; leave processing.ensemble out",
            ));
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
        let study = Study {
            setup: &setup,
            key: &vary.key,
            effort: &effort,
            stopped: stop.load(Ordering::Relaxed),
        };
        self.report(&study, &waves, &rows, &out)?;
        if study.stopped {
            eprintln!(
                "Stopped early; the table holds what was done. To continue, repeat the command with --out {} --resume",
                out.directory().display()
            );
            return Ok(Exit::Interrupted);
        }
        journal.finish();
        Ok(Exit::Done)
    }

    /// Writes the tables and prints the answer.
    fn report(
        &self,
        study: &Study,
        waves: &[Wave],
        rows: &[(Label, &Point)],
        out: &OutputDirectory,
    ) -> Result<(), Failure> {
        out.write("table.csv", csv(rows))?;
        if self.uncertainty.is_some() {
            out.write("reliability.csv", reliability_csv(rows))?;
            out.write("reliability.svg", reliability::draw(study.key, rows))?;
        }
        // A study that was stopped may lack points; then their waves are not those of the rows.
        let response = (study.key == response::KEY && waves.len() == rows.len())
            .then(|| Response::of(waves, &rows.iter().map(|(_, point)| *point).collect::<Vec<_>>()))
            .flatten();
        let json = report::sweep::json(study, response.as_ref(), rows);
        out.write("study.json", format!("{json:#}\n"))?;
        if self.json {
            print_json(&json);
        } else {
            print(&report::sweep::words(study.key, rows));
            if let Some(response) = &response {
                print(&report::response::words(response));
            }
            print(&format!("Full table: {}\n", out.path("table.csv").display()));
        }
        Ok(())
    }

    /// The journal in the study's directory: begun, or taken up again.
    fn journal(&self, setup: &Setup, out: &OutputDirectory, seed: u64) -> Result<Journal, Failure> {
        let estimators = self.uncertainty.as_ref().map(|all| &all.0);
        let study = format!(
            "{:?}",
            (
                env!("CARGO_PKG_VERSION"),
                setup.text(),
                setup.document().parts(),
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
                StudyError::File(FileError::Missing { path }) => Failure::input(format!(
                    "{}: there is no such file, so no study to continue; leave --resume out",
                    path.display()
                )),
                other => other.into(),
            })?;
            eprintln!("Continuing with {} measurements done before.", journal.kept());
            return Ok(journal);
        }
        if path.exists() && !self.force {
            return Err(Failure::input(format!(
                "{}: a study was begun here and not finished; use --resume to continue it, or --force to start again",
                path.display()
            )));
        }
        Ok(Journal::begin(&path, &study)?)
    }
}
