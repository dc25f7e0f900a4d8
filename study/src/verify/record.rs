//! What was found for a case, as it is kept on disk between runs and versions.

use std::collections::BTreeMap;
use std::fmt::Write;

use motefield_evaluator::statistics::Estimate;
use serde_json::{Map, Value, json};

use super::case::Case;
use super::judge::{Comparison, Figures, Verdict, judge};
use motefield_rig::quantity::digits;

/// The figures of a case and the verdicts on them.
#[derive(Debug, Clone)]
pub struct Record {
    /// Name of the case.
    pub name: String,
    /// How sure its intervals are.
    pub confidence: f64,
    /// Pairs at each point.
    pub pairs: usize,
    /// Study seed.
    pub seed: u64,
    /// By curve and place.
    pub figures: Vec<Vec<Figures>>,
    /// Every figure held against what is expected.
    pub comparisons: Vec<Comparison>,
}

/// Digits kept of a figure: more than any measurement knows, so that what is read back from disk is what was written.
fn kept(value: f64) -> f64 {
    if value.is_finite() {
        format!("{value:.11e}").parse().expect("a number written by Rust")
    } else {
        value
    }
}

fn number(value: f64) -> Value {
    if value.is_finite() {
        json!(value)
    } else {
        json!(value.to_string())
    }
}

fn read_number(value: &Value) -> Option<f64> {
    value.as_f64().or_else(|| value.as_str()?.parse().ok())
}

impl Record {
    /// Judges the figures of a case.
    pub fn new(
        case: &Case,
        confidence: f64,
        pairs: usize,
        seed: u64,
        mut figures: Vec<Vec<Figures>>,
    ) -> Record {
        for e in figures.iter_mut().flatten().flat_map(|f| f.values_mut()) {
            *e = Estimate {
                value: kept(e.value),
                lo: kept(e.lo),
                hi: kept(e.hi),
            };
        }
        Record {
            name: case.name.clone(),
            confidence,
            pairs,
            seed,
            comparisons: judge(case, &figures),
            figures,
        }
    }

    /// What is kept on disk: what was measured and on what. The verdicts follow from it.
    pub fn to_json(&self, case: &Case) -> Value {
        let point = |figures: &Figures| -> Value {
            let all = figures
                .iter()
                .map(|(name, e)| (name.clone(), json!([number(e.value), number(e.lo), number(e.hi)])))
                .collect::<Map<_, _>>();
            Value::Object(all)
        };
        let curves: Vec<Vec<Value>> = self
            .figures
            .iter()
            .map(|c| c.iter().map(point).collect())
            .collect();
        json!({
            "schema": "motefield-verify-case/1",
            "version": env!("CARGO_PKG_VERSION"),
            "case": self.name,
            "text": case.text,
            "confidence": number(self.confidence),
            "pairs": self.pairs,
            "seed": self.seed,
            "figures": curves,
        })
    }

    /// What [`to_json`](Record::to_json) wrote, if it is of this case, effort and version.
    pub fn from_json(value: &Value, case: &Case, confidence: f64, pairs: usize, seed: u64) -> Option<Record> {
        let same = value["schema"] == "motefield-verify-case/1"
            && value["version"] == env!("CARGO_PKG_VERSION")
            && value["text"] == case.text
            && read_number(&value["confidence"])? == confidence
            && value["pairs"] == pairs
            && value["seed"] == seed;
        if !same {
            return None;
        }
        let estimate = |v: &Value| {
            Some(Estimate {
                value: read_number(&v[0])?,
                lo: read_number(&v[1])?,
                hi: read_number(&v[2])?,
            })
        };
        let point = |v: &Value| -> Option<Figures> {
            v.as_object()?
                .iter()
                .map(|(name, e)| Some((name.clone(), estimate(e)?)))
                .collect()
        };
        let figures: Vec<Vec<Figures>> = value["figures"]
            .as_array()?
            .iter()
            .map(|curve| curve.as_array()?.iter().map(point).collect())
            .collect::<Option<_>>()?;
        let whole =
            figures.len() == case.variants.len() && figures.iter().all(|c| c.len() == case.places.len());
        whole.then(|| Record::new(case, confidence, pairs, seed, figures))
    }

    /// The worst verdict on an expectation.
    pub fn verdict(&self, expectation: usize) -> Verdict {
        self.comparisons
            .iter()
            .filter(|c| c.expectation == expectation)
            .map(|c| c.verdict)
            .max()
            .unwrap_or(Verdict::CannotTell)
    }
}

/// Columns of [`table`].
pub const COLUMNS: &str = "case,expectation,check,kind,variant,at,quantity,measured,lo,hi,expected,allowed_lo,allowed_hi,verdict,known_disagreement";

/// Every comparison of every case as CSV.
pub fn table(results: &[(&Case, &Record)]) -> String {
    let mut text = format!("{COLUMNS}\n");
    for (case, record) in results {
        for c in &record.comparisons {
            let e = &case.expectations[c.expectation];
            let cells = [
                case.name.clone(),
                e.name.clone(),
                e.word().to_owned(),
                e.kind.as_str().to_owned(),
                c.variant.clone(),
                c.at.clone(),
                e.quantity.clone(),
                digits(c.measured.value),
                digits(c.measured.lo),
                digits(c.measured.hi),
                c.expected.map_or(String::new(), digits),
                digits(c.allowed[0]),
                digits(c.allowed[1]),
                c.verdict.as_str().to_owned(),
                if e.known_disagreement.is_some() { "yes" } else { "" }.to_owned(),
            ];
            let line: Vec<String> = cells.iter().map(|cell| quoted(cell)).collect();
            let _ = writeln!(text, "{}", line.join(","));
        }
    }
    text
}

/// A cell of a CSV table (RFC 4180).
fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

/// The lines of a CSV table by the names of its columns.
pub fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    let mut lines = text.lines().map(cells);
    let Some(head) = lines.next() else {
        return Vec::new();
    };
    lines
        .map(|line| head.iter().cloned().zip(line).collect())
        .collect()
}

/// The cells of one line; no cell of ours holds a line break.
fn cells(line: &str) -> Vec<String> {
    let (mut all, mut cell, mut inside) = (Vec::new(), String::new(), false);
    let mut rest = line.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '"' if inside && rest.peek() == Some(&'"') => {
                rest.next();
                cell.push('"');
            }
            '"' => inside = !inside,
            ',' if !inside => all.push(std::mem::take(&mut cell)),
            c => cell.push(c),
        }
    }
    all.push(cell);
    all
}
