//! The figures of a study's point by their names: the columns of tables, the fields of JSON files.

use motefield_evaluator::score::{CannotTell, Component, Score};
use motefield_evaluator::statistics::Estimate;

use crate::run::{FurtherFigures, Point};

/// A figure with its interval; or why it cannot be told.
pub type Figure = Result<Estimate, CannotTell>;

/// The figures of a point by their column names, in the order of the table. Where another program
/// measured there are none against the truth averaged over its windows.
pub fn figures(point: &Point) -> Vec<(String, Figure)> {
    let mut all = errors("", &point.score.point);
    let known = [
        ("outliers", point.score.outliers),
        ("total_px", point.score.total_px),
        ("fast_total_px", point.fast.total_px),
        ("fast_outliers", point.fast.outliers),
    ];
    all.extend(known.map(|(name, e)| (name.to_owned(), Ok(e))));
    if !point.besides.external {
        all.extend(errors("window_", &point.score.window));
    }
    if let Some(bound) = &point.besides.bound {
        for (k, axis) in ["x", "y"].iter().enumerate() {
            all.push((format!("bound_{axis}_px"), Ok(bound.bound_px[k])));
            all.push((format!("efficiency_{axis}"), Ok(bound.efficiency[k])));
        }
    }
    let further = point.besides.figures.iter().flat_map(FurtherFigures::named);
    all.extend(further.map(|(name, e)| (name, Ok(e))));
    all
}

/// The errors of a score against both truths, by their column names: those against the truth
/// averaged over the window as `window_…`.
pub fn of_score(score: &Score) -> Vec<(String, Figure)> {
    let mut all = errors("", &score.point);
    all.extend(errors("window_", &score.window));
    all
}

/// Bias, local bias, random and total error along x and y.
fn errors(prefix: &str, components: &[Component; 2]) -> Vec<(String, Figure)> {
    let along = |(axis, c): (&str, &Component)| {
        [
            ("bias", Ok(c.bias_px)),
            ("local", c.local_px),
            ("random", Ok(c.random_px)),
            ("total", Ok(c.total_px)),
        ]
        .map(|(name, figure)| (format!("{prefix}{name}_{axis}_px"), figure))
    };
    ["x", "y"].into_iter().zip(components).flat_map(along).collect()
}
