//! `decide`

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use motefield::decide::answer::{curve, rows, shown};
use motefield::decide::{Rig, USUAL_LIMIT_PX, USUAL_VALID, Wish, decide};
use motefield::failure::Failure;
use motefield::files::{self, Output};
use motefield::specimen::{Tone, cut};
use motefield::{caution, table};
use motefield_generator::{Seed, render};

use super::progress::Bar;
use super::{EffortArguments, SetupArguments, above_zero, print, print_json, share, stop_on_interrupt};

#[derive(Args)]
pub struct Decide {
    #[command(flatten)]
    setup: SetupArguments,
    /// Largest total error allowed, px
    #[arg(long, default_value_t = USUAL_LIMIT_PX, value_parser = above_zero, allow_negative_numbers = true)]
    limit: f64,
    /// Least share of valid vectors
    #[arg(long, default_value_t = USUAL_VALID, value_parser = share)]
    valid: f64,
    #[command(flatten)]
    effort: EffortArguments,
    /// Directory for table.csv, decision.json, curve.svg and sample pairs; a fresh one if not given
    #[arg(long)]
    out: Option<PathBuf>,
    /// Overwrites what is there
    #[arg(long)]
    force: bool,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

const SHOWN: [&str; 3] = ["shortest", "best", "longest"];

impl Decide {
    pub fn run(&self) -> Result<ExitCode, Failure> {
        self.effort.use_threads()?;
        let source = self.setup.source()?;
        if let Some(caution) = caution::text(&source.setup()?.light) {
            eprintln!("{caution}");
        }
        let out = Output::new(self.out.as_deref(), "decision", self.force);
        let samples = SHOWN
            .iter()
            .flat_map(|s| [format!("{s}-a.tif"), format!("{s}-b.tif"), format!("{s}.png")]);
        let names: Vec<String> = ["table.csv", "decision.json", "curve.svg"]
            .map(str::to_owned)
            .into_iter()
            .chain(samples)
            .collect();
        let wish = Wish {
            limit_px: self.limit,
            valid: self.valid,
            effort: self.effort.effort(),
        };
        let stop = stop_on_interrupt();
        let bar = Bar::new();
        // The setup is checked whole before a directory is made.
        let rig = Rig::of(&source)?;
        out.prepare(&names.iter().map(String::as_str).collect::<Vec<_>>())?;
        let decision = decide(&rig, &wish, &bar, &stop);
        bar.finish();
        let decision = decision?;

        out.write("table.csv", table::csv(&rows(&decision)).as_bytes())?;
        out.write("curve.svg", motefield::curve::draw(&curve(&decision)).as_bytes())?;
        let shown = shown(&decision);
        let mut pairs = Vec::new();
        for (name, pulse_s) in &shown {
            let scene = source
                .with(&[("light.pulse_length", format!("{pulse_s:e} s"))])
                .plan()?
                .scene;
            let seed = Seed {
                study: self.effort.seed,
                ..Seed::default()
            };
            let pair = render(&scene, seed).map_err(|e| Failure::input(e.to_string()))?;
            pairs.push((*name, scene, pair));
        }
        for (name, scene, pair) in &pairs {
            let float = scene.sensor.is_none();
            out.write(&format!("{name}-a.tif"), &files::tiff(&pair.a, float))?;
            out.write(&format!("{name}-b.tif"), &files::tiff(&pair.b, float))?;
            out.write(&format!("{name}.png"), &cut(pair, Tone::of(pair, scene)))?;
        }
        let json = decision.json(&source);
        out.write("decision.json", format!("{json:#}\n").as_bytes())?;
        if self.json {
            print_json(&json);
        } else {
            print(&decision.words());
            print(&format!(
                "Table, curve and sample pairs: {}\n",
                out.directory().display()
            ));
        }
        Ok(match (decision.stopped, decision.met()) {
            (true, _) => ExitCode::from(130),
            (false, true) => ExitCode::SUCCESS,
            (false, false) => ExitCode::from(1),
        })
    }
}
