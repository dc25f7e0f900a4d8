//! The normalised median test on pure noise.

use motefield_evaluator::normalised_residual;
use motefield_evaluator::statistics::fraction;
use motefield_generator::Seed;

use super::{Figures, Measure, Request};

/// Share of independent normal vectors whose residual is above a threshold.
pub const MEDIAN: Measure = Measure {
    name: "normalised median",
    about: "share of vectors whose normalised residual among eight neighbours is above a threshold, all being independent and normal with unit standard deviation times a scale; each pair is 20000 of them",
    arguments: &["threshold", "epsilon", "scale"],
    figures: &["one_component", "two_components"],
    pictures: false,
    statistical: true,
    run,
};

/// Number of neighbourhoods that count as one pair.
const A_PAIR: usize = 20_000;

fn run(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let [threshold, epsilon, scale] = [a.number("threshold")?, a.number("epsilon")?, a.number("scale")?];
    let (mut one, mut two) = (0, 0);
    for realisation in 0..request.pairs {
        let seed = Seed {
            study: request.seed,
            point: 0,
            realisation: realisation as u64,
        };
        let mut numbers = seed.draws(0);
        let mut draw = || scale * numbers.normal();
        let mut residual = || {
            let mut neighbours: [f64; 8] = std::array::from_fn(|_| draw());
            normalised_residual(draw(), &mut neighbours, epsilon).expect("eight neighbours")
        };
        for _ in 0..A_PAIR {
            let [x, y] = [residual(), residual()];
            one += u32::from(x > threshold) + u32::from(y > threshold);
            two += u32::from(x.hypot(y) > threshold);
        }
        request.progress.done();
    }
    let trials = (request.pairs * A_PAIR) as f64;
    let share = |found: u32, trials: f64| fraction(f64::from(found) / trials, trials, request.confidence);
    Ok([
        ("one_component", share(one, 2.0 * trials)),
        ("two_components", share(two, trials)),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}
