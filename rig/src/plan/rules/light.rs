//! Brightness: saturation, signal-to-noise ratio, and whether a measured brightness is believable.

use motefield_generator::Sensor;

use super::{PRACTICE, Rule, RuleId, RuleInput, Status, at_least, at_most, solve, words};
use crate::plan::facts::{FactId, short};
use crate::plan::peak::{
    brightest_share, floor_e, middle_pixel_share, readout_variance, share_of_range, signal_to_noise, streak,
};

/// Most of the camera's range that the brightest particles may take.
const FULL: f64 = 0.9;
/// Least signal-to-noise ratio of a peak.
const CLEAR: f64 = 10.0;
/// Measured light over expected light that calls for no explanation, and that could be explained at
/// all.
const LIKELY: [f64; 2] = [0.1, 3.0];
const POSSIBLE: [f64; 2] = [0.01, 10.0];

impl RuleInput<'_> {
    pub(super) fn light_rules(&self) -> Vec<Rule> {
        let mut rules = Vec::new();
        if let Some(sensor) = &self.plan.scene.camera.sensor {
            rules.push(self.saturation(sensor));
            rules.push(self.noise(sensor));
        }
        rules.extend(self.measured_factor());
        rules
    }

    fn saturation(&self, sensor: &Sensor) -> Rule {
        let scene = &self.plan.scene;
        let of_range = |light: f64, pulse: f64| {
            let share = brightest_share(scene, self.exposure(pulse), self.rig.speeds.slowest_px);
            share_of_range(sensor, light * scene.electrons * share + floor_e(scene))
        };
        let value = of_range(1.0, 1.0);
        let status = Status::of(value <= FULL, value <= 1.0);
        let fix = || {
            let dark = of_range(0.0, 1.0);
            if dark >= FULL {
                return words("shut out the background light");
            }
            let shorter = || {
                self.pulse(solve(
                    |factor| of_range(self.light(factor), factor),
                    FULL,
                    0.0,
                    1.0,
                ))
            };
            let dimmer = (FULL - dark) / (value - dark);
            let pulse = self.grows().then(shorter).flatten();
            pulse
                .or_else(|| self.more_light(dimmer))
                .unwrap_or_else(|| words("take less light"))
        };
        Rule {
            id: RuleId::Saturation,
            label: "brightest particles' share of the camera's range".to_owned(),
            value,
            shown: short(value),
            limit: "at most 0.9".to_owned(),
            within: at_most(FULL),
            status,
            source: PRACTICE,
            fix: (status > Status::Pass).then(fix),
        }
    }

    fn noise(&self, sensor: &Sensor) -> Rule {
        let scene = &self.plan.scene;
        let floor = floor_e(scene);
        let ratio = |light: f64, pulse: f64| {
            let drawn = streak(self.exposure(pulse), self.rig.speeds.fastest_px);
            signal_to_noise(
                sensor,
                light * scene.electrons * middle_pixel_share(scene, drawn),
                floor,
            )
        };
        let value = ratio(1.0, 1.0);
        let status = Status::of(value >= CLEAR, value >= 0.4 * CLEAR);
        let fix = || {
            // A longer pulse, as long as it neither breaks the streak's rule nor the exposures.
            let streak_px = self.plan.figure(FactId::LongestStreak).unwrap_or(0.0);
            let room =
                |limit: Option<f64>, now: Option<f64>| limit.zip(now).map_or(1.0, |(limit, now)| limit / now);
            let longest = room(self.plan.longest_pulse_s, self.plan.pulse_s)
                .min(0.5 * scene.particle_diameter_px / streak_px.max(1e-9));
            if self.grows() && longest > 1.0 && ratio(self.light(longest), longest) > 1.02 * CLEAR {
                let factor = solve(|factor| ratio(self.light(factor), factor), CLEAR, 1.0, longest);
                if let Some(fix) = self.pulse(factor) {
                    return fix;
                }
            }
            // s = p/√(p + v) solved for p (closed form).
            let v = floor + readout_variance(sensor);
            let needed = 0.5 * CLEAR * (CLEAR + (CLEAR * CLEAR + 4.0 * v).sqrt());
            let peak = scene.electrons
                * middle_pixel_share(scene, streak(scene.exposure, self.rig.speeds.fastest_px));
            self.more_light(needed / peak)
                .unwrap_or_else(|| words("bring more light into the lens"))
        };
        Rule {
            id: RuleId::PeakSnr,
            label: "signal-to-noise ratio, middle of the longest streak".to_owned(),
            value,
            shown: short(value),
            limit: "at least 10".to_owned(),
            within: at_least(CLEAR),
            status,
            source: PRACTICE,
            fix: (status > Status::Pass).then(fix),
        }
    }

    fn measured_factor(&self) -> Option<Rule> {
        let value = self.plan.figure(FactId::MeasuredFactor)?;
        let within = |[low, high]: [f64; 2]| (low..=high).contains(&value);
        let status = Status::of(within(LIKELY), within(POSSIBLE));
        let why = if value > LIKELY[1] {
            "more light than the rig has: check the power, the pulse length at which it was measured, the gain and the size of the particles, or whether the images overlap"
        } else {
            "most of the light is lost: check delivery and transmission, the sheet's place and focus, the gain and the particles (hollow ones scatter less)"
        };
        Some(Rule {
            id: RuleId::MeasuredFactor,
            label: "light measured over light expected by the chain".to_owned(),
            value,
            shown: short(value),
            limit: "0.1 to 3".to_owned(),
            within: LIKELY,
            status,
            source: "this program's own judgement",
            fix: (status > Status::Pass).then(|| words(why)),
        })
    }
}
