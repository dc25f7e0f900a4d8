//! Displacements as measured, without the program's own truth.

use motefield_evaluator::statistics::{chi_interval, jackknife, mean_of_independent};
use motefield_evaluator::{Vector, VectorStatus};

use super::{Figures, Measure, Request};
use motefield_rig::quantity::Dimension;

/// Means, gradients and fluctuation of measured displacements.
pub const DISPLACEMENT: Measure = Measure {
    name: "measured displacement",
    about: "valid vectors at least `border` px from the picture's edge, as they are and not against the truth: mean displacement, its gradients (regression on the place, px per px), and the standard deviation from pair to pair of a pair's mean",
    arguments: &["border"],
    figures: &[
        "mean_x_px",
        "mean_y_px",
        "gradient_xx",
        "gradient_yy",
        "of_pairs_x_px",
        "of_pairs_y_px",
    ],
    pictures: true,
    statistical: true,
    run,
};

/// Per pair and component: 1, place, its square, displacement, and displacement times place.
type PairSums = [f64; 5];

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let border = request.arguments.quantity("border", Dimension::Pixels)?;
    let middle = plan.scene.size.map(|n| 0.5 * (n as f64 - 1.0));
    let all: Vec<[PairSums; 2]> = request.each(|seed| {
        let pair = (request.chain.render)(&plan.scene, seed).map_err(|e| e.to_string())?;
        let field = (request.chain.correlate)(pair.a.view(), pair.b.view(), &plan.processing)
            .map_err(|e| e.to_string())?;
        let mut sums = [[0.0; 5]; 2];
        for v in field.vectors.iter().filter(|v| counts(v, middle, border)) {
            let parts = [(v.x_px - middle[0], v.dx_px), (v.y_px - middle[1], v.dy_px)];
            for (sums, (at, moved)) in sums.iter_mut().zip(parts) {
                let add = [1.0, at, at * at, moved, moved * at];
                sums.iter_mut().zip(add).for_each(|(sum, value)| *sum += value);
            }
        }
        Ok(sums)
    })?;
    if all.iter().any(|sums| sums[0][0] == 0.0) {
        return Err("a pair has no valid vector inside the border".into());
    }
    let figures = (0..2).flat_map(|component| {
        let of: Vec<PairSums> = all.iter().map(|sums| sums[component]).collect();
        let means: Vec<f64> = of.iter().map(|s| s[3] / s[0]).collect();
        let slope =
            |[n, at, square, moved, product]: &PairSums| (product - at * moved / n) / (square - at * at / n);
        let freedom = means.len() as f64 - 1.0;
        let mean = means.iter().sum::<f64>() / means.len() as f64;
        let spread = (means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / freedom).sqrt();
        [
            mean_of_independent(&means, request.confidence),
            jackknife(&of, request.confidence, slope),
            chi_interval(spread, freedom, request.confidence),
        ]
    });
    let names = [
        "mean_x_px",
        "gradient_xx",
        "of_pairs_x_px",
        "mean_y_px",
        "gradient_yy",
        "of_pairs_y_px",
    ];
    Ok(names.map(str::to_owned).into_iter().zip(figures).collect())
}

/// Whether a vector is valid and far enough from the picture's edge.
fn counts(v: &Vector, middle: [f64; 2], border: f64) -> bool {
    let inside = |at: f64, middle: f64| (at - middle).abs() <= middle - border;
    v.status == VectorStatus::Valid && inside(v.x_px, middle[0]) && inside(v.y_px, middle[1])
}
