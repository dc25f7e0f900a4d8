//! Plans a rig and prints its figures and the rules of the trade that it breaks:
//! `cargo run -p motefield-rig --example plan_rig -- rig.toml` (without a file, the embedded rig).

use std::error::Error;
use std::sync::Arc;

use motefield_files::{Disk, read_text};
use motefield_rig::plan::{Assessment, Status};
use motefield_rig::setup::{Document, EMBEDDED, EMBEDDED_NAME, Referenced, Setup};

fn main() -> Result<(), Box<dyn Error>> {
    let document = match std::env::args().nth(1) {
        Some(path) => Document::parse(&path, &read_text(path.as_ref())?)?,
        None => Document::parse(EMBEDDED_NAME, EMBEDDED)?,
    };
    let setup = Setup::read(document, Referenced::new(Arc::new(Disk::default())))?;
    let assessment = Assessment::of(&setup)?;
    for (heading, facts) in &assessment.parts {
        println!("{heading}");
        for fact in facts {
            println!("  {}: {}", fact.label, fact.text);
        }
    }
    for rule in assessment.rules.iter().filter(|rule| rule.status > Status::Pass) {
        println!("{}: {} ({})", rule.label, rule.shown, rule.limit);
    }
    Ok(())
}
