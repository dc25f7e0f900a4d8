//! What is measured of variances and of the shear stress of a flow.

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
    run: run_variance,
};

/// Measured over true shear stress of a field that is the same in every pair.
pub const SHEAR_STRESS: Measure = Measure {
    name: "shear-stress",
    about: "covariance over the field of the two components of the measured displacement, about zero, over that of the true one at the same valid vectors; the components are those of two pairs with particles of their own, so that their product holds no random error",
    arguments: &[],
    figures: &["stress_kept"],
    pictures: true,
    statistical: true,
    run: run_stress,
};

fn run_variance(request: &Request) -> Result<Figures, String> {
    let sums: Vec<[f64; 4]> = request.each(|seed| {
        let flow = Value::Number(seed.realisation as f64);
        let rig = request.plan().rig.with(keys::flow::SEED, flow);
        let plan = rig.and_then(Plan::of).map_err(|e| e.to_string())?;
        over_field(request, &plan, seed, |[one, other], exact| {
            let [x, y] = [0, 1].map(|c| [one[c] * other[c], exact[c].powi(2)]);
            [x[0], x[1], y[0], y[1]]
        })
    })?;
    let kept = |c: usize| jackknife(&sums, request.confidence, |s| s[2 * c] / s[2 * c + 1]);
    Ok([("variance_kept_x", kept(0)), ("variance_kept_y", kept(1))]
        .map(|(name, figure)| (name.to_owned(), figure))
        .into())
}

fn run_stress(request: &Request) -> Result<Figures, String> {
    let sums: Vec<[f64; 2]> = request.each(|seed| {
        over_field(request, request.plan(), seed, |[one, other], exact| {
            [0.5 * (one[0] * other[1] + one[1] * other[0]), exact[0] * exact[1]]
        })
    })?;
    let kept = jackknife(&sums, request.confidence, |s| s[0] / s[1]);
    Ok([("stress_kept".to_owned(), kept)].into())
}

/// Sums, over the vectors that are valid in two pairs, of products of what the pairs measure there
/// and of the true displacement, px².
fn over_field<const N: usize>(
    request: &Request,
    plan: &Plan,
    seed: Seed,
    products: impl Fn([[f64; 2]; 2], [f64; 2]) -> [f64; N],
) -> Result<[f64; N], String> {
    let measured = |point: u64| -> Result<VectorField, String> {
        let pair = (request.chain.render)(&plan.scene, Seed { point, ..seed }).map_err(|e| e.to_string())?;
        (request.chain.correlate)(pair.a.view(), pair.b.view(), &plan.processing).map_err(|e| e.to_string())
    };
    let (one, other) = (measured(0)?, measured(1)?);
    let truth = TrueDisplacement::of_pair(&plan.scene);
    let mut sums = [0.0; N];
    for (a, b) in one.vectors.iter().zip(&other.vectors) {
        let Some(exact) = truth.at(a.x_px, a.y_px) else {
            continue;
        };
        if [a, b].iter().all(|v| v.status == VectorStatus::Valid) {
            let products = products([a, b].map(|v| [v.dx_px, v.dy_px]), exact);
            sums.iter_mut().zip(products).for_each(|(sum, add)| *sum += add);
        }
    }
    Ok(sums)
}
