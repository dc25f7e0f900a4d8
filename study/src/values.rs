//! The figures of a study's point by their names: the columns of tables, the fields of JSON files.

use motefield_evaluator::statistics::Estimate;

use crate::run::{FurtherFigures, Point};

/// The figures of a point by their column names, in the order of the table.
pub fn figures(point: &Point) -> Vec<(String, Estimate)> {
    let mut all = Vec::new();
    for (prefix, components) in [("", &point.score.point), ("window_", &point.score.window)] {
        for (axis, c) in ["x", "y"].iter().zip(components) {
            for (name, estimate) in [
                ("bias", c.bias_px),
                ("random", c.random_px),
                ("total", c.total_px),
            ] {
                all.push((format!("{prefix}{name}_{axis}_px"), estimate));
            }
        }
        if prefix.is_empty() {
            all.push(("outliers".to_owned(), point.score.outliers));
            all.push(("total_px".to_owned(), point.score.total_px));
            all.push(("fast_total_px".to_owned(), point.fast.total_px));
            all.push(("fast_outliers".to_owned(), point.fast.outliers));
        }
    }
    if let Some(bound) = &point.besides.bound {
        for (k, axis) in ["x", "y"].iter().enumerate() {
            all.push((format!("bound_{axis}_px"), bound.bound_px[k]));
            all.push((format!("efficiency_{axis}"), bound.efficiency[k]));
        }
    }
    all.extend(point.besides.figures.iter().flat_map(FurtherFigures::named));
    all
}
