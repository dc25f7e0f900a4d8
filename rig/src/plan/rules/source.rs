//! What the source bears: the length and the energy of a pulse, and its share of the time.

use super::{Fix, Rule, RuleId, RuleInput, Status, at_most, words};
use crate::keys::Key;
use crate::keys::light as keys;
use crate::plan::facts::{short, show};
use crate::plan::source::{energy_j, longest};
use crate::quantity::Dimension as D;

/// The maker of the source says so.
const SHEET: &str = "the source's data sheet";

impl RuleInput<'_> {
    pub(super) fn source_rules(&self) -> Vec<Rule> {
        [self.on_time(), self.energy(), self.duty()]
            .into_iter()
            .flatten()
            .collect()
    }

    /// Lengths of the two pulses, s.
    fn pulses_s(&self) -> Option<[f64; 2]> {
        let pulse = self.plan.pulse_s.filter(|_| !self.rig.setup.light.continuous)?;
        Some(self.plan.scene.light.pulses.map(|of| of.length_ratio * pulse))
    }

    fn on_time(&self) -> Option<Rule> {
        let limit = self.rig.setup.light.limits.on_time_s?;
        let [a, b] = self.pulses_s()?;
        Some(self.bearing(
            RuleId::SourceOnTime,
            format!(
                "longer pulse ({}) over the source's longest",
                show(a.max(b), D::Time)
            ),
            a.max(b) / limit,
            keys::ON_TIME_LIMIT,
        ))
    }

    fn energy(&self) -> Option<Rule> {
        let limit = self.rig.setup.light.limits.energy_j?;
        let [a, b] = self.plan.scene.light.pulses.map(|of| of.energy_ratio);
        let (of_a, _) = energy_j(&self.rig.setup, self.plan.pulse_s).ok().flatten()?;
        let energy = of_a * a.max(b) / self.rig.setup.light.sources as f64;
        Some(self.bearing(
            RuleId::SourceEnergy,
            format!(
                "pulse energy ({}) over the source's largest",
                show(energy, D::Energy)
            ),
            energy / limit,
            keys::ENERGY_LIMIT,
        ))
    }

    fn duty(&self) -> Option<Rule> {
        let limit = self.rig.setup.light.limits.duty?;
        let rate = self.rig.setup.camera.frame_rate_hz?;
        let [a, b] = self.pulses_s()?;
        let duty = 0.5 * rate * (a + b);
        Some(self.bearing(
            RuleId::SourceDuty,
            format!("share of time in light ({}) over the largest", short(duty)),
            duty / limit,
            keys::DUTY_LIMIT,
        ))
    }

    /// A rule of a share of what the source bears.
    fn bearing(&self, id: RuleId, label: String, value: f64, key: &'static Key) -> Rule {
        // What is just as long as it may be is so whatever the rounding.
        let status = Status::of(value <= 1.0 + 1e-9, false);
        Rule {
            id,
            label,
            value,
            shown: short(value),
            limit: "at most 1".to_owned(),
            within: at_most(1.0),
            status,
            source: SHEET,
            fix: (status > Status::Pass).then(|| self.bearable(value, key)),
        }
    }

    /// A pulse that the source bears, or less light where a shorter pulse has as much.
    fn bearable(&self, value: f64, key: &'static Key) -> Fix {
        let bearable = longest(&self.rig.setup).zip(self.plan.pulse_s);
        bearable
            .and_then(|(longest, pulse)| self.pulse(longest.pulse_s / pulse))
            .filter(|_| key.path != keys::ENERGY_LIMIT.path || self.grows())
            .or_else(|| self.more_light(1.0 / value))
            .unwrap_or_else(|| words("take less light, or another source"))
    }
}
