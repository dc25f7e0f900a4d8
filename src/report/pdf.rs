//! A PDF, made by the typesetter Typst from a document of its own.

use std::process::Command;
use std::time::Duration;

use motefield_files::{Disk, FileSource, Scratch, write};
use motefield_study::run::Failed;

use crate::child;
use crate::exit::{Exit, Failure};
use crate::signals;

/// Longest time for a report: far beyond what the largest takes.
const LIMIT: Duration = Duration::from_secs(600);

/// The PDF of a Typst document.
pub fn typeset(document: &str) -> Result<Vec<u8>, Failure> {
    let program = child::found("typst").ok_or_else(|| {
        Failure::input(
            "--pdf: the program typst is not installed; install it (0.13 or later, https://typst.app), or print report.html to A4 from a browser",
        )
    })?;
    let scratch = Scratch::new()?;
    let [source, out] = ["report.typ", "report.pdf"].map(|name| scratch.path(name));
    write(&source, document.as_bytes())?;
    let mut command = Command::new(program);
    command.arg("compile").args([&source, &out]);
    let failed = |why: String| Failure {
        exit: Exit::System,
        message: format!("--pdf: typst {why}; report.html prints to A4 from a browser"),
    };
    match child::run(command, LIMIT, signals::stop()) {
        Ok((status, _)) if status.success() => Ok(Disk::default().content(&out)?.bytes.clone()),
        Ok((status, said)) => Err(failed(format!("ended with {status}{said}"))),
        Err(Failed::Stopped) => Err(failed("was stopped".to_owned())),
        Err(Failed::Because(why)) => Err(failed(why)),
    }
}
