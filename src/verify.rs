//! `verify`

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use motefield_evaluator::statistics::Confidence;
use motefield_files::table::Table;
use motefield_files::{self as files, read_text};
use motefield_report::handout::NAME as REPORT;
use motefield_report::verify::{Count, json as verdicts, kinds, lines, list, page, picture};
use motefield_study::folder::{Folder, Names, Start};
use motefield_study::manifest::{FileHash, Manifest};
use motefield_study::run::{Chain, Progress};
use motefield_study::verify::case::{Case, SourceKind};
use motefield_study::verify::measure::{ALL, Measure};
use motefield_study::verify::record::{CaseRecord, table};
use motefield_study::verify::suite::{Depth, Runner, Selection, confidence, read};
use motefield_study::verify::{EMBEDDED, compare};
use serde_json::json;

use crate::arguments::{FolderArguments, use_threads};
use crate::chain::{ChainArguments, external};
use crate::exit::{Exit, Failure};
use crate::handout::{self, ANSWER};
use crate::output::{is_unread, print, print_json, say};
use crate::progress::Bar;
use crate::signals;

/// Where the records of finished cases are kept, inside the output directory.
const KEPT: &str = "cases";

#[derive(Args)]
pub struct VerifyCommand {
    /// Runs only cases whose name contains this; may be repeated
    #[arg(long = "case", value_name = "NAME")]
    cases: Vec<String>,
    /// Compares only figures whose source is of this kind: published, transcribed, derived, memory,
    /// common-practice or own-requirement; may be repeated
    #[arg(long = "kind", value_name = "KIND")]
    kinds: Vec<SourceKind>,
    /// Lists the cases with their sources and figures without running them
    #[arg(long)]
    list: bool,
    /// Lists what cases can measure, with arguments and figures
    #[arg(long)]
    measures: bool,
    /// Runs every case with its full number of pairs, not a few minutes' worth; keeps finished
    /// cases in --out and resumes from them
    #[arg(long)]
    full: bool,
    /// Directory of case files, instead of the embedded ones
    #[arg(long, value_name = "DIRECTORY")]
    from: Option<PathBuf>,
    /// Directory of earlier results (with table.csv) to compare with: lists what moved
    #[arg(long, value_name = "DIRECTORY")]
    against: Option<PathBuf>,
    /// Directory for report.html, table.csv, README.md, answer.txt, one picture per case,
    /// manifest.json, and the figures of finished cases
    #[arg(long)]
    out: Option<PathBuf>,
    #[command(flatten)]
    chain: ChainArguments,
    #[command(flatten)]
    folder: FolderArguments,
    /// Seed of the study
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Number of threads; all processors by default
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Prints JSON
    #[arg(long)]
    json: bool,
}

impl VerifyCommand {
    pub fn run(&self) -> Result<Exit, Failure> {
        if self.measures {
            print(&measures())?;
            return Ok(Exit::Done);
        }
        use_threads(self.threads)?;
        let (cases, files_read) = self.read()?;
        // The confidence is that of the whole suite, so that a verdict does not depend on which
        // cases and kinds run beside it.
        let confidence = confidence(&cases);
        let selection = self.selection();
        let chosen = self.chosen(&cases, &selection)?;
        if self.list {
            print(&list(&chosen))?;
            return Ok(Exit::Done);
        }
        let earlier = match &self.against {
            Some(directory) => {
                let path = directory.join("table.csv");
                Some(Table::parse(&path, &read_text(&path)?)?)
            }
            None => None,
        };
        let folder = self.open(&chosen, confidence, files_read)?;
        if folder.is_none() {
            signals::end_by_itself("Nothing is kept without --out.");
        }
        let stop = signals::stop();
        let records = self.measure(&chosen, confidence, folder.as_ref(), stop)?;
        if stop.load(Ordering::Relaxed) {
            say(&format!(
                "Stopped after {} of {} cases.",
                records.len(),
                chosen.len()
            ));
            signals::tell_how_to_go_on();
            return Ok(signals::exit());
        }
        if records.len() < chosen.len() {
            // Nobody reads the verdicts any more, and none are kept.
            return Ok(Exit::Done);
        }
        let results: Vec<(&Case, &CaseRecord)> = chosen.iter().zip(&records).collect();
        let now = table(&results);
        let directory = match folder {
            Some(folder) => Some(self.write(folder, &results, &now)?),
            None => None,
        };
        let moved = match earlier {
            Some(earlier) => Some(compare::moved(&earlier, &now, &selection)?),
            None => None,
        };
        self.report(&results, moved, directory.as_deref())?;
        let count = Count::of(&results);
        Ok(match (count.fail(), count.open(), self.full) {
            (0, 1.., true) => Exit::Open,
            (0, ..) => Exit::Done,
            _ => Exit::No,
        })
    }

    /// Opens the folder for the results, if they are to be kept. The same cases with the same
    /// effort go on where they were without being asked to.
    fn open(
        &self,
        cases: &[Case],
        confidence: Confidence,
        files_read: Vec<FileHash>,
    ) -> Result<Option<Folder>, Failure> {
        if self.out.is_none() && !self.full {
            return Ok(None);
        }
        let mut asked = json!({
            "depth": self.depth().as_str(),
            "confidence": confidence.level(),
            "cases": cases.iter().map(|case| case.name.as_str()).collect::<Vec<_>>(),
            "kinds": self.kinds.iter().map(|kind| kind.as_str()).collect::<Vec<_>>(),
        });
        let mut files_read = files_read;
        if let Some(program) = self.chain.one()? {
            asked["chain"] = self.chain.asked(&[program.text()])?;
            files_read.extend(program.files()?);
        }
        let mut manifest = Manifest::new("verify", asked).with_files(files_read);
        manifest.seed = Some(self.seed);
        let mut names = ["table.csv", "README.md", ANSWER, REPORT]
            .map(str::to_owned)
            .to_vec();
        names.extend(cases.iter().map(|case| format!("{}.svg", case.name)));
        let names = Names {
            at_the_end: &names,
            on_the_way: None,
        };
        let out = self.out.as_deref();
        let folder = self.folder.open(out, "verify", Start::GoOn, manifest, &names)?;
        folder.out().make(KEPT)?;
        let records = cases.iter().map(|case| format!("{KEPT}/{}.json", case.name));
        folder.out().remove_parts(records);
        Ok(Some(folder))
    }

    fn depth(&self) -> Depth {
        if self.full { Depth::Full } else { Depth::Quick }
    }

    fn selection(&self) -> Selection {
        Selection {
            names: self.cases.clone(),
            kinds: self.kinds.clone(),
        }
    }

    /// All cases, embedded or from a directory, with the files of these.
    fn read(&self) -> Result<(Vec<Case>, Vec<FileHash>), Failure> {
        let texts = match &self.from {
            Some(directory) => texts(directory)?,
            None => EMBEDDED
                .iter()
                .map(|(n, t)| ((*n).to_owned(), (*t).to_owned()))
                .collect(),
        };
        let file = |(name, text): &(String, String)| {
            let path = self.from.as_ref()?.join(format!("{name}.toml"));
            Some(FileHash::of(path.display().to_string(), text.as_str()))
        };
        let files_read = texts.iter().filter_map(file).collect();
        let named = texts.iter().map(|(name, text)| (name.as_str(), text.as_str()));
        Ok((read(named)?, files_read))
    }

    fn chosen(&self, cases: &[Case], selection: &Selection) -> Result<Vec<Case>, Failure> {
        let mut chosen = selection.of(cases);
        if self.chain.one()?.is_some() {
            // What another program can be held to: errors of its vectors at their places.
            chosen.retain(Case::is_of_vectors);
        }
        if !chosen.is_empty() {
            return Ok(chosen);
        }
        let names = self.cases.iter().map(|name| format!("--case {name}"));
        let kinds = self.kinds.iter().map(|kind| format!("--kind {}", kind.as_str()));
        let asked: Vec<String> = names.chain(kinds).collect();
        let missing = match self.kinds.is_empty() {
            true => "no case has this in its name",
            false => "there is no such figure",
        };
        Err(Failure::input(format!(
            "{}: {missing}; --list shows them",
            asked.join(" ")
        )))
    }

    /// Measures the cases in their order, up to the first that is stopped.
    fn measure(
        &self,
        cases: &[Case],
        confidence: Confidence,
        folder: Option<&Folder>,
        stop: &AtomicBool,
    ) -> Result<Vec<CaseRecord>, Failure> {
        let bar = Bar::new();
        let runner = Runner {
            chain: Chain {
                external: external(self.chain.one()?),
                ..Chain::default()
            },
            depth: self.depth(),
            seed: self.seed,
            confidence,
            progress: &WithinBar(&bar),
            stop,
        };
        bar.expect(cases.iter().map(|case| runner.pairs(case)).sum());
        let mut records = Vec::new();
        for case in cases {
            if folder.is_none() && is_unread() {
                break;
            }
            let record = match folder {
                Some(folder) => runner.run_kept(case, &folder.path(KEPT), !self.folder.anew())?,
                None => runner.run(case)?,
            };
            let Some(record) = record else { break };
            if !self.json {
                bar.above(|| print(&lines(case, &record)))?;
            }
            records.push(record);
        }
        bar.finish();
        Ok(records)
    }

    /// Writes the table, the page and the pictures.
    fn write(
        &self,
        folder: Folder,
        results: &[(&Case, &CaseRecord)],
        table: &Table,
    ) -> Result<PathBuf, Failure> {
        let mut files = vec![
            ("table.csv".to_owned(), table.csv().into_bytes()),
            ("README.md".to_owned(), page(results, self.depth()).into_bytes()),
        ];
        for (case, record) in results {
            let picture = picture::svg(case, record).into_bytes();
            files.push((format!("{}.svg", case.name), picture));
        }
        let answer = format!(
            "{}\n{}\n",
            Count::of(results).sentence(),
            kinds(results.iter().map(|(case, _)| *case))
        );
        let report = handout::page(folder.manifest(), None, &answer, &files);
        files.push((ANSWER.to_owned(), answer.into_bytes()));
        files.push((REPORT.to_owned(), report));
        let directory = folder.directory().to_owned();
        folder.write(&files, true)?;
        Ok(directory)
    }

    /// Prints what follows the verdicts on each case: counts, what moved, where the files are.
    fn report(
        &self,
        results: &[(&Case, &CaseRecord)],
        moved: Option<String>,
        directory: Option<&Path>,
    ) -> Result<(), Failure> {
        if self.json {
            let mut value = verdicts(results, self.depth());
            if let Some(moved) = moved {
                value["moved"] = moved.lines().collect::<Vec<_>>().into();
            }
            return print_json(&value);
        }
        let kinds = kinds(results.iter().map(|(case, _)| *case));
        print(&format!("{kinds} {}\n", Count::of(results).sentence()))?;
        if let Some(moved) = moved {
            print(&moved)?;
        }
        match directory {
            Some(directory) => print(&format!("Table, page and pictures: {}\n", directory.display())),
            None => Ok(()),
        }
    }
}

/// Progress inside a case; the number of all pairs is known from the start.
struct WithinBar<'a>(&'a Bar);

impl Progress for WithinBar<'_> {
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
            "{}: holds no case files (*.toml)",
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
            Ok((name, read_text(path)?))
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
