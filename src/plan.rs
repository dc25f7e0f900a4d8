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
pub struct PlanCommand {
    #[command(flatten)]
    setup: SetupArguments,
    /// Displacement wanted of the fastest fluid in the picture, px; sets the pulse separation
    /// (timing.displacement)
    #[arg(long, value_name = "PX")]
    displacement: Option<String>,
    /// Directory for plan.txt, plan.json, plan.html, timing.svg and timing.txt
    #[arg(long)]
    out: Option<PathBuf>,
    /// Overwrites existing files
    #[arg(long, requires = "out")]
    force: bool,
    /// Exits with 1 if a rule of the trade fails
    #[arg(long)]
    strict: bool,
    /// Prints JSON
    #[arg(long)]
    json: bool,
    /// Prints every key that a setup file may hold
    #[arg(long)]
    keys: bool,
    /// Prints a JSON Schema of setup files, with which editors complete and check them
    #[arg(long)]
    schema: bool,
}

impl PlanCommand {
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
        let setup = self.setup.read(&more)?;
        let assessment = Assessment::of(&setup)?;
        if let Some(directory) = &self.out {
            write(
                &assessment,
                &OutputDirectory::new(Some(directory), "plan", self.force),
            )?;
        }
        if self.json {
            print_json(&json(&assessment));
        } else {
            print(&text(&assessment));
        }
        if let Some(caution) = &assessment.caution {
            eprintln!("\n{caution}");
        }
        Ok(match self.strict && assessment.fails() {
            true => Exit::No,
            false => Exit::Done,
        })
    }
}

/// Writes the page in all its forms.
fn write(assessment: &Assessment, out: &OutputDirectory) -> Result<(), Failure> {
    let caution = assessment
        .caution
        .as_ref()
        .map_or(String::new(), |caution| format!("\n{caution}\n"));
    let mut files = vec![
        ("plan.txt", text(assessment) + &caution),
        ("plan.json", format!("{:#}\n", json(assessment))),
        ("plan.html", html(assessment)),
    ];
    if let Some([svg, text]) = timing(assessment) {
        files.extend([("timing.svg", svg), ("timing.txt", text)]);
    }
    out.prepare(&files.iter().map(|(name, _)| *name).collect::<Vec<_>>())?;
    files
        .iter()
        .try_for_each(|(name, content)| out.write(name, content))?;
    Ok(())
}
