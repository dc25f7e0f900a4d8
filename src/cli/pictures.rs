//! `render`

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use motefield::failure::Failure;
use motefield::files::{self, Output};
use motefield::study::Progress;
use motefield_generator::{Seed, render, truth};
use rayon::prelude::*;
use serde_json::json;

use super::progress::Bar;
use super::{SetupArguments, print_json, use_threads};

#[derive(Args)]
pub struct Render {
    #[command(flatten)]
    setup: SetupArguments,
    /// How many pairs
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=99_999))]
    pairs: u32,
    /// Seed: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Directory for pair-NNNNN-a.tif, pair-NNNNN-b.tif, truth-NNNNN.npy and manifest.json; a fresh one if not given
    #[arg(long)]
    out: Option<PathBuf>,
    /// Overwrites what is there
    #[arg(long)]
    force: bool,
    /// Threads; all processors if not given
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Prints the manifest as JSON
    #[arg(long)]
    json: bool,
}

impl Render {
    pub fn run(&self) -> Result<ExitCode, Failure> {
        use_threads(self.threads)?;
        let source = self.setup.source()?;
        let plan = source.plan()?;
        let out = Output::new(self.out.as_deref(), "pairs", self.force);
        let name = |kind: &str, k: u32, rest: &str| format!("{kind}-{k:05}{rest}");
        let files: Vec<String> = (0..self.pairs)
            .flat_map(|k| {
                [
                    name("pair", k, "-a.tif"),
                    name("pair", k, "-b.tif"),
                    name("truth", k, ".npy"),
                ]
            })
            .chain(["manifest.json".to_owned()])
            .collect();
        out.prepare(&files.iter().map(String::as_str).collect::<Vec<_>>())?;
        let ideal = plan.scene.sensor.is_none();
        // None of the flow fields changes from pair to pair, so neither does the truth.
        let truth = files::npy(&truth::dense(&plan.scene));
        let bar = Bar::new();
        bar.expect(self.pairs as usize);
        let rendered: Result<(), Failure> = (0..self.pairs).into_par_iter().try_for_each(|k| {
            let seed = Seed {
                study: self.seed,
                point: 0,
                realisation: k.into(),
            };
            let pair = render(&plan.scene, seed).map_err(|e| Failure::input(e.to_string()))?;
            out.write(&name("pair", k, "-a.tif"), &files::tiff(&pair.a, ideal))?;
            out.write(&name("pair", k, "-b.tif"), &files::tiff(&pair.b, ideal))?;
            out.write(&name("truth", k, ".npy"), &truth)?;
            bar.done();
            Ok(())
        });
        bar.finish();
        rendered?;
        let manifest = json!({
            "schema": "motefield-pairs/1",
            "version": env!("CARGO_PKG_VERSION"),
            "setup": { "name": source.name, "text": source.text, "changes": source.changes },
            "seed": self.seed,
            "pairs": self.pairs,
            "size_px": plan.scene.size,
            "pixels": if ideal { "expected photo-electrons, 32-bit float" } else { "grey levels, 16 bit" },
            "truth": "float64, 2 x height x width: dx, dy in px between the middles of the pulses, of what is at the pixel midway in time",
            "plan": plan.facts.iter().map(|f| (f.name.to_owned(), json!(f.value))).collect::<serde_json::Map<_, _>>(),
        });
        out.write("manifest.json", format!("{manifest:#}\n").as_bytes())?;
        if self.json {
            print_json(&manifest);
        } else {
            super::print(&format!(
                "{} pairs in {}\n",
                self.pairs,
                out.directory().display()
            ));
        }
        Ok(ExitCode::SUCCESS)
    }
}
