//! The score of measured vectors in words and as JSON.

use motefield_evaluator::score::Score;
use motefield_evaluator::statistics::Estimate;
use motefield_evaluator::uncertainty::Reliability;
use motefield_rig::quantity::short;
use motefield_study::caveat::Caveat;
use motefield_study::run::{FurtherFigures, trust};
use serde_json::{Value, json};

use crate::format::ends;
use crate::json;

/// All figures of scored vectors by their names, with their 95 % intervals: errors against the
/// truth at the vector's position and averaged over the window (`window_…`), further figures, and,
/// of vectors with uncertainties, what these are worth.
pub fn named(
    score: &Score,
    figures: &FurtherFigures,
    reliability: Option<&[Reliability; 2]>,
) -> Vec<(String, Estimate)> {
    let mut all = Vec::new();
    for (prefix, components) in [("", &score.point), ("window_", &score.window)] {
        for (axis, c) in ["x", "y"].into_iter().zip(components) {
            let errors = [
                ("bias", c.bias_px),
                ("random", c.random_px),
                ("total", c.total_px),
            ];
            all.extend(errors.map(|(what, e)| (format!("{prefix}{what}_{axis}_px"), e)));
        }
    }
    all.push(("total_px".to_owned(), score.total_px));
    all.push(("outliers".to_owned(), score.outliers));
    all.extend(figures.named());
    for (axis, of) in ["x", "y"].into_iter().zip(reliability.into_iter().flatten()) {
        all.extend(
            trust::named(of)
                .into_iter()
                .map(|(name, e)| (format!("{name}_{axis}"), e)),
        );
    }
    all
}

/// The score for programs.
pub fn json(score: &Score, named: &[(String, Estimate)], caveats: &[Caveat]) -> Value {
    let mut fields = json::intervals(named.iter().cloned());
    fields.insert("pairs".to_owned(), json!(score.pairs));
    fields.insert("vectors".to_owned(), json!(score.vectors));
    fields.insert("effective_vectors".to_owned(), json!(score.effective_vectors));
    fields.insert("caveats".to_owned(), json::caveats(caveats));
    json::file("motefield-score/1", fields.into())
}

/// The score for a person at a terminal.
pub fn words(score: &Score, named: &[(String, Estimate)], caveats: &[Caveat]) -> String {
    let mut text = format!(
        "{} vectors of {} pairs, equivalent to {} independent ones; measured minus true:\n",
        score.vectors,
        score.pairs,
        short(score.effective_vectors)
    );
    for caveat in caveats {
        text += &format!("  caution: {caveat}\n");
    }
    for (name, e) in named {
        text += &format!("  {name:<20} {:>10}   95 %: {}\n", short(e.value), ends(*e));
    }
    text
}
