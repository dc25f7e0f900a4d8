//! The decision in words and as JSON.

use motefield_evaluator::score::{Component, OUTLIER_PX};
use motefield_evaluator::statistics::Estimate;
use serde_json::{Value, json};

use crate::answer::AS_GOOD;
use crate::format::{figure, interval, percent, remarks};
use crate::json::{self, Interval};
use motefield_rig::quantity::{Dimension, digits, format, short};
use motefield_rig::setup::Setup;
use motefield_study::decide::bounds::{Edge, SearchEnd};
use motefield_study::decide::question::Question;
use motefield_study::decide::reading::{PulseReading, best_total};
use motefield_study::decide::{Cause, Decision, Limit, MeasuredPulse, samples};
use motefield_study::values::figures;

/// The layout of a pulse length's `decision.json`. Since 2 `random_x_px` is what changes from pair
/// to pair at one place, without the `local_x_px` that it contained before, and `precision` is that
/// of `total_px`.
const SCHEMA: &str = "motefield-decision/3";

fn time(seconds: f64) -> String {
    format(seconds, Dimension::Time)
}

/// Share of vectors that are valid.
fn valid(measured: &MeasuredPulse) -> f64 {
    1.0 - measured.point.score.outliers.value
}

/// The answer in words; of a study that was stopped there is none, and `go_on`
/// says how to get it.
pub fn words(decision: &Decision, go_on: &str) -> String {
    if decision.stopped {
        let pairs: usize = decision.points.iter().map(|m| m.point.score.pairs).sum();
        let points = decision.points.len();
        let done = format!("Measured so far: {points} pulse lengths, {pairs} pairs.");
        return format!("{}\n{done}\n", super::unfinished(go_on));
    }
    let Some((best, reading)) = decision.best() else {
        return "Nothing was measured.\n".to_owned();
    };
    let mut lines = best_words(decision, best, reading);
    lines.extend(error_words(decision, best, reading));
    if let Some(window) = &reading.window {
        let [shortest_s, longest_s] = window.pulses_s;
        lines.push(format!(
            "Within {} px, with {} of the vectors valid: {} to {} ({} to {} px of streak).",
            short(decision.wish.limit_px),
            percent(decision.wish.valid),
            time(shortest_s),
            time(longest_s),
            short(decision.streak_px(shortest_s)),
            short(decision.streak_px(longest_s))
        ));
    }
    for (side, name) in ["Shorter", "Longer"].iter().enumerate() {
        lines.push(wall_words(decision, side, name));
    }
    lines.join("\n") + "\n"
}

/// The pulse length to use, how well it is known, and what it does.
fn best_words(decision: &Decision, best: &MeasuredPulse, reading: &PulseReading) -> Vec<String> {
    let answer = match (decision.met(), reading.usable) {
        (true, _) if decision.edge() == Edge::OfTried => format!(
            "No pulse length is recommended: the total error is smallest at {}, the edge of what was tried.",
            time(best.pulse_s)
        ),
        (true, _) => format!("Use a pulse of {}: the smallest total error.", time(best.pulse_s)),
        (false, true) => format!(
            "No pulse length keeps the total error within {} px. The best is {}.",
            short(decision.wish.limit_px),
            time(best.pulse_s)
        ),
        (false, false) => format!(
            "No pulse length keeps {} of the vectors valid. The best is {}, with {}.",
            percent(decision.wish.valid),
            time(best.pulse_s),
            percent(valid(best))
        ),
    };
    let [from, to] = reading.best_interval_s;
    let [near, far] = reading.about_as_good_s;
    vec![
        answer,
        format!("  {AS_GOOD}{} to {}", time(from), time(to)),
        format!("  at most 10 % more error: {} to {}", time(near), time(far)),
        format!(
            "  streak in the fastest tenth of the field: {} px",
            short(best.streak_px)
        ),
        format!("  valid vectors: {}", percent(valid(best))),
    ]
    .into_iter()
    .chain(
        best.point
            .caveats
            .iter()
            .map(|caveat| format!("  caution: {caveat}")),
    )
    .collect()
}

/// The errors at the best pulse length.
fn error_words(decision: &Decision, best: &MeasuredPulse, reading: &PulseReading) -> Vec<String> {
    let px = |e: Estimate| interval(e, "px");
    let heading = "  total error in pairs that took no part in the choice (root mean square of the error vector, 95 % interval):";
    let mut lines = vec![heading.to_owned()];
    let total = best_total(&samples(&decision.points), reading);
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
        lines.push(format!(
            "    {place:<21} {}{velocity} = {} % of its mean speed",
            px(estimate),
            short(100.0 * estimate.value / displacement)
        ));
    }
    for (axis, c) in ["x", "y"].iter().zip(&best.point.score.point) {
        lines.push(format!(
            "    along {axis}: bias {}, local bias {}, random {}",
            px(c.bias_px),
            figure(c.local_px, "px"),
            px(c.random_px)
        ));
    }
    lines.push(averaging_words(&best.point.score.point));
    lines
}

/// What is left of the total error when many pairs are averaged.
fn averaging_words(components: &[Component; 2]) -> String {
    let left = |c: &Component| Some(c.bias_px.value.hypot(c.local_px.ok()?.value));
    match (left(&components[0]), left(&components[1])) {
        (Some(x), Some(y)) => format!(
            "    a mean over N pairs brings the random parts down by the root of N; bias and local bias stay: {} px",
            short(x.hypot(y))
        ),
        _ => "    what a mean over many pairs would keep of it cannot be told".to_owned(),
    }
}

/// What a cause does; one number stands for the error of a point, also where it is compared.
fn cause_words(cause: &Cause) -> String {
    let own = match cause.total_px.is_finite() {
        true => format!(
            "at {} the error is {} px",
            time(cause.pulse_s),
            short(cause.total_px)
        ),
        false => format!("at {} no vector is valid", time(cause.pulse_s)),
    };
    let counted = match cause.counts_lost {
        true => format!(
            ", {} px if each lost vector counts as {OUTLIER_PX} px; so counted",
            short(cause.compared_px)
        ),
        false => String::new(),
    };
    format!(
        "{own}{counted}{} with unlimited light it would be {} px, with the motion frozen {} px",
        if cause.counts_lost { "," } else { ";" },
        short(cause.unlimited_light_px),
        short(cause.frozen_px)
    )
}

fn wall_words(decision: &Decision, side: usize, name: &str) -> String {
    let Some(cause) = decision.causes[side] else {
        return match (decision.wall, side) {
            (Some(wall), 1) => format!("{name} pulses: {}.", wall.words()),
            _ => format!("{name} pulses: the best is at this end of the range; nothing beyond it was tried."),
        };
    };
    let measured = cause_words(&cause);
    match decision.limit(side) {
        Limit::Range if side == 1 && decision.wall.is_some() => {
            let wall = decision.wall.map_or("", SearchEnd::words);
            format!("{name} pulses: {wall} ({measured}).")
        }
        Limit::Light => {
            format!("{name} pulses: light limits; the particle images are lost in noise ({measured}).")
        }
        Limit::Blur => {
            format!("{name} pulses: blur limits; streaks smear the particle images ({measured}).")
        }
        Limit::Range => format!("{name} pulses: nothing limits within the range tried ({measured})."),
        Limit::Other => format!(
            "{name} pulses: neither light nor blur limits; check the window, gradients and out-of-plane motion ({measured})."
        ),
    }
}

/// The answer for programs; of a study that was stopped there is none, and `unfinished` says so
/// with `go_on`, how to get it.
pub fn json(decision: &Decision, setup: &Setup, go_on: &str) -> Value {
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
            "limits": (!decision.stopped).then(|| decision.limit(k).as_str()),
            "at_pulse_s": decision.causes[k].map(|c| c.pulse_s),
            "total_px": decision.causes[k].map(|c| c.total_px),
            "lost_vectors_counted": decision.causes[k].map(|c| c.counts_lost),
            "compared_px": decision.causes[k].map(|c| c.compared_px),
            "with_unlimited_light_px": decision.causes[k].map(|c| c.unlimited_light_px),
            "with_frozen_motion_px": decision.causes[k].map(|c| c.frozen_px),
        })
    };
    let fields = json!({
        "setup": json::setup(setup),
        "question": Question::PulseLength.as_str(),
        "seed": decision.wish.effort.seed,
        "limit_px": decision.wish.limit_px,
        "valid_fraction_asked": decision.wish.valid,
        "precision": decision.wish.effort.precision,
        "best": best_json(decision),
        "window": window,
        "short_side": side(0),
        "long_side": side(1),
        "points": decision.points.iter().map(point_json).collect::<Value>(),
        "stopped": decision.stopped,
        "unfinished": decision.stopped.then(|| super::unfinished(go_on)),
    });
    json::file(SCHEMA, fields)
}

fn best_json(decision: &Decision) -> Option<Value> {
    let (m, reading) = decision.best()?;
    let total = best_total(&samples(&decision.points), reading);
    let fast = m.point.fast.total_px;
    Some(json!({
        "pulse_s": m.pulse_s,
        "pulse_s_lo": reading.best_interval_s[0],
        "pulse_s_hi": reading.best_interval_s[1],
        "about_as_good_s": reading.about_as_good_s,
        "streak_px": m.streak_px,
        "total_px": Interval::from(total),
        "total_m_s": decision.velocity_m_s(total.value),
        "total_share_of_mean_speed": total.value / decision.speeds.mean_px,
        "fast_total_px": Interval::from(fast),
        "fast_total_m_s": decision.velocity_m_s(fast.value),
        "fast_total_share_of_its_speed": fast.value / m.point.fast_displacement_px,
        "valid": valid(m),
        "meets_limit": decision.met(),
        "at_end_of_range": at_end(decision),
        "at_edge_of_tried": decision.edge() == Edge::OfTried,
        "ended_by": match decision.edge() {
            Edge::At(wall) => Some(wall.as_str()),
            Edge::OfTried => Some("tried"),
            Edge::Inside => None,
        },
        "caveats": json::caveats(&m.point.caveats),
    }))
}

fn point_json(m: &MeasuredPulse) -> Value {
    let mut row = json::figures(figures(&m.point));
    row.insert("pulse_s".to_owned(), json!(m.pulse_s));
    row.insert("streak_px".to_owned(), json!(m.streak_px));
    row.insert("pairs".to_owned(), json!(m.point.score.pairs));
    row.insert("own_pairs".to_owned(), json!(m.point.is_measured_again()));
    row.insert("caveats".to_owned(), json::caveats(&m.point.caveats));
    row.into()
}

/// Whether the best is the shortest or the longest pulse tried: beyond it may be a better one.
fn at_end(decision: &Decision) -> bool {
    let last = decision.points.len().saturating_sub(1);
    decision
        .best()
        .is_some_and(|(_, reading)| reading.best == 0 || reading.best == last)
}

/// What must be said beside the best, in one line.
fn caution(decision: &Decision) -> String {
    let mut all = Vec::new();
    if at_end(decision) {
        all.push("the best is at the end of the range tried".to_owned());
    }
    if let Some((best, _)) = decision.best().filter(|(best, _)| !best.point.caveats.is_empty()) {
        all.push(remarks(&best.point.caveats));
    }
    all.join("; ")
}

/// The curve that shows a decision; that of a study that was stopped says how to go on.
pub fn curve(decision: &Decision, go_on: &str) -> crate::curve::Curve {
    use crate::curve::{Best, Curve, CurvePoint};
    let points = decision
        .points
        .iter()
        .map(|m| {
            let [x, y] = &m.point.score.point;
            let valid_fraction = valid(m);
            CurvePoint {
                pulse_s: m.pulse_s,
                streak_px: m.streak_px,
                total_px: m.point.score.total_px,
                random_px: x.random_px.value.hypot(y.random_px.value),
                local_px: x.local_px.and_then(|x| Ok(x.value.hypot(y.local_px?.value))).ok(),
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
        title: match decision.stopped {
            true => "Unfinished, nothing is recommended: error against pulse length".to_owned(),
            false => "Error against length of the light pulse".to_owned(),
        },
        unfinished: decision.stopped.then(|| go_on.to_owned()),
        x_label: "pulse length".to_owned(),
        streak_label: "streak in the fastest tenth of the field, px".to_owned(),
        y_label: "error of the displacement vector, px".to_owned(),
        caution: caution(decision),
        short_wall: wall(0).to_owned(),
        long_wall: wall(1).to_owned(),
    }
}

/// Rows of the table of pulse lengths, in us.
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

/// Pulse lengths of which a sample pair is shown, s: the shortest and longest within the limit (of
/// the sweep, where there are none) and the best between them.
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
