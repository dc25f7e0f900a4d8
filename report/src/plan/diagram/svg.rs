//! The timing diagram as a picture.

use super::{Diagram, Span, time};
use crate::figure::{Anchor, Area, Svg, text_width};

const WIDTH: f64 = 960.0;
/// Left and right end of the time axis.
const AXIS: [f64; 2] = [132.0, 936.0];
/// Room of the shortest span, px: its label in small type.
const LEAST: f64 = 74.0;
const LANE: f64 = 44.0;
const TOP: f64 = 64.0;
const INK: &str = "#222";
const FAINT: &str = "#666";
// Okabe and Ito's colours.
const LIGHT: &str = "#e69f00";
const CAMERA: &str = "#0072b2";

/// Draws the diagram as the content of an SVG file.
pub fn draw(diagram: &Diagram, title: &str) -> String {
    let length = AXIS[1] - AXIS[0];
    let (places, to_scale) = diagram.places(LEAST / length);
    let x = |time_s: f64| AXIS[0] + length * diagram.place(&places, time_s);
    let rows: usize = diagram.lanes.iter().map(|lane| lane.spans.len()).sum();
    let lanes_end = TOP + LANE * rows as f64;
    let measures_end = lanes_end + 34.0 * diagram.measures.len() as f64 + 10.0;
    let labels_end = measures_end + 54.0;
    let height = labels_end + 18.0 * (diagram.notes.len() as f64 + 1.0) + 14.0;
    let mut svg = Svg::new([WIDTH, height], title, &super::text(diagram));
    svg.text(title, 16.0, [20.0, 30.0], Anchor::Start, "font-weight=\"bold\"");

    // Edges run down to their times.
    for edge in &diagram.edges {
        let at = x(edge.time_s);
        svg.line(
            [at, TOP - 8.0],
            [at, measures_end],
            "stroke=\"#000\" stroke-opacity=\"0.25\" stroke-dasharray=\"2 3\"",
        );
    }
    let mut top = TOP;
    for lane in &diagram.lanes {
        let colour = if lane.name == "light" { LIGHT } else { CAMERA };
        for span in &lane.spans {
            bar(&mut svg, span, span.time_s.map(x), top, colour);
            top += LANE;
        }
    }
    let mut base = lanes_end + 22.0;
    for measure in &diagram.measures {
        dimension(&mut svg, measure, measure.time_s.map(x), base);
        base += 34.0;
    }
    // Times of the edges, in two rows where neighbours would touch.
    let mut ends = [f64::NEG_INFINITY; 2];
    for (k, edge) in diagram.edges.iter().enumerate() {
        let at = x(edge.time_s);
        let label = diagram.label(k).replace("us", "µs").replace('-', "\u{2212}");
        let half = 0.5 * text_width(&label, 13.0);
        let row = usize::from(at - half < ends[0] + 6.0 && ends[1] < ends[0]);
        ends[row] = at + half;
        let y = measures_end + 16.0 + 18.0 * row as f64;
        svg.text(&label, 13.0, [at, y], Anchor::Middle, &format!("fill=\"{INK}\""));
    }
    let scale = if to_scale {
        "To scale. "
    } else {
        "Not to scale: long spans are shortened. "
    };
    let mut y = labels_end + 8.0;
    svg.text(
        &format!("{scale}Time 0 is the start of pulse A."),
        12.0,
        [20.0, y],
        Anchor::Start,
        &format!("fill=\"{FAINT}\""),
    );
    for note in &diagram.notes {
        y += 18.0;
        svg.text(
            &note.replace(" us", " µs"),
            12.0,
            [20.0, y],
            Anchor::Start,
            &format!("fill=\"{FAINT}\""),
        );
    }
    svg.finish()
}

/// A pulse or an exposure on its base line; open ends fade out in dashes.
fn bar(svg: &mut Svg, span: &Span, [left, right]: [f64; 2], top: f64, colour: &str) {
    let base = top + LANE - 12.0;
    svg.line([AXIS[0], base], [AXIS[1], base], "stroke=\"#bbb\"");
    svg.text(
        &span.name,
        13.0,
        [AXIS[0] - 12.0, base - 6.0],
        Anchor::End,
        &format!("fill=\"{INK}\""),
    );
    let area = Area {
        x: [left, right],
        y: [top, base],
    };
    svg.area(area, &format!("fill=\"{colour}\" fill-opacity=\"0.28\""));
    svg.line(
        [left, top],
        [right, top],
        &format!("stroke=\"{colour}\" stroke-width=\"2\""),
    );
    for (at, open) in [(left, span.time_s[0]), (right, span.time_s[1])] {
        let dash = if open.is_finite() {
            ""
        } else {
            "stroke-dasharray=\"3 3\""
        };
        svg.line(
            [at, top],
            [at, base],
            &format!("stroke=\"{colour}\" stroke-width=\"2\" {dash}"),
        );
    }
    let [from, to] = span.time_s;
    if (to - from).is_finite() {
        let label = time(to - from).replace("us", "µs");
        svg.text(
            &label,
            13.0,
            [0.5 * (left + right), base - 10.0],
            Anchor::Middle,
            &format!("fill=\"{INK}\""),
        );
    }
}

/// A duration between two arrow heads, its name beside or within.
fn dimension(svg: &mut Svg, measure: &Span, [left, right]: [f64; 2], y: f64) {
    let ink = format!("stroke=\"{INK}\"");
    svg.line([left, y], [right, y], &ink);
    for (at, inward) in [(left, 6.0), (right, -6.0)] {
        let head = [[at, y], [at + inward, y - 3.5], [at + inward, y + 3.5]];
        svg.path(&head, true, &format!("fill=\"{INK}\""));
    }
    let [from, to] = measure.time_s;
    let label = format!("{} {}", measure.name, time(to - from).replace("us", "µs"));
    let width = text_width(&label, 13.0);
    let middle = (0.5 * (left + right)).clamp(AXIS[0] + 0.5 * width, AXIS[1] - 0.5 * width);
    let behind = Area::of_text(&label, 13.0, middle, y - 6.0, Anchor::Middle);
    svg.area(behind, "fill=\"#fff\" fill-opacity=\"0.85\"");
    svg.text(
        &label,
        13.0,
        [middle, y - 6.0],
        Anchor::Middle,
        &format!("fill=\"{INK}\""),
    );
}
