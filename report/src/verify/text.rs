//! Cases and their verdicts in words.

use std::fmt::Write;

use motefield_study::verify::case::Case;
use motefield_study::verify::judge::{Comparison, Verdict};
use motefield_study::verify::record::CaseRecord;

use super::{allowed, kinds, nearest_to_failing, shown};

/// A case's verdicts: one line per expectation with its check and the kind of its source, then the
/// comparison nearest to failing, or every comparison that does not agree.
pub fn lines(case: &Case, record: &CaseRecord) -> String {
    let mut text = format!("{}: {}\n", case.name, case.title);
    for (k, e) in case.expectations.iter().enumerate() {
        let verdict = record.verdict(k);
        let known = match (&e.known_disagreement, verdict) {
            (Some(_), Verdict::Agrees) => " (the case says it does not)",
            (Some(_), verdict) if verdict.fails() => " (and not as the case says)",
            _ => "",
        };
        let _ = write!(
            text,
            "  {}{known}: {} [{}, {}]",
            verdict.as_str(),
            e.name,
            e.word(),
            e.kind.as_str()
        );
        let shown_here: Vec<&Comparison> = match verdict {
            Verdict::Agrees => nearest_to_failing(record, k).into_iter().collect(),
            _ => record
                .comparisons
                .iter()
                .filter(|c| c.expectation == k && c.verdict == verdict)
                .collect(),
        };
        for c in shown_here {
            let place = [c.variant.as_str(), c.at.as_str()].map(str::trim);
            let place: Vec<&str> = place.into_iter().filter(|p| !p.is_empty()).collect();
            let at = if place.is_empty() {
                String::new()
            } else {
                format!(" at {}", place.join(", "))
            };
            let _ = write!(
                text,
                "\n      {} {}{at}; expected {}",
                e.quantity,
                shown(c),
                allowed(c)
            );
        }
        text.push('\n');
    }
    text
}

/// The cases with their sources, and every figure with its check and the kind of its source.
pub fn list(cases: &[Case]) -> String {
    let mut text = String::new();
    for case in cases {
        let _ = writeln!(
            text,
            "{}: {}\n  {} [{}]",
            case.name,
            case.title,
            case.source.citation,
            case.source.kind.as_str()
        );
        for e in &case.expectations {
            let _ = writeln!(text, "  - {} ({}, {})", e.name, e.word(), e.kind.as_str());
        }
    }
    let _ = writeln!(text, "{} cases, {}", cases.len(), kinds(cases));
    text
}
