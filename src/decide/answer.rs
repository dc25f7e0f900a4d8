//! The decision in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use serde_json::{Value, json};

use super::reading::{Reading, best_total};
use super::{Cause, Decision, Measured, Remedy, samples};
use crate::plan::short;
use crate::quantity::{Dimension, format};
use crate::source::Source;

/// Version of the layout of `decision.json`: raised when a name changes its meaning or goes.
pub const SCHEMA: &str = "motefield-decision/1";

/// What limits the pulse at one end of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// Too little light against the noise.
    Light,
    /// Streaks.
    Blur,
    /// The error is within the limit up to the end of the range that the rig allows or that is worth trying.
    Range,
    /// Neither more light nor frozen motion brings the error down by a tenth: processing, flow gradients, out-of-plane motion.
    Other,
}

impl Limit {
    /// For machines.
    pub fn as_str(self) -> &'static str {
        match self {
            Limit::Light => "light",
            Limit::Blur => "blur",
            Limit::Range => "range",
            Limit::Other => "other",
        }
    }
}

impl Cause {
    /// The cause whose removal brings the error down most, if by more than a tenth.
    pub fn limit(&self) -> Limit {
        let least = 0.9 * self.total_px;
        match (self.unlimited_light_px, self.frozen_px) {
            (light, blur) if light.min(blur) > least => Limit::Other,
            (light, blur) if light < blur => Limit::Light,
            _ => Limit::Blur,
        }
    }
}

impl Decision {
    /// Whether some pulse length meets the limit.
    pub fn met(&self) -> bool {
        self.reading.as_ref().is_some_and(|r| r.window.is_some())
    }

    /// What limits toward short (0) and long (1) pulses.
    pub fn limit(&self, side: usize) -> Limit {
        match (&self.reading, &self.causes[side]) {
            (
                Some(Reading {
                    window: Some(window), ..
                }),
                _,
            ) if !window.walls[side] => Limit::Range,
            (_, Some(cause)) => cause.limit(),
            _ => Limit::Range,
        }
    }

    /// Streak in the fastest tenth of the field at a pulse length, px.
    pub fn streak_px(&self, pulse_s: f64) -> f64 {
        self.plan
            .separation_s
            .map_or(f64::NAN, |dt| pulse_s / dt * self.speeds.fast_px)
    }

    fn best(&self) -> Option<(&Measured, &Reading)> {
        self.reading.as_ref().map(|r| (&self.points[r.best], r))
    }

    /// An error in px as a velocity, m/s, where the rig has a scale.
    fn velocity_m_s(&self, px: f64) -> Option<f64> {
        Some(px / self.plan.px_per_m? / self.plan.separation_s?)
    }

    /// The answer for a person at a terminal.
    pub fn words(&self) -> String {
        let mut lines: Vec<String> = Vec::new();
        let Some((best, reading)) = self.best() else {
            return "Nothing was measured.\n".to_owned();
        };
        let time = |s: f64| format(s, Dimension::Time);
        let px = |e: Estimate| format!("{} px ({} to {})", short(e.value), short(e.lo), short(e.hi));
        let total = best_total(&samples(&self.points), reading);
        lines.push(match (self.met(), reading.usable) {
            (true, _) => format!("Use a pulse of {}: the smallest total error.", time(best.pulse_s)),
            (false, true) => format!(
                "No pulse length keeps the total error within {} px. The best is {}.",
                short(self.wish.limit_px),
                time(best.pulse_s)
            ),
            (false, false) => format!(
                "No pulse length keeps {} % of the vectors valid. The best is {}, with {} %.",
                short(100.0 * self.wish.valid),
                time(best.pulse_s),
                short(100.0 * (1.0 - best.point.score.outliers.value))
            ),
        });
        let [from, to] = reading.best_interval_s;
        lines.push(format!(
            "  as good within the study's 95 % confidence: {} to {}",
            time(from),
            time(to)
        ));
        let [from, to] = reading.about_as_good_s;
        lines.push(format!(
            "  at most a tenth more error: {} to {}",
            time(from),
            time(to)
        ));
        lines.push(format!(
            "  streak in the fastest tenth of the field: {} px",
            short(best.streak_px)
        ));
        lines.push(format!(
            "  valid vectors: {} %",
            short(100.0 * (1.0 - best.point.score.outliers.value))
        ));
        lines.push(
            "  total error, root mean square of the error vector, 95 % interval in brackets:".to_owned(),
        );
        for (place, estimate, displacement) in [
            ("over the field", total, self.speeds.mean_px),
            (
                "in its fastest tenth",
                best.point.fast.total_px,
                best.point.fast_displacement_px,
            ),
        ] {
            let velocity = self
                .velocity_m_s(estimate.value)
                .map_or(String::new(), |v| format!(" = {}", format(v, Dimension::Speed)));
            let share = 100.0 * estimate.value / displacement;
            lines.push(format!(
                "    {place:<21} {}{velocity} = {} % of its mean speed",
                px(estimate),
                short(share)
            ));
        }
        for (axis, c) in ["x", "y"].iter().zip(&best.point.score.point) {
            lines.push(format!(
                "    along {axis}: bias {}, random {}",
                px(c.bias_px),
                px(c.random_px)
            ));
        }
        if let Some(window) = &reading.window {
            let [short_s, long_s] = window.pulses_s;
            lines.push(format!(
                "Within {} px, with {} % of the vectors valid: {} to {} ({} to {} px of streak).",
                short(self.wish.limit_px),
                short(100.0 * self.wish.valid),
                time(short_s),
                time(long_s),
                short(self.streak_px(short_s)),
                short(self.streak_px(long_s))
            ));
        }
        for (side, name) in ["Shorter", "Longer"].iter().enumerate() {
            if !self.stopped || self.causes[side].is_some() {
                lines.push(self.wall_words(side, name));
            }
        }
        if !self.remedies.is_empty() {
            lines.push("What would help, each computed on new pairs:".to_owned());
            lines.extend(
                self.remedies
                    .iter()
                    .map(|r| format!("  {}", remedy_words(r, self.wish.limit_px, self.wish.valid))),
            );
        }
        if self.stopped {
            lines.push(
                "The study was stopped early: what stands here rests on the pairs done until then."
                    .to_owned(),
            );
        }
        lines.join("\n") + "\n"
    }

    fn wall_words(&self, side: usize, name: &str) -> String {
        let Some(cause) = self.causes[side] else {
            return format!(
                "{name} pulses: the best stands at this end of the range, nothing beyond was tried."
            );
        };
        let measured = format!(
            "at {} the error is {} px; with unlimited light it would be {} px, with the motion frozen {} px",
            format(cause.pulse_s, Dimension::Time),
            short(cause.total_px),
            short(cause.unlimited_light_px),
            short(cause.frozen_px)
        );
        match self.limit(side) {
            Limit::Light => format!(
                "{name} pulses: light limits. {} the particles drown in noise ({measured}).",
                side_word(side)
            ),
            Limit::Blur => format!(
                "{name} pulses: blur limits. {} streaks smear the particle images ({measured}).",
                side_word(side)
            ),
            Limit::Range => format!("{name} pulses: nothing limits within the range tried ({measured})."),
            Limit::Other => format!(
                "{name} pulses: neither light nor blur is to blame; look at window, gradients and out-of-plane motion ({measured})."
            ),
        }
    }

    /// The answer for machines.
    pub fn json(&self, source: &Source) -> Value {
        let points: Vec<Value> = self
            .points
            .iter()
            .map(|m| {
                let mut row =
                    json!({ "pulse_s": m.pulse_s, "streak_px": m.streak_px, "pairs": m.point.score.pairs });
                for (name, e) in crate::table::figures(&m.point) {
                    row[name] = estimate(e);
                }
                row
            })
            .collect();
        let best = self.best().map(|(m, reading)| {
            let total = best_total(&samples(&self.points), reading);
            let fast = m.point.fast.total_px;
            json!({
                "pulse_s": m.pulse_s,
                "pulse_s_lo": reading.best_interval_s[0],
                "pulse_s_hi": reading.best_interval_s[1],
                "about_as_good_s": reading.about_as_good_s,
                "streak_px": m.streak_px,
                "total_px": estimate(total),
                "total_m_s": self.velocity_m_s(total.value),
                "total_share_of_mean_speed": total.value / self.speeds.mean_px,
                "fast_total_px": estimate(fast),
                "fast_total_m_s": self.velocity_m_s(fast.value),
                "fast_total_share_of_its_speed": fast.value / m.point.fast_displacement_px,
                "valid": 1.0 - m.point.score.outliers.value,
                "meets_limit": self.met(),
            })
        });
        let window = self.reading.as_ref().and_then(|r| r.window).map(|w| {
            json!({
                "shortest_s": w.pulses_s[0],
                "longest_s": w.pulses_s[1],
                "shortest_streak_px": self.streak_px(w.pulses_s[0]),
                "longest_streak_px": self.streak_px(w.pulses_s[1]),
            })
        });
        let side = |k: usize| {
            json!({
                "limits": self.limit(k).as_str(),
                "at_pulse_s": self.causes[k].map(|c| c.pulse_s),
                "total_px": self.causes[k].map(|c| c.total_px),
                "with_unlimited_light_px": self.causes[k].map(|c| c.unlimited_light_px),
                "with_frozen_motion_px": self.causes[k].map(|c| c.frozen_px),
            })
        };
        let remedies: Vec<Value> = self
            .remedies
            .iter()
            .map(|r| json!({ "change": r.change, "pulse_s": r.pulse_s, "total_px": r.total_px, "valid": r.valid, "total_over_mean_displacement": r.relative }))
            .collect();
        json!({
            "schema": SCHEMA,
            "version": env!("CARGO_PKG_VERSION"),
            "setup": { "name": source.name, "text": source.text, "changes": source.changes },
            "seed": self.wish.effort.seed,
            "limit_px": self.wish.limit_px,
            "valid_fraction_asked": self.wish.valid,
            "precision": self.wish.effort.precision,
            "best": best,
            "window": window,
            "short_side": side(0),
            "long_side": side(1),
            "remedies": remedies,
            "points": points,
            "stopped": self.stopped,
        })
    }
}

fn side_word(side: usize) -> &'static str {
    if side == 0 { "Below," } else { "Above," }
}

fn remedy_words(r: &Remedy, limit_px: f64, valid: f64) -> String {
    let verdict = match (r.total_px <= limit_px, r.valid >= valid) {
        (true, true) => "meets the limit",
        (_, false) => "too many vectors lost",
        (false, true) => "not enough alone",
    };
    format!(
        "{}: {} px at {} ({} % of the mean displacement, {} % valid); {verdict}",
        r.change,
        short(r.total_px),
        format(r.pulse_s, Dimension::Time),
        short(100.0 * r.relative),
        short(100.0 * r.valid)
    )
}

fn estimate(e: Estimate) -> Value {
    json!({ "value": e.value, "lo": e.lo, "hi": e.hi })
}

/// The curve that shows a decision.
pub fn curve(decision: &Decision) -> crate::curve::Curve {
    use crate::curve::{Best, Curve, Point};
    let points = decision
        .points
        .iter()
        .map(|m| {
            let [x, y] = &m.point.score.point;
            let valid_fraction = 1.0 - m.point.score.outliers.value;
            Point {
                pulse_s: m.pulse_s,
                streak_px: m.streak_px,
                total_px: m.point.score.total_px,
                random_px: x.random_px.value.hypot(y.random_px.value),
                bias_px: x.bias_px.value.hypot(y.bias_px.value),
                valid_fraction,
                usable: valid_fraction >= decision.wish.valid,
            }
        })
        .collect();
    let wall = |side: usize| match decision.limit(side) {
        Limit::Light => "light limits",
        Limit::Blur => "blur limits",
        Limit::Range => "",
        Limit::Other => "the flow or the window limits",
    };
    Curve {
        points,
        limit_px: decision.wish.limit_px,
        best: decision.best().filter(|(_, r)| r.usable).map(|(m, r)| Best {
            pulse_s: Estimate {
                value: m.pulse_s,
                lo: r.best_interval_s[0],
                hi: r.best_interval_s[1],
            },
            total_px: m.point.score.total_px.value,
        }),
        window_s: decision
            .reading
            .as_ref()
            .and_then(|r| r.window)
            .map(|w| w.pulses_s),
        title: "Error against length of the light pulse".to_owned(),
        x_label: "pulse length".to_owned(),
        streak_label: "streak in the fastest tenth of the field, px".to_owned(),
        y_label: "error of the displacement vector, px".to_owned(),
        short_wall: wall(0).to_owned(),
        long_wall: wall(1).to_owned(),
    }
}

/// Sweep rows for the table, in us.
pub fn rows(decision: &Decision) -> Vec<(crate::table::Label, &crate::study::Point)> {
    decision
        .points
        .iter()
        .map(|m| {
            let label = crate::table::Label {
                value: crate::table::digits(m.pulse_s * 1e6),
                unit: "us".to_owned(),
                streak_px: m.streak_px,
            };
            (label, &m.point)
        })
        .collect()
}

/// Pulse lengths of which a sample pair is shown: the shortest and longest within the limit (of the sweep, where there are
/// none) and the best between them.
pub fn shown(decision: &Decision) -> Vec<(&'static str, f64)> {
    let (Some(first), Some(last), Some((best, reading))) =
        (decision.points.first(), decision.points.last(), decision.best())
    else {
        return Vec::new();
    };
    let [short_s, long_s] = reading
        .window
        .map_or([first.pulse_s, last.pulse_s], |w| w.pulses_s);
    vec![("shortest", short_s), ("best", best.pulse_s), ("longest", long_s)]
}
