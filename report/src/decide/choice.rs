//! A choice from lists in words, as CSV and as JSON.

use std::fmt::Write;

use crate::format::{columns, ends, fine_percent, interval, named, percent, percent_more, remarks};
use crate::json::{self, Interval};
use crate::table::ids;
use motefield_files::table::Table;
use motefield_rig::quantity::{digits, short};
use motefield_rig::setup::Setup;
use motefield_study::decide::choice::SettingsChoice;
use motefield_study::decide::question::Question;
use motefield_study::decide::trial::{MeasuredSetting, Outcome, Trial};
use serde_json::{Value as Json, json};

/// The layout of a choice's `decision.json`.
const SCHEMA: &str = "motefield-decision-choice/1";

fn settings(choice: &SettingsChoice, trial: &Trial) -> String {
    let pairs = choice.keys.iter().zip(&trial.values);
    pairs
        .map(|(key, value)| format!("{key} = {}", value.text))
        .collect::<Vec<_>>()
        .join(", ")
}

/// The answer in words; of a study that was stopped there is none, and `go_on`
/// says how to get it.
pub fn words(choice: &SettingsChoice, go_on: &str) -> String {
    match choice.stopped {
        true => so_far(choice, go_on),
        false => headline(choice) + &table(choice) + &remarks_below(choice),
    }
}

/// The same where the table stands beside it.
pub fn without_table(choice: &SettingsChoice, go_on: &str) -> String {
    match choice.stopped {
        true => so_far(choice, go_on),
        false => headline(choice) + &remarks_below(choice),
    }
}

fn so_far(choice: &SettingsChoice, go_on: &str) -> String {
    let done = choice.trials.iter().filter(|t| t.measured().is_some()).count();
    let done = format!("Measured so far: {done} of {} combinations.", choice.trials.len());
    format!("{}\n{done}\n", super::unfinished(go_on))
}

fn headline(choice: &SettingsChoice) -> String {
    let Some((trial, m)) = choice.best() else {
        return "None of the combinations tried is usable.\n".to_owned();
    };
    format!(
        "Use {}: the smallest error. In pairs that took no part in the choice it is {}, {} of the mean speed.\n",
        settings(choice, trial),
        interval(m.point.score.total_px, "px"),
        percent(m.relative().value)
    )
}

/// Every combination, with what its columns mean.
fn table(choice: &SettingsChoice) -> String {
    let best = choice.best().map(|(_, m)| m);
    let mut rows: Vec<Vec<String>> = vec![
        choice
            .keys
            .iter()
            .map(|key| heading(key, &choice.keys))
            .chain(HEADINGS.map(str::to_owned))
            .collect(),
    ];
    for trial in &choice.trials {
        let mut row: Vec<String> = trial.values.iter().map(|v| v.text.clone()).collect();
        row.extend(cells(choice, trial, best));
        rows.push(row);
    }
    let lines = columns(&rows);
    let mut text: String = lines.lines().map(|line| format!("  {line}\n")).collect();
    if best.is_some() {
        text.push_str("= not distinguishable from the best with 95 % confidence (on the same pairs).\n");
        text.push_str(
            "The errors of the best are from pairs of its own; \"more\" compares all on the same pairs.\n",
        );
    }
    text
}

/// Where the best stands at the end of what was tried, and the setup as it stands.
fn remarks_below(choice: &SettingsChoice) -> String {
    let mut text = String::new();
    for end in choice.at_end_of_tried() {
        let _ = writeln!(
            text,
            "{} is the {} value of {} that was tried; a {} one may have a smaller error.",
            end.value.text,
            if end.largest { "largest" } else { "smallest" },
            end.key,
            if end.largest { "larger" } else { "smaller" },
        );
    }
    if let (Some(standing), Some((_, best))) = (&choice.standing, choice.best()) {
        let _ = match (standing.obstacle(choice.wish.valid), standing.measured()) {
            (Some(obstacle), _) => writeln!(text, "The setup as it stands {}.", obstacle.words()),
            (None, Some(m)) => writeln!(
                text,
                "The setup as it stands: {} px, {} more.",
                short(m.point.score.total_px.value),
                percent_more(m.over(best), 1.0)
            ),
            _ => Ok(()),
        };
    }
    text
}

/// What heads the column of a key: its name without the section where no other key has the same.
fn heading(key: &str, all: &[String]) -> String {
    let name = named(key);
    match all.iter().filter(|other| named(other) == name).count() {
        1 => name,
        _ => key.to_owned(),
    }
}

/// Of the table in words, behind the settings; by the first it ranks.
const HEADINGS: [&str; 6] = [
    "velocity error",
    "more",
    "displacement error",
    "95 % interval",
    "valid",
    "",
];

/// What is shown of a trial: error of the velocity, how much more than the best, error of the
/// displacement, interval, share of valid vectors, a remark.
fn cells(choice: &SettingsChoice, trial: &Trial, best: Option<&MeasuredSetting>) -> [String; 6] {
    let remark = |words: &str| {
        let mut cells = [const { String::new() }; 6];
        cells[5] = words.to_owned();
        cells
    };
    match &trial.outcome {
        Outcome::Measured(m) => {
            let total = m.point.score.total_px;
            let usable = trial.usable(choice.wish.valid).is_some();
            let more = best
                .filter(|_| usable)
                .map_or(String::new(), |best| percent_more(m.over(best), 1.0));
            let mark = match (usable, best) {
                (true, Some(best)) if m.as_good_as(best) => "=",
                (true, _) => "",
                (false, _) => "loses too many vectors",
            };
            let mark = match m.point.caveats.is_empty() {
                true => mark.to_owned(),
                false => format!("{mark} ({})", remarks(&m.point.caveats))
                    .trim()
                    .to_owned(),
            };
            [
                percent(m.relative().value),
                more,
                format!("{} px", short(total.value)),
                ends(total),
                fine_percent(m.valid()),
                mark,
            ]
        }
        Outcome::Refused(_, reason) => remark(reason),
        Outcome::NotReached => remark("not reached"),
    }
}

/// Columns of the table after the settings.
const COLUMNS: [&str; 10] = [
    "state",
    "total_px",
    "total_px_lo",
    "total_px_hi",
    "relative_error",
    "relative_error_lo",
    "relative_error_hi",
    "valid",
    "pairs",
    "caveats",
];

/// One row per combination. Columns: the settings, `state`, then total error and error over the
/// mean speed with their 95 % intervals, share of valid vectors, pairs, what must be said beside.
pub fn csv(choice: &SettingsChoice) -> String {
    let mut table = Table::new(choice.keys.iter().map(String::as_str).chain(COLUMNS));
    for trial in &choice.trials {
        let mut row: Vec<String> = trial.values.iter().map(|v| v.text.clone()).collect();
        row.push(trial.state(choice.wish.valid).to_owned());
        if let Some(m) = trial.measured() {
            let estimates = [m.point.score.total_px, m.relative()];
            row.extend(estimates.iter().flat_map(|e| [e.value, e.lo, e.hi]).map(digits));
            row.extend([
                digits(m.valid()),
                m.point.score.pairs.to_string(),
                ids(&m.point.caveats),
            ]);
        }
        row.resize(table.columns.len(), String::new());
        table.rows.push(row);
    }
    table.csv()
}

/// The answer for programs; of a study that was stopped there is none, and `unfinished` says so
/// with `go_on`, how to get it.
pub fn json(choice: &SettingsChoice, setup: &Setup, go_on: &str) -> Json {
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
            row["total_px"] = json!(Interval::from(m.point.score.total_px));
            row["relative_error"] = json!(Interval::from(m.relative()));
            row["valid"] = json!(m.valid());
            row["pairs"] = json!(m.point.score.pairs);
            row["own_pairs"] = json!(m.point.is_measured_again());
            row["caveats"] = json::caveats(&m.point.caveats);
            row["as_good_as_best"] = json!(best.map(|b| m.as_good_as(b)));
        }
        row
    };
    let fields = json!({
        "setup": json::setup(setup),
        "question": Question::Choice.as_str(),
        "keys": choice.keys,
        "seed": choice.wish.effort.seed,
        "precision": choice.wish.effort.precision,
        "valid_fraction_asked": choice.wish.valid,
        "best": choice.best().map(|(t, _)| row(t)),
        "at_end_of_tried": choice.at_end_of_tried().iter().map(|end| end.key).collect::<Vec<_>>(),
        "standing": choice.standing.as_ref().map(row),
        "trials": choice.trials.iter().map(row).collect::<Vec<_>>(),
        "stopped": choice.stopped,
        "unfinished": choice.stopped.then(|| super::unfinished(go_on)),
    });
    json::file(SCHEMA, fields)
}
