//! Reads a sweep over pulse lengths: the best, and the window that meets the limit.
//!
//! Between measured points the error is taken to run straight on logarithmic axes.

use motefield_evaluator::statistics::{Confidence, Estimate, difference_in_standard_errors, student};
use rayon::prelude::*;

use crate::run::Point;

/// A point of the sweep.
#[derive(Debug, Clone, Copy)]
pub struct PulseSample<'a> {
    /// Pulse length, s.
    pub pulse_s: f64,
    /// What was measured there.
    pub point: &'a Point,
}

/// Shortest and longest pulse length within the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Shortest and longest, s.
    pub pulses_s: [f64; 2],
    /// Whether the limit is what ends the window there; the range of the sweep else.
    pub walls: [bool; 2],
}

/// What a sweep says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PulseReading {
    /// Pulse length with the smallest total error, s.
    pub best_s: f64,
    /// Its place in the sweep.
    pub best: usize,
    /// Pulse lengths whose error cannot be told from the smallest (95 %, paired on common
    /// particles), s.
    pub best_interval_s: [f64; 2],
    /// Pulse lengths whose error is at most a tenth larger than the smallest: what does not matter
    /// in practice, s.
    pub about_as_good_s: [f64; 2],
    /// Whether enough vectors are valid at the best.
    pub usable: bool,
    /// Pulse lengths that meet the limit; `None` if none does.
    pub window: Option<Window>,
    /// Largest total error allowed, px.
    limit_px: f64,
    /// Least share of valid vectors.
    valid: f64,
}

impl PulseReading {
    /// Reads points that stand by rising pulse length; `None` if there are none.
    pub fn of(samples: &[PulseSample], limit_px: f64, valid: f64) -> Option<PulseReading> {
        let enough = |s: &PulseSample| 1.0 - s.point.score.outliers.value >= valid;
        let total = |s: &PulseSample| s.point.score.total_px.value;
        let smallest = |usable: bool| {
            samples
                .iter()
                .enumerate()
                .filter(|(_, s)| total(s).is_finite() && (!usable || enough(s)))
                .min_by(|a, b| total(a.1).total_cmp(&total(b.1)))
        };
        let (best, _) = smallest(true).or_else(|| smallest(false))?;
        Some(PulseReading::about(best, samples, limit_px, valid))
    }

    /// Reads points of which that at `best` is known to be the best.
    pub fn about(best: usize, samples: &[PulseSample], limit_px: f64, valid: f64) -> PulseReading {
        let enough = |s: &PulseSample| 1.0 - s.point.score.outliers.value >= valid;
        let sample = &samples[best];
        let usable = enough(sample);
        let mut reading = PulseReading {
            best_s: sample.pulse_s,
            best,
            best_interval_s: [sample.pulse_s; 2],
            about_as_good_s: [sample.pulse_s; 2],
            usable,
            window: None,
            limit_px,
            valid,
        };
        // By how many standard errors the mean squared error exceeds the smallest, on the vectors
        // that both measured from the same particles.
        let smallest = sample.point.squared_errors();
        let excess: Vec<f64> = samples
            .par_iter()
            .map(|s| difference_in_standard_errors(&smallest, &s.point.squared_errors()))
            .collect();
        // About its smallest value the squared error rises with the square of the distance, and so
        // does its excess.
        reading.best_interval_s = [0, 1].map(|side| {
            walk(samples, best, side, f64::sqrt, |k| {
                excess[k].max(0.0) / student(1e6, Confidence::USUAL)
            })
            .0
        });
        let tenth = 1.1 * sample.point.common_total_px();
        let rise = |k: usize| match enough(&samples[k]) || !usable {
            true => samples[k].point.common_total_px() / tenth,
            false => f64::INFINITY,
        };
        reading.about_as_good_s = [0, 1].map(|side| walk(samples, best, side, f64::ln, rise).0);
        if usable && sample.point.score.total_px.value <= limit_px {
            let ends = [0, 1].map(|side| walk(samples, best, side, f64::ln, |k| reading.strain(&samples[k])));
            reading.window = Some(Window {
                pulses_s: ends.map(|e| e.0),
                walls: ends.map(|e| e.1),
            });
        }
        reading
    }

    /// How close a point comes to what is allowed: at most 1 where it meets both the limit and the
    /// share of valid vectors.
    fn strain(&self, s: &PulseSample) -> f64 {
        let total = s.point.score.total_px.value;
        let error = if total.is_finite() {
            total / self.limit_px
        } else {
            f64::INFINITY
        };
        let lost = s.point.score.outliers.value / (1.0 - self.valid).max(1e-9);
        error.max(lost)
    }

    /// Pulse lengths worth measuring next: between the best and its neighbours, and where the limit
    /// is crossed.
    pub fn refinements(&self, samples: &[PulseSample]) -> Vec<f64> {
        let mut more = Vec::new();
        let middle = |a: usize, b: usize| (samples[a].pulse_s * samples[b].pulse_s).sqrt();
        if self.best > 0 {
            more.push(middle(self.best - 1, self.best));
        }
        if self.best + 1 < samples.len() {
            more.push(middle(self.best, self.best + 1));
        }
        if let Some(window) = self.window {
            more.extend(
                (0..2)
                    .filter(|&side| window.walls[side])
                    .map(|side| window.pulses_s[side]),
            );
        }
        let far = |pulse: f64, other: f64| (pulse / other).ln().abs() > NEAR;
        let mut kept: Vec<f64> = Vec::new();
        for pulse in more {
            if samples.iter().all(|s| far(pulse, s.pulse_s)) && kept.iter().all(|&k| far(pulse, k)) {
                kept.push(pulse);
            }
        }
        kept
    }
}

/// Pulse lengths closer than this share tell nothing apart.
const NEAR: f64 = 0.06;

/// Walks from the best point to one side while `strain` stays at most 1; where it passes 1, the
/// pulse length there, and whether it did. Between points, `scale` of the strain is taken to run
/// straight over the logarithm of the pulse length. A strain that jumps to infinity ends the walk
/// at the last good point.
fn walk(
    samples: &[PulseSample],
    best: usize,
    side: usize,
    scale: fn(f64) -> f64,
    strain: impl Fn(usize) -> f64,
) -> (f64, bool) {
    let mut here = best;
    loop {
        let next = if side == 0 {
            here.checked_sub(1)
        } else {
            Some(here + 1).filter(|&n| n < samples.len())
        };
        let Some(next) = next else {
            return (samples[here].pulse_s, false);
        };
        if strain(next) <= 1.0 {
            here = next;
            continue;
        }
        let [a, b] = [strain(here), strain(next)].map(scale);
        let t = if b.is_finite() && b > a {
            ((scale(1.0) - a) / (b - a)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        return (
            samples[here].pulse_s * (samples[next].pulse_s / samples[here].pulse_s).powf(t),
            true,
        );
    }
}

/// The total error of the point with the smallest one.
pub fn best_total(samples: &[PulseSample], reading: &PulseReading) -> Estimate {
    samples[reading.best].point.score.total_px
}

#[cfg(test)]
mod tests;
