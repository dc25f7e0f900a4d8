//! `man`

use std::path::PathBuf;

use clap::{Args, Command};
use clap_mangen::Man;
use motefield_files::{FileError, OutputDirectory};

use crate::exit::{Exit, Failure};
use crate::output::print;

#[derive(Args)]
pub struct ManCommand {
    /// Directory for motefield.1, motefield-plan.1 and so on; made if it is not there
    directory: PathBuf,
    /// Overwrites existing files
    #[arg(long)]
    force: bool,
}

impl ManCommand {
    /// Writes the pages of `program`, which this is a command of.
    pub fn run(&self, mut program: Command) -> Result<Exit, Failure> {
        program.build();
        let name = program.get_name().to_owned();
        let mut pages = vec![(format!("{name}.1"), page(program.clone())?)];
        for command in program.get_subcommands().filter(|c| c.get_name() != "help") {
            let file = format!("{name}-{}", command.get_name());
            pages.push((format!("{file}.1"), page(command.clone())?));
        }
        let names: Vec<&str> = pages.iter().map(|(name, _)| name.as_str()).collect();
        let mut out = OutputDirectory::new(Some(&self.directory), "man", self.force);
        out.prepare(&names).map_err(refused)?;
        for (name, text) in &pages {
            out.write(name, text).map_err(refused)?;
        }
        let (count, place) = (pages.len(), self.directory.display());
        print(&format!(
            "{count} manual pages: {place}\nTo read one: man {place}/{name}-decide.1\n"
        ))?;
        Ok(Exit::Done)
    }
}

fn refused(error: FileError) -> Failure {
    match error {
        FileError::Exists { .. } => {
            Failure::input(format!("{error}; choose another directory, or use --force"))
        }
        other => other.into(),
    }
}

/// The page of a command.
fn page(command: Command) -> Result<Vec<u8>, Failure> {
    let mut text = Vec::new();
    let written = Man::new(command).render(&mut text);
    written.map_err(|e| Failure::input(e.to_string()))?;
    Ok(text)
}
