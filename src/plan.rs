//! `plan`

use std::path::{Path, PathBuf};

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_report::plan::{html, json as plan_json, text, timing};
use motefield_rig::keys;
use motefield_rig::plan::{Assessment, plan};
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::{Setup, Value};
use motefield_study::folder::{Destination, Folder, Names, Start};
use motefield_study::manifest::Manifest;
use serde_json::{Value as Json, json};

use crate::arguments::SetupArguments;
use crate::output::{print, print_json, say};
use crate::set_options::set_options;

#[derive(Args)]
pub struct PlanCommand {
    #[command(flatten)]
    setup: SetupArguments,
    /// Displacement wanted of the fastest fluid in the picture, px; sets the pulse separation
    /// (timing.displacement)
    #[arg(long, value_name = "PX")]
    displacement: Option<String>,
    /// Directory for plan.txt, plan.json, plan.html, timing.svg, timing.txt and manifest.json
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
            print(include_str!("../docs/setup.md"))?;
            print(&keys::document::markdown())?;
            return Ok(Exit::Done);
        }
        if self.schema {
            print_json(&keys::schema::json_schema())?;
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
        let plan = plan(&setup)?;
        let assessment = Assessment::of_plan(&plan)
            .with_assumptions(&plan)
            .with_proposal(&plan);
        if let Some(directory) = &self.out {
            let manifest = self.setup.described(Manifest::new("plan", json!({})), &setup);
            self.write(&assessment, directory, manifest)?;
        }
        if self.json {
            print_json(&assessment_json(&assessment))?;
        } else {
            print(&text(&assessment, set_options))?;
        }
        if let Some(caution) = &assessment.caution {
            say(&format!("\n{caution}"));
        }
        Ok(match self.strict && assessment.fails() {
            true => Exit::No,
            false => Exit::Done,
        })
    }

    /// Writes the page in all its forms.
    fn write(&self, assessment: &Assessment, directory: &Path, manifest: Manifest) -> Result<(), Failure> {
        let files = pages(assessment);
        let names: Vec<String> = files.iter().map(|(name, _)| name.clone()).collect();
        let place = Destination {
            directory: Some(directory),
            usual: "plan",
            start: Start::New,
            overwrite: self.force,
        };
        let folder = Folder::open(
            &place,
            manifest,
            &Names {
                at_the_end: &names,
                on_the_way: None,
            },
        )?;
        folder.write(&files, true)?;
        Ok(())
    }
}

/// The page for programs, with the options that apply its proposal.
fn assessment_json(assessment: &Assessment) -> Json {
    let mut json = plan_json(assessment);
    if let Some(proposal) = &assessment.proposal {
        let settings = proposal.settings();
        json["proposal"]["set"] = json!(settings.map(|settings| set_options(&settings)));
    }
    json
}

/// The page in all its forms.
fn pages(assessment: &Assessment) -> Vec<(String, Vec<u8>)> {
    let caution = assessment
        .caution
        .as_ref()
        .map_or(String::new(), |caution| format!("\n{caution}\n"));
    let mut files = vec![
        ("plan.txt", text(assessment, set_options) + &caution),
        ("plan.json", format!("{:#}\n", assessment_json(assessment))),
        ("plan.html", html(assessment, set_options)),
    ];
    if let Some([svg, text]) = timing(assessment) {
        files.extend([("timing.svg", svg), ("timing.txt", text)]);
    }
    let named = files.into_iter();
    named
        .map(|(name, text)| (name.to_owned(), text.into_bytes()))
        .collect()
}
