//! The timing diagram as a picture.

use super::{Diagram, Span};
use crate::figure::palette::{BLACK, BLUE, FAINT, GREY, INK, ORANGE, PAPER};
use crate::figure::{Anchor, Area, BOLD, LABEL, NOTE, Svg, TITLE, fill, middle, stroke, text_width};
use crate::format::{time, typeset};

const WIDTH: f64 = 960.0;
/// Left and right end of the time axis, px.
const AXIS: [f64; 2] = [132.0, 936.0];
/// Room of the shortest span, px: its label in small type.
const LEAST: f64 = 74.0;
/// From one pulse or exposure to the next, px.
const LANE: f64 = 44.0;
/// From one duration to the next, px.
const MEASURE: f64 = 34.0;
/// From one line of the notes to the next, px.
const LINE: f64 = 18.0;
const TOP: f64 = 64.0;

/// Draws the diagram as the content of an SVG file.
pub fn draw(diagram: &Diagram, title: &str) -> String {
    let length = AXIS[1] - AXIS[0];
    let (places, to_scale) = diagram.places(LEAST / length);
    let x = |time_s: f64| AXIS[0] + length * diagram.place(&places, time_s);
    let rows: usize = diagram.lanes.iter().map(|lane| lane.spans.len()).sum();
    let lanes_end = TOP + LANE * rows as f64;
    let measures_end = lanes_end + MEASURE * diagram.measures.len() as f64 + 10.0;
    let labels_end = measures_end + 54.0;
    let height = labels_end + LINE * (diagram.notes.len() as f64 + 1.0) + 14.0;
    let mut svg = Svg::new([WIDTH, height], title, &super::text(diagram));
    svg.text(title, TITLE, [20.0, 30.0], Anchor::Start, BOLD);

    // Edges run down to their times.
    let edge_line = stroke(BLACK, 1.0) + " stroke-opacity=\"0.25\" stroke-dasharray=\"2 3\"";
    let edges: Vec<f64> = diagram.edges.iter().map(|edge| x(edge.time_s)).collect();
    for &at in &edges {
        svg.line([at, TOP - 8.0], [at, measures_end], &edge_line);
    }
    let mut top = TOP;
    for lane in &diagram.lanes {
        let colour = if lane.is_light { ORANGE } else { BLUE };
        for span in &lane.spans {
            bar(&mut svg, span, span.time_s.map(x), top, colour);
            top += LANE;
        }
    }
    let mut base = lanes_end + 22.0;
    for measure in &diagram.measures {
        dimension(&mut svg, measure, measure.time_s.map(x), base);
        base += MEASURE;
    }
    times(&mut svg, diagram, &edges, measures_end + 16.0);
    let first = format!("{} {}", super::scale_words(to_scale), super::ORIGIN);
    let lines = std::iter::once(&first).chain(&diagram.notes);
    for (k, line) in lines.enumerate() {
        let at = [20.0, labels_end + 8.0 + LINE * k as f64];
        svg.text(&typeset(line), NOTE, at, Anchor::Start, &fill(FAINT));
    }
    svg.finish()
}

/// Times of the edges, in two rows where neighbours would touch.
fn times(svg: &mut Svg, diagram: &Diagram, edges: &[f64], top: f64) {
    let mut ends = [f64::NEG_INFINITY; 2];
    for (k, &at) in edges.iter().enumerate() {
        let label = typeset(&diagram.label(k));
        let half = 0.5 * text_width(&label, LABEL);
        let row = usize::from(at - half < ends[0] + 6.0 && ends[1] < ends[0]);
        ends[row] = at + half;
        let y = top + LINE * row as f64;
        svg.text(&label, LABEL, [at, y], Anchor::Middle, "");
    }
}

/// A pulse or an exposure on its base line; open ends fade out in dashes.
fn bar(svg: &mut Svg, span: &Span, [left, right]: [f64; 2], top: f64, colour: &str) {
    let base = top + LANE - 12.0;
    svg.line([AXIS[0], base], [AXIS[1], base], &stroke(GREY, 1.0));
    let name = [AXIS[0] - 12.0, base - 6.0];
    svg.text(&span.name, LABEL, name, Anchor::End, "");
    let area = Area {
        x: [left, right],
        y: [top, base],
    };
    svg.area(area, &format!("{} fill-opacity=\"0.28\"", fill(colour)));
    let line = stroke(colour, 2.0);
    svg.line([left, top], [right, top], &line);
    for (at, open) in [(left, span.time_s[0]), (right, span.time_s[1])] {
        let dashes = match open.is_finite() {
            true => "",
            false => " stroke-dasharray=\"3 3\"",
        };
        svg.line([at, top], [at, base], &format!("{line}{dashes}"));
    }
    let [from, to] = span.time_s;
    if (to - from).is_finite() {
        let at = [middle([left, right]), base - 10.0];
        svg.text(&typeset(&time(to - from)), LABEL, at, Anchor::Middle, "");
    }
}

/// A duration between two arrow heads, its name beside or within.
fn dimension(svg: &mut Svg, measure: &Span, [left, right]: [f64; 2], y: f64) {
    svg.line([left, y], [right, y], &stroke(INK, 1.0));
    for (at, inward) in [(left, 6.0), (right, -6.0)] {
        let head = [[at, y], [at + inward, y - 3.5], [at + inward, y + 3.5]];
        svg.path(&head, true, &fill(INK));
    }
    let [from, to] = measure.time_s;
    let label = format!("{} {}", measure.name, typeset(&time(to - from)));
    let half = 0.5 * text_width(&label, LABEL);
    let at = middle([left, right]).clamp(AXIS[0] + half, AXIS[1] - half);
    let behind = Area::of_text(&label, LABEL, at, y - 6.0, Anchor::Middle);
    svg.area(behind, &format!("{} fill-opacity=\"0.85\"", fill(PAPER)));
    svg.text(&label, LABEL, [at, y - 6.0], Anchor::Middle, "");
}
