//! One or several settings chosen from lists: which window, which sub-pixel fit, which aperture.
//!
//! Every combination measures the same pairs, so that small differences show.

use std::fmt::Write;
use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::{
    Correlation, Interpolator, Normalise, PeakFit, PredictorFilter, Refinement, Weighting,
};
use serde_json::{Value as Json, json};

use super::Wish;
use super::map::Axis;
use super::trial::{Later, Measured, Outcome, Trial, best, try_all};
use crate::failure::Failure;
use crate::plan::short;
use crate::source::Source;
use crate::study::Progress;
use crate::table::digits;
use crate::vary::{Value, Vary};

/// Most combinations of a choice.
const MOST: usize = 300;
/// Version of the layout of a choice's `decision.json`.
const SCHEMA: &str = "motefield-decision-choice/1";

/// What was found.
#[derive(Debug, Clone)]
pub struct Choice {
    /// The settings.
    pub keys: Vec<String>,
    /// Every combination: those that may be used by rising error, then the others.
    pub trials: Vec<Trial>,
    /// The setup as it stands.
    pub standing: Option<Trial>,
    /// What was wished; its limit in px plays no part.
    pub wish: Wish,
    /// Whether the study was stopped before its end.
    pub stopped: bool,
}

/// What is tried for a key when the user names no values: every word of a processing choice, usual sizes of windows, or the setup's
/// value and those about it.
fn candidates(source: &Source, key: &str) -> Result<Vec<Value>, Failure> {
    fn all<T: Copy>(choices: &[T], word: fn(T) -> &'static str) -> Vec<Value> {
        choices.iter().map(|c| Value::new(word(*c))).collect()
    }
    let list = |values: &[&str]| values.iter().map(|v| Value::new(v)).collect();
    Ok(match key {
        "processing.window" => list(&["16", "24", "32", "48", "64", "96"]),
        "processing.overlap" => list(&["0", "0.5", "0.75"]),
        "processing.deform" => list(&["true", "false"]),
        "processing.weighting" => all(Weighting::ALL, Weighting::as_str),
        "processing.correlation" => all(Correlation::ALL, Correlation::as_str),
        "processing.normalise" => all(Normalise::ALL, Normalise::as_str),
        "processing.peak_fit" => all(PeakFit::ALL, PeakFit::as_str),
        "processing.interpolator" => all(Interpolator::ALL, Interpolator::as_str),
        "processing.predictor_filter" => all(PredictorFilter::ALL, PredictorFilter::as_str),
        "processing.refinement" => all(Refinement::ALL, Refinement::as_str),
        _ => match Axis::new(source, key, None) {
            Ok(axis) => axis.values(),
            Err(_) => {
                return Err(Failure::input(format!(
                    "--for {key}: say which values to try, as in --for {key}=a,b,c; {} has no number above 0 under this key to start from",
                    source.name
                )));
            }
        },
    })
}

/// Reads `KEY` or `KEY=a,b,c` (or a range, as a sweep takes it).
///
/// # Errors
/// When the values cannot be read, or there are none and the setup has none to start from.
fn settings(source: &Source, text: &str) -> Result<(String, Vec<Value>), Failure> {
    match text.contains('=') {
        true => {
            let vary: Vary = text
                .parse()
                .map_err(|e: Failure| Failure::input(e.to_string().replace("--vary", "--for")))?;
            Ok((vary.key, vary.values))
        }
        false => Ok((text.to_owned(), candidates(source, text)?)),
    }
}

/// Tries every combination of the settings `wanted`, each `KEY` or `KEY=a,b,c`.
///
/// # Errors
/// When a setting cannot be read, there are too many combinations, or none gives a setup that can be planned.
pub fn choose(
    source: &Source,
    wanted: &[String],
    wish: &Wish,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Choice, Failure> {
    let settings = wanted
        .iter()
        .map(|text| settings(source, text))
        .collect::<Result<Vec<_>, _>>()?;
    let mut combinations: Vec<Vec<Value>> = vec![Vec::new()];
    for (_, values) in &settings {
        combinations = combinations
            .iter()
            .flat_map(|begun| {
                values.iter().map(move |v| {
                    let mut more = begun.clone();
                    more.push(v.clone());
                    more
                })
            })
            .collect();
        if combinations.len() > MOST {
            return Err(Failure::input(format!(
                "--for: more than {MOST} combinations; name fewer settings or fewer values, as in --for processing.window=24,32,48"
            )));
        }
    }
    let keys: Vec<String> = settings.into_iter().map(|(key, _)| key).collect();
    let mut trials = try_all(source, &keys, combinations, wish, progress, stop)?;
    // No values: nothing is changed.
    let standing = try_all(
        source,
        &keys,
        vec![Vec::new()],
        wish,
        &Later::than(&trials, progress),
        stop,
    );
    // Nothing is chosen by chance: equal errors stay in the order given.
    trials.sort_by(|a, b| {
        let [a, b] = [a, b].map(|t| t.usable(wish.valid).unwrap_or(f64::INFINITY));
        a.total_cmp(&b)
    });
    Ok(Choice {
        keys,
        trials,
        // A setup that cannot be planned as it stands may still be asked what would do.
        standing: standing.ok().and_then(|mut t| t.pop()),
        wish: *wish,
        stopped: stop.load(Ordering::Relaxed),
    })
}

impl Choice {
    /// The best combination.
    pub fn best(&self) -> Option<(&Trial, &Measured)> {
        let trial = &self.trials[best(&self.trials, self.wish.valid)?];
        Some((trial, trial.measured()?))
    }

    fn named(&self, trial: &Trial) -> String {
        let pairs = self.keys.iter().zip(&trial.values);
        pairs
            .map(|(key, value)| format!("{key} = {}", value.text))
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// The answer for a person at a terminal.
    pub fn words(&self) -> String {
        let mut text = String::new();
        let best = self.best();
        let _ = match best {
            Some((trial, m)) => {
                let total = m.point.score.total_px;
                writeln!(
                    text,
                    "Use {}: the smallest error, {} px ({} to {}), {} % of the mean speed.",
                    self.named(trial),
                    short(total.value),
                    short(total.lo),
                    short(total.hi),
                    short(100.0 * m.relative().value)
                )
            }
            None => writeln!(text, "Nothing that was tried may be used."),
        };
        let mut rows: Vec<Vec<String>> = vec![
            self.keys
                .iter()
                .map(String::as_str)
                .chain(["error, px", "95 % interval", "more error", "valid", ""])
                .map(str::to_owned)
                .collect(),
        ];
        for trial in &self.trials {
            let mut row: Vec<String> = trial.values.iter().map(|v| v.text.clone()).collect();
            row.extend(self.cells(trial, best.map(|(_, m)| m)));
            rows.push(row);
        }
        text.push_str(&columns(&rows));
        if best.is_some() {
            text.push_str("= cannot be told from the best with 95 % confidence (on the same pairs).\n");
        }
        if let (Some(standing), Some((_, best))) = (&self.standing, best) {
            let _ = match (standing.obstacle(self.wish.valid), standing.measured()) {
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
        if self.stopped {
            text.push_str(
                "The study was stopped early: what stands here rests on the pairs done until then.\n",
            );
        }
        text
    }

    fn cells(&self, trial: &Trial, best: Option<&Measured>) -> Vec<String> {
        match (&trial.outcome, best) {
            (Outcome::Measured(m), best) => {
                let total = m.point.score.total_px;
                let usable = trial.usable(self.wish.valid).is_some();
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
    pub fn csv(&self) -> String {
        let mut text = self.keys.join(",")
            + ",state,total_px,total_px_lo,total_px_hi,relative_error,relative_error_lo,relative_error_hi,valid,pairs\n";
        for trial in &self.trials {
            let values: Vec<&str> = trial.values.iter().map(|v| v.text.as_str()).collect();
            let _ = write!(text, "{},{}", values.join(","), trial.state(self.wish.valid));
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
    pub fn json(&self, source: &Source) -> Json {
        let best = self.best().map(|(_, m)| m);
        let row = |t: &Trial| {
            let mut row = json!({
                "values": t.values.iter().map(|v| v.text.as_str()).collect::<Vec<_>>(),
                "state": t.state(self.wish.valid),
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
            "setup": { "name": source.name, "text": source.text, "changes": source.changes },
            "keys": self.keys,
            "seed": self.wish.effort.seed,
            "precision": self.wish.effort.precision,
            "valid_fraction_asked": self.wish.valid,
            "best": self.best().map(|(t, _)| row(t)),
            "standing": self.standing.as_ref().map(row),
            "trials": self.trials.iter().map(row).collect::<Vec<_>>(),
            "stopped": self.stopped,
        })
    }
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
