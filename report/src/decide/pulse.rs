//! The decision in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use serde_json::{Value, json};

use motefield_rig::quantity::{Dimension, digits, format, short};
use motefield_rig::setup::Setup;
use motefield_study::decide::reading::best_total;
use motefield_study::decide::{Decision, Limit, Remedy, samples};
use motefield_study::values::figures;

/// Version of the layout of `decision.json`: raised when a name changes its meaning or goes.
pub const SCHEMA: &str = "motefield-decision/1";

/// The answer for a person at a terminal.
pub fn words(decision: &Decision) -> String {
    let mut lines: Vec<String> = Vec::new();
    let Some((best, reading)) = decision.best() else {
        return "Nothing was measured.\n".to_owned();
    };
    let time = |s: f64| format(s, Dimension::Time);
    let px = |e: Estimate| format!("{} px ({} to {})", short(e.value), short(e.lo), short(e.hi));
    let total = best_total(&samples(&decision.points), reading);
    lines.push(match (decision.met(), reading.usable) {
        (true, _) => format!("Use a pulse of {}: the smallest total error.", time(best.pulse_s)),
        (false, true) => format!(
            "No pulse length keeps the total error within {} px. The best is {}.",
            short(decision.wish.limit_px),
            time(best.pulse_s)
        ),
        (false, false) => format!(
            "No pulse length keeps {} % of the vectors valid. The best is {}, with {} %.",
            short(100.0 * decision.wish.valid),
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
    lines.push("  total error, root mean square of the error vector, 95 % interval in brackets:".to_owned());
    for (place, estimate, displacement) in [
        ("over the field", total, decision.speeds.mean_px),
        (
            "in its fastest tenth",
            best.point.fast.total_px,
            best.point.fast_displacement_px,
        ),
    ] {
        let velocity = decision
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
            short(decision.wish.limit_px),
            short(100.0 * decision.wish.valid),
            time(short_s),
            time(long_s),
            short(decision.streak_px(short_s)),
            short(decision.streak_px(long_s))
        ));
    }
    for (side, name) in ["Shorter", "Longer"].iter().enumerate() {
        if !decision.stopped || decision.causes[side].is_some() {
            lines.push(wall_words(decision, side, name));
        }
    }
    if !decision.remedies.is_empty() {
        lines.push("What would help, each computed on new pairs:".to_owned());
        lines.extend(decision.remedies.iter().map(|r| {
            format!(
                "  {}",
                remedy_words(r, decision.wish.limit_px, decision.wish.valid)
            )
        }));
    }
    if decision.stopped {
        lines.push(
            "The study was stopped early: what stands here rests on the pairs done until then.".to_owned(),
        );
    }
    lines.join("\n") + "\n"
}

fn wall_words(decision: &Decision, side: usize, name: &str) -> String {
    let Some(cause) = decision.causes[side] else {
        return format!("{name} pulses: the best stands at this end of the range, nothing beyond was tried.");
    };
    let measured = format!(
        "at {} the error is {} px; with unlimited light it would be {} px, with the motion frozen {} px",
        format(cause.pulse_s, Dimension::Time),
        short(cause.total_px),
        short(cause.unlimited_light_px),
        short(cause.frozen_px)
    );
    match decision.limit(side) {
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
pub fn json(decision: &Decision, setup: &Setup) -> Value {
    let points: Vec<Value> = decision
        .points
        .iter()
        .map(|m| {
            let mut row =
                json!({ "pulse_s": m.pulse_s, "streak_px": m.streak_px, "pairs": m.point.score.pairs });
            for (name, e) in figures(&m.point) {
                row[name] = estimate(e);
            }
            row
        })
        .collect();
    let best = decision.best().map(|(m, reading)| {
        let total = best_total(&samples(&decision.points), reading);
        let fast = m.point.fast.total_px;
        json!({
            "pulse_s": m.pulse_s,
            "pulse_s_lo": reading.best_interval_s[0],
            "pulse_s_hi": reading.best_interval_s[1],
            "about_as_good_s": reading.about_as_good_s,
            "streak_px": m.streak_px,
            "total_px": estimate(total),
            "total_m_s": decision.velocity_m_s(total.value),
            "total_share_of_mean_speed": total.value / decision.speeds.mean_px,
            "fast_total_px": estimate(fast),
            "fast_total_m_s": decision.velocity_m_s(fast.value),
            "fast_total_share_of_its_speed": fast.value / m.point.fast_displacement_px,
            "valid": 1.0 - m.point.score.outliers.value,
            "meets_limit": decision.met(),
        })
    });
    let window = decision.reading.as_ref().and_then(|r| r.window).map(|w| {
        json!({
            "shortest_s": w.pulses_s[0],
            "longest_s": w.pulses_s[1],
            "shortest_streak_px": decision.streak_px(w.pulses_s[0]),
            "longest_streak_px": decision.streak_px(w.pulses_s[1]),
        })
    });
    let side = |k: usize| {
        json!({
            "limits": decision.limit(k).as_str(),
            "at_pulse_s": decision.causes[k].map(|c| c.pulse_s),
            "total_px": decision.causes[k].map(|c| c.total_px),
            "with_unlimited_light_px": decision.causes[k].map(|c| c.unlimited_light_px),
            "with_frozen_motion_px": decision.causes[k].map(|c| c.frozen_px),
        })
    };
    let remedies: Vec<Value> = decision
            .remedies
            .iter()
            .map(|r| json!({ "change": r.change, "pulse_s": r.pulse_s, "total_px": r.total_px, "valid": r.valid, "total_over_mean_displacement": r.relative }))
            .collect();
    json!({
        "schema": SCHEMA,
        "version": env!("CARGO_PKG_VERSION"),
        "setup": crate::setup_json(setup),
        "seed": decision.wish.effort.seed,
        "limit_px": decision.wish.limit_px,
        "valid_fraction_asked": decision.wish.valid,
        "precision": decision.wish.effort.precision,
        "best": best,
        "window": window,
        "short_side": side(0),
        "long_side": side(1),
        "remedies": remedies,
        "points": points,
        "stopped": decision.stopped,
    })
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
pub fn rows(decision: &Decision) -> Vec<(crate::table::Label, &motefield_study::run::Point)> {
    decision
        .points
        .iter()
        .map(|m| {
            let label = crate::table::Label {
                value: digits(m.pulse_s * 1e6),
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
