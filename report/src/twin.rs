//! The twin of a recording: in words, as JSON, and as a page beside what was recorded.

mod page;

use motefield_evaluator::statistics::Estimate;
use motefield_evaluator::uncertainty::Estimator;
use motefield_rig::quantity::short;
use motefield_study::run::Point;
use motefield_study::run::trust::named;
use motefield_study::twin::{LightChange, Twin, TwinQuantity};
use serde_json::{Value, json};

use crate::answer::ERROR_OF_THESE;
use crate::format::columns;
use crate::json::{self, Interval};

pub use page::html;

/// The error for a change of the light, where it was told.
pub type LightChanged<'a> = (LightChange, Option<&'a Point>);

/// What the program says of a twin.
pub fn words(twin: &Twin, errors: &[LightChanged]) -> String {
    let pairs = match twin.pairs {
        1 => "1 pair".to_owned(),
        n => format!("{n} pairs"),
    };
    let rows: Vec<Vec<String>> = twin.quantities.iter().map(row).collect();
    let mut text = format!("From {pairs}, 95 % intervals in brackets:\n{}", columns(&rows));
    text.push_str(&format!(
        "Recorded and rendered pairs differ by {} standard errors in the root mean square of all figures, at most by {}{}.\n",
        short(twin.misfit[1]),
        short(twin.misfit[0]),
        match twin.misfit[1] > MOST_MISFIT {
            true => ": the pictures show something that the twin has not; look at the page",
            false => "",
        }
    ));
    text.push_str(NOT_TOLD);
    for (change, point) in errors {
        if let Some(point) = point {
            text.push_str(&format!("{}: {}\n", change_words(change), error_words(point)));
        }
    }
    text.push_str(&verdict_words(errors));
    text
}

/// Root mean square of the differences of figures, in their standard errors, above which a twin is
/// not one. (By chance it is near 1.)
const MOST_MISFIT: f64 = 3.0;

/// What pictures of particles do not tell apart.
pub const NOT_TOLD: &str = "Not told apart: spread of brightness, sheet profile and seeding of dim particles; black level and background; quantum efficiency; loss by motion through the sheet and by flicker. The error does not depend on which it is.\n";

fn row(q: &TwinQuantity) -> Vec<String> {
    vec![
        format!("  {}", q.label),
        format!(
            "{}{}{}",
            short(q.estimate.value),
            if q.unit.is_empty() { "" } else { " " },
            q.unit
        ),
        range(q.estimate),
    ]
}

fn range(e: Estimate) -> String {
    match e.lo.is_finite() && e.hi.is_finite() && e.lo < e.hi {
        true => format!("({} to {})", short(e.lo), short(e.hi)),
        false => String::new(),
    }
}

fn change_words(change: &LightChange) -> String {
    match (change.light, change.length) {
        (1.0, 1.0) => ERROR_OF_THESE.to_owned(),
        (light, 1.0) => format!("  with {} times the power", short(light)),
        (_, length) => format!("  with {} times the pulse length", short(length)),
    }
}

fn error_words(point: &Point) -> String {
    let total = point.score.total_px;
    format!(
        "{} px {}, outliers {} %",
        short(total.value),
        range(total),
        short(100.0 * point.score.outliers.value)
    )
}

/// The estimator whose uncertainties are nearest to the errors of the twin: its name, the ratio of
/// uncertainty to error, and the share of errors within one uncertainty, over x and y.
pub fn verdict(point: &Point) -> Option<(Estimator, f64, f64)> {
    let of = |trust: &motefield_study::run::trust::Trust| {
        let figure = |k: usize| 0.5 * (named(&trust.of[0])[k].1.value + named(&trust.of[1])[k].1.value);
        (trust.estimator, figure(2), figure(0))
    };
    let mut all: Vec<_> = point
        .besides
        .trust
        .iter()
        .map(of)
        .filter(|t| t.1.is_finite())
        .collect();
    all.sort_by(|a, b| a.1.ln().abs().total_cmp(&b.1.ln().abs()));
    all.first().copied()
}

fn verdict_words(errors: &[LightChanged]) -> String {
    let Some((_, Some(point))) = errors.first() else {
        return String::new();
    };
    match verdict(point) {
        None => String::new(),
        Some((estimator, ratio, within)) => format!(
            "Uncertainty of each vector: trust {estimator} most here; it is {} times the error, and {} % of the errors are within it (68 % would be right).\n",
            short(ratio),
            short(100.0 * within)
        ),
    }
}

/// The twin for programs.
pub fn json(twin: &Twin, errors: &[LightChanged]) -> Value {
    let quantity = |q: &TwinQuantity| {
        (
            q.id.to_owned(),
            json!({ "estimate": Interval::from(q.estimate), "unit": q.unit, "remark": q.remark }),
        )
    };
    let error = |(change, point): &LightChanged| {
        json!({
            "light": change.light,
            "pulse_length": change.length,
            "total_px": point.map(|p| Interval::from(p.score.total_px)),
            "outliers": point.map(|p| Interval::from(p.score.outliers)),
            "pairs": point.map(|p| p.pairs()),
        })
    };
    let estimators = errors.first().and_then(|(_, point)| *point).map(|point| {
        let of = |trust: &motefield_study::run::trust::Trust| {
            let figures = [0, 1].map(|c| Value::Object(json::intervals(named(&trust.of[c]))));
            json!({ "estimator": trust.estimator.to_string(), "x": figures[0], "y": figures[1] })
        };
        point.besides.trust.iter().map(of).collect::<Value>()
    });
    let trusted = errors.first().and_then(|(_, point)| *point).and_then(verdict);
    json::file(
        "motefield-twin/1",
        json!({
            "pairs": twin.pairs,
            "quantities": twin.quantities.iter().map(quantity).collect::<serde_json::Map<_, _>>(),
            "misfit": { "largest": twin.misfit[0], "root_mean_square": twin.misfit[1] },
            "grey": { "offset": twin.grey.offset, "step": twin.grey.step, "bits": twin.grey.bits },
            "errors": errors.iter().map(error).collect::<Value>(),
            "estimators": estimators,
            "trust": trusted.map(|(estimator, _, _)| estimator.to_string()),
            "not_told_apart": NOT_TOLD.trim(),
        }),
    )
}

#[cfg(test)]
mod tests {
    use motefield_study::twin::LIGHT_CHANGES;

    use super::*;

    /// A report finds the error of the recording by how its line begins.
    #[test]
    fn the_error_of_the_recording_is_told_first() {
        assert!(change_words(&LIGHT_CHANGES[0]).starts_with(ERROR_OF_THESE));
        let mut changed = LIGHT_CHANGES[1..].iter().map(change_words);
        assert!(changed.all(|words| !words.starts_with(ERROR_OF_THESE)));
    }
}
