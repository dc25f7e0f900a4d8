//! `verify`

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use crate::exit::{Exit, Failure};
use clap::Args;
use motefield_files::{self as files, OutputDirectory, read_text};
use motefield_report::verify::{Count, json, lines, page, picture};
use motefield_study::run::{Chain, Progress};
use motefield_study::verify::case::Case;
use motefield_study::verify::measure::{ALL, Measure};
use motefield_study::verify::record::{Record, table};
use motefield_study::verify::suite::{Depth, Runner, confidence, read};
use motefield_study::verify::{EMBEDDED, compare};

use crate::arguments::{print, print_json, stop_on_interrupt, use_threads};
use crate::progress::Bar;

#[derive(Args)]
pub struct Verify {
    /// Only cases whose name holds this; may be repeated
    #[arg(long = "case", value_name = "NAME")]
    cases: Vec<String>,
    /// Lists the cases and their sources, and measures nothing
    #[arg(long)]
    list: bool,
    /// Lists what cases can measure, with arguments and figures
    #[arg(long)]
    measures: bool,
    /// All the pairs the figures deserve, not only a few minutes' worth; keeps every finished case in --out and goes on from there
    #[arg(long)]
    full: bool,
    /// Directory of case files, in place of those embedded in the program
    #[arg(long, value_name = "DIRECTORY")]
    from: Option<PathBuf>,
    /// Earlier results (a directory with table.csv) to compare with: tells what moved
    #[arg(long, value_name = "DIRECTORY")]
    against: Option<PathBuf>,
    /// Directory for table.csv, README.md, a picture a case, and the figures of finished cases
    #[arg(long)]
    out: Option<PathBuf>,
    /// Seed of the study
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Threads; all processors if not given
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

impl Verify {
    pub fn run(&self) -> Result<Exit, Failure> {
        if self.measures {
            print(&measures());
            return Ok(Exit::Done);
        }
        use_threads(self.threads)?;
        let texts = match &self.from {
            Some(directory) => texts(directory)?,
            None => EMBEDDED
                .iter()
                .map(|(n, t)| ((*n).to_owned(), (*t).to_owned()))
                .collect(),
        };
        let cases = read(texts.iter().map(|(name, text)| (name.as_str(), text.as_str())))?;
        // The confidence is that of the whole suite, so that a verdict does not depend on which cases run beside it.
        let confidence = confidence(&cases);
        let chosen = self.chosen(&cases)?;
        if self.list {
            print(&list(&chosen));
            return Ok(Exit::Done);
        }
        let earlier = match &self.against {
            Some(directory) => Some(read_text(&directory.join("table.csv"))?),
            None => None,
        };
        // Earlier results of the same cases are what a full run goes on from, so they may stay.
        let out = match (&self.out, self.full) {
            (None, false) => None,
            (path, _) => Some(OutputDirectory::new(path.as_deref(), "verify", true)),
        };
        let kept = out.as_ref().map(|out| out.path("cases"));
        if let Some(out) = &out {
            out.prepare::<&str>(&[])?;
        }
        if let Some(out) = &out {
            out.make("cases")?;
        }
        let stop = stop_on_interrupt();
        let bar = Bar::new();
        let depth = if self.full { Depth::Full } else { Depth::Quick };
        let runner = Runner {
            chain: Chain::default(),
            depth,
            seed: self.seed,
            confidence,
            progress: &Within(&bar),
            stop: &stop,
        };
        bar.expect(chosen.iter().map(|case| runner.pairs(case)).sum());
        let mut results: Vec<(&Case, Record)> = Vec::new();
        for case in &chosen {
            let record = match &kept {
                Some(directory) => runner.run_kept(case, directory)?,
                None => runner.run(case)?,
            };
            let Some(record) = record else { break };
            if !self.json {
                bar.above(|| print(&lines(case, &record)));
            }
            results.push((case, record));
        }
        bar.finish();
        let results: Vec<(&Case, &Record)> = results.iter().map(|(case, record)| (*case, record)).collect();
        if stop.load(Ordering::Relaxed) {
            eprintln!("Stopped after {} of {} cases.", results.len(), chosen.len());
            if let Some(out) = &out {
                eprintln!(
                    "The same command with --out {} goes on from there.",
                    out.directory().display()
                );
            }
            return Ok(Exit::Interrupted);
        }
        let now = table(&results);
        if let Some(out) = &out {
            out.write("table.csv", &now)?;
            out.write("README.md", page(&results, depth))?;
            for (case, record) in &results {
                out.write(
                    &format!("{}.svg", case.name),
                    picture::svg(case, record).as_bytes(),
                )?;
            }
        }
        let count = Count::of(&results);
        let moved = earlier.map(|earlier| compare::moved(&earlier, &now, &self.cases));
        if self.json {
            let mut value = json(&results, depth);
            if let Some(moved) = moved {
                value["moved"] = moved.lines().collect::<Vec<_>>().into();
            }
            print_json(&value);
        } else {
            print(&format!("{}\n", count.sentence()));
            if let Some(moved) = moved {
                print(&moved);
            }
            if let Some(out) = &out {
                print(&format!(
                    "Table, page and pictures: {}\n",
                    out.directory().display()
                ));
            }
        }
        Ok(if count.disagree > 0 { Exit::No } else { Exit::Done })
    }

    fn chosen<'a>(&self, cases: &'a [Case]) -> Result<Vec<&'a Case>, Failure> {
        let wanted = |case: &&Case| {
            self.cases.is_empty() || self.cases.iter().any(|part| case.name.contains(part.as_str()))
        };
        let chosen: Vec<&Case> = cases.iter().filter(wanted).collect();
        if chosen.is_empty() {
            return Err(Failure::input(format!(
                "--case {}: no case has that in its name; --list shows them",
                self.cases.join(" --case ")
            )));
        }
        Ok(chosen)
    }
}

/// Progress inside a case; how many pairs there are in all is known from the start.
struct Within<'a>(&'a Bar);

impl Progress for Within<'_> {
    fn expect(&self, _: usize) {}
    fn done(&self) {
        self.0.done();
    }
}

/// Names and texts of the case files in a directory.
fn texts(directory: &Path) -> Result<Vec<(String, String)>, Failure> {
    let paths = files::list(directory, "toml")?;
    if paths.is_empty() {
        return Err(Failure::input(format!(
            "{}: there are no case files (*.toml) in it",
            directory.display()
        )));
    }
    paths
        .iter()
        .map(|path| {
            let name = path
                .file_stem()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            Ok((name, files::read_text(path)?))
        })
        .collect()
}

fn measures() -> String {
    let line = |head: &str, names: &[&str]| match names.is_empty() {
        true => String::new(),
        false => format!("  {head}: {}\n", names.join(", ")),
    };
    let one = |m: &&Measure| {
        let needs = match (m.pictures, m.statistical) {
            (true, true) => " (needs a setup and pairs)",
            (true, false) => " (needs a setup)",
            (false, true) => " (needs pairs)",
            (false, false) => "",
        };
        format!("{}{needs}: {}\n", m.name, m.about)
            + &line("arguments", m.arguments)
            + &line("figures", m.figures)
    };
    ALL.iter().map(one).collect()
}

fn list(cases: &[&Case]) -> String {
    let mut text = String::new();
    for case in cases {
        text += &format!(
            "{}: {}\n  {} [{}]\n",
            case.name,
            case.title,
            case.source.citation,
            case.source.kind.as_str()
        );
        for e in &case.expectations {
            text += &format!("  - {} ({}, {})\n", e.name, e.word(), e.kind.as_str());
        }
    }
    let figures: usize = cases.iter().map(|c| c.expectations.len()).sum();
    text + &format!("{} cases, {figures} figures.\n", cases.len())
}
