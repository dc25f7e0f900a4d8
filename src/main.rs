//! The command line of motefield: one file per command; arguments in, results on standard output,
//! progress and messages on standard error.

mod announce;
mod arguments;
mod chain;
mod child;
mod completions;
mod correlate;
mod decide;
mod exit;
mod handout;
mod man;
mod output;
mod own_vectors;
mod page;
mod plan;
mod progress;
mod render;
mod report;
mod samples;
mod score;
mod set_options;
mod signals;
mod start;
mod sweep;
mod twin;
mod verify;

use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};
use exit::{Exit, Failure};

#[derive(Parser)]
#[command(name = "motefield", version, about = "Names the light-pulse length to use in a particle image velocimetry experiment", after_help = exit::CODES)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Writes a first setup with comments, for one of five rigs, to change into your own
    #[command(after_help = "Example: motefield start diode-water rig.toml")]
    Start(start::StartCommand),
    /// Predicts what the rig will show, before anything is rendered: scale, light budget, timing,
    /// flow and the usual rules
    #[command(
        after_help = "Example: motefield plan rig.toml --displacement 8 --set lens.aperture=f/2.8 --out plan\nWarnings and failed rules do not change the exit code, unless --strict is given."
    )]
    Plan(plan::PlanCommand),
    /// Renders pairs with their true displacement
    #[command(after_help = "Example: motefield render rig.toml --pairs 10 --seed 7 --out pairs")]
    Render(render::RenderCommand),
    /// Measures the displacement between two pictures
    #[command(
        after_help = "Example: motefield correlate pairs/pair-00000-a.tif pairs/pair-00000-b.tif --setup rig.toml --out vectors.csv"
    )]
    Correlate(correlate::CorrelateCommand),
    /// Compares measured vectors with the truth
    #[command(after_help = "Example: motefield score vectors.csv --truth pairs")]
    Score(score::ScoreCommand),
    /// Tabulates the error against one key of the setup
    #[command(
        after_help = "Example: motefield sweep rig.toml --vary light.pulse_length=10us..1ms:log:9 --out study"
    )]
    Sweep(sweep::SweepCommand),
    /// Names the pulse length to use
    #[command(
        after_help = "Example: motefield decide rig.toml --limit 0.1 --out decision\nWithout a setup it decides for the embedded rig."
    )]
    Decide(decide::DecideCommand),
    /// Makes a setup whose rendered pairs look like recorded ones, and tells their error
    #[command(
        after_help = "Example: motefield twin recording/ --out twin\nThen: motefield decide twin/setup.toml --for processing.window"
    )]
    Twin(twin::TwinCommand),
    /// Writes the live page: one file that shows a rig, its pictures and its answer in any browser
    #[command(after_help = "Example: motefield page rig.toml -o rig.html")]
    Page(page::PageCommand),
    /// Makes the report of a finished study again: one page to hand to a colleague
    #[command(
        after_help = "Examples: motefield report decision --out report.html\n          motefield report decision --pdf"
    )]
    Report(report::ReportCommand),
    /// Prints what completes commands and options in a shell
    #[command(
        after_help = "Example: motefield completions bash > ~/.local/share/bash-completion/completions/motefield"
    )]
    Completions(completions::CompletionsCommand),
    /// Writes manual pages: one of the program, one of each command
    #[command(after_help = "Example: motefield man ~/.local/share/man/man1")]
    Man(man::ManCommand),
    /// Compares this version with reference figures
    #[command(
        after_help = "Example: motefield verify --case window-bias\nAgainst an earlier version: motefield verify --full --out now --against results/reference"
    )]
    Verify(verify::VerifyCommand),
}

fn main() -> ExitCode {
    signals::watch();
    match run() {
        Ok(exit) => exit.into(),
        Err(failure) => {
            output::say(&format!("motefield: {}", failure.message));
            failure.exit.into()
        }
    }
}

fn run() -> Result<Exit, Failure> {
    let command = match CommandLine::try_parse() {
        Ok(line) => line.command,
        // Help and version are results like any other; all else is a message.
        Err(text) => {
            let printed = text.print();
            return match text.use_stderr() {
                true => Ok(Exit::Input),
                false => output::judge(printed).map(|()| Exit::Done),
            };
        }
    };
    match command {
        Command::Start(command) => command.run(),
        Command::Plan(command) => command.run(),
        Command::Render(command) => command.run(),
        Command::Correlate(command) => command.run(),
        Command::Score(command) => command.run(),
        Command::Sweep(command) => command.run(),
        Command::Decide(command) => command.run(),
        Command::Twin(command) => command.run(),
        Command::Page(command) => command.run(),
        Command::Report(command) => command.run(),
        Command::Completions(command) => command.run(CommandLine::command()),
        Command::Man(command) => command.run(CommandLine::command()),
        Command::Verify(command) => command.run(),
    }
}
