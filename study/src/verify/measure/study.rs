//! Errors of measured vectors at one point of a study.

use super::{Figures, Measure, Request};
use crate::run::{Effort, Experiment, Wanted, run_with};
use crate::values::{Figure, figures};

/// The columns of a study's table, and the fraction of valid vectors.
pub const STUDY: Measure = Measure {
    name: "study",
    about: "errors of the vectors of rendered pairs: the columns of a sweep, and `valid` (1 - outliers); with bound = true also the Cramér-Rao bound and the efficiency",
    arguments: &["bound"],
    figures: &[
        "bias_x_px",
        "local_x_px",
        "random_x_px",
        "total_x_px",
        "bias_y_px",
        "local_y_px",
        "random_y_px",
        "total_y_px",
        "outliers",
        "valid",
        "total_px",
        "fast_total_px",
        "fast_outliers",
        "window_bias_x_px",
        "window_local_x_px",
        "window_random_x_px",
        "window_total_x_px",
        "window_bias_y_px",
        "window_local_y_px",
        "window_random_y_px",
        "window_total_y_px",
        "bound_x_px",
        "bound_y_px",
        "efficiency_x",
        "efficiency_y",
    ],
    pictures: true,
    statistical: true,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let experiment = Experiment {
        scene: plan.scene.clone(),
        processing: plan.processing.clone(),
    };
    let effort = Effort {
        seed: request.seed,
        first_pairs: request.pairs,
        most_pairs: request.pairs,
        confidence: request.confidence,
        ..Effort::default()
    };
    let wanted = Wanted {
        bound: request.arguments.0.contains_key("bound"),
        ..Wanted::default()
    };
    let (progress, stop) = (request.progress, request.stop);
    let point = run_with(request.chain, &wanted, &[experiment], &effort, progress, stop)
        .pop()
        .flatten()
        .ok_or("was stopped")?;
    // A part that this many pairs cannot tell is no figure.
    let told = |(name, figure): (String, Figure)| Some((name, figure.ok()?));
    let mut all: Figures = figures(&point).into_iter().filter_map(told).collect();
    let outliers = point.score.outliers;
    all.insert("valid".into(), outliers.map_falling(|outliers| 1.0 - outliers));
    Ok(all)
}
