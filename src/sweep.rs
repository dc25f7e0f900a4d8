//! `sweep`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use crate::handout::{self, ANSWER};
use clap::Args;
use motefield_report::chains::ChainPoints;
use motefield_report::handout::NAME as REPORT;
use motefield_report::sweep::SweptStudy;
use motefield_report::table::{Label, csv, reliability_csv};
use motefield_report::{self as report, reliability};
use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;
use motefield_study::folder::{Folder, Names, Start};
use motefield_study::manifest::Manifest;
use motefield_study::response::{self, Response, Wave};
use motefield_study::run::{Chain, Effort, Experiment, Journal, Point, Wanted, run_kept};
use motefield_study::seeding;
use motefield_study::vary::Vary;
use serde_json::json;

use crate::announce;
use crate::arguments::{
    EffortArguments, Estimators, FolderArguments, SetupArguments, WHOLE, estimators, stopped,
};
use crate::chain::{ChainArguments, CommandChain, SETUP, external};
use crate::output::{print, print_json, say};
use crate::progress::Bar;
use crate::signals;

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
    /// Directory for report.html, table.csv, study.json, curve.svg, answer.txt and manifest.json,
    /// with programs of others also chains.csv, chains.svg and failures.csv; a new one by default
    #[arg(long)]
    out: Option<PathBuf>,
    #[command(flatten)]
    chain: ChainArguments,
    #[command(flatten)]
    folder: FolderArguments,
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
        // As it stands it may be refused.
        let standing = plan(setup).ok();
        for value in &vary.values {
            let changed = setup.with(&vary.key, value.value())?;
            let plan = match &standing {
                Some(standing) => standing.changed(&changed)?,
                None => plan(&changed)?,
            };
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

/// The total error over what was varied.
const CURVE: &str = "curve.svg";

/// Fewest pairs of which a rank correlation's interval is known.
const PAIRS_FOR_RANKS: usize = 5;

/// A sweep that was checked and can begin.
struct Ready {
    setup: Setup,
    vary: Vary,
    effort: Effort,
    wanted: Wanted,
    points: Points,
    /// Programs that measure; `None` for the setup's own processing, which does so alone where none
    /// is named.
    chains: Vec<Option<&'static CommandChain>>,
}

impl Ready {
    /// Whether programs of others are compared.
    fn compares(&self) -> bool {
        self.chains.iter().any(Option::is_some)
    }

    /// Whether large pictures are measured whole whatever is asked.
    fn whole(&self) -> bool {
        self.compares() || self.wanted.bound || !self.wanted.estimators.is_empty()
    }

    /// What the chains are called, with their number where two would be called the same.
    fn names(&self) -> Vec<String> {
        let name = |chain: &Option<&CommandChain>| chain.map_or(SETUP.to_owned(), CommandChain::name);
        let names: Vec<String> = self.chains.iter().map(name).collect();
        let alone = |name: &String| names.iter().filter(|other| *other == name).count() == 1;
        let numbered = |(k, name): (usize, &String)| match alone(name) {
            true => name.clone(),
            false => format!("{name}-{}", k + 1),
        };
        names.iter().enumerate().map(numbered).collect()
    }

    /// What is written beside the measurements.
    fn file_names(&self) -> Vec<String> {
        let mut names = vec!["table.csv", "study.json", CURVE, ANSWER, REPORT];
        if !self.wanted.estimators.is_empty() {
            names.extend(["reliability.csv", "reliability.svg"]);
        }
        if self.compares() {
            names.extend(["chains.csv", "chains.svg", "failures.csv"]);
        }
        names.into_iter().map(str::to_owned).collect()
    }
}

impl SweepCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        self.effort.use_threads()?;
        let ready = self.check()?;
        let names = ready.file_names();
        let names = Names {
            at_the_end: &names,
            on_the_way: None,
        };
        let (out, manifest) = (self.out.as_deref(), self.manifest(&ready)?);
        let folder = self.folder.open(out, "sweep", Start::New, manifest, &names)?;
        let stop = signals::stop();
        let experiments = ready.points.experiments.iter();
        let costs = experiments.filter(|e| ready.whole() || self.effort.announced(e).is_none());
        let costs = costs.map(|e| (&e.scene, e.scene.cost().memory_bytes));
        if let Some((largest, _)) = costs.max_by(|a, b| a.1.total_cmp(&b.1)) {
            announce::study(largest);
        }
        let journal = Journal::of(&folder);
        if journal.found() > 0 {
            say(&format!(
                "Continuing with {} measurements done before.",
                journal.found()
            ));
        }
        let bar = Bar::new();
        let run = |chain: &Option<&'static CommandChain>| {
            let chain = Chain {
                external: external(*chain),
                ..Chain::default()
            };
            let experiments = &ready.points.experiments;
            run_kept(
                Some(&journal),
                &chain,
                &ready.wanted,
                experiments,
                &ready.effort,
                &bar,
                stop,
            )
        };
        let all: Vec<Vec<Option<Point>>> = ready.chains.iter().map(run).collect();
        let found = &all[0];
        bar.finish();
        let rows: Vec<(Label, &Point)> = ready
            .points
            .labels
            .iter()
            .zip(found)
            .filter_map(|(label, point)| Some((label.clone(), point.as_ref()?)))
            .collect();
        let study = SweptStudy {
            setup: &ready.setup,
            key: &ready.vary.key,
            effort: &ready.effort,
            stopped: signals::stopped(),
        };
        let chains = ready
            .names()
            .into_iter()
            .zip(&all)
            .map(|(name, points)| ChainPoints {
                name,
                points: points.iter().map(Option::as_ref).collect(),
            });
        let chains: Vec<ChainPoints> = chains.collect();
        let chains = ready.compares().then_some(&chains[..]);
        self.report(&study, &ready.points, &rows, chains, folder)?;
        if study.stopped {
            signals::tell_how_to_go_on();
            return Ok(signals::exit());
        }
        Ok(Exit::Done)
    }

    /// The setup as it stands; with the first value tried where it lacks the key that is varied.
    fn read(&self, vary: &Vary) -> Result<Setup, Failure> {
        self.setup.read(&[]).or_else(|as_it_stands| {
            let first = vary
                .values
                .first()
                .map(|value| (vary.key.as_str(), value.value()));
            let with_first = first.and_then(|first| self.setup.read(&[first]).ok());
            with_first.ok_or(as_it_stands)
        })
    }

    /// Reads the setup and plans all points, before anything is written.
    fn check(&self) -> Result<Ready, Failure> {
        let vary: Vary = self.vary.parse().map_err(|e| Failure::about("--vary", e))?;
        let setup = self.read(&vary)?;
        let setup = match seeding::held(&setup, [vary.key.as_str()])? {
            Some(held) => {
                say(report::decide::seeding_words(&held).trim_end());
                held
            }
            None => setup,
        };
        let estimators = self
            .uncertainty
            .as_ref()
            .map_or_else(Vec::new, |all| all.0.clone());
        let points = Points::of(&setup, &vary)?;
        let mut chains = self.chain.all()?;
        if chains.iter().any(Option::is_some) && (self.bound || !estimators.is_empty()) {
            return Err(Failure::input(
                "--chain: the bound and the estimators of uncertainty are those of this program's windows; leave --bound and --uncertainty out",
            ));
        }
        if chains.is_empty() {
            chains.push(None);
        }
        let mut effort = self.effort.effort();
        if !estimators.is_empty() {
            if points.experiments.iter().any(|e| e.processing.ensemble > 1) {
                return Err(Failure::input(
                    "--uncertainty: the estimators are for single pairs; leave processing.ensemble out",
                ));
            }
            effort.first_pairs = effort.first_pairs.max(PAIRS_FOR_RANKS).min(effort.most_pairs);
        }
        Ok(Ready {
            setup,
            vary,
            effort,
            wanted: Wanted {
                bound: self.bound,
                figures: true,
                estimators,
                contest: None,
            },
            points,
            chains,
        })
    }

    fn manifest(&self, ready: &Ready) -> Result<Manifest, Failure> {
        let values = ready.vary.values.iter().map(|value| value.text.as_str());
        let estimators = ready.wanted.estimators.iter().map(ToString::to_string);
        let mut asked = json!({
            "vary": ready.vary.key,
            "values": values.collect::<Vec<_>>(),
            "bound": ready.wanted.bound,
            "uncertainty": estimators.collect::<Vec<_>>(),
        });
        let tiles = plan(&ready.setup).ok().and_then(|plan| self.effort.tiles(&plan));
        if let Some(tiles) = tiles.filter(|_| !ready.whole()) {
            asked["measured_on"] = tiles;
        }
        let mut files_read = Vec::new();
        if ready.compares() {
            let text = |chain: &Option<&'static CommandChain>| chain.map_or(SETUP, CommandChain::text);
            asked["chain"] = self
                .chain
                .asked(&ready.chains.iter().map(text).collect::<Vec<_>>())?;
            for chain in ready.chains.iter().flatten() {
                files_read.extend(chain.files()?);
            }
        }
        let manifest = Manifest::new("sweep", asked).with_effort(&ready.effort);
        Ok(self
            .setup
            .described(manifest.with_files(files_read), &ready.setup))
    }

    /// Writes the tables and prints the answer.
    fn report(
        &self,
        study: &SweptStudy,
        points: &Points,
        rows: &[(Label, &Point)],
        chains: Option<&[ChainPoints]>,
        folder: Folder,
    ) -> Result<(), Failure> {
        let mut files = vec![("table.csv".to_owned(), csv(rows).into_bytes())];
        if self.uncertainty.is_some() {
            let table = reliability_csv(rows).into_bytes();
            let picture = reliability::draw(study.key, rows).into_bytes();
            files.push(("reliability.csv".to_owned(), table));
            files.push(("reliability.svg".to_owned(), picture));
        }
        if let Some(chains) = chains {
            let labels = &points.labels;
            let more = [
                ("chains.csv", report::chains::csv(labels, chains)),
                ("chains.svg", report::chains::draw(study.key, labels, chains)),
                ("failures.csv", report::chains::failures(labels, chains)),
            ];
            files.extend(more.map(|(name, text)| (name.to_owned(), text.into_bytes())));
        }
        let waves = &points.waves;
        // A study that was stopped may lack points; then their waves are not those of the rows.
        let response = (study.key == response::KEY && waves.len() == rows.len())
            .then(|| Response::of(waves, &rows.iter().map(|(_, point)| *point).collect::<Vec<_>>()))
            .flatten();
        let mut json = report::sweep::json(study, response.as_ref(), rows);
        if let Some(chains) = chains {
            json["chains"] = report::chains::json(&points.labels, chains);
        }
        files.push(("study.json".to_owned(), format!("{json:#}\n").into_bytes()));
        files.push((CURVE.to_owned(), report::sweep::draw(study, rows).into_bytes()));
        let measured_on = report::tiles::words(rows.iter().map(|(_, point)| *point), Some(WHOLE));
        let words = report::sweep::words(study.key, rows) + &measured_on;
        let answer = report::sweep::sentence(study, rows, Some(WHOLE));
        let page = handout::page(folder.manifest(), Some(study.setup), &answer, &files);
        files.push((ANSWER.to_owned(), answer.into_bytes()));
        files.push((REPORT.to_owned(), page));
        let table = folder.path("table.csv");
        let kept = match study.stopped {
            true => stopped(&folder),
            false => Ok(()),
        };
        folder.write(&files, !study.stopped)?;
        kept?;
        if self.json {
            return print_json(&json);
        }
        print(&words)?;
        if let Some(chains) = chains {
            print(&report::chains::words(study.key, &points.labels, chains))?;
            for chain in chains {
                print(&report::chains::failed(
                    &chain.name,
                    chain.points.iter().flatten().copied(),
                ))?;
            }
        }
        if let Some(response) = &response {
            print(&report::response::words(response))?;
        }
        print(&format!("Full table: {}\n", table.display()))
    }
}
