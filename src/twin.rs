//! `twin`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_generator::Pair;
use motefield_report::handout::NAME as REPORT;
use motefield_report::specimen::{Tone, cut};
use motefield_report::twin as report;
use motefield_study::folder::{Names, Start};
use motefield_study::manifest::{FileHash, Manifest};
use motefield_study::run::Effort;
use motefield_study::twin::{FLOW, LIGHT_CHANGES, Twin, processing_text, twin};
use ndarray::Array2;
use serde_json::{Value, json};

use crate::arguments::{FolderArguments, PictureArguments, use_threads};
use crate::correlate::{ReadProcessing, processing};
use crate::handout::{self, ANSWER};
use crate::output::{print, print_json, print_words, say};
use crate::progress::Bar;
use crate::signals;

#[derive(Args)]
pub struct TwinCommand {
    /// Frames of recorded pairs, A B A B ...: pictures, files of several pictures, folders of them
    #[arg(required = true, num_args = 1.., value_names = ["A", "B"])]
    frames: Vec<PathBuf>,
    #[command(flatten)]
    pictures: PictureArguments,
    /// Setup whose [processing] is used; the default processing if none is given
    #[arg(long)]
    setup: Option<PathBuf>,
    /// Changes a key of the processing; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
    /// Largest number of pairs that are looked at, spread evenly over the recording
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=1000))]
    most_recorded: u16,
    /// Largest number of pairs rendered for each error
    #[arg(long, default_value_t = 12, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    most_pairs: u32,
    /// Seed of the rendered pairs
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Number of threads; all processors by default
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Directory for report.html, setup.toml, flow.csv, twin.json, twin.html with its pictures,
    /// answer.txt and manifest.json; a new one by default
    #[arg(long)]
    out: Option<PathBuf>,
    #[command(flatten)]
    folder: FolderArguments,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

const NAMES: [&str; 8] = [
    "setup.toml",
    FLOW,
    "twin.json",
    "twin.html",
    "recorded.png",
    "twin.png",
    ANSWER,
    REPORT,
];

impl TwinCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        use_threads(self.threads)?;
        let ReadProcessing {
            processing,
            setup,
            mut files_read,
        } = processing(self.setup.as_deref(), &self.changes)?;
        if processing.ensemble > 1 {
            return Err(Failure::input(
                "processing.ensemble: a twin is made of pairs that are measured one by one; leave the key out",
            ));
        }
        let section = processing_text(&setup)?;
        let series = self.pictures.open(&self.frames)?;
        let count = series.len() / 2;
        let taken = count.min(self.most_recorded.into());
        let mut recorded: Vec<[Array2<f32>; 2]> = Vec::new();
        for k in 0..taken {
            let pair = series.pair(k * count / taken)?;
            recorded.push(pair.map(|frame| frame.pixels));
        }
        files_read.extend(series.files().iter().filter_map(|file| {
            Some(FileHash {
                path: file.display().to_string(),
                sha256: motefield_files::sha256(file)?,
            })
        }));
        let asked =
            json!({ "most_recorded": self.most_recorded, "most_pairs": self.most_pairs, "seed": self.seed });
        let mut manifest = Manifest::new("twin", asked).with_files(files_read);
        manifest.setup = Some(setup);
        let names = NAMES.map(str::to_owned);
        let names = Names {
            at_the_end: &names,
            on_the_way: None,
        };
        let out = self.out.as_deref();
        let folder = self.folder.open(out, "twin", Start::New, manifest, &names)?;
        let (bar, stop) = (Bar::new(), signals::stop());
        let views: Vec<_> = recorded.iter().map(|[a, b]| [a.view(), b.view()]).collect();
        let found = twin(&views, &processing, self.seed, &bar, stop)?;
        bar.finish();
        let effort = Effort {
            seed: self.seed.wrapping_add(1),
            first_pairs: 5.min(self.most_pairs as usize),
            most_pairs: self.most_pairs as usize,
            ..Effort::default()
        };
        // The errors are another study, counted from its own beginning.
        let bar = Bar::new();
        let points = match &found {
            Some(twin) => twin.errors(&processing, &LIGHT_CHANGES, &effort, &bar, stop)?,
            None => Vec::new(),
        };
        bar.finish();
        let (Some(twin), false) = (found, signals::stopped()) else {
            say("Stopped; nothing is kept.");
            return Ok(signals::exit());
        };
        let errors: Vec<report::LightChanged> = LIGHT_CHANGES
            .into_iter()
            .zip(points.iter().map(Option::as_ref))
            .collect();
        let words = report::words(&twin, &errors);
        let json = report::json(&twin, &errors);
        let contents = contents(&twin, &errors, &section, &words, &json);
        let mut files: Vec<(String, Vec<u8>)> = NAMES.map(str::to_owned).into_iter().zip(contents).collect();
        let report = handout::page(folder.manifest(), None, &words, &files);
        files.push((REPORT.to_owned(), report));
        let directory = folder.directory().to_owned();
        folder.write(&files, true)?;
        if self.json {
            print_json(&json)?;
        } else {
            print_words(&words)?;
            print(&format!("Setup, flow and page: {}\n", directory.display()))?;
        }
        Ok(Exit::Done)
    }
}

/// What the files of [`NAMES`] hold, in their order, but for the report made of them.
fn contents(
    twin: &Twin,
    errors: &[report::LightChanged],
    section: &str,
    words: &str,
    json: &Value,
) -> Vec<Vec<u8>> {
    let head =
        "# The twin of a recording, made by `motefield twin`: a scene whose rendered pairs look like it.\n";
    let [recorded, rendered] = pictures(twin);
    vec![
        format!("{head}{}{section}", twin.setup).into_bytes(),
        twin.flow.clone().into_bytes(),
        format!("{json:#}\n").into_bytes(),
        report::html(twin, errors).into_bytes(),
        recorded,
        rendered,
        words.as_bytes().to_vec(),
    ]
}

/// The middle of a recorded and of a rendered pair, at one grey scale.
fn pictures(twin: &Twin) -> [Vec<u8>; 2] {
    let [recorded, _] = &twin.specimens;
    let tone = Tone::from_dark(twin.levels[0] as f32, &recorded[0]);
    twin.specimens.each_ref().map(|[a, b]| {
        let pair = Pair {
            a: a.clone(),
            b: b.clone(),
        };
        cut(&pair, tone)
    })
}
