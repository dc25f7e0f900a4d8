//! The spatial response, where a sweep varied the flow's wavelength.

use crate::run::Point;
use motefield_evaluator::score::{Crossing, MINUS_3_DB, MINUS_10_PERCENT, crossing};
use motefield_evaluator::statistics::Estimate;
use motefield_rig::plan::Plan;
use motefield_rig::quantity::{self, Dimension};

/// The key whose sweep is a study of spatial response.
pub const KEY: &str = motefield_rig::keys::flow::WAVELENGTH.path;

/// Length of the wave in the picture, px, and side of the final window across it, px.
#[derive(Clone, Copy)]
pub struct Wave {
    wavelength_px: f64,
    window_px: f64,
}

impl Wave {
    /// Of the value `text` of the key, in a setup as planned; `None` if it is no length.
    pub fn of(text: &str, plan: &Plan) -> Option<Wave> {
        let found = quantity::parse(text).ok()?;
        let wavelength_px = match found.dimension {
            Dimension::Pixels => found.value,
            Dimension::Length => found.value * plan.rig.px_per_m()?,
            _ => return None,
        };
        // The sine runs down the picture.
        let window_px = plan.processing.passes.last()?.window[1] as f64;
        Some(Wave {
            wavelength_px,
            window_px,
        })
    }
}

/// Where the amplitude has fallen by a tenth and by 3 dB; the amplitude is that of x, along which
/// the wave's velocity stands.
pub struct Response {
    /// Name for programs, name for people, and where it lies (window over wavelength).
    pub levels: [(&'static str, &'static str, Crossing); 2],
    /// Side of the final window across the wave, px.
    pub window_px: f64,
}

impl Response {
    /// From the points of a sweep and their waves.
    pub fn of(waves: &[Wave], points: &[&Point]) -> Option<Response> {
        let window_px = waves.first()?.window_px;
        let mut all: Vec<(f64, Estimate)> = waves
            .iter()
            .zip(points)
            .filter_map(|(wave, point)| {
                let amplitude = point.besides.figures.as_ref()?.amplitude[0];
                Some((wave.window_px / wave.wavelength_px, amplitude))
            })
            .collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let at = |level| crossing(&all, level);
        Some(Response {
            levels: [
                ("minus_10_percent", "-10 %", at(MINUS_10_PERCENT)),
                ("minus_3_db", "-3 dB", at(MINUS_3_DB)),
            ],
            window_px,
        })
    }
}
