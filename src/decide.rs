//! `decide`

mod choice;
mod map;
mod pulse;

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use crate::handout::{self, ANSWER};
use clap::Args;
use motefield_report as report;
use motefield_report::handout::NAME as REPORT;
use motefield_rig::caution;
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
use motefield_study::decide::enough::{Enough, Unmet, enough};
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::map::axes_of;
use motefield_study::decide::question::Question;
use motefield_study::decide::trial::{MeasuredSetting, Trial};
use motefield_study::decide::velocity::VelocityBudget;
use motefield_study::decide::worth::{Answered, Worths, worths};
use motefield_study::decide::{USUAL_LIMIT_PX, USUAL_VALID, Wish};
use motefield_study::folder::{Folder, Names, Start};
use motefield_study::manifest::Manifest;
use motefield_study::run::{After, Journal, Point};
use motefield_study::seeding;
use serde_json::{Value, json};

use crate::arguments::{EffortArguments, FolderArguments, SetupArguments, WHOLE, share, stopped};
use crate::chain::{ChainArguments, CommandChain, external};
use crate::output::{print, print_json, print_words, say};
use crate::progress::Bar;
use crate::samples::{self, Files, SamplePair};
use crate::set_options::set_options;
use crate::signals;

/// Where the keys that are assumed are explained.
const EXPLAINED: &str = "`motefield plan --keys` explains each";

#[derive(Args)]
pub struct DecideCommand {
    #[command(flatten)]
    setup: SetupArguments,
    /// Largest error allowed: in px (or a plain number), in % of the mean speed or as a speed, such
    /// as 0.1px, 2% or 3mm/s; 0.1px where the pulse length is asked, none for other settings
    #[arg(long, allow_hyphen_values = true)]
    limit: Option<ErrorLimit>,
    /// Smallest share of valid vectors
    #[arg(long, default_value_t = USUAL_VALID, value_parser = share)]
    valid: f64,
    /// Two or three numeric settings to vary together, such as
    /// light.pulse_length,timing.separation: maps the error of the velocity over them and names the
    /// best values. What the rig asks about by itself (pulse length, separation, exposure) joins a
    /// setting that is named alone, and all that are named where the pulse is fixed
    #[arg(long, value_name = "KEY,KEY", conflicts_with = "choose")]
    free: Option<String>,
    /// Range of a setting named under --free, as KEY=FROM..TO, KEY=FROM..TO:log:N or :lin:N; may be
    /// repeated
    #[arg(long, value_name = "KEY=RANGE", requires = "free")]
    range: Vec<String>,
    /// A setting to choose, as KEY or KEY=a,b,c; may be repeated, then every combination is tried
    #[arg(long = "for", value_name = "KEY", id = "choose")]
    choose: Vec<String>,
    /// Lists what is assumed without finding out what each assumption is worth, which takes up to
    /// 40 % more time
    #[arg(long)]
    no_worth: bool,
    /// Where nothing meets the limit, leaves out what would be enough: the least light and other
    /// changes of the rig, which takes up to five times as long as the study itself
    #[arg(long)]
    no_enough: bool,
    #[command(flatten)]
    chain: ChainArguments,
    #[command(flatten)]
    effort: EffortArguments,
    /// Directory for report.html, table.csv or map.csv, decision.json, answer.txt, curve.svg or
    /// map.svg, sample pairs, specimens.svg, planes.svg, vectors.svg, errors.svg and manifest.json;
    /// a new one by default
    #[arg(long)]
    out: Option<PathBuf>,
    #[command(flatten)]
    folder: FolderArguments,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

impl DecideCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        self.effort.use_threads()?;
        self.chain.one()?;
        let setup = self.setup.read(&[])?;
        let chosen = self
            .choose
            .iter()
            .map(|text| text.split('=').next().unwrap_or(text));
        let free = self.free.iter().flat_map(|keys| keys.split(','));
        let varied = chosen.chain(free).map(str::trim);
        let setup = seeding::held(&setup, varied)?.unwrap_or(setup);
        if let Some(caution) = caution::text(&setup.light) {
            say(&caution);
        }
        if let Some(free) = &self.free {
            let (question, axes) = self.freed(&setup, free)?;
            return self.map(&setup, question, axes);
        }
        if !self.choose.is_empty() {
            return self.choice(&setup);
        }
        let plan = plan(&setup)?;
        match Question::of_plan(&plan)? {
            Question::PulseLength => self.pulse(&setup, plan),
            question => self.map(&setup, question, axes_of(&setup, question)?),
        }
    }

    /// What is wished, but for a limit that is not in px.
    fn wish(&self) -> Wish {
        Wish {
            limit_px: match self.limit {
                None => USUAL_LIMIT_PX,
                Some(ErrorLimit::Pixels(px)) => px,
                Some(ErrorLimit::Share(_) | ErrorLimit::Speed(_)) => f64::INFINITY,
            },
            valid: self.valid,
            effort: self.effort.effort(),
            external: external(self.program()),
        }
    }

    /// The program for which to decide; that it can be had was seen at the beginning.
    fn program(&self) -> Option<&'static CommandChain> {
        self.chain.one().ok().flatten()
    }

    /// Opens the folder of a decision. Which points are measured later depends on how well those
    /// before are known, so the effort decides the values as well.
    fn open(&self, setup: &Setup, plan: Option<&Plan>, names: &[&str]) -> Result<Folder, Failure> {
        let effort = self.wish().effort;
        let mut asked = json!({
            "limit": self.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX)).to_string(),
            "valid": self.valid,
            "free": self.free,
            "range": self.range,
            "for": self.choose,
            "worth": !self.no_worth,
            "enough": !self.no_enough,
            "precision": effort.precision,
            "most_pairs": effort.most_pairs,
        });
        // What is not planned as it stands may be with what is tried.
        let tiles = plan.and_then(|plan| self.effort.tiles(plan));
        if let Some(tiles) = tiles.filter(|_| self.program().is_none()) {
            asked["measured_on"] = tiles;
        }
        let mut files_read = Vec::new();
        if let Some(program) = self.program() {
            asked["chain"] = self.chain.asked(&[program.text()])?;
            files_read = program.files()?;
        }
        let manifest = Manifest::new("decide", asked)
            .with_effort(&effort)
            .with_files(files_read);
        let manifest = self.setup.described(manifest, setup);
        let names = names.iter().chain([&ANSWER, &REPORT]);
        let names: Vec<String> = names.map(|name| (*name).to_owned()).collect();
        let names = Names {
            at_the_end: &names,
            on_the_way: None,
        };
        let out = self.out.as_deref();
        self.folder.open(out, "decision", Start::New, manifest, &names)
    }

    /// Sample pairs of the setup as it stands, where that can be built, and of the best.
    fn samples(
        &self,
        setup: &Setup,
        keys: &[&str],
        standing: Option<&Trial>,
        best: Option<&Trial>,
    ) -> Result<Files, Failure> {
        let Some(best) = best else {
            return Ok(Files::new());
        };
        let standing = standing.filter(|t| t.measured().is_some() && t.values != best.values);
        let shown = standing.map(|t| ("standing", t)).into_iter();
        let shown = shown.chain([("best", best)]);
        let shown: Vec<SamplePair> = shown
            .map(|(name, trial)| SamplePair::of_trial(setup, keys, name, trial))
            .collect::<Result<_, _>>()?;
        samples::files(&shown, None, self.effort.seed, self.program().is_none())
    }

    /// Why another program gave no vectors, where it failed.
    fn failed<'a>(&self, points: impl IntoIterator<Item = &'a Point>) -> Result<String, Failure> {
        let program = self.chain.one()?;
        Ok(program.map_or(String::new(), |program| {
            report::chains::failed(&program.name(), points)
        }))
    }

    /// Whether the best keeps the limit, where one is stated.
    fn met(&self, best: Option<&MeasuredSetting>) -> Option<bool> {
        self.limit?.kept_by(best?)
    }

    /// What is assumed and, unless it is left out or there is no answer, what each is worth.
    fn worths(
        &self,
        setup: &Setup,
        answered: Option<&Answered>,
        journal: &Journal,
        bar: &Bar,
    ) -> Result<Worths, StudyError> {
        match answered {
            Some(answered) if !self.no_worth => {
                worths(answered, &self.wish(), Some(journal), bar, signals::stop())
            }
            _ => Worths::listed(setup),
        }
    }

    /// What would be enough, unless it is left out, there is no answer, or that meets the limit.
    fn enough(
        &self,
        unmet: Option<&Unmet>,
        wish: &Wish,
        journal: &Journal,
        bar: &Bar,
    ) -> Result<Option<Enough>, StudyError> {
        match unmet.filter(|_| !self.no_enough && !signals::stopped()) {
            Some(unmet) => {
                let after = After {
                    whole: bar,
                    pairs: bar.pairs(),
                };
                enough(unmet, wish, Some(journal), &after, signals::stop()).map(Some)
            }
            None => Ok(None),
        }
    }

    /// Writes the files, the JSON and the report, and prints the answer; `at_best` is the setup
    /// with the best setting.
    #[allow(clippy::too_many_arguments)]
    fn end(
        &self,
        folder: Folder,
        at_best: &Setup,
        mut files: Files,
        json: &Value,
        words: &str,
        what: &str,
        unfinished: bool,
    ) -> Result<(), Failure> {
        files.push(("decision.json".to_owned(), format!("{json:#}\n").into_bytes()));
        let words = &(words.to_owned() + &report::decide::seeding_words(at_best));
        files.push((ANSWER.to_owned(), words.as_bytes().to_vec()));
        let page = handout::page(folder.manifest(), Some(at_best), words, &files);
        files.push((REPORT.to_owned(), page));
        let directory = folder.directory().to_owned();
        let kept = match unfinished {
            true => stopped(&folder),
            false => Ok(()),
        };
        folder.write(&files, !unfinished)?;
        kept?;
        if unfinished {
            signals::tell_how_to_go_on();
        }
        if self.json {
            return print_json(json);
        }
        print_words(words)?;
        print(&format!("{what}: {}\n", directory.display()))
    }
}

/// The uncertainty of the velocity at the best setting in words, and in the JSON.
fn velocity(
    setup: &Setup,
    planned: &motefield_rig::plan::Plan,
    point: &Point,
    limit_m_s: Option<f64>,
    json: &mut Value,
) -> Result<String, StudyError> {
    let budget = VelocityBudget::of(setup, planned, point)?;
    json["velocity"] = report::decide::velocity::json(budget.as_ref(), limit_m_s);
    let words = budget.map(|budget| report::decide::velocity::words(&budget, limit_m_s));
    Ok(words.unwrap_or_default())
}

/// The journal of a folder; says what it already holds.
fn journal(folder: &Folder) -> Journal<'_> {
    let journal = Journal::of(folder);
    if journal.found() > 0 {
        say(&format!(
            "Continuing with {} measurements done before.",
            journal.found()
        ));
    }
    journal
}

fn exit(stopped: bool, answered: bool) -> Exit {
    match (stopped, answered) {
        (true, _) => signals::exit(),
        (false, true) => Exit::Done,
        (false, false) => Exit::No,
    }
}

/// What of large pictures was measured, in words and in the JSON.
fn told_tiles<'a>(points: impl Iterator<Item = &'a Point> + Clone, json: &mut Value) -> String {
    if let Some(tiles) = report::tiles::json(points.clone()) {
        json["measured_on"] = tiles;
    }
    report::tiles::words(points, Some(WHOLE))
}

/// What would be enough, with the options that do it.
fn enough_json(enough: Option<&Enough>) -> Value {
    let mut json = report::decide::enough::json(enough);
    let ways = enough.into_iter().flat_map(report::decide::enough::ways);
    let solutions = json.get_mut("solutions").and_then(Value::as_array_mut);
    for (solution, way) in solutions.into_iter().flatten().zip(ways) {
        if let Some(with) = way.with {
            solution["set"] = json!(set_options(&with.settings));
        }
    }
    json
}

fn of_trials(trials: &[Trial]) -> impl Iterator<Item = &Point> + Clone {
    trials.iter().filter_map(|trial| Some(&trial.measured()?.point))
}
