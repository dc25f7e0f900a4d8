//! Spatial response: which part of the amplitude of a displacement wave is measured.

use motefield_evaluator::Grid;
use motefield_evaluator::score::{ErrorSample, Errors, Truths, VectorTruth, amplitude_ratio, reach};
use motefield_generator::Scene;
use motefield_generator::truth;

use super::{Figures, Measure, Request};
use motefield_rig::quantity::Dimension;

/// Measured over true amplitude of a sinusoidal shear.
pub const RESPONSE: Measure = Measure {
    name: "response",
    about: "amplitude of a component as measured over the true one, by regression on the true displacement at all vectors at least `border` px from the picture's edge; with `passes`, so many passes like the setup's last one replace its own",
    arguments: &["border", "passes"],
    figures: &["response_x", "response_y"],
    pictures: true,
    statistical: true,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let (scene, mut processing) = (&plan.scene, plan.processing.clone());
    let last = *processing.passes.last().ok_or("needs a pass")?;
    if request.arguments.0.contains_key("passes") {
        processing.passes = vec![last; request.arguments.number("passes")?.max(1.0) as usize];
    }
    let [width, height] = scene.size;
    let grid = Grid::new(width, height, last.window, last.overlap);
    let border = request.arguments.quantity("border", Dimension::Pixels)?;
    let inside = |at: f64, size: usize| at >= border && at <= size as f64 - 1.0 - border;
    let part: Vec<bool> = (0..grid.len())
        .map(|k| grid.centre(k % grid.columns, k / grid.columns))
        .map(|[x, y]| inside(x, width) && inside(y, height))
        .collect();
    let truth = truth(scene, &grid);
    let errors: Vec<Errors> = request.each(|seed| {
        let pair = (request.chain.render)(scene, seed).map_err(|e| e.to_string())?;
        let field = (request.chain.correlate)(pair.a.view(), pair.b.view(), &processing)
            .map_err(|e| e.to_string())?;
        Ok(Errors::of(&field.vectors, &truth))
    })?;
    let study = ErrorSample {
        columns: grid.columns,
        reach: reach(&grid),
        pairs: &errors,
        truths: Truths::Repeat,
        part: Some(&part),
        confidence: request.confidence,
    };
    Ok([("response_x", 0), ("response_y", 1)]
        .map(|(name, component)| (name.to_owned(), amplitude_ratio(&study, &truth, component)))
        .into())
}

fn truth(scene: &Scene, grid: &Grid) -> VectorTruth {
    let exact = truth::TrueDisplacement::of_pair(scene);
    let point_px: Vec<[f64; 2]> = (0..grid.len())
        .map(|k| grid.centre(k % grid.columns, k / grid.columns))
        .map(|[x, y]| exact.at(x, y).unwrap_or([f64::NAN; 2]))
        .collect();
    VectorTruth {
        window_px: point_px.clone(),
        point_px,
    }
}
