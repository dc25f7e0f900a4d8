//! What a reader sees: the verdicts in the terminal, as JSON, and as a summary page.

mod deviations;
pub mod picture;

use std::fmt::Write;

use serde_json::{Value, json};

use motefield_rig::quantity::digits;
use motefield_study::verify::case::Case;
use motefield_study::verify::judge::{Comparison, Verdict};
use motefield_study::verify::record::Record;
use motefield_study::verify::suite::Depth;

/// How many figures there are of each verdict.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Count {
    /// As expected.
    pub agree: usize,
    /// Too little is known.
    pub cannot_tell: usize,
    /// Not as expected, and not known before.
    pub disagree: usize,
    /// Not as expected, as the case says.
    pub known: usize,
}

impl Count {
    /// Over the expectations of all cases.
    pub fn of(results: &[(&Case, &Record)]) -> Count {
        let mut count = Count::default();
        for (case, record) in results {
            for (k, e) in case.expectations.iter().enumerate() {
                match (record.verdict(k), &e.known_disagreement) {
                    (Verdict::Agrees, _) => count.agree += 1,
                    (Verdict::CannotTell, _) => count.cannot_tell += 1,
                    (Verdict::Disagrees, None) => count.disagree += 1,
                    (Verdict::Disagrees, Some(_)) => count.known += 1,
                }
            }
        }
        count
    }

    /// In a sentence.
    pub fn sentence(&self) -> String {
        let mut text = format!("{} figures agree, {} disagree", self.agree, self.disagree);
        if self.known > 0 {
            let _ = write!(text, ", {} disagree as their cases say", self.known);
        }
        if self.cannot_tell > 0 {
            let _ = write!(
                text,
                ", {} cannot be told (more pairs are needed)",
                self.cannot_tell
            );
        }
        text + "."
    }
}

/// Six digits, with a power of ten where there would be a row of zeros.
fn legible(value: f64) -> String {
    if value == 0.0 || !value.is_finite() || (1e-4..1e7).contains(&value.abs()) {
        return digits(value);
    }
    let exponent = value.abs().log10().floor() as i32;
    format!("{}e{exponent}", digits(value / 10f64.powi(exponent)))
}

/// A figure with its interval.
pub fn shown(c: &Comparison) -> String {
    let short = |v: f64| {
        if v.is_finite() {
            format!("{v:.3e}")
                .parse::<f64>()
                .map_or_else(|_| digits(v), legible)
        } else {
            digits(v)
        }
    };
    if c.measured.lo == c.measured.hi {
        return legible(c.measured.value);
    }
    format!(
        "{} ({} to {})",
        short(c.measured.value),
        short(c.measured.lo),
        short(c.measured.hi)
    )
}

/// The range allowed.
pub fn allowed(c: &Comparison) -> String {
    match c.allowed {
        [lo, hi] if lo.is_infinite() => format!("at most {}", legible(hi)),
        [lo, hi] if hi.is_infinite() => format!("at least {}", legible(lo)),
        [lo, hi] => match c.expected {
            Some(expected) => format!("{} ± {}", legible(expected), legible(0.5 * (hi - lo))),
            None => format!("{} to {}", legible(lo), legible(hi)),
        },
    }
}

/// The comparison that stands for an expectation: the worst, and among those the one nearest to failing.
fn telling(record: &Record, expectation: usize) -> Option<&Comparison> {
    let strain = |c: &Comparison| match c.allowed {
        [lo, hi] if lo.is_infinite() => c.measured.value - hi,
        [lo, hi] if hi.is_infinite() => lo - c.measured.value,
        [lo, hi] => (c.measured.value - 0.5 * (lo + hi)).abs() / (hi - lo),
    };
    record
        .comparisons
        .iter()
        .filter(|c| c.expectation == expectation)
        .max_by(|a, b| a.verdict.cmp(&b.verdict).then(strain(a).total_cmp(&strain(b))))
}

/// A case's verdicts for the terminal: one line an expectation, and every comparison that does not agree.
pub fn lines(case: &Case, record: &Record) -> String {
    let mut text = format!("{}: {}\n", case.name, case.title);
    for (k, e) in case.expectations.iter().enumerate() {
        let verdict = record.verdict(k);
        let known = match (&e.known_disagreement, verdict) {
            (Some(_), Verdict::Disagrees) => ", as the case says",
            (Some(_), _) => " (the case says it does not)",
            (None, _) => "",
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
            Verdict::Agrees => telling(record, k).into_iter().collect(),
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

/// All of it for machines.
pub fn json(results: &[(&Case, &Record)], depth: Depth) -> Value {
    let number = |v: f64| {
        if v.is_finite() {
            json!(v)
        } else {
            json!(v.to_string())
        }
    };
    let cases: Vec<Value> = results
        .iter()
        .map(|(case, record)| {
            let expectations: Vec<Value> = case
                .expectations
                .iter()
                .enumerate()
                .map(|(k, e)| {
                    let comparisons: Vec<Value> = record
                        .comparisons
                        .iter()
                        .filter(|c| c.expectation == k)
                        .map(|c| {
                            json!({
                                "variant": c.variant, "at": c.at,
                                "measured": number(c.measured.value), "lo": number(c.measured.lo), "hi": number(c.measured.hi),
                                "expected": c.expected, "allowed": [number(c.allowed[0]), number(c.allowed[1])],
                                "verdict": c.verdict.as_str(),
                            })
                        })
                        .collect();
                    json!({
                        "name": e.name, "quantity": e.quantity, "check": e.word(), "kind": e.kind.as_str(), "reason": e.reason,
                        "known_disagreement": e.known_disagreement, "verdict": record.verdict(k).as_str(), "comparisons": comparisons,
                    })
                })
                .collect();
            json!({
                "case": case.name, "title": case.title, "topic": case.topic, "pairs": record.pairs,
                "source": { "citation": case.source.citation, "doi": case.source.doi, "kind": case.source.kind.as_str(), "differs": case.source.differs },
                "expectations": expectations,
            })
        })
        .collect();
    let count = Count::of(results);
    json!({
        "schema": "motefield-verify/1",
        "version": env!("CARGO_PKG_VERSION"),
        "depth": depth.as_str(),
        "confidence": results.first().map(|(_, r)| r.confidence),
        "agree": count.agree, "disagree": count.disagree, "disagree_as_known": count.known, "cannot_tell": count.cannot_tell,
        "cases": cases,
    })
}

/// The summary page (Markdown): a table of all figures by topic, then each case with its source and picture.
pub fn page(results: &[(&Case, &Record)], depth: Depth) -> String {
    let count = Count::of(results);
    let confidence = results.first().map_or(0.0, |(_, r)| r.confidence);
    let mut text = format!(
        "# Published figures\n\nWhat `motefield verify{}` found with version {}: {}\n\n\
         Intervals hold with {:.4} % confidence each, so that a program that is right fails any figure in fewer than 1 of 100 suites \
         (docs/published-cases.md says how). Kinds of source: *published* (read in the publication or its abstract), *derived* (algebra from standard \
         theory), *memory* (recalled, to be confirmed), *common practice* (no source). Every comparison stands in [table.csv](table.csv).\n\n",
        if depth == Depth::Full { " --full" } else { "" },
        env!("CARGO_PKG_VERSION"),
        count.sentence(),
        100.0 * confidence
    );
    let mut topics: Vec<&str> = Vec::new();
    for (case, _) in results {
        if !topics.contains(&case.topic.as_str()) {
            topics.push(&case.topic);
        }
    }
    topics.sort_unstable();
    for topic in topics {
        let _ = write!(
            text,
            "## {}\n\n| figure | kind | check | measured where it is nearest to failing | expected | verdict |\n|---|---|---|---|---|---|\n",
            capital(topic)
        );
        let of_topic = || results.iter().filter(|(case, _)| case.topic == topic);
        for (case, record) in of_topic() {
            for (k, e) in case.expectations.iter().enumerate() {
                let Some(c) = telling(record, k) else { continue };
                let verdict = match (record.verdict(k), &e.known_disagreement) {
                    (Verdict::Agrees, _) => "agrees".to_owned(),
                    (Verdict::Disagrees, Some(_)) => "**disagrees, as the case says**".to_owned(),
                    (v, _) => format!("**{}**", v.as_str()),
                };
                let _ = writeln!(
                    text,
                    "| [{}](#{}): {} | {} | {} | {} | {} | {verdict} |",
                    case.name,
                    case.name,
                    cell(&e.name),
                    e.kind.as_str(),
                    e.word(),
                    shown(c),
                    allowed(c)
                );
            }
        }
        text.push('\n');
        for (case, record) in of_topic() {
            text.push_str(&section(case, record));
        }
    }
    text
}

fn section(case: &Case, record: &Record) -> String {
    let mut text = format!("### {}\n\n{}. ", case.name, case.title);
    let doi = case
        .source
        .doi
        .as_ref()
        .map_or(String::new(), |doi| format!(", doi:{doi}"));
    let _ = write!(
        text,
        "Source ({}): {}{doi}. ",
        case.source.kind.as_str(),
        case.source.citation.trim_end_matches('.')
    );
    let _ = write!(text, "Differs: {}", sentence(&case.source.differs));
    if case.measure.statistical {
        let _ = write!(text, " {} pairs a point.", record.pairs);
    }
    let _ = write!(text, "\n\n![{}]({}.svg)\n\n", case.name, case.name);
    for e in &case.expectations {
        let _ = writeln!(text, "- *{}*: {}", e.name, sentence(&e.reason));
        if let Some(why) = &e.known_disagreement {
            let _ = writeln!(text, "  **Known disagreement**: {}", sentence(why));
        }
    }
    text.push('\n');
    text
}

fn sentence(text: &str) -> String {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if text.ends_with('.') { text } else { text + "." }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

#[cfg(test)]
mod tests {
    use super::legible;

    #[test]
    fn small_numbers_can_be_read() {
        assert_eq!(legible(8.03354e-6), "8.03354e-6");
        assert_eq!(legible(-2.5e9), "-2.5e9");
        assert_eq!(legible(0.05), "0.05");
        assert_eq!(legible(0.0), "0");
    }
}
