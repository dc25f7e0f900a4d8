//! The rule of thumb that an answer leaves: a streak of at most half a particle image diameter
//! (common practice, no source). Where light is short, a longer streak may cost less than the light
//! of a shorter pulse; the study knows both sides.

use motefield_rig::keys;
use motefield_rig::plan::{RuleId, Status};
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;

use super::Decision;
use crate::StudyError;

/// Longest streak over the particle image diameter.
pub const STREAK_RULE: f64 = 0.5;

/// The rule of the streak, left by the best pulse length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftStreakRule {
    /// Longest streak over the particle image diameter at the best pulse length.
    pub value: f64,
    /// The longest pulse measured that keeps the rule; `None` where none was measured or none of
    /// its vectors is valid.
    pub kept: Option<KeptStreakRule>,
}

/// A pulse length that keeps it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KeptStreakRule {
    /// Pulse length, s.
    pub pulse_s: f64,
    /// Total error, px.
    pub total_px: f64,
    /// Total error over that of the best, on the particles that both share.
    pub over_best: f64,
}

/// Whether the best pulse length leaves the rule, and what keeping it would cost.
///
/// # Errors
/// When the setup cannot be planned with the best pulse length.
pub fn left(setup: &Setup, decision: &Decision) -> Result<Option<LeftStreakRule>, StudyError> {
    let Some((best, _)) = decision.best() else {
        return Ok(None);
    };
    let pulse = Setup::quantity(best.pulse_s, Dimension::Time);
    let at_best = setup.with(keys::light::PULSE_LENGTH.path, pulse)?;
    let rules = decision.plan.changed(&at_best)?.rules();
    let broken = rules
        .iter()
        .find(|rule| rule.id == RuleId::Streak && rule.status > Status::Pass);
    // The streak grows in proportion to the pulse.
    let keeps = |pulse_s: f64, value: f64| pulse_s / best.pulse_s * value <= STREAK_RULE;
    Ok(broken.map(|rule| LeftStreakRule {
        value: rule.value,
        kept: (decision.points.iter().rev())
            .find(|m| keeps(m.pulse_s, rule.value))
            .map(|m| KeptStreakRule {
                pulse_s: m.pulse_s,
                total_px: m.point.score.total_px.value,
                over_best: m.point.common_total_px() / best.point.common_total_px(),
            })
            .filter(|kept| kept.total_px.is_finite()),
    }))
}
