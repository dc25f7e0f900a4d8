//! `plan`

use std::path::PathBuf;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_files::OutputDirectory;
use motefield_report::plan::{html, json, text, timing};
use motefield_rig::keys;
use motefield_rig::plan::Assessment;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::{Setup, Value};

use crate::arguments::{SetupArguments, print, print_json};

#[derive(Args)]
pub struct Plan {
    #[command(flatten)]
    setup: SetupArguments,
    /// Displacement wanted of the fastest fluid in the picture, px; the pulse separation follows from it (timing.displacement)
    #[arg(long, value_name = "PX")]
    displacement: Option<String>,
    /// Directory for plan.txt, plan.json, plan.html, timing.svg and timing.txt
    #[arg(long)]
    out: Option<PathBuf>,
    /// Overwrites what is there
    #[arg(long, requires = "out")]
    force: bool,
    /// Exits with 1 if a rule of the trade fails
    #[arg(long)]
    strict: bool,
    /// Prints JSON
    #[arg(long)]
    json: bool,
    /// Prints what a setup file may hold, key by key
    #[arg(long)]
    keys: bool,
    /// Prints a JSON Schema of setup files, by which editors complete and check them
    #[arg(long)]
    schema: bool,
}

impl Plan {
    pub fn run(&self) -> Result<Exit, Failure> {
        if self.keys {
            print(include_str!("../docs/setup.md"));
            print(&keys::document::markdown());
            return Ok(Exit::Done);
        }
        if self.schema {
            print_json(&keys::schema::json_schema());
            return Ok(Exit::Done);
        }
        let mut more = Vec::new();
        if let Some(wanted) = &self.displacement {
            let value = match wanted.trim().parse::<f64>() {
                Ok(px) => Setup::quantity(px, Dimension::Pixels),
                Err(_) => Value::parse(wanted),
            };
            more.push((keys::timing::DISPLACEMENT.path, value));
        }
        let setup = self.setup.setup(&more)?;
        let page = Assessment::of(&setup)?;
        if let Some(directory) = &self.out {
            write(&page, &OutputDirectory::new(Some(directory), "plan", self.force))?;
        }
        if self.json {
            print_json(&json(&page));
        } else {
            print(&text(&page));
        }
        if let Some(caution) = &page.caution {
            eprintln!("\n{caution}");
        }
        Ok(match self.strict && page.fails() {
            true => Exit::No,
            false => Exit::Done,
        })
    }
}

/// Writes the page in all its forms.
fn write(page: &Assessment, out: &OutputDirectory) -> Result<(), Failure> {
    let caution = page
        .caution
        .as_ref()
        .map_or(String::new(), |caution| format!("\n{caution}\n"));
    let mut files = vec![
        ("plan.txt", text(page) + &caution),
        ("plan.json", format!("{:#}\n", json(page))),
        ("plan.html", html(page)),
    ];
    if let Some([svg, text]) = timing(page) {
        files.extend([("timing.svg", svg), ("timing.txt", text)]);
    }
    out.prepare(&files.iter().map(|(name, _)| *name).collect::<Vec<_>>())?;
    files
        .iter()
        .try_for_each(|(name, content)| out.write(name, content))?;
    Ok(())
}
