//! The fit of a twin's parameters: figures of rendered pairs against those of the recorded ones.

use motefield_generator::linear::solve;

use super::parameters::{COUNT, Parameters};

/// The solution of equations of as many rows as unknowns, each with its right-hand side as the last
/// value; an unknown that they do not determine is 0.
pub(super) fn solved(rows: Vec<Vec<f64>>) -> Vec<f64> {
    let found = solve(rows, 1e-300);
    let first = |solutions: Option<Vec<f64>>| solutions.map_or(0.0, |solutions| solutions[0]);
    found.into_iter().map(first).collect()
}

/// What one round of renderings tells.
pub(super) struct FitRound {
    /// Figures of each rendered pair.
    pub rendered: Vec<Vec<f64>>,
    /// Change of each figure per change of each parameter: one list per parameter.
    pub slopes: Vec<Vec<f64>>,
    /// Weight of each figure: one over the square of its scatter from pair to pair.
    pub weights: Vec<f64>,
}

pub(super) fn mean(of: &[Vec<f64>]) -> Vec<f64> {
    (0..of[0].len())
        .map(|k| of.iter().map(|f| f[k]).sum::<f64>() / of.len() as f64)
        .collect()
}

impl FitRound {
    /// The change of the parameters that brings figures by `wanted` nearer, held by what is known
    /// beforehand, which pulls by `pull` with a weight of `held` each.
    pub fn change(&self, wanted: &[f64], pull: &[f64; COUNT], held: &[f64; COUNT]) -> [f64; COUNT] {
        let product = |a: &[f64], b: &[f64]| -> f64 {
            a.iter()
                .zip(b)
                .zip(&self.weights)
                .map(|((a, b), w)| a * b * w)
                .sum()
        };
        let rows = (0..COUNT).map(|i| {
            let row = (0..COUNT).map(|j| {
                let own = if i == j { held[i] } else { 0.0 };
                product(&self.slopes[i], &self.slopes[j]) + own
            });
            let right = product(&self.slopes[i], wanted) + held[i] * pull[i];
            row.chain([right]).collect()
        });
        let found = solved(rows.collect());
        std::array::from_fn(|k| found[k])
    }

    /// Change of the parameters for each rendered pair's departure from the mean of all: their
    /// scatter is that of the parameters found from one pair.
    pub fn departures(&self, held: &[f64; COUNT]) -> Vec<[f64; COUNT]> {
        let mean = mean(&self.rendered);
        let of = |figures: &Vec<f64>| {
            let away: Vec<f64> = figures.iter().zip(&mean).map(|(f, m)| f - m).collect();
            self.change(&away, &[0.0; COUNT], held)
        };
        self.rendered.iter().map(of).collect()
    }
}

/// One over the variance of each figure between pairs, with a floor that keeps a figure that hardly
/// scatters in few pairs from ruling all others.
pub(super) fn weights(rendered: &[Vec<f64>]) -> Vec<f64> {
    let mean = mean(rendered);
    let n = rendered.len() as f64;
    (0..mean.len())
        .map(|k| {
            let square = rendered.iter().map(|f| (f[k] - mean[k]).powi(2)).sum::<f64>() / (n - 1.0);
            1.0 / (square + 1e-6 * mean[k] * mean[k] + 1e-12)
        })
        .collect()
}

/// Largest change of a parameter in a round.
pub(super) fn limited(p: &Parameters, change: [f64; COUNT]) -> Parameters {
    let most = [
        0.3,
        0.7,
        0.7,
        f64::INFINITY,
        0.5,
        2.0 * p.0[5].max(p.gain_that_matters()),
        0.3,
        0.15,
        0.5 * p.diameter_px().powi(2).max(1.0),
    ];
    let mut next = *p;
    for k in 0..COUNT {
        next.0[k] += change[k].clamp(-most[k], most[k]);
    }
    // Beyond these nothing changes any more.
    next.0[5] = next.0[5].max(-p.gain_that_matters());
    next.0[6] = next.0[6].clamp(-0.1, 0.98);
    next.0[7] = next.0[7].clamp(-0.05, 1.0);
    next.0[8] = next.0[8].max(-1.0);
    next
}
