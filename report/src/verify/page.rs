//! The summary page.

use std::fmt::Write;

use motefield_study::RESULTS_VERSION;
use motefield_study::verify::case::Case;
use motefield_study::verify::judge::Verdict;
use motefield_study::verify::record::CaseRecord;
use motefield_study::verify::suite::Depth;

use super::{Count, allowed, kinds, legible, nearest_to_failing, shown};

/// What the kinds of source mean.
const KINDS: &str = "\
Kinds of source: *published* (read in the publication, or in two independent transcriptions that
name its table, page or equation), *transcribed* (read in one such transcription), *derived*
(algebra from standard theory), *memory* (recalled, or quoted without table, page or equation; to be
confirmed), *common practice* (a rule of the trade without a source). An *own requirement* is what
this project asks of itself.
";

/// The summary page (Markdown): by topic a table of all figures, then each case with its source and
/// picture.
pub fn page(results: &[(&Case, &CaseRecord)], depth: Depth) -> String {
    let confidence = results.first().map_or(0.0, |(_, r)| r.confidence);
    let mut text = format!(
        "# Reference figures\n\n{}\n\n\
         Measured at {} depth by version {}, results version {RESULTS_VERSION}: {}\n\n\
         Every interval has {:.4} % confidence, so that a correct program fails any figure in fewer \
         than 1 of 100\nsuites (docs/reference-figures.md says how). [table.csv](table.csv) holds \
         every comparison.\n\n{KINDS}\n",
        kinds(results.iter().map(|(case, _)| *case)),
        if depth == Depth::Full { "full" } else { "quick" },
        env!("CARGO_PKG_VERSION"),
        Count::of(results).sentence(),
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
                let Some(c) = nearest_to_failing(record, k) else {
                    continue;
                };
                let verdict = match record.verdict(k) {
                    agrees @ Verdict::Agrees => agrees.as_str().to_owned(),
                    other => format!("**{}**", other.as_str()),
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

fn section(case: &Case, record: &CaseRecord) -> String {
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
        let _ = write!(text, " {} pairs per point.", record.pairs);
    }
    let _ = write!(text, "\n\n![{}]({}.svg)\n\n", case.name, case.name);
    for e in &case.expectations {
        let (name, kind) = (&e.name, e.kind.as_str());
        let _ = writeln!(text, "- *{name}* ({kind}): {}", sentence(&e.reason));
        if let Some(known) = &e.known_disagreement {
            let [lo, hi] = known.interval.map(legible);
            let _ = writeln!(
                text,
                "  **Known disagreement**, held to {} ({lo} to {hi}): {}",
                legible(known.value),
                sentence(&known.reason)
            );
        }
    }
    for change in &case.changed {
        let _ = writeln!(
            text,
            "- *{}* was changed from {} to {}: {}",
            change.expectation,
            change.was,
            change.now,
            sentence(&change.reason)
        );
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
