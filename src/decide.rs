//! `decide`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_files::{OutputDirectory, picture};
use motefield_generator::{Seed, render};
use motefield_report::decide::pulse::{curve, rows, shown};
use motefield_report::specimen::{Tone, cut};
use motefield_report::{self as report, table};
use motefield_rig::plan::plan;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;
use motefield_rig::{caution, keys};
use motefield_study::StudyError;
use motefield_study::decide::choice::choose;
use motefield_study::decide::map::FreeSetting;
use motefield_study::decide::{PulseSearch, USUAL_LIMIT_PX, USUAL_VALID, Wish, decide};

use crate::arguments::{
    EffortArguments, SetupArguments, above_zero, print, print_json, share, stop_on_interrupt,
};
use crate::progress::Bar;

#[derive(Args)]
pub struct DecideCommand {
    #[command(flatten)]
    setup: SetupArguments,
    /// Largest total error allowed, px
    #[arg(long, default_value_t = USUAL_LIMIT_PX, value_parser = above_zero, allow_negative_numbers = true)]
    limit: f64,
    /// Smallest share of valid vectors
    #[arg(long, default_value_t = USUAL_VALID, value_parser = share)]
    valid: f64,
    /// Two numeric settings to vary together, such as light.pulse_length,timing.separation: maps
    /// the error of the velocity over both and names the best pair of values
    #[arg(long, value_name = "KEY,KEY", conflicts_with = "choose")]
    free: Option<String>,
    /// Range of a setting named under --free, as KEY=FROM..TO, KEY=FROM..TO:log:N or :lin:N; may be
    /// repeated
    #[arg(long, value_name = "KEY=RANGE", requires = "free")]
    range: Vec<String>,
    /// A setting to choose, as KEY or KEY=a,b,c; may be repeated, then every combination is tried
    #[arg(long = "for", value_name = "KEY", id = "choose")]
    choose: Vec<String>,
    #[command(flatten)]
    effort: EffortArguments,
    /// Directory for table.csv, decision.json, curve.svg and sample pairs; a new one by default
    #[arg(long)]
    out: Option<PathBuf>,
    /// Overwrites existing files
    #[arg(long)]
    force: bool,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

const SHOWN: [&str; 3] = ["shortest", "best", "longest"];

impl DecideCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        self.effort.use_threads()?;
        let setup = self.setup.read(&[])?;
        if let Some(caution) = caution::text(&setup.light) {
            eprintln!("{caution}");
        }
        if let Some(free) = &self.free {
            return self.map(&setup, free);
        }
        if !self.choose.is_empty() {
            return self.choice(&setup);
        }
        self.pulse(&setup)
    }

    fn wish(&self) -> Wish {
        Wish {
            limit_px: self.limit,
            valid: self.valid,
            effort: self.effort.effort(),
        }
    }

    fn map(&self, setup: &Setup, free: &str) -> Result<Exit, Failure> {
        let keys: Vec<&str> = free.split(',').map(str::trim).collect();
        let [a, b] = keys[..] else {
            return Err(Failure::input(format!(
                "--free {free}: must name two settings, such as --free light.pulse_length,timing.separation"
            )));
        };
        if a == b {
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
        let axes = [axis(a)?, axis(b)?];
        let out = OutputDirectory::new(self.out.as_deref(), "decision", self.force);
        out.prepare(&["map.csv", "decision.json", "map.svg"])?;
        let stop = stop_on_interrupt();
        let bar = Bar::new();
        let map = motefield_study::decide::map::map(setup, axes, &self.wish(), &bar, &stop);
        bar.finish();
        let map = kept(&out, "--free", map)?;
        let json = report::decide::map::json(&map, setup);
        out.write("map.csv", report::decide::map::csv(&map))?;
        out.write("map.svg", report::decide::map_picture::draw(&map))?;
        out.write("decision.json", format!("{json:#}\n"))?;
        self.tell(&json, &report::decide::map::words(&map), "Map and table", &out);
        Ok(exit(map.stopped, map.best().is_some()))
    }

    fn choice(&self, setup: &Setup) -> Result<Exit, Failure> {
        let out = OutputDirectory::new(self.out.as_deref(), "decision", self.force);
        out.prepare(&["choice.csv", "decision.json"])?;
        let stop = stop_on_interrupt();
        let bar = Bar::new();
        let choice = choose(setup, &self.choose, &self.wish(), &bar, &stop);
        bar.finish();
        let choice = kept(&out, "--for", choice)?;
        let json = report::decide::choice::json(&choice, setup);
        out.write("choice.csv", report::decide::choice::csv(&choice))?;
        out.write("decision.json", format!("{json:#}\n"))?;
        self.tell(&json, &report::decide::choice::words(&choice), "Table", &out);
        Ok(exit(choice.stopped, choice.best().is_some()))
    }

    fn tell(&self, json: &serde_json::Value, words: &str, what: &str, out: &OutputDirectory) {
        if self.json {
            print_json(json);
        } else {
            print(words);
            print(&format!("{what}: {}\n", out.directory().display()));
        }
    }

    fn pulse(&self, setup: &Setup) -> Result<Exit, Failure> {
        let out = OutputDirectory::new(self.out.as_deref(), "decision", self.force);
        let samples = SHOWN
            .iter()
            .flat_map(|s| [format!("{s}-a.tif"), format!("{s}-b.tif"), format!("{s}.png")]);
        let names: Vec<String> = ["table.csv", "decision.json", "curve.svg"]
            .map(str::to_owned)
            .into_iter()
            .chain(samples)
            .collect();
        let wish = self.wish();
        let stop = stop_on_interrupt();
        let bar = Bar::new();
        // The setup is checked whole before a directory is made.
        let search = PulseSearch::of(setup)?;
        out.prepare(&names.iter().map(String::as_str).collect::<Vec<_>>())?;
        let decision = decide(&search, &wish, &bar, &stop);
        bar.finish();
        let decision = decision?;

        out.write("table.csv", table::csv(&rows(&decision)))?;
        out.write("curve.svg", report::curve::draw(&curve(&decision)))?;
        let shown = shown(&decision);
        let mut pairs = Vec::new();
        for (name, pulse_s) in &shown {
            let value = Setup::quantity(*pulse_s, Dimension::Time);
            let scene = plan(&setup.with(keys::light::PULSE_LENGTH.path, value)?)?.scene;
            let seed = Seed {
                study: self.effort.seed,
                ..Seed::default()
            };
            let pair = render(&scene, seed).map_err(|e| Failure::input(e.to_string()))?;
            pairs.push((*name, scene, pair));
        }
        for (name, scene, pair) in &pairs {
            let float = scene.camera.sensor.is_none();
            out.write(&format!("{name}-a.tif"), picture::tiff(&pair.a, float))?;
            out.write(&format!("{name}-b.tif"), picture::tiff(&pair.b, float))?;
            out.write(&format!("{name}.png"), cut(pair, Tone::of(pair, scene)))?;
        }
        let json = report::decide::pulse::json(&decision, setup);
        out.write("decision.json", format!("{json:#}\n"))?;
        self.tell(
            &json,
            &report::decide::pulse::words(&decision),
            "Table, curve and sample pairs",
            &out,
        );
        Ok(exit(decision.stopped, decision.met()))
    }
}

/// The result of the work that goes to `out`; where the work failed, removes the directory again if
/// it was made for it.
fn kept<T>(out: &OutputDirectory, option: &str, work: Result<T, StudyError>) -> Result<T, Failure> {
    if work.is_err() {
        out.abandon();
    }
    work.map_err(|e| Failure::about(option, e))
}

fn exit(stopped: bool, answered: bool) -> Exit {
    match (stopped, answered) {
        (true, _) => Exit::Interrupted,
        (false, true) => Exit::Done,
        (false, false) => Exit::No,
    }
}
