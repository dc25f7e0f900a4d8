//! The page that shows recording and twin side by side.

use std::fmt::Write;

use motefield_evaluator::appearance::curves::REACH;
use motefield_rig::quantity::short;
use motefield_study::twin::Twin;

use super::{LightChanged, NOT_TOLD, change_words, error_words, range, verdict_words};
use crate::figure::legend::{self, LegendEntry};
use crate::figure::palette::{BLUE, VERMILION};
use crate::figure::{Anchor, Area, Axis, AxisScale, BOLD, HEADING, Ruler, Side, Svg, escape, frame, stroke};

const STYLE: &str = "body{font:15px/1.45 Helvetica,Arial,'Liberation Sans',sans-serif;color:#222;max-width:64rem;margin:1.5rem auto;padding:0 1rem}\
h1{font-size:1.5rem}h2{font-size:1.15rem;margin-top:1.8rem;border-bottom:1px solid #ccc}\
table{border-collapse:collapse;width:100%}td{text-align:left;vertical-align:top;padding:.2rem .6rem .2rem 0;border-bottom:1px solid #eee}\
.n{white-space:nowrap;font-variant-numeric:tabular-nums}.how{color:#666;font-size:.88em}\
img,svg{max-width:100%;height:auto}figure{margin:0 0 1rem}figcaption{color:#666;font-size:.88em}";

/// The page as HTML; the pictures stand beside it in `recorded.png` and `twin.png`.
pub fn html(twin: &Twin, errors: &[LightChanged]) -> String {
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\"><title>Recording and twin</title><style>{STYLE}</style></head>\n<body>\n<h1>Recording and twin</h1>\n<h2>The middle of a pair, at the same grey scale</h2>\n"
    );
    for (file, words) in [("recorded.png", "Recorded"), ("twin.png", "Twin")] {
        let _ = writeln!(
            out,
            "<figure><img src=\"{file}\" alt=\"{words}: frame A left, frame B right\"><figcaption>{words}: frame A left, frame B right</figcaption></figure>"
        );
    }
    let _ = writeln!(out, "<h2>What the pictures have in common</h2>\n{}", plots(twin));
    out.push_str("<h2>Error</h2>\n<table>");
    for (change, point) in errors {
        let told = point.map_or("not told".to_owned(), error_words);
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td class=\"n\">{}</td></tr>",
            escape(change_words(change).trim()),
            escape(&told)
        );
    }
    let _ = writeln!(out, "</table>\n<p>{}</p>", escape(&verdict_words(errors)));
    out.push_str("<h2>Estimates</h2>\n<table>");
    for q in &twin.quantities {
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td class=\"n\">{} {}</td><td class=\"n\">{}</td><td class=\"how\">{}</td></tr>",
            escape(q.label),
            escape(&short(q.estimate.value)),
            escape(q.unit),
            escape(&range(q.estimate)),
            escape(q.remark)
        );
    }
    let _ = writeln!(
        out,
        "</table>\n<p class=\"how\">{}</p>\n</body>\n</html>",
        escape(NOT_TOLD)
    );
    out
}

/// A curve's points: lists of (x, y) of the recording and of the twin.
type Both = [Vec<[f64; 2]>; 2];

const WIDE: f64 = 300.0;
const HIGH: f64 = 200.0;
const PITCH: [f64; 2] = [420.0, 310.0];

/// Histogram, spectrum and correlations of both.
fn plots(twin: &Twin) -> String {
    let size = [2.0 * PITCH[0] + 20.0, 2.0 * PITCH[1] + 70.0];
    let about = "Histogram of grey levels, power spectrum, correlation of frame A with itself and of frame A with frame B, of the recording and of its twin.";
    let mut svg = Svg::new(size, "Recording and twin", about);
    let [low, high] = twin.levels;
    let points = |values: &[f64], x: &dyn Fn(usize) -> f64| -> Vec<[f64; 2]> {
        values.iter().enumerate().map(|(k, v)| [x(k), *v]).collect()
    };
    let curves = &twin.curves;
    let parts = curves[0].histogram.len() as f64;
    let histogram = curves
        .each_ref()
        .map(|c| points(&c.histogram, &|k| low + (k as f64 + 0.5) / parts * (high - low)));
    let frequencies = (curves[0].spectrum[0].len() - 1) as f64;
    let spectrum = curves
        .each_ref()
        .map(|c| points(&c.spectrum[0], &|k| 0.5 * k as f64 / frequencies));
    let itself = curves.each_ref().map(|c| points(&c.itself[0], &|k| k as f64));
    let between = curves
        .each_ref()
        .map(|c| points(&c.between[0], &|k| k as f64 - REACH as f64));
    let log = AxisScale::Log;
    let linear = AxisScale::Linear;
    for (k, (title, x, both, scale)) in [
        ("Grey levels", "grey level of the twin, DN", histogram, log),
        ("Power spectrum along x", "spatial frequency, 1/px", spectrum, log),
        ("Frame A with itself along x", "lag, px", itself, linear),
        (
            "Frame A with frame B along x",
            "lag less the displacement, px",
            between,
            linear,
        ),
    ]
    .into_iter()
    .enumerate()
    {
        let corner = [70.0 + PITCH[0] * (k % 2) as f64, 50.0 + PITCH[1] * (k / 2) as f64];
        panel(&mut svg, corner, title, x, &both, scale);
    }
    let entries = [
        LegendEntry::line(stroke(BLUE, 2.0), "recorded"),
        LegendEntry::line(stroke(VERMILION, 1.5), "twin"),
    ];
    legend::row(&mut svg, [0.5 * size[0], size[1] - 18.0], &entries);
    svg.finish()
}

fn panel(svg: &mut Svg, [left, top]: [f64; 2], title: &str, x_title: &str, both: &Both, scale: AxisScale) {
    let plot = Area {
        x: [left, left + WIDE],
        y: [top, top + HIGH],
    };
    let all = || both.iter().flatten();
    let ends = |k: usize| {
        let values = all().map(|p| p[k]);
        [
            values.clone().fold(f64::INFINITY, f64::min),
            values.fold(f64::NEG_INFINITY, f64::max),
        ]
    };
    let [y_low, y_high] = ends(1);
    let positive = all()
        .map(|p| p[1])
        .filter(|v| *v > 0.0)
        .fold(f64::INFINITY, f64::min);
    let range = match scale {
        AxisScale::Log => [positive.min(0.5 * y_high).max(1e-12), 1.3 * y_high.max(2e-12)],
        AxisScale::Linear => {
            let room = 0.05 * (y_high - y_low).max(1e-9);
            [y_low - room, y_high + room]
        }
    };
    let [x_low, x_high] = ends(0);
    let x = Axis {
        scale: AxisScale::Linear,
        range: [x_low, x_high.max(x_low + 1e-9)],
        place: plot.x,
    };
    let y = Axis {
        scale,
        range,
        place: [plot.y[1], plot.y[0]],
    };
    let number = |v: f64| short(v);
    let rulers = [
        Ruler::new(x, Side::Bottom, &number).titled(x_title, 44.0),
        Ruler::new(y, Side::Left, &number),
    ];
    frame(
        svg,
        plot,
        plot,
        &rulers.map(|ruler| Ruler { grid: true, ..ruler }),
    );
    svg.text(title, HEADING, [left, top - 10.0], Anchor::Start, BOLD);
    for (points, style) in both.iter().zip([stroke(BLUE, 2.0), stroke(VERMILION, 1.5)]) {
        let inside = points.iter().filter(|p| p[1] >= range[0]);
        let line: Vec<[f64; 2]> = inside.map(|p| [x.at(p[0]), y.at(p[1])]).collect();
        svg.path(&line, false, &style);
    }
}
