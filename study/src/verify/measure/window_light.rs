//! The number of particles in windows, judged by their light.

use super::peak::tile;
use super::{Figures, Measure, Request};
use motefield_evaluator::statistics::jackknife;

/// Mean and spread of the light in windows.
pub const WINDOW_LIGHT: Measure = Measure {
    name: "light of windows",
    about: "mean light of a window (tiles of the final pass's size in frame A), and its relative variance times the mean number of particles in a window: 1 for a Poisson number of equal particles",
    arguments: &[],
    figures: &["mean_e", "dispersion"],
    pictures: true,
    statistical: true,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let plan = request.plan();
    let window = plan.processing.passes.last().ok_or("needs a pass")?.window;
    let particles = plan.scene.seeding_density_ppp * (window[0] * window[1]) as f64;
    let all: Vec<[f64; 3]> = request.each(|seed| {
        let pair = (request.chain.render)(&plan.scene, seed).map_err(|e| e.to_string())?;
        let (height, width) = pair.a.dim();
        let mut sums = [0.0; 3];
        for y in (0..=height - window[1]).step_by(window[1]) {
            for x in (0..=width - window[0]).step_by(window[0]) {
                let light: f64 = tile(&pair.a, [x, y], window).iter().map(|v| f64::from(*v)).sum();
                for (sum, value) in sums.iter_mut().zip([1.0, light, light * light]) {
                    *sum += value;
                }
            }
        }
        Ok(sums)
    })?;
    let dispersion = |s: &[f64; 3]| {
        let [n, sum, square] = *s;
        let mean = sum / n;
        (square / n - mean * mean) * n / (n - 1.0) / (mean * mean) * particles
    };
    Ok([
        ("mean_e", jackknife(&all, request.confidence, |s| s[1] / s[0])),
        ("dispersion", jackknife(&all, request.confidence, dispersion)),
    ]
    .map(|(name, e)| (name.to_owned(), e))
    .into())
}
