//! What the tolerances of stated values do to an answer.
//!
//! A tolerance ±a says that the value lies anywhere between, so its standard uncertainty is a/√3
//! (rectangular distribution: JCGM 100:2008, 4.3.7). The rig is tried at both ends on the same
//! particles as the study. Half the shift of the best from one end to the other, over √3, is what
//! the tolerance adds to the uncertainty of the best; several add as squares, and the interval is
//! twice the root of the sum (coverage factor 2, JCGM 100:2008, 6.3.3).
//!
//! The robust choice has the smallest mean squared error over the spread: the mean of a function of
//! one value over its range is (f(−a) + 4 f(0) + f(a))/6 (Simpson's rule, exact for a parabola);
//! of several values, what each adds to f(0) is summed.

use motefield_evaluator::statistics::GridValues;
use motefield_rig::setup::Tolerance;

use super::base::Answered;
use super::shift::vertex;
use crate::vary::SweepValue;

/// What the tolerances of a setup do to the best along one axis.
#[derive(Debug, Clone)]
pub struct SpreadOfBest {
    /// Key of the axis.
    pub key: String,
    /// The best as the values stand, and the robust choice.
    pub best: [SweepValue; 2],
    /// Where the best would stand by the tolerances: 95 %.
    pub interval: [SweepValue; 2],
    /// Share of each tolerance in the squared uncertainty, in their order.
    pub shares: Vec<f64>,
}

/// What the tolerances of a setup do to its answer.
#[derive(Debug, Clone)]
pub struct AnswerSpread {
    /// The stated values with a tolerance.
    pub tolerances: Vec<Tolerance>,
    /// One entry per axis.
    pub best: Vec<SpreadOfBest>,
    /// Error at the present best, at either end of each tolerance over that as the values stand.
    pub error_ratios: Vec<[f64; 2]>,
    /// Root mean square error over the spread at the present best, over that as the values stand.
    pub mean_error_ratio: f64,
}

/// From trials of every tolerance at its lower and upper end, each at all `settings`, in turn.
pub(super) fn spread(
    base: &Answered,
    settings: &[usize],
    tolerances: &[Tolerance],
    probes: &[Vec<GridValues>],
    now: &[GridValues],
) -> AnswerSpread {
    let mean = |grid: &GridValues, other: &GridValues| grid.join(other, |v, _| v).mean();
    // Squared errors over those at present, on the same particles: [tolerance][end][setting].
    let ratios: Vec<[Vec<f64>; 2]> = (0..tolerances.len())
        .map(|t| {
            [0, 1].map(|end| {
                let changed = &probes[2 * t + end];
                let ratio =
                    |(changed, now): (&GridValues, &GridValues)| mean(changed, now) / mean(now, changed);
                changed.iter().zip(now).map(ratio).collect()
            })
        })
        .collect();
    let present: Vec<f64> = now.iter().map(GridValues::mean).collect();
    let over_spread = |k: usize| {
        let adds = ratios.iter().map(|[low, high]| (low[k] + high[k] - 2.0) / 6.0);
        1.0 + adds.sum::<f64>()
    };
    let best = base.axes.iter().enumerate().filter_map(|(axis, free)| {
        let along = base.along(axis, settings);
        let [a, b, c] = along[..] else { return None };
        let at = [a, b, c].map(|k| base.tried[settings[k]].at[axis]);
        let place =
            |factor: &dyn Fn(usize) -> f64| vertex(at, [a, b, c].map(|k| (present[k] * factor(k)).ln())).at;
        let standing = base.tried[base.best].at[axis];
        let half_shifts: Vec<f64> = ratios
            .iter()
            .map(|[low, high]| 0.5 * (place(&|k| high[k]) - place(&|k| low[k])))
            .collect();
        let squares: Vec<f64> = half_shifts.iter().map(|h| h * h / 3.0).collect();
        let total: f64 = squares.iter().sum();
        let value = |at: f64| free.value(at.clamp(free.limits[0], free.limits[1]));
        let expanded = 2.0 * total.sqrt();
        Some(SpreadOfBest {
            key: free.key.clone(),
            best: [
                value(standing),
                value(standing + place(&over_spread) - place(&|_| 1.0)),
            ],
            interval: [value(standing - expanded), value(standing + expanded)],
            shares: squares
                .iter()
                .map(|s| if total > 0.0 { s / total } else { 0.0 })
                .collect(),
        })
    });
    AnswerSpread {
        tolerances: tolerances.to_vec(),
        best: best.collect(),
        error_ratios: ratios
            .iter()
            .map(|ends| [0, 1].map(|end: usize| ends[end][0].sqrt()))
            .collect(),
        mean_error_ratio: over_spread(0).sqrt(),
    }
}

#[cfg(test)]
mod tests;
