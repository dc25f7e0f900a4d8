//! Arguments that several commands share, and what they print.

use std::path::{Path, PathBuf};

use clap::Args;
use motefield_evaluator::uncertainty::Estimator;
use motefield_files::picture::{ColourChannel, GreyPicture, RawLayout, Reading};
use motefield_files::{FileError, Series, picture_files, read_text};
use motefield_rig::plan::Plan;
use motefield_rig::setup::{Document, EMBEDDED, EMBEDDED_NAME, Referenced, Setup, Value as SetupValue};
use motefield_study::folder::{Destination, Folder, Names, Start};
use motefield_study::manifest::{FileHash, Manifest};
use motefield_study::run::tiles::announced;
use motefield_study::run::{Effort, Experiment};
use serde_json::{Value, json};

use crate::exit::{Exit, Failure};
use crate::output::say;
use crate::signals;

/// How to have all of a large picture measured.
pub const WHOLE: &str = "--whole measures all of it";

/// The setup, which most commands take.
#[derive(Args)]
pub struct SetupArguments {
    /// Setup file (TOML); the embedded rig by default
    pub setup: Option<PathBuf>,
    /// Changes a key of the setup; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub changes: Vec<String>,
}

impl SetupArguments {
    /// Reads the setup, with further changes to it.
    pub fn read(&self, more: &[(&str, SetupValue)]) -> Result<Setup, Failure> {
        let document = match &self.setup {
            Some(path) => Document::parse(&path.display().to_string(), &read_text(path)?)?,
            None => {
                say(&format!("No setup given: using {EMBEDDED_NAME}."));
                Document::parse(EMBEDDED_NAME, EMBEDDED)?
            }
        };
        let document = changed(document, &self.changes)?;
        let more = more.iter();
        let document = more.fold(document, |document, (key, value)| {
            document.with(key, value.clone())
        });
        Ok(Setup::read(document, Referenced::on_disk())?)
    }

    /// A manifest with the setup that was read, its file, and those that it names.
    pub fn described(&self, manifest: Manifest, setup: &Setup) -> Manifest {
        manifest.with_setup(setup).with_files(
            self.setup
                .iter()
                .map(|path| FileHash::of(path.display().to_string(), setup.text())),
        )
    }
}

/// The document with changes written as `KEY=VALUE`.
pub fn changed(document: Document, changes: &[String]) -> Result<Document, Failure> {
    changes
        .iter()
        .try_fold(document, |document, change| match change.split_once('=') {
            Some((key, value)) => Ok(document.with(key.trim(), SetupValue::parse(value))),
            None => Err(Failure::input(format!(
                "--set {change}: there is no `=`; write for example --set light.power=\"8 W\""
            ))),
        })
}

/// How much to compute.
#[derive(Args)]
pub struct EffortArguments {
    /// Seed of the study: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Adds pairs to a point until half the 95 % interval of its total error is below this share of
    /// it; in a decision three times this where a setting is clearly worse than the best
    #[arg(long, default_value_t = 0.05, value_parser = share, allow_negative_numbers = true)]
    pub precision: f64,
    /// Largest number of pairs per point; a fifth of it for the settings of a map, of which the
    /// best is measured again with up to all
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub most_pairs: u32,
    /// Measures large pictures whole; else of those above a megapixel tiles are measured that stand
    /// for all of it
    #[arg(long)]
    pub whole: bool,
    /// Number of threads; all processors by default
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

/// What must be stated of pictures that their files do not say.
#[derive(Args)]
pub struct PictureArguments {
    /// Channel of pictures in colour that is taken: red, green or blue
    #[arg(long)]
    channel: Option<ColourChannel>,
    /// Layout of raw files, WIDTHxHEIGHT:SAMPLE:BYTES_BEFORE, such as 1024x1024:u16le or
    /// 2048x2048:u12packed:512
    #[arg(long, value_name = "LAYOUT")]
    raw: Option<RawLayout>,
    /// Every picture holds frame A above frame B
    #[arg(long)]
    double_height: bool,
}

impl PictureArguments {
    fn reading(&self) -> Reading {
        Reading {
            channel: self.channel,
            raw: self.raw,
            double_height: self.double_height,
        }
    }

    /// The files in some paths; a folder stands for its pictures.
    pub fn files(&self, paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
        picture_files(paths, &self.reading()).map_err(named)
    }

    /// The frames in the bytes of a file.
    pub fn pages(&self, path: &Path, bytes: &[u8]) -> Result<Vec<GreyPicture>, Failure> {
        self.reading().pages(path, bytes).map_err(named)
    }

    /// The frames of the pairs in some paths.
    pub fn open(&self, paths: &[PathBuf]) -> Result<Series, Failure> {
        let series = Series::open(paths, self.reading()).map_err(named)?;
        match series.len() {
            n if n % 2 == 1 => Err(Failure::input(format!(
                "{n} pictures are given, an odd number: give frame A and frame B of each pair, or --double-height where one picture holds both"
            ))),
            _ => Ok(series),
        }
    }
}

/// Why a picture is not read, with the option that states what is missing.
fn named(error: FileError) -> Failure {
    let no_channel = matches!(error, FileError::NoChannel { .. });
    let mut failure = Failure::from(error);
    if no_channel {
        failure.message.push_str("; name the channel with --channel");
    }
    failure
}

/// Estimators of uncertainty, separated by commas; `all` names all of them.
pub fn estimators(text: &str) -> Result<Estimators, String> {
    let one = |name: &str| name.trim().parse::<Estimator>().map_err(|e| e.to_string());
    match text {
        "all" => Ok(Estimators(Estimator::ALL.to_vec())),
        names => Ok(Estimators(names.split(',').map(one).collect::<Result<_, _>>()?)),
    }
}

/// See [`estimators`].
#[derive(Clone)]
pub struct Estimators(pub Vec<Estimator>);

pub fn share(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|p: &f64| *p > 0.0 && *p < 1.0)
        .ok_or_else(|| "must be a number above 0 and below 1, such as 0.05".to_owned())
}

impl EffortArguments {
    pub fn effort(&self) -> Effort {
        let most_pairs = self.most_pairs as usize;
        let usual = Effort::default();
        Effort {
            seed: self.seed,
            precision: self.precision,
            first_pairs: usual.first_pairs.min(most_pairs),
            most_pairs,
            whole: self.whole,
            ..usual
        }
    }

    /// The tiles on which an experiment of this plan is measured, for the manifest; `None` where
    /// whole pictures are.
    pub fn tiles(&self, plan: &Plan) -> Option<Value> {
        let experiment = Experiment {
            scene: plan.scene.clone(),
            processing: plan.processing.clone(),
        };
        let found = self.announced(&experiment);
        found.map(|(tiles, size)| json!({ "tiles": tiles, "size_px": size }))
    }

    /// Number of tiles on which an experiment is measured, and their size, px.
    pub fn announced(&self, experiment: &Experiment) -> Option<(usize, [usize; 2])> {
        announced(experiment, self.seed).filter(|_| !self.whole)
    }

    pub fn use_threads(&self) -> Result<(), Failure> {
        use_threads(self.threads)
    }
}

pub fn use_threads(threads: Option<u16>) -> Result<(), Failure> {
    let Some(threads) = threads else { return Ok(()) };
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads.into())
        .build_global()
        .map_err(|e| Failure::input(format!("--threads {threads}: {e}")))
}

/// How the directory of results is taken up, for commands that can continue.
#[derive(Args)]
pub struct FolderArguments {
    /// Continues in the directory --out what was stopped or killed, from what it had finished; the
    /// results are the same to the byte
    #[arg(long, requires = "out", conflicts_with_all = ["force", "fresh"])]
    resume: bool,
    /// Starts over in the directory --out: replaces what this program wrote there, finished or not
    #[arg(long, requires = "out", conflicts_with = "force")]
    fresh: bool,
    /// Starts over and also overwrites existing files of other origin
    #[arg(long)]
    force: bool,
}

impl FolderArguments {
    /// Opens the folder of a study, whose command ends by itself from then on: the directory `out`,
    /// or the next that is free of the `usual` name. `again` is how it is taken up where nothing
    /// else is asked.
    pub fn open(
        &self,
        out: Option<&Path>,
        usual: &str,
        again: Start,
        manifest: Manifest,
        names: &Names,
    ) -> Result<Folder, Failure> {
        let place = Destination {
            directory: out,
            usual,
            start: match (self.resume, self.fresh) {
                (true, _) => Start::Resume,
                (_, true) => Start::Fresh,
                _ => again,
            },
            overwrite: self.force,
        };
        let folder = Folder::open(&place, manifest, names)?;
        signals::end_by_itself(&go_on(&folder));
        Ok(folder)
    }

    /// Whether to start over.
    pub fn anew(&self) -> bool {
        self.fresh || self.force
    }
}

/// How to continue the study in a folder, in two sentences.
pub fn go_on(folder: &Folder) -> String {
    format!(
        "What was finished is kept. To go on, repeat the command with --out {} --resume.",
        folder.directory().display()
    )
}

/// The end of a command that was stopped: how to go on, if what was finished could be kept.
pub fn stopped(folder: &Folder) -> Result<(), Failure> {
    match folder.journal().lost() {
        false => Ok(()),
        true => Err(Failure {
            exit: Exit::System,
            message: format!(
                "{}: stopped, and not all finished work could be kept; make room on the disk before going on",
                folder.directory().display()
            ),
        }),
    }
}
