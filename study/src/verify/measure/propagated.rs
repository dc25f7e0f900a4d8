//! What the uncertainty of vectors becomes in figures computed from them.

use motefield_evaluator::uncertainty::{of_mean, of_shear_stress, of_variance};

use super::{Figures, Measure, Request, exactly};

/// Uncertainty of mean, variance and shear stress.
pub const PROPAGATED: Measure = Measure {
    name: "propagated uncertainty",
    about: "standard uncertainty of the mean and of the variance of u, and of the shear stress of u and v, from their standard deviations, their correlation and the effective number of samples",
    arguments: &["deviation_u", "deviation_v", "correlation", "samples"],
    figures: &["mean", "variance", "shear_stress"],
    pictures: false,
    statistical: false,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let number = |name| request.arguments.number(name);
    let [u, v, samples] = [number("deviation_u")?, number("deviation_v")?, number("samples")?];
    Ok(exactly([
        ("mean", of_mean(u, samples)),
        ("variance", of_variance(u * u, samples)),
        (
            "shear_stress",
            of_shear_stress([u, v], number("correlation")?, samples),
        ),
    ]))
}
