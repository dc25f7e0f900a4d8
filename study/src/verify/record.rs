//! What was found for a case, as it is kept on disk between runs and versions.

use motefield_evaluator::kernel;
use motefield_evaluator::statistics::Estimate;
use motefield_files::table::Table;
use motefield_rig::quantity::{digits, significant};
use serde_json::{Map, Value, json};

use super::case::Case;
use super::judge::{Comparison, Verdict, judge};
use super::measure::Figures;
use crate::RESULTS_VERSION;
use crate::manifest::FileHash;

/// The layout of a record.
pub(super) const SCHEMA: &str = "motefield-verify-case/1";

/// The figures of a case and the verdicts on them.
#[derive(Debug, Clone)]
pub struct CaseRecord {
    /// Name of the case.
    pub name: String,
    /// Confidence of its intervals.
    pub confidence: f64,
    /// Pairs at each point.
    pub pairs: usize,
    /// Study seed.
    pub seed: u64,
    /// What was measured, by curve and place.
    pub figures: Vec<Vec<Figures>>,
    /// The files that its setup names.
    pub files_read: Vec<FileHash>,
    /// Every figure compared with what is expected.
    pub comparisons: Vec<Comparison>,
}

/// A figure with the digits that are kept: more than any measurement knows, so that what is read
/// back from disk is what was written.
fn kept(value: f64) -> f64 {
    significant(value, 12)
}

/// A number as JSON; as a word where JSON has none for it.
pub fn number(value: f64) -> Value {
    if value.is_finite() {
        json!(value)
    } else {
        json!(value.to_string())
    }
}

fn read_number(value: &Value) -> Option<f64> {
    value.as_f64().or_else(|| value.as_str()?.parse().ok())
}

impl CaseRecord {
    /// Judges the figures of a case.
    pub fn new(
        case: &Case,
        confidence: f64,
        pairs: usize,
        seed: u64,
        mut figures: Vec<Vec<Figures>>,
    ) -> CaseRecord {
        for e in figures.iter_mut().flatten().flat_map(|f| f.values_mut()) {
            *e = Estimate {
                value: kept(e.value),
                lo: kept(e.lo),
                hi: kept(e.hi),
            };
        }
        CaseRecord {
            name: case.name.clone(),
            confidence,
            pairs,
            seed,
            comparisons: judge(case, &figures),
            files_read: Vec::new(),
            figures,
        }
    }

    /// What is kept on disk: what was measured, and under which conditions; the verdicts follow
    /// from it.
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
            "schema": SCHEMA,
            "version": env!("CARGO_PKG_VERSION"),
            "results_version": RESULTS_VERSION,
            "kernel": kernel(),
            "files_read": self.files_read,
            "case": self.name,
            "text": case.text,
            "confidence": number(self.confidence),
            "pairs": self.pairs,
            "seed": self.seed,
            "figures": curves,
        })
    }

    /// What [`to_json`](CaseRecord::to_json) wrote, if it is of this case, effort, version of the
    /// program and of its results, and numeric kernel. Whether the files that were
    /// [read](CaseRecord::files_read) still hold the same is for the caller to see.
    pub fn from_json(
        value: &Value,
        case: &Case,
        confidence: f64,
        pairs: usize,
        seed: u64,
    ) -> Option<CaseRecord> {
        let files_read: Vec<FileHash> = serde_json::from_value(value["files_read"].clone()).ok()?;
        let same = value["schema"] == SCHEMA
            && value["version"] == env!("CARGO_PKG_VERSION")
            && value["kernel"] == kernel()
            && value["results_version"] == RESULTS_VERSION
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
        whole.then(|| CaseRecord {
            files_read,
            ..CaseRecord::new(case, confidence, pairs, seed, figures)
        })
    }

    /// The worst verdict on an expectation.
    pub fn verdict(&self, expectation: usize) -> Verdict {
        self.comparisons
            .iter()
            .filter(|c| c.expectation == expectation)
            .map(|c| c.verdict)
            .max()
            .unwrap_or(Verdict::Missing)
    }
}

/// Columns of [`table`].
pub const COLUMNS: [&str; 15] = [
    "case",
    "expectation",
    "check",
    "kind",
    "variant",
    "at",
    "quantity",
    "measured",
    "lo",
    "hi",
    "expected",
    "allowed_lo",
    "allowed_hi",
    "verdict",
    "known_disagreement",
];

/// Every comparison of every case, one per row.
pub fn table(results: &[(&Case, &CaseRecord)]) -> Table {
    let mut table = Table::new(COLUMNS);
    for (case, record) in results {
        for c in &record.comparisons {
            let e = &case.expectations[c.expectation];
            table.rows.push(vec![
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
            ]);
        }
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASE: &str = r#"
title = "Response time"
topic = "tracers"
measure = "tracer"
[source]
citation = "Stokes drag"
kind = "derived"
differs = "Nothing."
[[expect]]
name = "short, \"as asked\""
quantity = "response_time_s"
at_most = 3e-6
reason = "Two digits."
"#;

    fn small() -> (Case, CaseRecord) {
        let case = Case::read("tracer", CASE).unwrap();
        let [value, lo, hi] = [2.8e-6; 3];
        let figures = Figures::from([("response_time_s".to_owned(), Estimate { value, lo, hi })]);
        let record = CaseRecord::new(&case, 0.99, 1, 1, vec![vec![figures]]);
        (case, record)
    }

    /// A confidence of a whole suite, whose last digits a reader that rounds would lose: then no
    /// record would ever be of the same confidence.
    #[test]
    fn a_record_is_found_again_in_its_file() {
        let (case, _) = small();
        for statements in 1..400 {
            let confidence = 1.0 - 0.01 / f64::from(statements);
            let figure = Estimate {
                value: f64::from(statements) / 7.0,
                lo: f64::NEG_INFINITY,
                hi: 1e-300 / 3.0,
            };
            let figures = Figures::from([("response_time_s".to_owned(), figure)]);
            let record = CaseRecord::new(&case, confidence, 1, u64::MAX, vec![vec![figures]]);
            let text = record.to_json(&case).to_string();
            let value: Value = serde_json::from_str(&text).unwrap();
            let read = CaseRecord::from_json(&value, &case, confidence, 1, u64::MAX);
            let read = read.unwrap_or_else(|| panic!("{statements} statements: {text}"));
            assert_eq!(read.figures, record.figures);
        }
    }

    #[test]
    fn a_record_of_another_results_version_is_not_used() {
        let (case, record) = small();
        let mut kept = record.to_json(&case);
        let again = |kept: &Value| CaseRecord::from_json(kept, &case, 0.99, 1, 1);
        let read = again(&kept).expect("the same version");
        assert_eq!(read.comparisons, record.comparisons);
        kept["results_version"] = json!(RESULTS_VERSION + 1);
        assert!(again(&kept).is_none());
        kept.as_object_mut().unwrap().remove("results_version");
        assert!(again(&kept).is_none());
        for key in ["version", "kernel"] {
            let mut kept = record.to_json(&case);
            kept[key] = json!("another");
            assert!(again(&kept).is_none(), "{key}");
        }
    }

    #[test]
    fn a_table_has_a_row_per_comparison() {
        let (case, record) = small();
        let text = table(&[(&case, &record)]).csv();
        let row = "tracer,\"short, \"\"as asked\"\"\",bound,derived,,,response_time_s,\
                   0.0000028,0.0000028,0.0000028,0.000003,-inf,0.000003,agrees,";
        assert_eq!(text, format!("{}\n{row}\n", COLUMNS.join(",")));
    }
}
