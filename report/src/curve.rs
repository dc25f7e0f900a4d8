//! The picture of the decision: error against pulse length.

mod chart;
mod words;

use chart::Chart;
use motefield_evaluator::statistics::Estimate;

use crate::figure::{Area, Svg};
use crate::format::{self, pixels, typeset};

/// One pulse length of the study.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Pulse length, s; above 0.
    pub pulse_s: f64,
    /// Streak length, px; proportional to the pulse length.
    pub streak_px: f64,
    /// Total error, px.
    pub total_px: Estimate,
    /// Random error, px: what changes from pair to pair.
    pub random_px: f64,
    /// Local bias, px: what a place errs in every pair; none where that cannot be told from the
    /// random error.
    pub local_px: Option<f64>,
    /// Bias, px; its magnitude is drawn.
    pub bias_px: f64,
    /// Share of valid vectors.
    pub valid_fraction: f64,
    /// Whether enough vectors are valid for the point to count.
    pub usable: bool,
}

/// The pulse length to use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Best {
    /// Pulse length with the smallest total error, s, with its interval.
    pub pulse_s: Estimate,
    /// Its total error, px.
    pub total_px: f64,
}

/// Everything the picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// The study's points, by rising pulse length. Points whose pulse length or total error is not
    /// above 0 and finite are left out.
    pub points: Vec<CurvePoint>,
    /// Largest total error allowed, px.
    pub limit_px: f64,
    /// The pulse length to use; none if no point is usable.
    pub best: Option<Best>,
    /// Shortest and longest pulse length that meet the limit, s; none if no pulse length does.
    pub window_s: Option<[f64; 2]>,
    /// Of a study that was stopped and has no answer: how to get it.
    pub unfinished: Option<String>,
    /// Above the picture.
    pub title: String,
    /// Along the lower axis.
    pub x_label: String,
    /// Along the upper axis.
    pub streak_label: String,
    /// Along the left axis.
    pub y_label: String,
    /// What must be said beside the best, in one line; empty if nothing must.
    pub caution: String,
    /// What limits toward short pulses, in a few words; empty if nothing does.
    pub short_wall: String,
    /// What limits toward long pulses, in a few words; empty if nothing does.
    pub long_wall: String,
}

const SIZE: [f64; 2] = [900.0, 620.0];
/// The frame; its upper strip holds the words about the walls and the window, the curves run below.
const FRAME: Area = Area {
    x: [84.0, 806.0],
    y: [132.0, 556.0],
};
const STRIP: f64 = 48.0;
/// Where the curves run.
const PLOT: Area = Area {
    x: FRAME.x,
    y: [FRAME.y[0] + STRIP, FRAME.y[1]],
};

/// Draws the curve on logarithmic axes as the content of an SVG file, 900 × 620 px.
pub fn draw(curve: &Curve) -> String {
    let points: Vec<CurvePoint> = curve
        .points
        .iter()
        .copied()
        .filter(|p| drawable(p.pulse_s) && drawable(p.total_px.value))
        .collect();
    let mut svg = Svg::new(SIZE, &curve.title, &description(curve, &points));
    let chart = Chart::of(curve, &points);
    chart.window(&mut svg);
    chart.axes(&mut svg);
    chart.limit(&mut svg);
    chart.lines(&mut svg);
    chart.best(&mut svg);
    chart.words(&mut svg);
    chart.legend(&mut svg);
    svg.finish()
}

fn drawable(value: f64) -> bool {
    value.is_finite() && value > 0.0
}

/// "184 µs".
fn time(seconds: f64) -> String {
    typeset(&format::time(seconds))
}

fn description(curve: &Curve, points: &[CurvePoint]) -> String {
    let mut text = match (points.first(), points.last()) {
        (Some(first), Some(last)) => format!(
            "Error against pulse length on logarithmic axes: {} pulse lengths from {} to {}. ",
            points.len(),
            time(first.pulse_s),
            time(last.pulse_s)
        ),
        _ => "Error against pulse length: no points. ".to_owned(),
    };
    if let Some(best) = curve.best {
        text += &format!(
            "The total error is smallest, {}, at {}. ",
            pixels(best.total_px),
            time(best.pulse_s.value)
        );
    }
    text += &window_words(curve);
    text += ".";
    if !curve.caution.is_empty() {
        text += &format!(" Caution: {}.", curve.caution);
    }
    for (side, wall) in [("Shorter", &curve.short_wall), ("Longer", &curve.long_wall)] {
        if !wall.is_empty() {
            text += &format!(" {side} pulses: {wall}.");
        }
    }
    text
}

fn window_words(curve: &Curve) -> String {
    if let Some(unfinished) = &curve.unfinished {
        return unfinished.trim_end_matches('.').to_owned();
    }
    let limit = pixels(curve.limit_px);
    match curve.window_s {
        Some([from, to]) if from < to => format!("{} to {} stay within {limit}", time(from), time(to)),
        Some([only, _]) => format!("{} stays within {limit}", time(only)),
        None => format!("No pulse length stays within {limit}"),
    }
}

#[cfg(test)]
mod tests;
