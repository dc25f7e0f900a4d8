//! `completions`

use clap::{Args, Command};
use clap_complete::{Shell, generate};

use crate::exit::{Exit, Failure};
use crate::output::print;

#[derive(Args)]
pub struct CompletionsCommand {
    /// The shell
    shell: Shell,
}

impl CompletionsCommand {
    /// Prints the script for `program`, which this is a command of.
    pub fn run(&self, mut program: Command) -> Result<Exit, Failure> {
        let name = program.get_name().to_owned();
        let mut script = Vec::new();
        generate(self.shell, &mut program, name, &mut script);
        print(&String::from_utf8_lossy(&script))?;
        Ok(Exit::Done)
    }
}
