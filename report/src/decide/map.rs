//! A map of one to three settings in words, as CSV and as JSON.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::answer::{AS_GOOD, QUESTION};
use crate::format::{ends, in_percent, percent, percent_more};
use crate::json;
use crate::table::ids;
use motefield_files::table::Table;
use motefield_rig::quantity::{digits, short};
use motefield_rig::setup::Setup;
use motefield_study::decide::bounds::Edge;
use motefield_study::decide::map::Map;
use motefield_study::decide::question::Question;
use motefield_study::decide::trial::{MeasuredSetting, Obstacle, Outcome, Trial};
use serde_json::{Value as Json, json};

/// The layout of a map's `decision.json`.
const SCHEMA: &str = "motefield-decision-map/1";

/// "light.pulse_length 260 us to 640 us, timing.separation 1.9 ms to 4.8 ms (9 of 57 tried)".
fn extent(map: &Map, trials: &[&Trial]) -> String {
    let axis = |k: usize| {
        let number = |t: &&&Trial| t.values[k].number.parse::<f64>().unwrap_or(f64::NAN);
        let by = |a: &&&Trial, b: &&&Trial| number(a).total_cmp(&number(b));
        let ends = [trials.iter().min_by(by), trials.iter().max_by(by)];
        let [from, to] = ends.map(|t| t.map_or("", |t| t.values[k].text.as_str()));
        let key = &map.axes[k].key;
        match from == to {
            true => format!("{key} {from}"),
            false => format!("{key} {from} to {to}"),
        }
    };
    let all: Vec<String> = (0..map.axes.len()).map(axis).collect();
    format!(
        "{} ({} of {} settings tried)",
        all.join(", "),
        trials.len(),
        map.trials.len()
    )
}

/// The nearest trial to `of` on one side along one axis, its other values as near as can be.
fn neighbour<'a>(map: &'a Map, of: &Trial, axis: usize, longer: bool) -> Option<&'a Trial> {
    let steps = |t: &Trial, k: usize| map.axes[k].steps(&of.values[k], &t.values[k]);
    let beyond = |t: &&Trial| match longer {
        true => steps(t, axis) > 0.0,
        false => steps(t, axis) < 0.0,
    };
    let others = map.trials.iter().filter(beyond);
    let aside = |t: &Trial| {
        let others = (0..map.axes.len()).filter(|k| *k != axis);
        others.map(|k| steps(t, k).abs()).sum::<f64>()
    };
    let far = |t: &Trial| steps(t, axis).abs() + 4.0 * aside(t);
    others
        .min_by(|a, b| far(a).total_cmp(&far(b)))
        .filter(|t| aside(t) <= 0.5)
}

/// The answer in words; of a study that was stopped there is none, and `go_on`
/// says how to get it.
pub fn words(map: &Map, go_on: &str) -> String {
    if map.stopped {
        let done = map.trials.iter().filter(|t| t.measured().is_some()).count();
        let done = format!("Measured so far: {done} settings.");
        return format!("{}\n{done}\n", super::unfinished(go_on));
    }
    let mut text = question_words(map);
    let Some((trial, best)) = map.best() else {
        let keys: Vec<&str> = map.axes.iter().map(|axis| axis.key.as_str()).collect();
        let _ = match keys[..] {
            [key] => writeln!(text, "No value of {key} is usable."),
            _ => writeln!(text, "No combination of {} is usable.", keys.join(" and ")),
        };
        obstacles(map, &mut text);
        return text;
    };
    headline(map, trial, &mut text);
    describe(&mut text, best);
    let [same, near] = map.near();
    let _ = writeln!(text, "  {AS_GOOD}{}", extent(map, &same));
    let _ = writeln!(text, "  at most 10 % more error: {}", extent(map, &near));
    neighbours(map, trial, best, &mut text);
    obstacles(map, &mut text);
    standing_words(map, &mut text);
    text
}

/// What is asked, where the rig decided it.
fn question_words(map: &Map) -> String {
    match map.question {
        Question::Separation => {
            let measured = map.trials.iter().find_map(Trial::measured);
            let streak = measured.map_or(String::new(), |m| {
                format!(": a streak of {} px", short(m.streak_px))
            });
            format!("{QUESTION}the pulse separation. The pulse is fixed and left as it is{streak}.\n")
        }
        Question::Exposure => {
            format!(
                "{QUESTION}the exposures, which are the pulses in continuous light, and their separation.\n"
            )
        }
        Question::PulseLength | Question::Settings | Question::Choice => String::new(),
    }
}

/// "timing.separation = 4 ms with processing.window = 32".
fn setting(map: &Map, trial: &Trial) -> String {
    let pairs = map.axes.iter().zip(&trial.values);
    let pairs: Vec<String> = pairs
        .map(|(axis, value)| format!("{} = {}", axis.key, value.text))
        .collect();
    pairs.join(" with ")
}

/// What to use; where the best stands at the edge of what was tried, that nothing is recommended.
fn headline(map: &Map, trial: &Trial, text: &mut String) {
    let edges = map.edges();
    let at = |edge: Edge| {
        let axes = map.axes.iter().zip(&edges).filter(move |(_, e)| **e == edge);
        axes.map(|(axis, _)| axis.key.as_str()).collect::<Vec<_>>()
    };
    let open = at(Edge::OfTried);
    let _ = match open.is_empty() {
        true => writeln!(
            text,
            "Use {}: the smallest error of the velocity.",
            setting(map, trial)
        ),
        false => writeln!(
            text,
            "No best is named: the smallest error of the velocity, with {}, stands at the edge of what was tried of {}; a wider range may hold a smaller one.",
            setting(map, trial),
            open.join(" and ")
        ),
    };
    for ((axis, value), edge) in map.axes.iter().zip(&trial.values).zip(&edges) {
        if let Edge::At(wall) = edge {
            let _ = writeln!(
                text,
                "  {} = {} is the end: {}",
                axis.key,
                value.text,
                wall.words()
            );
        }
    }
}

/// What happens on either side of the best along either axis.
fn neighbours(map: &Map, trial: &Trial, best: &MeasuredSetting, text: &mut String) {
    let _ = writeln!(text, "Around it:");
    for (k, axis) in map.axes.iter().enumerate() {
        for longer in [false, true] {
            let Some(next) = neighbour(map, trial, k, longer) else {
                let side = if longer { "above" } else { "below" };
                let _ = writeln!(text, "  {}: nothing tried {side}", axis.key);
                continue;
            };
            let what = match (next.obstacle(map.wish.valid), next.measured()) {
                (Some(obstacle), _) => obstacle.words().to_owned(),
                (_, Some(m)) => format!("{} more error", percent_more(m.over(best), 1.0)),
                _ => "not reached".to_owned(),
            };
            let moved: Vec<String> = (0..map.axes.len())
                .filter(|j| *j != k && next.values[*j].text != trial.values[*j].text)
                .map(|j| format!("{} = {}", map.axes[j].key, next.values[j].text))
                .collect();
            let aside = match moved.is_empty() {
                true => String::new(),
                false => format!(" (with {})", moved.join(", ")),
            };
            let own = &next.values[k].text;
            let _ = writeln!(text, "  {} = {own}{aside}: {what}", axis.key);
        }
    }
}

fn describe(text: &mut String, m: &MeasuredSetting) {
    let relative = in_percent(m.relative());
    let _ = writeln!(
        text,
        "  error of the velocity in pairs that took no part in the choice: {} % of its mean ({} %)",
        short(relative.value),
        ends(relative)
    );
    let total = m.point.score.total_px;
    // Less is rounding, or an error that no measurement knows.
    let curved = match m.curvature_px > 1e-6 {
        true => format!(", plus {} px from curved paths", short(m.curvature_px)),
        false => String::new(),
    };
    let _ = writeln!(
        text,
        "    total error of the displacement {} px ({}){curved}; mean displacement {} px",
        short(total.value),
        ends(total),
        short(m.speeds.mean_px)
    );
    let well = m.full_well_share.map_or(String::new(), |share| {
        format!(", brightest pixel at {} of the full well", percent(share))
    });
    let _ = writeln!(
        text,
        "  fastest displacement {} px, streak {} px, valid vectors {}{well}",
        short(m.speeds.fastest_px),
        short(m.streak_px),
        percent(m.valid())
    );
    for caveat in &m.point.caveats {
        let _ = writeln!(text, "  caution: {caveat}");
    }
    if !m.broken.is_empty() {
        let names: Vec<&str> = m.broken.iter().map(|rule| rule.as_str()).collect();
        let _ = writeln!(text, "  rules of the trade broken there: {}", names.join(", "));
    }
}

/// How many settings each rule shuts out, with the first reason of each.
fn obstacles(map: &Map, text: &mut String) {
    let mut shut: BTreeMap<Obstacle, (usize, String)> = BTreeMap::new();
    for trial in &map.trials {
        if let Some(obstacle) = trial.obstacle(map.wish.valid) {
            let reason = match &trial.outcome {
                Outcome::Refused(_, reason) => reason.clone(),
                Outcome::Measured(m) => format!("{} valid", percent(m.valid())),
                Outcome::NotReached => String::new(),
            };
            shut.entry(obstacle).or_insert((0, reason)).0 += 1;
        }
    }
    if !shut.is_empty() {
        let _ = writeln!(text, "Ruled out, of {} settings:", map.trials.len());
    }
    for (obstacle, (count, reason)) in shut {
        let _ = writeln!(text, "  {count}: {} (the first: {reason})", obstacle.words());
    }
}

fn standing_words(map: &Map, text: &mut String) {
    let (Some(standing), Some((_, best))) = (&map.standing, map.best()) else {
        return;
    };
    let values = setting(map, standing).replace(" with ", ", ");
    let _ = match (standing.obstacle(map.wish.valid), standing.measured()) {
        (Some(obstacle), _) => writeln!(text, "The setup as it stands ({values}) {}.", obstacle.words()),
        (None, Some(m)) => writeln!(
            text,
            "The setup as it stands ({values}): {}, {:.2} times the best.",
            percent(m.relative().value),
            m.over(best)
        ),
        _ => Ok(()),
    };
}

/// One row per trial. Columns: the keys with their units, `state` (`usable` or what stands
/// against it), then of what was measured: error of the velocity over the mean speed with its 95 %
/// interval, total error, curvature, mean and fastest displacement, streak (px), share of valid
/// vectors, share of the full well, pairs, and the identifiers of what must be said beside
/// ([`Caveat::id`](motefield_study::caveat::Caveat::id)), with spaces between.
pub fn csv(map: &Map) -> String {
    let columns = map.axes.iter().flat_map(|axis| [axis.key.as_str(), "unit"]);
    let mut table = Table::new(columns.chain(["state"]).chain(FIGURES).chain(["caveats"]));
    for t in &map.trials {
        let head = t.values.iter().flat_map(|v| [v.number.clone(), v.unit.clone()]);
        let figures = t.measured().map(figures).unwrap_or_default();
        let cell = |k: usize| match figures.get(k) {
            Some(v) if v.is_finite() => digits(*v),
            _ => String::new(),
        };
        let mut row: Vec<String> = head.collect();
        row.push(t.state(map.wish.valid).to_owned());
        row.extend((0..FIGURES.len()).map(cell));
        let caveats = t.measured().map_or(&[][..], |m| &m.point.caveats);
        row.push(ids(caveats));
        table.rows.push(row);
    }
    table.csv()
}

fn row(map: &Map, t: &Trial) -> Json {
    let mut row = json!({
        "values": t.values.iter().map(|v| v.text.as_str()).collect::<Vec<_>>(),
        "state": t.state(map.wish.valid),
    });
    if let Outcome::Refused(_, reason) = &t.outcome {
        row["reason"] = json!(reason);
    }
    if let Some(m) = t.measured() {
        for (name, value) in FIGURES.iter().zip(figures(m)) {
            row[*name] = json!(value);
        }
        row["own_pairs"] = json!(m.point.is_measured_again());
        row["caveats"] = json::caveats(&m.point.caveats);
        row["rules_broken"] = m.broken.iter().map(|rule| rule.as_str()).collect();
    }
    row
}

/// The answer for programs; of a study that was stopped there is none, and `unfinished` says so
/// with `go_on`, how to get it.
pub fn json(map: &Map, setup: &Setup, go_on: &str) -> Json {
    let [same, near] = map.near().map(|trials| {
        trials
            .iter()
            .map(|t| t.values.iter().map(|v| v.text.as_str()).collect::<Vec<_>>())
            .collect::<Vec<_>>()
    });
    let fields = json!({
        "setup": json::setup(setup),
        "question": map.question.as_str(),
        "keys": map.axes.iter().map(|a| a.key.as_str()).collect::<Vec<_>>(),
        "seed": map.wish.effort.seed,
        "precision": map.wish.effort.precision,
        "valid_fraction_asked": map.wish.valid,
        "best": map.best.map(|k| row(map, &map.trials[k])),
        "at_edge_of_tried": map.at_edge(),
        "ended_by": map.edges().into_iter().map(ended_by).collect::<Vec<_>>(),
        "as_good": same,
        "at_most_a_tenth_more": near,
        "standing": map.standing.as_ref().map(|t| row(map, t)),
        "trials": map.trials.iter().map(|t| row(map, t)).collect::<Vec<_>>(),
        "stopped": map.stopped,
        "unfinished": map.stopped.then(|| super::unfinished(go_on)),
    });
    json::file(SCHEMA, fields)
}

/// What ends a setting at the best, if anything does.
fn ended_by(edge: Edge) -> Option<&'static str> {
    match edge {
        Edge::Inside => None,
        Edge::At(wall) => Some(wall.as_str()),
        Edge::OfTried => Some("tried"),
    }
}

const FIGURES: [&str; 11] = [
    "relative_error",
    "relative_error_lo",
    "relative_error_hi",
    "total_px",
    "curvature_px",
    "mean_displacement_px",
    "fastest_displacement_px",
    "streak_px",
    "valid",
    "full_well_share",
    "pairs",
];

/// In the order of [`FIGURES`].
fn figures(m: &MeasuredSetting) -> Vec<f64> {
    let r = m.relative();
    vec![
        r.value,
        r.lo,
        r.hi,
        m.point.score.total_px.value,
        m.curvature_px,
        m.speeds.mean_px,
        m.speeds.fastest_px,
        m.streak_px,
        m.valid(),
        m.full_well_share.unwrap_or(f64::NAN),
        m.point.score.pairs as f64,
    ]
}
