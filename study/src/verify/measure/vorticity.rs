//! Vorticity by central differences of measured vectors.

use motefield_evaluator::statistics::jackknife;
use motefield_evaluator::uncertainty::{of_vorticity, overlap_correlation};
use motefield_evaluator::{VectorField, VectorStatus, window_weights};
use motefield_generator::truth::TrueDisplacement;

use super::{Figures, Measure, Request};

/// Amplitude and noise of the vorticity.
pub const VORTICITY: Measure = Measure {
    name: "vorticity",
    about: "vorticity (px per px) by central differences of valid vectors: regression on the true one, standard deviation from pair to pair at the same place, and the standard uncertainty that follows from the vectors' own scatter and the windows' overlap over that deviation",
    arguments: &[],
    figures: &["response", "random", "propagated_over_random"],
    pictures: true,
    statistical: true,
    run,
};

/// Step for the true vorticity, px.
const STEP_PX: f64 = 0.01;

/// Of a pair, at every vector with four valid neighbours: vorticity, u and v; else not a number.
type Values = Vec<[f64; 3]>;

fn vorticity(field: &VectorField) -> Values {
    let [dx, dy] = field.spacing.map(|d| 2.0 * d as f64);
    let at = |column: usize, row: usize| {
        let v = &field.vectors[row * field.columns + column];
        (v.status == VectorStatus::Valid).then_some([v.dx_px, v.dy_px])
    };
    let inner = |k: usize| -> Option<[f64; 3]> {
        let (column, row) = (k % field.columns, k / field.columns);
        if !(1..field.columns - 1).contains(&column) || !(1..field.rows - 1).contains(&row) {
            return None;
        }
        let [left, right] = [at(column - 1, row)?, at(column + 1, row)?];
        let [above, below] = [at(column, row - 1)?, at(column, row + 1)?];
        let [u, v] = at(column, row)?;
        Some([(right[1] - left[1]) / dx - (below[0] - above[0]) / dy, u, v])
    };
    (0..field.vectors.len())
        .map(|k| inner(k).unwrap_or([f64::NAN; 3]))
        .collect()
}

fn true_vorticity(truth: &TrueDisplacement, [x, y]: [f64; 2]) -> f64 {
    let at = |x, y| truth.at(x, y).unwrap_or([f64::NAN; 2]);
    let [right, left] = [at(x + STEP_PX, y), at(x - STEP_PX, y)];
    let [below, above] = [at(x, y + STEP_PX), at(x, y - STEP_PX)];
    (right[1] - left[1] - below[0] + above[0]) / (2.0 * STEP_PX)
}

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let fields: Vec<VectorField> = request.each(|seed| {
        let pair = (request.chain.render)(&plan.scene, seed).map_err(|e| e.to_string())?;
        (request.chain.correlate)(pair.a.view(), pair.b.view(), &plan.processing).map_err(|e| e.to_string())
    })?;
    let first = &fields[0];
    let truth = TrueDisplacement::of_pair(&plan.scene);
    let places = first.vectors.iter().map(|v| [v.x_px, v.y_px]);
    let exact: Vec<f64> = places.map(|at| true_vorticity(&truth, at)).collect();
    let found: Vec<Values> = fields.iter().map(vorticity).collect();
    let sums = sums(&found, &exact);
    let weights = window_weights(plan.processing.weighting, first.window[0]);
    let correlation = overlap_correlation(&weights, 2 * first.spacing[0]);
    // The deviations are from the mean over the pairs themselves.
    let freedom = (1.0 - 1.0 / fields.len() as f64).sqrt();
    let deviation = |n: f64, square: f64| (square / n).sqrt() / freedom;
    let figure = |of: &dyn Fn(&[f64; 6]) -> f64| jackknife(&sums, request.confidence, of);
    Ok([
        ("response", figure(&|s| s[4] / s[5])),
        ("random", figure(&|s| deviation(s[0], s[1]))),
        (
            "propagated_over_random",
            figure(&|s| {
                let [u, v] = [deviation(s[0], s[2]), deviation(s[0], s[3])];
                let spacing = first.spacing.map(|d| d as f64);
                of_vorticity([v; 2], [u; 2], spacing, [correlation; 2]) / deviation(s[0], s[1])
            }),
        ),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}

/// Per pair: number of places; squared deviations of vorticity, u and v from their means over the
/// pairs; vorticity times the true one, and the square of the latter.
fn sums(found: &[Values], exact: &[f64]) -> Vec<[f64; 6]> {
    let mean = |k: usize| -> [f64; 3] {
        let valid: Vec<&[f64; 3]> = found
            .iter()
            .map(|pair| &pair[k])
            .filter(|v| v[0].is_finite())
            .collect();
        [0, 1, 2].map(|c| valid.iter().map(|v| v[c]).sum::<f64>() / valid.len() as f64)
    };
    let means: Vec<[f64; 3]> = (0..exact.len()).map(mean).collect();
    let of_pair = |pair: &Values| {
        let mut sums = [0.0; 6];
        for ((values, mean), exact) in pair.iter().zip(&means).zip(exact) {
            if values[0].is_finite() && exact.is_finite() {
                let [w, u, v] = [0, 1, 2].map(|c| (values[c] - mean[c]).powi(2));
                let add = [1.0, w, u, v, values[0] * exact, exact * exact];
                sums.iter_mut().zip(add).for_each(|(sum, value)| *sum += value);
            }
        }
        sums
    };
    found.iter().map(of_pair).collect()
}
