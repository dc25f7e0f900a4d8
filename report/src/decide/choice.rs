//! A choice from lists in words, as CSV and as JSON.

use std::fmt::Write;

use motefield_rig::quantity::{digits, short};
use motefield_rig::setup::Setup;
use motefield_study::decide::choice::Choice;
use motefield_study::decide::trial::{Measured, Outcome, Trial};
use serde_json::{Value as Json, json};

/// Version of the layout of a choice's `decision.json`.
const SCHEMA: &str = "motefield-decision-choice/1";

fn named(choice: &Choice, trial: &Trial) -> String {
    let pairs = choice.keys.iter().zip(&trial.values);
    pairs
        .map(|(key, value)| format!("{key} = {}", value.text))
        .collect::<Vec<_>>()
        .join(", ")
}

/// The answer for a person at a terminal.
pub fn words(choice: &Choice) -> String {
    let mut text = String::new();
    let best = choice.best();
    let _ = match best {
        Some((trial, m)) => {
            let total = m.point.score.total_px;
            writeln!(
                text,
                "Use {}: the smallest error, {} px ({} to {}), {} % of the mean speed.",
                named(choice, trial),
                short(total.value),
                short(total.lo),
                short(total.hi),
                short(100.0 * m.relative().value)
            )
        }
        None => writeln!(text, "Nothing that was tried may be used."),
    };
    let mut rows: Vec<Vec<String>> = vec![
        choice
            .keys
            .iter()
            .map(String::as_str)
            .chain(["error, px", "95 % interval", "more error", "valid", ""])
            .map(str::to_owned)
            .collect(),
    ];
    for trial in &choice.trials {
        let mut row: Vec<String> = trial.values.iter().map(|v| v.text.clone()).collect();
        row.extend(cells(choice, trial, best.map(|(_, m)| m)));
        rows.push(row);
    }
    text.push_str(&columns(&rows));
    if best.is_some() {
        text.push_str("= cannot be told from the best with 95 % confidence (on the same pairs).\n");
    }
    if let (Some(standing), Some((_, best))) = (&choice.standing, best) {
        let _ = match (standing.obstacle(choice.wish.valid), standing.measured()) {
            (Some(obstacle), _) => writeln!(text, "The setup as it stands {}.", obstacle.words()),
            (None, Some(m)) => writeln!(
                text,
                "The setup as it stands: {} px, {:.1} % more.",
                short(m.point.score.total_px.value),
                100.0 * (m.relative().value / best.relative().value - 1.0)
            ),
            _ => Ok(()),
        };
    }
    if choice.stopped {
        text.push_str("The study was stopped early: what stands here rests on the pairs done until then.\n");
    }
    text
}

fn cells(choice: &Choice, trial: &Trial, best: Option<&Measured>) -> Vec<String> {
    match (&trial.outcome, best) {
        (Outcome::Measured(m), best) => {
            let total = m.point.score.total_px;
            let usable = trial.usable(choice.wish.valid).is_some();
            let more = best.filter(|_| usable).map_or(String::new(), |b| {
                format!("{:.1} %", 100.0 * (m.relative().value / b.relative().value - 1.0))
            });
            let mark = match (usable, best) {
                (true, Some(b)) if m.as_good_as(b) => "=",
                (true, _) => "",
                (false, _) => "loses too many vectors",
            };
            vec![
                short(total.value),
                format!("{} to {}", short(total.lo), short(total.hi)),
                more,
                format!("{} %", digits((1e4 * m.valid()).round() / 1e2)),
                mark.to_owned(),
            ]
        }
        (Outcome::Refused(_, reason), _) => {
            vec![
                String::new(),
                String::new(),
                String::new(),
                String::new(),
                reason.clone(),
            ]
        }
        (Outcome::NotReached, _) => {
            vec![
                String::new(),
                String::new(),
                String::new(),
                String::new(),
                "not reached".to_owned(),
            ]
        }
    }
}

/// The table by its columns: the settings, `state`, then total error and error over the mean speed with their 95 % intervals, share of
/// valid vectors, pairs.
pub fn csv(choice: &Choice) -> String {
    let mut text = choice.keys.join(",")
        + ",state,total_px,total_px_lo,total_px_hi,relative_error,relative_error_lo,relative_error_hi,valid,pairs\n";
    for trial in &choice.trials {
        let values: Vec<&str> = trial.values.iter().map(|v| v.text.as_str()).collect();
        let _ = write!(text, "{},{}", values.join(","), trial.state(choice.wish.valid));
        match trial.measured() {
            Some(m) => {
                let (total, relative) = (m.point.score.total_px, m.relative());
                for v in [
                    total.value,
                    total.lo,
                    total.hi,
                    relative.value,
                    relative.lo,
                    relative.hi,
                    m.valid(),
                ] {
                    let _ = write!(text, ",{}", digits(v));
                }
                let _ = writeln!(text, ",{}", m.point.score.pairs);
            }
            None => text.push_str(",,,,,,,,\n"),
        }
    }
    text
}

/// The answer for machines.
pub fn json(choice: &Choice, setup: &Setup) -> Json {
    let best = choice.best().map(|(_, m)| m);
    let row = |t: &Trial| {
        let mut row = json!({
            "values": t.values.iter().map(|v| v.text.as_str()).collect::<Vec<_>>(),
            "state": t.state(choice.wish.valid),
        });
        if let Outcome::Refused(_, reason) = &t.outcome {
            row["reason"] = json!(reason);
        }
        if let Some(m) = t.measured() {
            let e = |e: motefield_evaluator::statistics::Estimate| json!({ "value": e.value, "lo": e.lo, "hi": e.hi });
            row["total_px"] = e(m.point.score.total_px);
            row["relative_error"] = e(m.relative());
            row["valid"] = json!(m.valid());
            row["pairs"] = json!(m.point.score.pairs);
            row["as_good_as_best"] = json!(best.map(|b| m.as_good_as(b)));
        }
        row
    };
    json!({
        "schema": SCHEMA,
        "version": env!("CARGO_PKG_VERSION"),
        "setup": crate::setup_json(setup),
        "keys": choice.keys,
        "seed": choice.wish.effort.seed,
        "precision": choice.wish.effort.precision,
        "valid_fraction_asked": choice.wish.valid,
        "best": choice.best().map(|(t, _)| row(t)),
        "standing": choice.standing.as_ref().map(row),
        "trials": choice.trials.iter().map(row).collect::<Vec<_>>(),
        "stopped": choice.stopped,
    })
}

/// Rows of cells, aligned.
fn columns(rows: &[Vec<String>]) -> String {
    let width = |k: usize| rows.iter().map(|row| row[k].chars().count()).max().unwrap_or(0);
    let last = rows.first().map_or(0, |row| row.len() - 1);
    let mut text = String::new();
    for row in rows {
        let cells: Vec<String> = row
            .iter()
            .enumerate()
            .map(|(k, cell)| match k {
                k if k == last => cell.clone(),
                k => format!("{cell:>w$}", w = width(k)),
            })
            .collect();
        let _ = writeln!(text, "  {}", cells.join("  ").trim_end());
    }
    text
}
