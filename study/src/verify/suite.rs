//! Running cases: which of them, with how many pairs, at which confidence, and what is kept.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::statistics::Confidence;
use motefield_files::{self as files, FileError};
use rayon::prelude::*;
use serde_json::Value;

use super::case::{Case, SourceKind};
use super::measure::{Arguments, Figures, Request};
use super::record::{CaseRecord, SCHEMA};
use crate::StudyError;
use crate::manifest::FileHash;
use crate::run::{Chain, Progress};
use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;

/// How much to measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// A few minutes for all cases.
    Quick,
    /// The number of pairs that the figures need.
    Full,
}

impl Depth {
    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Depth::Quick => "quick",
            Depth::Full => "full",
        }
    }

    /// Pairs at each point of a case.
    pub fn pairs(self, case: &Case) -> usize {
        match self {
            Depth::Quick => case.pairs.quick,
            Depth::Full => case.pairs.full,
        }
    }
}

/// Chance that a correct program fails any expectation.
pub const FALSE_ALARM: f64 = 0.01;

/// Reads cases from their names and texts.
///
/// # Errors
/// The first that cannot be used.
pub fn read<'a>(texts: impl IntoIterator<Item = (&'a str, &'a str)>) -> Result<Vec<Case>, StudyError> {
    texts
        .into_iter()
        .map(|(name, text)| Case::read(name, text))
        .collect()
}

/// What to run of a suite: everything, unless it is narrowed.
///
/// ```
/// use motefield_study::verify::EMBEDDED;
/// use motefield_study::verify::suite::{Selection, read};
///
/// let cases = read(EMBEDDED.iter().copied())?;
/// let chosen = Selection { names: vec!["window".to_owned()], ..Selection::default() }.of(&cases);
/// assert!(chosen.len() < cases.len() && chosen.iter().all(|case| case.name.contains("window")));
/// # Ok::<(), motefield_study::StudyError>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct Selection {
    /// Cases whose name contains one of these; all if there are none.
    pub names: Vec<String>,
    /// Expectations with a source of one of these kinds; all if there are none.
    pub kinds: Vec<SourceKind>,
}

impl Selection {
    /// The cases chosen, each with the chosen expectations alone; a case without any is left out.
    pub fn of(&self, cases: &[Case]) -> Vec<Case> {
        let mut chosen = cases.to_vec();
        for case in &mut chosen {
            let name = &case.name;
            case.expectations.retain(|e| self.has(name, e.kind.as_str()));
        }
        chosen.retain(|case| !case.expectations.is_empty());
        chosen
    }

    /// Whether an expectation with a source of this kind, in the case of this name, is chosen.
    pub fn has(&self, name: &str, kind: &str) -> bool {
        let named = self.names.iter().any(|part| name.contains(part.as_str()));
        let of_kind = self.kinds.iter().any(|wanted| wanted.as_str() == kind);
        (self.names.is_empty() || named) && (self.kinds.is_empty() || of_kind)
    }
}

/// The confidence of every interval: see the [module](super).
#[allow(clippy::missing_panics_doc, reason = "a share of a small number is one")]
pub fn confidence(cases: &[Case]) -> Confidence {
    let statements: usize = cases
        .iter()
        .filter(|case| case.measure.statistical)
        .flat_map(|case| &case.expectations)
        .map(|e| e.statements())
        .sum();
    Confidence::new(1.0 - FALSE_ALARM / statements.max(1) as f64).expect("between 0 and 1")
}

/// How cases are run.
pub struct Runner<'a> {
    /// What renders and correlates.
    pub chain: Chain,
    /// How much to measure.
    pub depth: Depth,
    /// Study seed.
    pub seed: u64,
    /// Confidence of every interval.
    pub confidence: Confidence,
    /// Told of each pair that is done.
    pub progress: &'a dyn Progress,
    /// Set from outside to stop.
    pub stop: &'a AtomicBool,
}

impl Runner<'_> {
    /// Number of pairs for all points of a case.
    pub fn pairs(&self, case: &Case) -> usize {
        match case.measure.statistical {
            true => self.depth.pairs(case) * case.places.len() * case.variants.len(),
            false => 0,
        }
    }

    /// Measures a case and judges it; `None` if it was stopped.
    ///
    /// # Errors
    /// When an argument or the setup cannot be used.
    pub fn run(&self, case: &Case) -> Result<Option<CaseRecord>, StudyError> {
        let pairs = self.depth.pairs(case);
        let jobs: Vec<(usize, usize)> = (0..case.variants.len())
            .flat_map(|v| (0..case.places.len()).map(move |p| (v, p)))
            .collect();
        let done: Vec<Option<(Figures, Vec<FileHash>)>> = jobs
            .par_iter()
            .map(|&(variant, place)| self.point(case, variant, place, pairs))
            .collect::<Result<_, _>>()?;
        let Some(done) = done.into_iter().collect::<Option<Vec<_>>>() else {
            return Ok(None);
        };
        let (done, read): (Vec<Figures>, Vec<Vec<FileHash>>) = done.into_iter().unzip();
        let mut files_read = read.concat();
        files_read.sort();
        files_read.dedup();
        let figures = done.chunks(case.places.len()).map(<[Figures]>::to_vec).collect();
        let level = self.confidence.level();
        Ok(Some(CaseRecord {
            files_read,
            ..CaseRecord::new(case, level, pairs, self.seed, figures)
        }))
    }

    fn point(
        &self,
        case: &Case,
        variant: usize,
        place: usize,
        pairs: usize,
    ) -> Result<Option<(Figures, Vec<FileHash>)>, StudyError> {
        if self.stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let mut files_read = Vec::new();
        let (arguments, changes) = case.at(&case.variants[variant], &case.places[place]);
        let plan = match &case.setup {
            None => None,
            Some(text) => {
                let name = format!("case {}", case.name);
                let setup = Setup::from_text(&name, text, &changes)?;
                let plan = plan(&setup)?;
                files_read = FileHash::of_setup(&setup);
                Some(plan)
            }
        };
        let request = Request {
            chain: &self.chain,
            arguments: Arguments(arguments),
            plan,
            pairs,
            seed: self.seed,
            confidence: self.confidence,
            progress: self.progress,
            stop: self.stop,
        };
        let figures = (case.measure.run)(&request);
        if self.stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        figures
            .map(|figures| Some((figures, files_read)))
            .map_err(|why| StudyError::request(format!("case {}: {}: {why}", case.name, case.measure.name)))
    }

    /// As [`run`](Runner::run), but keeps the record in the directory; with `believe`, takes that
    /// of an earlier run there if it is of the same case, effort and program and the files it read
    /// hold what they held.
    ///
    /// # Errors
    /// As [`run`](Runner::run), and when the directory cannot be written or holds another file
    /// under the name of the record.
    pub fn run_kept(
        &self,
        case: &Case,
        directory: &Path,
        believe: bool,
    ) -> Result<Option<CaseRecord>, StudyError> {
        let path = directory.join(format!("{}.json", case.name));
        if files::exists(&path) {
            let text = files::read_text(&path).ok();
            let value: Option<Value> = text.and_then(|text| serde_json::from_str(&text).ok());
            let Some(value) = value.filter(|value| value["schema"] == SCHEMA) else {
                return Err(StudyError::File(FileError::Exists { path }));
            };
            let (level, pairs) = (self.confidence.level(), self.depth.pairs(case));
            let kept = CaseRecord::from_json(&value, case, level, pairs, self.seed);
            let kept = kept.filter(|record| believe && record.files_read.iter().all(unchanged));
            if kept.is_some() {
                return Ok(kept);
            }
        }
        let record = self.run(case)?;
        if let Some(record) = &record {
            files::write(&path, format!("{:#}\n", record.to_json(case)).as_bytes())?;
        }
        Ok(record)
    }
}

/// Whether a file holds what it held when it was read.
fn unchanged(file: &FileHash) -> bool {
    files::sha256(Path::new(&file.path)).as_ref() == Some(&file.sha256)
}
