//! What is measured of the variance of a fluctuating flow.

use motefield_evaluator::statistics::jackknife;
use motefield_evaluator::{VectorField, VectorStatus};
use motefield_generator::Seed;
use motefield_generator::truth::TrueDisplacement;
use motefield_rig::keys;
use motefield_rig::plan::Plan;
use motefield_rig::setup::Value;

use super::{Figures, Measure, Request};

/// Measured over true variance of the fluctuations of a flow that differs from pair to pair.
pub const DAMPING: Measure = Measure {
    name: "damping",
    about: "variance of the measured displacement about zero over that of the true one at the same valid vectors, by component; every realisation is another flow (flow.seed), seen by two pairs with particles of their own, so that the product of the two holds no random error",
    arguments: &[],
    figures: &["variance_kept_x", "variance_kept_y"],
    pictures: true,
    statistical: true,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let sums: Vec<[f64; 4]> = request.each(|seed| of_flow(request, seed))?;
    let kept = |c: usize| jackknife(&sums, request.confidence, |s| s[2 * c] / s[2 * c + 1]);
    Ok([("variance_kept_x", kept(0)), ("variance_kept_y", kept(1))]
        .map(|(name, figure)| (name.to_owned(), figure))
        .into())
}

/// By component: the sum over the vectors of the product of what two pairs measure, and of the
/// square of the truth.
fn of_flow(request: &Request, seed: Seed) -> Result<[f64; 4], String> {
    let flow = Value::Number(seed.realisation as f64);
    let rig = request.plan().rig.with(keys::flow::SEED, flow);
    let plan = rig.and_then(Plan::of).map_err(|e| e.to_string())?;
    let measured = |point: u64| -> Result<VectorField, String> {
        let pair = (request.chain.render)(&plan.scene, Seed { point, ..seed }).map_err(|e| e.to_string())?;
        (request.chain.correlate)(pair.a.view(), pair.b.view(), &plan.processing).map_err(|e| e.to_string())
    };
    let (one, other) = (measured(0)?, measured(1)?);
    let truth = TrueDisplacement::of_pair(&plan.scene);
    let mut sums = [0.0; 4];
    for (a, b) in one.vectors.iter().zip(&other.vectors) {
        let Some(exact) = truth.at(a.x_px, a.y_px) else {
            continue;
        };
        if [a, b].iter().all(|v| v.status == VectorStatus::Valid) {
            let products = [
                a.dx_px * b.dx_px,
                exact[0].powi(2),
                a.dy_px * b.dy_px,
                exact[1].powi(2),
            ];
            sums.iter_mut().zip(products).for_each(|(sum, add)| *sum += add);
        }
    }
    Ok(sums)
}
