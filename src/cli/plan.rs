//! `plan`

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use motefield::failure::Failure;
use motefield::files::Output;
use motefield::plan::page::{Page, html, text};

use super::{SetupArguments, print, print_json};

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
}

impl Plan {
    pub fn run(&self) -> Result<ExitCode, Failure> {
        if self.keys {
            print(include_str!("../../docs/setup.md"));
            print(include_str!("../../docs/setup-image.md"));
            print(include_str!("../../docs/setup-flow.md"));
            return Ok(ExitCode::SUCCESS);
        }
        let mut source = self.setup.source()?;
        if let Some(wanted) = &self.displacement {
            let bare = wanted.trim().parse::<f64>().is_ok();
            let value = if bare {
                format!("{wanted} px")
            } else {
                wanted.clone()
            };
            source = source.with(&[("timing.displacement", value)]);
        }
        let page = Page::of(&source.setup()?)?;
        if let Some(directory) = &self.out {
            write(&page, &Output::new(Some(directory), "plan", self.force))?;
        }
        if self.json {
            print_json(&page.json());
        } else {
            print(&text(&page));
        }
        if let Some(caution) = &page.caution {
            eprintln!("\n{caution}");
        }
        Ok(ExitCode::from(u8::from(self.strict && page.fails())))
    }
}

/// Writes the page in all its forms.
fn write(page: &Page, out: &Output) -> Result<(), Failure> {
    let caution = page
        .caution
        .as_ref()
        .map_or(String::new(), |caution| format!("\n{caution}\n"));
    let mut files = vec![
        ("plan.txt", text(page) + &caution),
        ("plan.json", format!("{:#}\n", page.json())),
        ("plan.html", html(page)),
    ];
    if let Some([svg, text]) = page.timing() {
        files.extend([("timing.svg", svg), ("timing.txt", text)]);
    }
    out.prepare(&files.iter().map(|(name, _)| *name).collect::<Vec<_>>())?;
    files
        .iter()
        .try_for_each(|(name, content)| out.write(name, content.as_bytes()))
}
