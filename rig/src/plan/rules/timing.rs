//! Pulses against exposures, exposures against frames.

use super::{Fix, PRACTICE, Rule, RuleId, RuleInput, Status, at_least, at_most, down, set, solve, up, words};
use crate::keys::{self, Key};
use crate::plan::facts::{short, show};
use crate::plan::straddle::Straddle;
use crate::quantity::Dimension as D;

impl RuleInput<'_> {
    pub(super) fn timing_rules(&self) -> Vec<Rule> {
        let Some(straddle) = &self.rig.straddle else {
            return Vec::new();
        };
        let mut rules = vec![self.straddling(straddle)];
        rules.extend(self.frames(straddle));
        rules
    }

    fn straddling(&self, straddle: &Straddle) -> Rule {
        let (value, needed) = (straddle.margin_s(), straddle.needed_margin_s());
        // Rounding aside: a margin just as wide as needed will do.
        let status = Status::of(value >= needed - 1e-9 * straddle.separation_s, value >= 0.0);
        Rule {
            id: RuleId::Straddling,
            label: if straddle.continuous {
                "time left between the exposures beyond the dead time".to_owned()
            } else {
                format!(
                    "margin of the pulses in their exposures{}",
                    if needed > 0.0 { " (5 x jitter)" } else { "" }
                )
            },
            value,
            shown: show(value, D::Time),
            limit: format!("at least {}", show(needed, D::Time)),
            within: at_least(needed),
            status,
            source: "derived: both pulses whole inside their exposures",
            fix: (status > Status::Pass).then(|| self.fitting(straddle)),
        }
    }

    /// Longer exposures, or a longer separation where the dead time is in the way.
    fn fitting(&self, straddle: &Straddle) -> Fix {
        let needed = straddle.needed_margin_s();
        if straddle.separation_s < straddle.shortest_separation_s() {
            let text = show(up(straddle.shortest_separation_s()), D::Time);
            return set(
                format!("lengthen the pulse separation to {text}"),
                keys::timing::SEPARATION,
                text,
            );
        }
        let [a, b] = straddle.exposures_s;
        let longest = 2.0 * straddle.separation_s + a + b;
        let both = self.rig.setup.camera.exposure_b_s.is_none();
        let with = |key: &'static Key, exposures: &dyn Fn(f64) -> [f64; 2], now: f64| {
            let margin = |exposure: f64| {
                Straddle {
                    exposures_s: exposures(exposure),
                    ..*straddle
                }
                .margin_s()
            };
            if margin(longest) < needed {
                return None;
            }
            let text = show(up(solve(margin, needed, now, longest)), D::Time);
            Some(set(format!("lengthen the exposure to {text}"), key, text))
        };
        with(keys::camera::EXPOSURE, &|e| [e, if both { e } else { b }], a)
            .or_else(|| with(keys::camera::EXPOSURE_B, &|e| [a, e], b))
            .unwrap_or_else(|| words("lengthen both exposures"))
    }

    fn frames(&self, straddle: &Straddle) -> Option<Rule> {
        let rate = self.rig.setup.camera.frame_rate_hz?;
        let whole = Some(straddle.whole_s()).filter(|s| s.is_finite())?;
        let value = 0.5 * rate * whole;
        let status = Status::of(value <= 1.0, false);
        let fix = || {
            let text = format!("{} Hz", down(2.0 / whole));
            set(
                format!("lower the frame rate to {text}"),
                keys::camera::FRAME_RATE,
                text,
            )
        };
        Some(Rule {
            id: RuleId::FrameRate,
            label: format!("time of a pair ({}) over two frame periods", show(whole, D::Time)),
            value,
            shown: short(value),
            limit: "at most 1".to_owned(),
            within: at_most(1.0),
            status,
            source: PRACTICE,
            fix: (status > Status::Pass).then(fix),
        })
    }
}
