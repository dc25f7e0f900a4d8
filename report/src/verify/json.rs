//! The verdicts as JSON.

use motefield_study::verify::case::Case;
use motefield_study::verify::judge::Comparison;
use motefield_study::verify::record::{CaseRecord, number};
use motefield_study::verify::suite::Depth;
use serde_json::{Map, Value, json};

use super::Count;
use super::count::of_each_kind;
use crate::json::file;

/// All cases with every comparison, as JSON of the schema `motefield-verify/1`.
pub fn json(results: &[(&Case, &CaseRecord)], depth: Depth) -> Value {
    let count = Count::of(results);
    let kinds: Map<String, Value> = of_each_kind(results.iter().map(|(case, _)| *case))
        .into_iter()
        .map(|(kind, count)| (kind.as_str().to_owned(), json!(count)))
        .collect();
    let cases: Vec<Value> = results
        .iter()
        .map(|(case, record)| of_case(case, record))
        .collect();
    let fields = json!({
        "depth": depth.as_str(),
        "confidence": results.first().map(|(_, r)| r.confidence),
        "agree": count.agree,
        "disagree": count.disagree,
        "disagree_as_known": count.known,
        "cannot_tell": count.cannot_tell,
        "borderline": count.borderline,
        "missing": count.missing,
        "kinds": kinds,
        "cases": cases,
    });
    file("motefield-verify/1", fields)
}

fn of_case(case: &Case, record: &CaseRecord) -> Value {
    let of_expectation = |k: usize| {
        let e = &case.expectations[k];
        let own = record.comparisons.iter().filter(|c| c.expectation == k);
        json!({
            "name": e.name,
            "quantity": e.quantity,
            "check": e.word(),
            "kind": e.kind.as_str(),
            "reason": e.reason,
            "known_disagreement": e.known_disagreement.as_ref().map(|known| json!({
                "value": known.value,
                "interval": known.interval,
                "reason": known.reason,
            })),
            "verdict": record.verdict(k).as_str(),
            "comparisons": own.map(of_comparison).collect::<Vec<Value>>(),
        })
    };
    let expectations: Vec<Value> = (0..case.expectations.len()).map(of_expectation).collect();
    json!({
        "case": case.name,
        "title": case.title,
        "topic": case.topic,
        "pairs": record.pairs,
        "source": {
            "citation": case.source.citation,
            "doi": case.source.doi,
            "kind": case.source.kind.as_str(),
            "differs": case.source.differs,
        },
        "expectations": expectations,
    })
}

fn of_comparison(c: &Comparison) -> Value {
    json!({
        "variant": c.variant,
        "at": c.at,
        "measured": number(c.measured.value),
        "lo": number(c.measured.lo),
        "hi": number(c.measured.hi),
        "expected": c.expected,
        "allowed": c.allowed.map(number),
        "verdict": c.verdict.as_str(),
    })
}
