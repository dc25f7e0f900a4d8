//! What is assumed and what each assumption is worth, in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use motefield_rig::quantity::short;
use motefield_study::decide::worth::{Answered, Move, Worth, Worths};
use serde_json::{Value, json};

use crate::assumed;
use crate::format::percent;
use crate::json::Interval;

/// What is assumed, those first that move the answer; nothing where the setup leaves nothing open.
/// `answered` is the answer that rests on it, where there is one.
pub fn words(worths: &Worths, answered: Option<&Answered>) -> String {
    if worths.assumed.is_empty() {
        return String::new();
    }
    let mut lines = Vec::new();
    if let (Some(first), Some(answered)) = (worths.first(), answered) {
        lines.push(first_words(first, answered));
    }
    if !worths.tried.is_empty() {
        lines.push("Assumed, and what it is worth at the usual value, on the same particles:".to_owned());
        let told = |w: &&Worth| w.moves_best() || w.changes_error();
        lines.extend(
            worths
                .tried
                .iter()
                .filter(told)
                .map(|w| format!("  {}", worth_words(w, answered))),
        );
        let little: Vec<String> = (worths.tried.iter().filter(|w| !told(w)))
            .map(|w| format!("{} at {}", w.assumption, usual(w)))
            .collect();
        if !little.is_empty() {
            lines.push(format!(
                "  no difference of more than 5 % that can be told: {}",
                little.join("; ")
            ));
        }
    }
    let tried = |key: &str| worths.tried.iter().any(|w| w.assumption.key.path == key);
    let others = worths.assumed.iter().filter(|a| !tried(a.key.path));
    let others: Vec<String> = others.map(ToString::to_string).collect();
    if !others.is_empty() {
        let begin = if worths.tried.is_empty() {
            "Assumed"
        } else {
            "Also assumed"
        };
        lines.push(format!("{begin}: {}.", others.join("; ")));
    }
    lines.join("\n") + "\n"
}

/// The usual value as a setup would write it.
fn usual(worth: &Worth) -> String {
    worth
        .assumption
        .to_usual()
        .map_or(String::new(), |(_, value)| value.to_string())
}

/// Which to look into first, and what for.
fn first_words(worth: &Worth, answered: &Answered) -> String {
    let key = worth.assumption.key.path;
    let what = match (worth.moves_best(), worth.changes_error()) {
        (true, _) => "would move the best setting most",
        (false, _) => "would change the error most",
    };
    format!(
        "Check {key} first: it {what}. With {} in place of \"{}\": {}.",
        usual(worth),
        worth.assumption.key.absent.assumes,
        consequence(worth, Some(answered))
    )
}

fn worth_words(worth: &Worth, answered: Option<&Answered>) -> String {
    format!(
        "{}: at {}, {}",
        worth.assumption,
        usual(worth),
        consequence(worth, answered)
    )
}

/// What the usual value would do.
fn consequence(worth: &Worth, answered: Option<&Answered>) -> String {
    let mut parts = Vec::new();
    let moved: Vec<String> = worth.moves.iter().filter(|m| m.moves()).map(move_words).collect();
    if !moved.is_empty() {
        parts.push(format!("best at {}", moved.join(" and ")));
    }
    match (&worth.again, answered) {
        (Some(again), Some(answered)) if worth.moves_best() => {
            let [now, there] = again.errors.map(|e| answered.shown(e));
            let tried = match again.confirmed() {
                true => format!("tried again: error {there} there, {now} at the present best"),
                false => {
                    format!("not confirmed by a second trial: error {there} there, {now} at the present best")
                }
            };
            parts.push(tried);
        }
        (_, Some(answered)) if worth.changes_error() => {
            if !worth.counts_lost {
                parts.push(format!(
                    "error {}",
                    answered.shown(worth.error.value * answered.error())
                ));
            }
        }
        _ => {}
    }
    let counted = if worth.counts_lost {
        ", each lost vector counted as 1 px"
    } else {
        ""
    };
    parts.push(format!(
        "{} times the error at the present best{counted}, {} valid",
        factor(worth.error),
        percent(worth.valid)
    ));
    parts.join("; ")
}

/// "2.41 ms instead of 9.79 ms".
fn move_words(m: &Move) -> String {
    let [now, there] = [0, 1].map(|k| &m.best[k].text);
    let beyond = if m.end { " or beyond" } else { "" };
    format!("{} = {there}{beyond} instead of {now}", m.key)
}

/// "1.8 (1.7 to 1.9)".
fn factor(e: Estimate) -> String {
    format!("{} ({} to {})", short(e.value), short(e.lo), short(e.hi))
}

/// For programs: every assumption, and what it is worth where that was found out.
pub fn json(worths: &Worths) -> Value {
    let one = |assumption| {
        let mut object = assumed::one(assumption);
        let worth = worths
            .tried
            .iter()
            .find(|w| w.assumption.key.path == assumption.key.path);
        object["worth"] = worth.map_or(Value::Null, worth_json);
        object
    };
    worths.assumed.iter().map(one).collect()
}

fn worth_json(worth: &Worth) -> Value {
    let moves = worth.moves.iter().map(|m| {
        json!({
            "key": m.key,
            "best": m.best[0].text,
            "best_at_usual": m.best[1].text,
            "shift": Interval::from(m.shift),
            "moves": m.moves(),
            "at_end_of_looked_at": m.end,
        })
    });
    let again = worth
        .again
        .as_ref()
        .map(|again| json!({ "errors": again.errors, "valid": again.valid, "confirmed": again.confirmed() }));
    json!({
        "error_ratio": Interval::from(worth.error),
        "changes_error": worth.changes_error(),
        "valid": worth.valid,
        "lost_vectors_counted": worth.counts_lost,
        "best": moves.collect::<Value>(),
        "verified": again,
    })
}
