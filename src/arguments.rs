//! Arguments that several commands share, and what they print.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use motefield_evaluator::uncertainty::Estimator;
use motefield_files::read_text;
use motefield_rig::setup::{Document, EMBEDDED, EMBEDDED_NAME, Referenced, Setup, Value as SetupValue};
use motefield_study::run::Effort;
use serde_json::Value;

use crate::exit::Failure;

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
                eprintln!("No setup given: using {EMBEDDED_NAME}.");
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
    /// it
    #[arg(long, default_value_t = 0.05, value_parser = share, allow_negative_numbers = true)]
    pub precision: f64,
    /// Largest number of pairs per point
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub most_pairs: u32,
    /// Number of threads; all processors by default
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
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

pub fn above_zero(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|p: &f64| *p > 0.0 && p.is_finite())
        .ok_or_else(|| "must be a number above 0, such as 0.1".to_owned())
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
            ..usual
        }
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

/// A flag that Ctrl-C sets; a second Ctrl-C ends the program at once.
pub fn stop_on_interrupt() -> Arc<AtomicBool> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    // Without a handler (already set by an embedding program) Ctrl-C ends the program as usual.
    let _ = ctrlc::set_handler(move || {
        if flag.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
        eprintln!("\nStopping after the pairs under way; press Ctrl-C again to quit at once.");
    });
    stop
}

/// Writes to standard output; a reader that went away (a closed pipe) ends the program quietly.
pub fn print(text: &str) {
    use std::io::Write;
    if std::io::stdout().lock().write_all(text.as_bytes()).is_err() {
        std::process::exit(0);
    }
}

pub fn print_json(value: &Value) {
    print(&format!("{value:#}\n"));
}
