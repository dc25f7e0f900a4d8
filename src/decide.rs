//! `decide`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use crate::handout::{self, ANSWER};
use clap::Args;
use motefield_report::decide::pulse::{curve, rows, shown};
use motefield_report::handout::NAME as REPORT;
use motefield_report::{self as report, table};
use motefield_rig::keys::choices::PulseFreedom;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;
use motefield_rig::{caution, keys};
use motefield_study::StudyError;
use motefield_study::decide::choice::{ChoiceSearch, choose};
use motefield_study::decide::enough::{Enough, Unmet, enough};
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::map::{self, FreeSetting, MOST_SETTINGS};
use motefield_study::decide::question::Question;
use motefield_study::decide::thumb;
use motefield_study::decide::trial::{MeasuredSetting, Trial};
use motefield_study::decide::velocity::VelocityBudget;
use motefield_study::decide::worth::{Answered, Worths, worths};
use motefield_study::decide::{PulseSearch, USUAL_LIMIT_PX, USUAL_VALID, Wish, decide};
use motefield_study::folder::{Folder, Names, Start};
use motefield_study::manifest::Manifest;
use motefield_study::run::{After, Journal, Point};
use motefield_study::seeding;
use serde_json::{Value, json};

use crate::arguments::{EffortArguments, FolderArguments, SetupArguments, go_on, share, stopped};
use crate::chain::{ChainArguments, CommandChain, external};
use crate::output::{print, print_json, print_words, say};
use crate::progress::Bar;
use crate::samples::{self, Files, Sample};
use crate::signals;

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
    /// Two or three numeric settings to vary together, such as light.pulse_length,timing.separation:
    /// maps the error of the velocity over them and names the best values. What the rig asks about
    /// by itself (pulse length, separation, exposure) joins a setting that is named alone, and
    /// all that are named where the pulse is fixed
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
    /// map.svg, sample pairs, specimens.svg, planes.svg, vectors.svg, errors.svg and manifest.json; a new one by default
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
        match Question::of(&setup)? {
            Question::PulseLength => self.pulse(&setup),
            question => self.map(&setup, question, map::axes_of(&setup, question)?),
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
    fn open(&self, setup: &Setup, names: &[&str]) -> Result<Folder, Failure> {
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
        let tiles = motefield_rig::plan::plan(setup)
            .ok()
            .and_then(|plan| self.effort.tiles(&plan));
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
            on_the_way: &[],
        };
        let out = self.out.as_deref();
        self.folder.open(out, "decision", Start::New, manifest, &names)
    }

    /// The settings named under `--free` with those that join them, and what is asked then.
    fn freed(&self, setup: &Setup, free: &str) -> Result<(Question, Vec<FreeSetting>), Failure> {
        let keys: Vec<&str> = free.split(',').map(str::trim).collect();
        if keys.len() > MOST_SETTINGS || keys.contains(&"") {
            return Err(Failure::input(format!(
                "--free {free}: must name two or three settings, such as --free light.pulse_length,timing.separation"
            )));
        }
        let named = self.axes(setup, free, &keys)?;
        let fixed = setup.light.pulse == Some(PulseFreedom::Fixed)
            || (setup.light.pulse.is_none() && setup.light.pulse_energy_j.is_some());
        if keys.len() > 1 && !fixed {
            return Ok((Question::Settings, named));
        }
        let question = match Question::of(setup) {
            Ok(question) => question,
            // Of settings that are all named, the rig need not say which it asks about.
            Err(_) if keys.len() > 1 => return Ok((Question::Settings, named)),
            Err(refused) => return Err(refused.into()),
        };
        if keys.len() > 1 && question != Question::Separation {
            return Ok((Question::Settings, named));
        }
        if question == Question::PulseLength && keys == [keys::light::PULSE_LENGTH.path] {
            return Err(Failure::input(format!(
                "--free {free}: is what is asked without --free; name two settings, such as --free light.pulse_length,timing.separation"
            )));
        }
        let axes = map::axes_beside(setup, question, named).map_err(|e| Failure::about("--free", e))?;
        Ok((question, axes))
    }

    /// Settings named under `--free`, with their ranges.
    fn axes(&self, setup: &Setup, free: &str, keys: &[&str]) -> Result<Vec<FreeSetting>, Failure> {
        let twice = (1..keys.len()).any(|k| keys[..k].contains(&keys[k]));
        if twice {
            return Err(Failure::input(format!(
                "--free {free}: names the same setting twice"
            )));
        }
        let mut ranges = Vec::new();
        for range in &self.range {
            match range.split_once('=') {
                Some((key, values)) if keys.contains(&key.trim()) => ranges.push((key.trim(), values.trim())),
                _ => {
                    return Err(Failure::input(format!(
                        "--range {range}: must be KEY=FROM..TO with a key named under --free ({free})"
                    )));
                }
            }
        }
        let range = |key: &str| {
            ranges
                .iter()
                .rfind(|(of, _)| *of == key)
                .map(|(_, values)| *values)
        };
        let axis = |key: &str| {
            let option = if range(key).is_some() { "--range" } else { "--free" };
            FreeSetting::new(setup, key, range(key)).map_err(|e| Failure::about(option, e))
        };
        keys.iter().map(|key| axis(key)).collect()
    }

    fn map(&self, setup: &Setup, question: Question, axes: Vec<FreeSetting>) -> Result<Exit, Failure> {
        let about = |e: StudyError| match self.free {
            Some(_) => Failure::about("--free", e),
            None => e.into(),
        };
        map::check(setup, &axes).map_err(about)?;
        let picture = match axes.len() {
            1 => Some("curve.svg"),
            2 => Some("map.svg"),
            _ => None,
        };
        let samples = samples::names();
        let mut names = vec!["map.csv", "decision.json"];
        names.extend(samples.iter().map(String::as_str));
        names.extend(picture);
        let folder = self.open(setup, &names)?;
        let go_on = go_on(&folder);
        let stop = signals::stop();
        let bar = Bar::new();
        let journal = journal(&folder);
        let map = map::map(setup, question, axes, &self.wish(), Some(&journal), &bar, stop);
        let map = map.inspect_err(|_| bar.finish()).map_err(about)?;
        let answered = Answered::of_map(setup, &map);
        let worths = self.worths(setup, answered.as_ref(), &journal, &bar);
        let unmet = Unmet::of_map(setup, &map, self.limit);
        let enough = self.enough(unmet.as_ref(), &self.wish(), &journal, &bar);
        bar.finish();
        let (worths, enough) = (worths?, enough?);
        // The worth of what is assumed belongs to the answer: without it there is none yet.
        let map = match signals::stopped() {
            true => map.without_answer(),
            false => map,
        };
        let mut json = report::decide::map::json(&map, setup, &go_on);
        json["assumed"] = report::decide::worth::json(&worths);
        json["pairs_for_assumed"] = json!(worths.pairs);
        json["tolerances"] = report::decide::worth::spread_json(&worths);
        json["enough"] = report::decide::enough::json(enough.as_ref().filter(|_| !map.stopped));
        let mut files = vec![("map.csv".to_owned(), report::decide::map::csv(&map).into_bytes())];
        files.extend(picture.map(|name| {
            let drawn = match map.axes.len() {
                1 => report::decide::line_picture::draw(&map, &go_on),
                _ => report::decide::map_picture::draw(&map, &go_on),
            };
            (name.to_owned(), drawn.into_bytes())
        }));
        let keys: Vec<&str> = map.axes.iter().map(|axis| axis.key.as_str()).collect();
        files.extend(self.samples(setup, &keys, map.standing.as_ref(), map.best().map(|(t, _)| t))?);
        let mut words = report::decide::map::words(&map, &go_on);
        words += &told_tiles(of_trials(&map.trials), &mut json);
        words += &self.failed(of_trials(&map.trials))?;
        let best = map.best().map(|(_, best)| best);
        let met = self.met(best);
        json["limit"] = json!(self.limit.map(|limit| limit.to_string()));
        json["meets_limit"] = json!(met);
        let mut at_best = setup.clone();
        if !map.stopped {
            words += &self.limit_words(met);
            words += &enough
                .as_ref()
                .map_or(String::new(), report::decide::enough::words);
            if let Some((trial, best)) = map.best() {
                let changes: Vec<_> = (map.axes.iter().zip(&trial.values))
                    .map(|(axis, value)| (axis.key.as_str(), value.value()))
                    .collect();
                at_best = setup.with_all(&changes)?;
                let limit = self.limit.and_then(|limit| limit.m_s(best));
                words += &velocity(&at_best, &best.point, limit, &mut json)?;
            }
            words += &report::decide::worth::words(&worths, answered.as_ref());
        }
        let what = match map.axes.len() {
            1 => "Curve, table and sample pairs",
            2 => "Map, table and sample pairs",
            _ => "Table and sample pairs",
        };
        self.end(folder, &at_best, files, &json, &words, what, map.stopped)?;
        Ok(exit(map.stopped, map.best().is_some() && met != Some(false)))
    }

    fn choice(&self, setup: &Setup) -> Result<Exit, Failure> {
        let search = ChoiceSearch::of(setup, &self.choose).map_err(|e| Failure::about("--for", e))?;
        let samples = samples::names();
        let mut names = vec!["choice.csv", "choice.svg", "decision.json"];
        names.extend(samples.iter().map(String::as_str));
        let folder = self.open(setup, &names)?;
        let go_on = go_on(&folder);
        let stop = signals::stop();
        let bar = Bar::new();
        let choice = choose(search, &self.wish(), Some(&journal(&folder)), &bar, stop)?;
        bar.finish();
        let worths = Worths::listed(setup)?;
        let mut json = report::decide::choice::json(&choice, setup, &go_on);
        json["assumed"] = report::decide::worth::json(&worths);
        json["pairs_for_assumed"] = json!(worths.pairs);
        json["tolerances"] = report::decide::worth::spread_json(&worths);
        let table = report::decide::choice::csv(&choice).into_bytes();
        let picture = report::decide::choice_picture::draw(&choice, &go_on);
        let mut files = vec![
            ("choice.csv".to_owned(), table),
            ("choice.svg".to_owned(), picture.into_bytes()),
        ];
        let keys: Vec<&str> = choice.keys.iter().map(String::as_str).collect();
        let best = choice.best().map(|(trial, _)| trial);
        files.extend(self.samples(setup, &keys, choice.standing.as_ref(), best)?);
        let mut words = report::decide::choice::words(&choice, &go_on);
        words += &told_tiles(of_trials(&choice.trials), &mut json);
        words += &self.failed(of_trials(&choice.trials))?;
        let met = self.met(choice.best().map(|(_, best)| best));
        json["limit"] = json!(self.limit.map(|limit| limit.to_string()));
        json["meets_limit"] = json!(met);
        if !choice.stopped {
            words += &self.limit_words(met);
            words += &report::decide::worth::words(&worths, None);
        }
        let what = "Table, picture and sample pairs";
        self.end(folder, setup, files, &json, &words, what, choice.stopped)?;
        Ok(exit(
            choice.stopped,
            choice.best().is_some() && met != Some(false),
        ))
    }

    fn pulse(&self, setup: &Setup) -> Result<Exit, Failure> {
        // The setup is checked whole before a directory is made.
        let search = PulseSearch::of(setup)?;
        let wish = Wish {
            limit_px: (self.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX)))
                .px(&search)
                .map_err(|e| Failure::about("--limit", e))?,
            ..self.wish()
        };
        let samples = samples::names();
        let mut names = vec!["table.csv", "decision.json", "curve.svg"];
        names.extend(samples.iter().map(String::as_str));
        let folder = self.open(setup, &names)?;
        let go_on = go_on(&folder);
        let stop = signals::stop();
        let bar = Bar::new();
        let journal = journal(&folder);
        let decision = decide(&search, &wish, Some(&journal), &bar, stop).inspect_err(|_| bar.finish())?;
        let answered = Answered::of_pulse(&search, &decision);
        let worths = self.worths(setup, answered.as_ref(), &journal, &bar);
        let limit = self.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX));
        let unmet = Unmet::of_pulse(&search, &decision, limit);
        let enough = self.enough(unmet.as_ref(), &wish, &journal, &bar);
        bar.finish();
        let (worths, enough) = (worths?, enough?);
        // The worth of what is assumed belongs to the answer: without it there is none yet.
        let decision = match signals::stopped() {
            true => decision.without_answer(),
            false => decision,
        };
        let picture = report::curve::draw(&curve(&decision, &go_on));
        let mut files = vec![
            ("table.csv".to_owned(), table::csv(&rows(&decision)).into_bytes()),
            ("curve.svg".to_owned(), picture.into_bytes()),
        ];
        let alone = self.program().is_none();
        let shown = shown(&decision).into_iter();
        let shown: Vec<Sample> = shown
            .map(|pulse| Sample::at_pulse(setup, pulse))
            .collect::<Result<_, _>>()?;
        files.extend(samples::files(&shown, self.effort.seed, alone)?);
        let mut json = report::decide::pulse::json(&decision, setup, &go_on);
        json["assumed"] = report::decide::worth::json(&worths);
        json["pairs_for_assumed"] = json!(worths.pairs);
        json["tolerances"] = report::decide::worth::spread_json(&worths);
        json["enough"] = report::decide::enough::json(enough.as_ref().filter(|_| !decision.stopped));
        let mut words = report::decide::pulse::words(&decision, &go_on);
        words += &told_tiles(decision.points.iter().map(|measured| &measured.point), &mut json);
        words += &self.failed(decision.points.iter().map(|measured| &measured.point))?;
        let mut at_best = setup.clone();
        if !decision.stopped {
            words += &enough
                .as_ref()
                .map_or(String::new(), report::decide::enough::words);
            if let Some((best, _)) = decision.best() {
                let pulse = Setup::quantity(best.pulse_s, Dimension::Time);
                at_best = setup.with(keys::light::PULSE_LENGTH.path, pulse)?;
                let left = thumb::left(&at_best, &decision)?;
                json["rule_of_thumb_left"] = report::decide::thumb::json(left.as_ref());
                words += &left.map_or(String::new(), |left| report::decide::thumb::words(&left));
                let limit = decision.velocity_m_s(wish.limit_px);
                words += &velocity(&at_best, &best.point, limit, &mut json)?;
            }
            words += &report::decide::worth::words(&worths, answered.as_ref());
        }
        let what = match decision.stopped {
            true => "Table and curve",
            false => "Table, curve and sample pairs",
        };
        self.end(folder, &at_best, files, &json, &words, what, decision.stopped)?;
        Ok(exit(decision.stopped, decision.met()))
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
        let shown: Vec<Sample> = shown
            .map(|(name, trial)| Sample::of_trial(setup, keys, name, trial))
            .collect::<Result<_, _>>()?;
        samples::files(&shown, self.effort.seed, self.program().is_none())
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

    fn limit_words(&self, met: Option<bool>) -> String {
        match (self.limit, met) {
            (Some(limit), Some(true)) => format!("Its measured error keeps the limit of {limit}.\n"),
            (Some(limit), Some(false)) => format!("No measured error keeps the limit of {limit}.\n"),
            (Some(limit), None) => format!("Whether the limit of {limit} is kept cannot be told.\n"),
            (None, _) => String::new(),
        }
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

    /// Writes the files, the JSON and the report, and prints the answer; `at_best` is the setup with
    /// the best setting.
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
    point: &Point,
    limit_m_s: Option<f64>,
    json: &mut Value,
) -> Result<String, StudyError> {
    let budget = VelocityBudget::of(setup, point)?;
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
    report::tiles::words(points)
}

fn of_trials(trials: &[Trial]) -> impl Iterator<Item = &Point> + Clone {
    trials.iter().filter_map(|trial| Some(&trial.measured()?.point))
}
