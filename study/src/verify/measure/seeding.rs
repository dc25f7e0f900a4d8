//! How many particles an interrogation window contains.

use std::collections::HashSet;

use motefield_evaluator::statistics::{fraction, jackknife, mean_of_independent};
use motefield_generator::pair::{Shown, shown};

use super::{Figures, Measure, Request};

/// Particles of a window that are seen in both frames.
pub const SEEDING: Measure = Measure {
    name: "seeding",
    about: "particles counted in the whole windows (tiles of the final pass's size) of rendered pairs: in frame A, and those that are seen in the same window of frame B too",
    arguments: &[],
    figures: &[
        "particles",
        "dispersion",
        "pairs",
        "two_or_more",
        "three_or_more",
        "four_or_more",
    ],
    pictures: true,
    statistical: true,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let window = plan.processing.passes.last().ok_or("needs a pass")?.window;
    let columns = plan.scene.size[0] / window[0];
    let windows = columns * (plan.scene.size[1] / window[1]);
    // The number of the window that a particle stands in; pixel 0 begins at -0.5.
    let tile = |p: &Shown| {
        let [x, y] = [p.x_px + 0.5, p.y_px + 0.5].map(|v| v as usize);
        (x / window[0] < columns).then_some(y / window[1] * columns + x / window[0])
    };
    let counts: Vec<Vec<[u32; 2]>> = request.each(|seed| {
        let frame = |k| shown(&plan.scene, seed, k, false).map_err(|e| e.to_string());
        let second: HashSet<(u64, Option<usize>)> = frame(1)?.iter().map(|p| (p.id, tile(p))).collect();
        let mut counts = vec![[0; 2]; windows];
        for particle in frame(0)? {
            let at = tile(&particle);
            if let Some(count) = at.and_then(|at| counts.get_mut(at)) {
                count[0] += 1;
                count[1] += u32::from(second.contains(&(particle.id, at)));
            }
        }
        Ok(counts)
    })?;
    let mean = |of: usize| {
        let of_pair =
            |counts: &Vec<[u32; 2]>| counts.iter().map(|c| f64::from(c[of])).sum::<f64>() / windows as f64;
        mean_of_independent(
            &counts.iter().map(of_pair).collect::<Vec<_>>(),
            request.confidence,
        )
    };
    let sums: Vec<[f64; 3]> = counts
        .iter()
        .map(|counts| {
            counts.iter().fold([0.0; 3], |[windows, sum, square], c| {
                let n = f64::from(c[0]);
                [windows + 1.0, sum + n, square + n * n]
            })
        })
        .collect();
    // Variance over mean: 1 for a Poisson number.
    let dispersion = jackknife(&sums, request.confidence, |[windows, sum, square]| {
        let mean = sum / windows;
        (square / windows - mean * mean) / mean
    });
    let trials = (request.pairs * windows) as f64;
    let at_least = |least: u32| {
        let found = counts.iter().flatten().filter(|c| c[1] >= least).count();
        fraction(found as f64 / trials, trials, request.confidence)
    };
    Ok([
        ("particles", mean(0)),
        ("dispersion", dispersion),
        ("pairs", mean(1)),
        ("two_or_more", at_least(2)),
        ("three_or_more", at_least(3)),
        ("four_or_more", at_least(4)),
    ]
    .map(|(name, figure)| (name.to_owned(), figure))
    .into())
}
