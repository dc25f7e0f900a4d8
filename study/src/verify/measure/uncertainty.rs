//! Estimated uncertainties of vectors compared with their errors.

use motefield_evaluator::score::{Errors, VectorTruth, reach};
use motefield_evaluator::statistics::GridValues;
use motefield_evaluator::uncertainty::{Estimator, estimate, reliability};
use motefield_evaluator::{Grid, VectorField};
use motefield_generator::{Pair, truth};

use super::{Figures, Measure, Request};

/// Estimated uncertainties compared with errors.
pub const UNCERTAINTY: Measure = Measure {
    name: "uncertainty",
    about: "an estimator's uncertainties (\"correlation-statistics\", \"particle-disparity\" or \"peak-ratio\") against the errors along x: the ratio of their root mean squares, and the fractions of errors within one and two uncertainties",
    arguments: &["estimator"],
    figures: &["ratio", "coverage_1", "coverage_2"],
    pictures: true,
    statistical: true,
    run,
};

/// Side of the square of truth that one sample stands for, px.
const TRUTH_BLOCK_PX: usize = 4;

/// The errors of every pair's vectors, and a further result per pair.
struct MeasuredPairs<T> {
    grid: Grid,
    errors: Vec<Errors>,
    others: Vec<T>,
}

fn measure<T: Send>(
    request: &Request,
    of: impl Fn(&Pair, &VectorField) -> Result<T, String> + Sync,
) -> Result<MeasuredPairs<T>, String> {
    let plan = request.plan();
    let [width, height] = plan.scene.size;
    let last = plan.processing.passes.last().ok_or("needs a pass")?;
    let grid = Grid::new(width, height, last.window, last.overlap);
    let exact = truth::TrueDisplacement::of_pair(&plan.scene);
    let truth = VectorTruth::new(&grid, plan.processing.weighting, TRUTH_BLOCK_PX, |x, y| {
        let inside = [x.min(width as f64 - 1.0), y.min(height as f64 - 1.0)];
        exact.at(inside[0], inside[1]).unwrap_or([f64::NAN; 2])
    });
    let all: Vec<(Errors, T)> = request.each(|seed| {
        let pair = (request.chain.render)(&plan.scene, seed).map_err(|e| e.to_string())?;
        let field = (request.chain.correlate)(pair.a.view(), pair.b.view(), &plan.processing)
            .map_err(|e| e.to_string())?;
        let other = of(&pair, &field)?;
        Ok((Errors::of(&field.vectors, &truth), other))
    })?;
    let (errors, others) = all.into_iter().unzip();
    Ok(MeasuredPairs { grid, errors, others })
}

fn run(request: &Request) -> Result<Figures, String> {
    let word = request.arguments.word("estimator")?;
    let estimator = Estimator::ALL
        .iter()
        .copied()
        .find(|e| e.as_str() == word)
        .ok_or_else(|| format!("estimator = \"{word}\": there is no such estimator"))?;
    let processing = &request.plan().processing;
    let m = measure(request, |pair, field| {
        let all = estimate(pair.a.view(), pair.b.view(), field, processing, estimator)
            .map_err(|e| e.to_string())?;
        Ok(all.into_iter().map(|u| u[0]).collect::<Vec<f64>>())
    })?;
    let values = |pairs: Vec<Vec<f64>>| GridValues::new(m.grid.columns, reach(&m.grid), pairs);
    let along_x = |errors: &Errors| errors.point_px.iter().map(|e| e[0]).collect();
    let errors = values(m.errors.iter().map(along_x).collect());
    // An estimator claims to know the random part only.
    let bias = errors.mean();
    let random = errors.map(|e| e - bias);
    let found = reliability(&values(m.others.clone()), &random, 2, request.confidence);
    Ok([
        ("ratio", found.ratio),
        ("coverage_1", found.coverage[0]),
        ("coverage_2", found.coverage[1]),
    ]
    .map(|(name, e)| (name.to_owned(), e))
    .into())
}
