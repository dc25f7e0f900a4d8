//! How far a setting is from the limit.

use motefield_evaluator::statistics::Estimate;

use crate::decide::limit::ErrorLimit;
use crate::decide::trial::MeasuredSetting;

/// What must be met.
#[derive(Debug, Clone, Copy)]
pub(super) struct Judge {
    pub limit: ErrorLimit,
    /// Whether curved paths count, as where settings are judged by the error of the velocity.
    pub of_velocity: bool,
    /// Least share of valid vectors.
    pub valid: f64,
}

impl Judge {
    /// The error over the limit, or the share of lost vectors over that allowed where it is the
    /// larger: at most 1 where both are met. Infinite where no vector is valid or a limit in m/s
    /// has no scale.
    pub fn strain(&self, setting: &MeasuredSetting) -> Estimate {
        let mean_px = setting.speeds.mean_px;
        let relative = match self.of_velocity {
            true => setting.relative(),
            false => setting.point.score.total_px.map_rising(|px| px / mean_px),
        };
        let allowed = match self.limit {
            ErrorLimit::Pixels(px) => px / mean_px,
            ErrorLimit::Share(share) => share,
            ErrorLimit::Speed(m_s) => setting.mean_m_s.map_or(0.0, |mean| m_s / mean),
        };
        let lost_allowed = (1.0 - self.valid).max(1e-9);
        let error = relative.map_rising(|error| error / allowed);
        let lost = setting
            .point
            .score
            .outliers
            .map_rising(|lost| lost / lost_allowed);
        let larger = |error: f64, lost: f64| match error.is_finite() {
            true => error.max(lost),
            false => f64::INFINITY,
        };
        Estimate {
            value: larger(error.value, lost.value),
            lo: larger(error.lo, lost.lo),
            hi: larger(error.hi, lost.hi),
        }
    }
}
