//! Commands: arguments in, results on standard output, progress and messages on standard error.

mod decide;
mod pictures;
mod plan;
mod progress;
mod sweep;
mod vectors;
mod verify;
mod wavelength;

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Args, Parser, Subcommand};
use motefield::failure::Failure;
use motefield::source::Source;
use motefield::study::Effort;
use motefield_evaluator::uncertainty::Estimator;
use serde_json::Value;

const EXIT_CODES: &str = "Exit codes: 0 done; 1 the answer is no (no pulse length meets the limit, or a published figure is missed); 2 bad input; 3 input or output failed; 130 stopped by Ctrl-C with what was done kept.";

#[derive(Parser)]
#[command(name = "motefield", version, about = "Names the light-pulse length to use in a particle image velocimetry experiment", after_help = EXIT_CODES)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Tells what the rig will show, before any picture is rendered: scale, light budget, timing, flow, and the rules of the trade
    #[command(
        after_help = "Example: motefield plan rig.toml --displacement 8 --set lens.aperture=f/2.8 --out plan\nWarnings and failed rules do not change the exit code, unless --strict is given."
    )]
    Plan(plan::Plan),
    /// Renders pairs with their true displacement
    #[command(after_help = "Example: motefield render rig.toml --pairs 10 --seed 7 --out pairs")]
    Render(pictures::Render),
    /// Measures the displacement between two pictures
    #[command(
        after_help = "Example: motefield correlate pairs/pair-00000-a.tif pairs/pair-00000-b.tif --setup rig.toml --out vectors.csv"
    )]
    Correlate(vectors::Correlate),
    /// Compares measured vectors with the truth
    #[command(after_help = "Example: motefield score vectors.csv --truth pairs")]
    Score(vectors::Score),
    /// Tabulates the error against one key of the setup
    #[command(
        after_help = "Example: motefield sweep rig.toml --vary light.pulse_length=10us..1ms:log:9 --out study"
    )]
    Sweep(sweep::Sweep),
    /// Names the pulse length to use
    #[command(
        after_help = "Example: motefield decide rig.toml --limit 0.1 --out decision\nWithout a setup it decides for the embedded rig."
    )]
    Decide(decide::Decide),
    /// Holds this version against published accuracy figures
    #[command(
        after_help = "Example: motefield verify --case window-bias\nAgainst an earlier version: motefield verify --full --out now --against results/published"
    )]
    Verify(verify::Verify),
}

/// The setup, which most commands take.
#[derive(Args)]
struct SetupArguments {
    /// Setup file (TOML); the embedded rig if none is named
    setup: Option<PathBuf>,
    /// Another value for a key of the setup, as KEY=VALUE; may be repeated
    #[arg(long = "set", value_name = "KEY=VALUE")]
    changes: Vec<String>,
}

impl SetupArguments {
    fn source(&self) -> Result<Source, Failure> {
        let source = Source::open(self.setup.as_deref(), &self.changes)?;
        if self.setup.is_none() {
            eprintln!("No setup named: using {}.", source.name);
        }
        Ok(source)
    }
}

/// How much to compute.
#[derive(Args)]
struct EffortArguments {
    /// Seed of the study: the same seed gives the same bytes
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Half the 95 % interval of the random error, over its value, at which a point is known well enough
    #[arg(long, default_value_t = 0.05, value_parser = share, allow_negative_numbers = true)]
    precision: f64,
    /// Most pairs at a point
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    most_pairs: u32,
    /// Threads; all processors if not given
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
}

/// Estimators of uncertainty named on the command line, with commas between; `all` are all there are.
fn estimators(text: &str) -> Result<Estimators, String> {
    let one = |name: &str| name.trim().parse::<Estimator>().map_err(|e| e.to_string());
    match text {
        "all" => Ok(Estimators(Estimator::ALL.to_vec())),
        names => Ok(Estimators(names.split(',').map(one).collect::<Result<_, _>>()?)),
    }
}

/// See [`estimators`].
#[derive(Clone)]
struct Estimators(Vec<Estimator>);

fn share(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|p: &f64| *p > 0.0 && *p < 1.0)
        .ok_or_else(|| "must be a number above 0 and below 1, such as 0.05".to_owned())
}

fn above_zero(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|p: &f64| *p > 0.0 && p.is_finite())
        .ok_or_else(|| "must be a number above 0, such as 0.1".to_owned())
}

impl EffortArguments {
    fn effort(&self) -> Effort {
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

    fn use_threads(&self) -> Result<(), Failure> {
        use_threads(self.threads)
    }
}

fn use_threads(threads: Option<u16>) -> Result<(), Failure> {
    let Some(threads) = threads else { return Ok(()) };
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads.into())
        .build_global()
        .map_err(|e| Failure::input(format!("--threads {threads}: {e}")))
}

/// A flag that Ctrl-C sets; a second Ctrl-C ends the program at once.
fn stop_on_interrupt() -> Arc<AtomicBool> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    // Without a handler (already set by an embedding program) Ctrl-C ends the program as usual.
    let _ = ctrlc::set_handler(move || {
        if flag.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
        eprintln!("\nStopping after the pairs in hand; Ctrl-C again ends at once.");
    });
    stop
}

/// Writes to standard output; a reader that went away (a closed pipe) ends the program quietly.
fn print(text: &str) {
    use std::io::Write;
    if std::io::stdout().lock().write_all(text.as_bytes()).is_err() {
        std::process::exit(0);
    }
}

fn print_json(value: &Value) {
    print(&format!("{value:#}\n"));
}

/// Runs the command line.
pub fn main() -> ExitCode {
    let result = match Arguments::parse().command {
        Command::Plan(command) => command.run(),
        Command::Render(command) => command.run(),
        Command::Correlate(command) => command.run(),
        Command::Score(command) => command.run(),
        Command::Sweep(command) => command.run(),
        Command::Decide(command) => command.run(),
        Command::Verify(command) => command.run(),
    };
    result.unwrap_or_else(|failure| {
        eprintln!("motefield: {failure}");
        ExitCode::from(failure.code)
    })
}
