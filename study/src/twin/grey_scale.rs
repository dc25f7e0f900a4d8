//! The grey levels of a recording as those of a camera with whole steps.

use motefield_evaluator::appearance::grey_steps::GreySteps;
use ndarray::{Array2, ArrayView2};

/// How grey levels of a recording become those of its twin: (grey − offset)/step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreyScale {
    /// Grey level of the recording that is the twin's 0.
    pub offset: f64,
    /// Grey levels of the recording a grey level of the twin.
    pub step: f64,
    /// Bits of the twin's grey levels.
    pub bits: u32,
    /// Largest grey level of the twin that occurs or can.
    pub white_dn: f64,
    /// Share of saturated pixels.
    pub saturated: f64,
}

impl GreyScale {
    pub(super) fn of(steps: &GreySteps) -> GreyScale {
        let [low, high] = steps.range;
        let (offset, step) = match steps.step {
            Some(step) => (low.min(0.0), step),
            // Without whole steps the twin's are so fine that they do not matter.
            None => (low - 0.05 * (high - low), (high - low).max(1e-30) / 50_000.0),
        };
        // Where the grey levels have an offset inside a step, it stays part of the floor.
        let top = ((high - offset) / step).max(1.0);
        let bits = (1..=16)
            .find(|bits| f64::from((1u32 << bits) - 1) >= top)
            .unwrap_or(16);
        let white_dn = match steps.saturated > 0.0 {
            true => top.min(65_535.0),
            false => f64::from((1u32 << bits) - 1),
        };
        GreyScale {
            offset,
            step,
            bits,
            white_dn,
            saturated: steps.saturated,
        }
    }

    /// A recorded frame in the twin's grey levels.
    pub fn twin_levels(&self, frame: &ArrayView2<f32>) -> Array2<f32> {
        frame.mapv(|v| ((f64::from(v) - self.offset) / self.step) as f32)
    }
}
