//! The command line of motefield.

mod cli;

fn main() -> std::process::ExitCode {
    cli::main()
}
