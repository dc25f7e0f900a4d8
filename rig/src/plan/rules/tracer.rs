//! Whether the tracer follows the flow.

use super::{PRACTICE, Rule, RuleId, RuleInput, Status, at_most, down, set, words};
use crate::keys;
use crate::plan::facts::{FactId, short, show};
use crate::quantity::Dimension as D;

const STOKES: f64 = 0.1;
const SETTLING: f64 = 0.01;

impl RuleInput<'_> {
    pub(super) fn tracer_rules(&self) -> Vec<Rule> {
        self.stokes().into_iter().chain(self.settling()).collect()
    }

    /// Response time over the shortest time in which the flow changes, 1/(largest gradient).
    pub(in crate::plan) fn stokes_number(&self) -> Option<f64> {
        let response = self.plan.figure(FactId::ResponseTime)?;
        Some(response * self.motion.steepest() / self.rig.setup.separation_s?)
    }

    fn smaller(&self, factor: f64) -> super::Fix {
        match self.rig.setup.tracer.diameter_m {
            Some(diameter) => {
                let text = show(down(factor * diameter), D::Length);
                set(format!("take particles of {text}"), keys::tracer::DIAMETER, text)
            }
            None => words("take smaller particles"),
        }
    }

    fn stokes(&self) -> Option<Rule> {
        let value = self.stokes_number()?;
        let status = Status::of(value <= STOKES, value <= 5.0 * STOKES);
        Some(Rule {
            id: RuleId::StokesNumber,
            label: "Stokes number: response time x largest gradient".to_owned(),
            value,
            shown: short(value),
            limit: "at most 0.1".to_owned(),
            within: at_most(STOKES),
            status,
            source: "Tropea, Yarin and Foss 2007 (memory)",
            // The response time grows with the square of the diameter.
            fix: (status > Status::Pass).then(|| self.smaller((STOKES / value).sqrt())),
        })
    }

    fn settling(&self) -> Option<Rule> {
        let settling = self.plan.figure(FactId::SettlingVelocity)?;
        let speed = self.rig.speeds.mean_px / self.rig.px_per_m()? / self.rig.setup.separation_s?;
        let value = settling / speed;
        if !value.is_finite() {
            return None;
        }
        let status = Status::of(value <= SETTLING, value <= 5.0 * SETTLING);
        Some(Rule {
            id: RuleId::Settling,
            label: "settling velocity over mean speed".to_owned(),
            value,
            shown: short(value),
            limit: "at most 0.01".to_owned(),
            within: at_most(SETTLING),
            status,
            source: PRACTICE,
            fix: (status > Status::Pass).then(|| self.smaller((SETTLING / value).sqrt())),
        })
    }
}
