//! The page as text.

use super::{diagram, diagram_of};
use crate::Apply;
use motefield_rig::plan::Arrangement;
use motefield_rig::plan::{Assessment, FARTHEST, Proposal, ProposedChange, Status};
use motefield_rig::quantity::Dimension as D;
use motefield_rig::quantity::{format as show, short};

/// Columns of a line.
const COLUMNS: usize = 120;
/// Columns of a label, and of a value.
const LABEL: usize = 48;
const VALUE: usize = 20;
/// Columns of what a rule judges.
const RULE: usize = 54;

/// The whole assessment.
pub fn text(assessment: &Assessment, apply: Apply) -> String {
    let mut out = format!("Plan of {}\n", assessment.name);
    for (heading, facts) in &assessment.parts {
        out.push_str(&format!("\n{heading}\n"));
        for fact in facts {
            let head = format!("  {:<LABEL$}{:<VALUE$}", fact.label, fact.text);
            out.push_str(&hanging(&head, &fact.how, 2 + LABEL + VALUE));
        }
    }
    if !assessment.arrangements.is_empty() {
        out.push_str("\nArrangements of light and exposures, side by side (* as planned)\n");
        out.push_str(&format!(
            "    {:<42}{:>13}{:>16}{:>13}{:>13}{:>15}\n",
            "", "shortest", "fastest", "streak", "pairs", "gathers"
        ));
        out.push_str(&format!(
            "    {:<42}{:>13}{:>16}{:>13}{:>13}{:>15}\n",
            "", "separation", "velocity", "there", "per second", "room light"
        ));
        for one in &assessment.arrangements {
            let [shortest, fastest, streak, pairs, open] = cells(one);
            let mark = if one.planned { "*" } else { " " };
            out.push_str(&format!(
                "  {mark} {:<42}{shortest:>13}{fastest:>16}{streak:>13}{pairs:>13}{open:>15}\n",
                one.label
            ));
        }
    }
    if let Some(shown) = &diagram_of(assessment) {
        out.push_str("\nTiming of a pair\n\n");
        for line in diagram::text(shown).lines() {
            out.push_str(format!("  {line}").trim_end());
            out.push('\n');
        }
    }
    if !assessment.assumed.is_empty() {
        out.push_str("\nAssumed, as the setup does not say otherwise\n");
        // Those of which another value is usual stand on lines of their own.
        let (other, plain): (Vec<_>, Vec<_>) = assessment.assumed.iter().partition(|a| a.usual.is_some());
        for assumption in other {
            let usual = crate::assumed::usual(assumption).unwrap_or_default();
            out.push_str(&hanging("  ", &format!("{assumption}; {usual}"), 4));
        }
        let plain: Vec<String> = plain.into_iter().map(ToString::to_string).collect();
        out.push_str(&hanging("  ", &plain.join("; "), 4));
    }
    if !assessment.rules.is_empty() {
        out.push_str(&format!("\nRules of the trade: {}\n", assessment.verdict()));
        // What is wrong stands last, nearest to the eye.
        for status in [Status::Pass, Status::Warn, Status::Fail] {
            for rule in assessment.rules.iter().filter(|rule| rule.status == status) {
                let word = if status == Status::Pass {
                    "pass".to_owned()
                } else {
                    status.word().to_uppercase()
                };
                let head = format!(
                    "  {word}  {:<RULE$}{:<12}{:<16}",
                    rule.label, rule.shown, rule.limit
                );
                out.push_str(&hanging(&head, &format!("[{}]", rule.source), 8 + RULE + 12 + 16));
                if let Some(fix) = &rule.fix {
                    out.push_str(&hanging("        change: ", &fix.words, 16));
                }
            }
        }
    }
    if let Some(proposal) = &assessment.proposal {
        out.push('\n');
        out.push_str(&hanging("", &proposal_words(proposal), 2));
        if let Some(settings) = proposal.settings() {
            out.push_str(&format!("  {}\n", apply(&settings)));
        }
    }
    out
}

/// What would keep every rule at once, or why nothing does.
pub(super) fn proposal_words(proposal: &Proposal) -> String {
    let within = format!("whatever the settings within a factor of {}", short(FARTHEST));
    match proposal {
        Proposal::Together(changes) => {
            let one = |change: &ProposedChange| {
                let [from, to] = &change.values;
                format!("{} from {from} to {to}", change.key)
            };
            let all: Vec<String> = changes.iter().map(one).collect();
            format!("Proposal that keeps every rule: {}.", all.join(", "))
        }
        Proposal::Exclude([(_, one), (_, other)]) => {
            format!("Two rules exclude each other, {within}: \"{one}\" and \"{other}\".")
        }
        Proposal::OutOfReach(_, rule) => format!("No setting meets a rule, {within}: \"{rule}\"."),
        Proposal::NotFound(rules) => {
            let all: Vec<String> = rules.iter().map(|(_, rule)| format!("\"{rule}\"")).collect();
            format!(
                "No proposal that keeps every rule was found, {within}; broken are {}.",
                all.join(", ")
            )
        }
    }
}

/// What an arrangement shows: shortest separation, fastest velocity, streak, pairs per second, time
/// open to room light.
pub(super) fn cells(one: &Arrangement) -> [String; 5] {
    let or_dash = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
    [
        show(one.shortest_s, D::Time),
        or_dash(one.fastest_m_s.map(|v| show(v, D::Speed))),
        format!("{} px", short(one.streak_px)),
        or_dash(one.pairs_hz.map(short)),
        or_dash(one.open_s.map(|s| show(s, D::Time))),
    ]
}

/// `head`, then `words` broken into lines that begin at `indent`.
fn hanging(head: &str, words: &str, indent: usize) -> String {
    let mut out = head.to_owned();
    let mut column = head.chars().count();
    if column > indent {
        out.push(' ');
        column += 1;
    }
    let mut first = true;
    for word in words.split_whitespace() {
        let length = word.chars().count();
        if !first && column + 1 + length > COLUMNS {
            out.truncate(out.trim_end().len());
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            column = indent;
            first = true;
        }
        if !first {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
        first = false;
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}
