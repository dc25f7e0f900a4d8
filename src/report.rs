//! `report`: makes the report of a finished study again.

mod pdf;

use std::path::PathBuf;

use clap::Args;
use motefield_files::{Disk, FileError, FileSource, may_write, read_text, write};
use motefield_report::handout::{NAME, PDF_NAME, html, typst};
use motefield_rig::keys;
use motefield_rig::setup::{Document, Referenced, Setup, Value};
use motefield_study::manifest::Manifest;
use serde_json::Value as Json;

use crate::exit::{Exit, Failure};
use crate::handout::{ANSWER, is_shown, written};
use crate::output::print;

#[derive(Args)]
pub struct ReportCommand {
    /// Directory of a finished study that decide, sweep, verify or twin wrote
    directory: PathBuf,
    /// File to write; report.html or report.pdf in the directory by default
    #[arg(short, long)]
    out: Option<PathBuf>,
    /// Writes a PDF instead, through the typesetter typst (0.13 or later), which must be installed
    #[arg(long)]
    pdf: bool,
    /// Overwrites an existing file
    #[arg(long)]
    force: bool,
}

impl ReportCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        let place = self.directory.display();
        let manifest = Manifest::read(&self.directory)
            .filter(|manifest| manifest.finished)
            .ok_or_else(|| {
                Failure::input(format!(
                    "{place}: holds no finished study; name a directory that decide, sweep, verify or twin wrote"
                ))
            })?;
        let shown = |name: &&str| is_shown(&manifest, name);
        let names = manifest.files_written.iter().map(|file| file.path.as_str());
        let files = names.filter(shown).map(|name| {
            Ok((
                name.to_owned(),
                Disk::default().content(&self.directory.join(name))?.bytes.clone(),
            ))
        });
        let files = files.collect::<Result<Vec<_>, FileError>>()?;
        let answer = read_text(&self.directory.join(ANSWER))?;
        let decision = read_text(&self.directory.join("decision.json")).ok();
        let decision = decision.and_then(|text| serde_json::from_str(&text).ok());
        let setup = setup_of(&manifest, decision.as_ref());
        let name = if self.pdf { PDF_NAME } else { NAME };
        let out = self.out.clone().unwrap_or_else(|| self.directory.join(name));
        may_write(&out, self.force).map_err(|e| match e {
            FileError::Exists { .. } => Failure::input(format!("{e}; choose another --out, or use --force")),
            other => other.into(),
        })?;
        let writer = if self.pdf { typst } else { html };
        let page = written(writer, &manifest, setup.as_ref(), &answer, &files);
        match self.pdf {
            true => write(&out, &pdf::typeset(&page)?)?,
            false => write(&out, page.as_bytes())?,
        }
        print(&format!("Report: {}\n", out.display()))?;
        Ok(Exit::Done)
    }
}

/// The setup of a study with its best setting, where it can be read again: files that it names may
/// be gone.
fn setup_of(manifest: &Manifest, decision: Option<&Json>) -> Option<Setup> {
    let then = manifest.setup.as_ref()?;
    let mut document = Document::parse(&then.name, &then.text).ok()?;
    for [key, value] in &then.changes {
        document = document.with(key, Value::parse(value));
    }
    let best = decision.map(|d| &d["best"]);
    if let Some(pulse_s) = best.and_then(|best| best["pulse_s"].as_f64()) {
        document = document.with(
            keys::light::PULSE_LENGTH.path,
            Value::parse(&format!("{pulse_s:e} s")),
        );
    }
    let named = decision.and_then(|d| d["keys"].as_array()).into_iter().flatten();
    let values = best
        .and_then(|best| best["values"].as_array())
        .into_iter()
        .flatten();
    for (key, value) in named.zip(values) {
        document = document.with(key.as_str()?, Value::parse(value.as_str()?));
    }
    Setup::read(document, Referenced::on_disk()).ok()
}
