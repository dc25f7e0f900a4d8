//! What is assumed and what each assumption is worth, in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use motefield_rig::assumption::Assumption;
use motefield_rig::quantity::short;
use motefield_study::decide::worth::{AnswerSpread, Answered, Move, Worth, Worths};
use serde_json::{Value, json};

use crate::answer::{ALSO_ASSUMED, ASSUMED, BY_TOLERANCES, CHECK};
use crate::assumed;
use crate::format::percent;
use crate::json::Interval;

/// What is assumed, those first that move the answer; nothing where the setup leaves nothing open.
/// `answered` is the answer that rests on it, where there is one; `explained` says where keys are
/// explained.
pub fn words(worths: &Worths, answered: Option<&Answered>, explained: &str) -> String {
    let mut lines = worths.spread.iter().flat_map(spread_words).collect::<Vec<_>>();
    if let (Some(first), Some(answered)) = (worths.first(), answered) {
        lines.push(first_words(first, answered));
    }
    if !worths.tried.is_empty() {
        lines.push(format!(
            "{ASSUMED}, and what it is worth at the usual value, on the same particles:"
        ));
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
    let others = by_section(others);
    if !others.is_empty() {
        let begin = match worths.tried.is_empty() {
            true => ASSUMED,
            false => ALSO_ASSUMED,
        };
        lines.push(format!("{begin} ({explained}):"));
        lines.extend(others);
    }
    lines.into_iter().map(|line| line + "\n").collect()
}

/// "  light: rise_time = 0 us, no on_time_limit", a line for each section of the setup.
fn by_section<'a>(assumed: impl Iterator<Item = &'a Assumption>) -> Vec<String> {
    let mut sections: Vec<(&str, Vec<String>)> = Vec::new();
    for assumption in assumed {
        let path = assumption.key.path;
        let (section, name) = path.split_once('.').unwrap_or(("setup", path));
        let setting = match assumption.taken() {
            Some(value) => format!("{name} = {value}"),
            None => format!("no {name}"),
        };
        match sections.iter_mut().find(|(of, _)| *of == section) {
            Some((_, settings)) => settings.push(setting),
            None => sections.push((section, vec![setting])),
        }
    }
    let line = |(section, settings): (&str, Vec<String>)| format!("  {section}: {}", settings.join(", "));
    sections.into_iter().map(line).collect()
}

/// What the tolerances of stated values do, line by line.
pub fn spread_words(spread: &AnswerSpread) -> Vec<String> {
    let stated: Vec<String> = (spread.tolerances.iter().zip(&spread.error_ratios))
        .map(|(t, [low, high])| {
            let [low, high] = [low, high].map(|ratio| short(*ratio));
            format!(
                "{} +- {} ({low} times the error at its lower end, {high} at its upper)",
                t.path, t.stated
            )
        })
        .collect();
    let mut lines = vec![format!("{BY_TOLERANCES}{}:", stated.join(", "))];
    for best in &spread.best {
        let [from, to] = [0, 1].map(|k| &best.interval[k].text);
        let [now, robust] = [0, 1].map(|k| &best.best[k].text);
        let choice = match now == robust {
            true => format!("{now} is the best choice over their spread too"),
            false => format!("the robust choice over their spread is {robust}"),
        };
        lines.push(format!(
            "  the best {} lies between {from} and {to} (95 %); {choice}",
            best.key
        ));
    }
    lines.push(format!(
        "  error over their spread: {} times that of the values as they stand",
        short(spread.mean_error_ratio)
    ));
    lines
}

/// For programs: what the tolerances of stated values do; null where none is stated.
pub fn spread_json(worths: &Worths) -> Value {
    let Some(spread) = &worths.spread else {
        return Value::Null;
    };
    let of = spread.tolerances.iter().zip(&spread.error_ratios).map(|(t, ratios)| {
        json!({ "key": t.path, "value_si": t.value, "half_width_si": t.half_width, "error_ratios": ratios })
    });
    let best = spread.best.iter().map(|best| {
        json!({
            "key": best.key,
            "best": best.best[0].text,
            "robust": best.best[1].text,
            "from": best.interval[0].text,
            "to": best.interval[1].text,
            "shares": best.shares,
        })
    });
    json!({
        "tolerances": of.collect::<Value>(),
        "best": best.collect::<Value>(),
        "mean_error_ratio": spread.mean_error_ratio,
    })
}

/// The usual value as a setup would write it.
pub fn usual(worth: &Worth) -> String {
    worth
        .assumption
        .to_usual()
        .map_or(String::new(), |(_, value)| value.to_string())
}

/// Which to look into first, and what for.
pub fn first_words(worth: &Worth, answered: &Answered) -> String {
    let key = worth.assumption.key.path;
    let what = match (worth.moves_best(), worth.changes_error()) {
        (true, _) => "would move the best setting most",
        (false, _) => "would change the error most",
    };
    format!(
        "{CHECK}{key} first: it {what}. With {} in place of \"{}\": {}.",
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
pub fn consequence(worth: &Worth, answered: Option<&Answered>) -> String {
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
        (_, Some(answered)) if worth.changes_error() && !worth.counts_lost => {
            let error = worth.error.value * answered.error();
            parts.push(format!("error {}", answered.shown(error)));
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
