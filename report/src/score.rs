//! The score of measured vectors in words and as JSON.

use motefield_evaluator::score::Score;
use motefield_evaluator::uncertainty::Reliability;
use motefield_rig::quantity::short;
use motefield_study::caveat::Caveat;
use motefield_study::run::{FurtherFigures, trust};
use motefield_study::values::{Figure, of_score};
use serde_json::{Value, json};

use crate::format::{self, PARTS, ends};
use crate::json;

/// All figures of scored vectors by their names, with their 95 % intervals: errors against the
/// truth at the vector's position and averaged over the window (`window_…`), further figures, and,
/// of vectors with uncertainties, what these are worth.
pub fn named(
    score: &Score,
    figures: &FurtherFigures,
    reliability: Option<&[Reliability; 2]>,
) -> Vec<(String, Figure)> {
    let mut known = vec![
        ("total_px".to_owned(), score.total_px),
        ("outliers".to_owned(), score.outliers),
    ];
    known.extend(figures.named());
    for (axis, of) in ["x", "y"].into_iter().zip(reliability.into_iter().flatten()) {
        known.extend(
            trust::named(of)
                .into_iter()
                .map(|(name, e)| (format!("{name}_{axis}"), e)),
        );
    }
    let mut all = of_score(score);
    all.extend(known.into_iter().map(|(name, e)| (name, Ok(e))));
    all
}

/// The layout of a score. Since 2 `random_x_px` is what changes from pair to pair at one place,
/// without the `local_x_px` that it contained before.
const SCHEMA: &str = "motefield-score/2";

/// The score for programs.
pub fn json(score: &Score, named: &[(String, Figure)], caveats: &[Caveat]) -> Value {
    let mut fields = json::figures(named.iter().cloned());
    fields.insert("pairs".to_owned(), json!(score.pairs));
    fields.insert("vectors".to_owned(), json!(score.vectors));
    fields.insert("effective_vectors".to_owned(), json!(score.effective_vectors));
    fields.insert("caveats".to_owned(), json::caveats(caveats));
    json::file(SCHEMA, fields.into())
}

/// What the figures against the window's truth are.
const WINDOW: &str = "\
window_...: against the truth averaged over the window. After one pass that does not deform the pictures, the difference
from the others is spatial resolution; passes that do restore part of the average, and it is not.
";

/// The score in words.
pub fn words(score: &Score, named: &[(String, Figure)], caveats: &[Caveat]) -> String {
    let mut text = format!(
        "{} vectors of {} pairs, equivalent to {} independent ones; measured minus true:\n",
        score.vectors,
        score.pairs,
        short(score.effective_vectors)
    );
    for caveat in caveats {
        text += &format!("  caution: {caveat}\n");
    }
    for (name, figure) in named {
        text += &match figure {
            Ok(e) if e.value.is_nan() => format!("  {name:<20} {}\n", format::CANNOT_TELL),
            Ok(e) => format!("  {name:<20} {:>10}   95 %: {}\n", short(e.value), ends(*e)),
            Err(reason) => format!("  {name:<20} {}: {reason}\n", format::CANNOT_TELL),
        };
    }
    let window = named.iter().any(|(name, _)| name.starts_with("window_"));
    text + PARTS + if window { WINDOW } else { "" }
}
