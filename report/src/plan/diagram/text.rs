//! The timing diagram in plain characters.

use super::{Diagram, ORIGIN, scale_words};
use crate::format::time;

/// Columns of the drawing.
const COLUMNS: usize = 84;
/// Columns of the names of its rows.
const NAMES: usize = 18;
/// Room of the shortest span, in columns.
const LEAST: f64 = 6.0;

/// The diagram as text: rows of pulses and exposures above numbered edges, then what happens at
/// each.
pub fn text(diagram: &Diagram) -> String {
    let (places, to_scale) = diagram.places(LEAST / COLUMNS as f64);
    let column = |time_s| {
        let place = diagram.place(&places, time_s);
        ((place * (COLUMNS - 1) as f64).round() as usize).min(COLUMNS - 1)
    };
    let mut out = String::new();
    let mut row = |name: &str, line: &[char]| {
        let line: String = line.iter().collect();
        out.push_str(&format!("{name:NAMES$}{}\n", line.trim_end()));
    };
    for lane in &diagram.lanes {
        for (k, span) in lane.spans.iter().enumerate() {
            let mut line = vec!['_'; COLUMNS];
            let [from, to] = span.time_s.map(column);
            line[from..=to].fill(if lane.is_light { '#' } else { '=' });
            inscribe(&mut line, from, to, &duration(span.time_s));
            let name = if lane.spans.len() == 1 && k == 0 {
                lane.name
            } else {
                span.name.as_str()
            };
            row(name, &line);
        }
    }
    for measure in &diagram.measures {
        let mut line = vec![' '; COLUMNS];
        let [from, to] = measure.time_s.map(column);
        line[from..=to].fill('-');
        line[from] = '<';
        line[to] = '>';
        inscribe(&mut line, from, to, &duration(measure.time_s));
        row(&measure.name, &line);
    }
    let mut numbers = vec![' '; COLUMNS];
    for (k, place) in places.iter().enumerate() {
        let at = (place * (COLUMNS - 1) as f64).round() as usize;
        numbers[at.min(COLUMNS - 1)] = char::from_digit(1 + k as u32, 36).unwrap_or('?');
    }
    row("edge", &numbers);
    out.push('\n');
    for (k, edge) in diagram.edges.iter().enumerate() {
        out.push_str(&format!(
            "{:>4}  {:>10}  {}\n",
            k + 1,
            diagram.label(k),
            edge.events.join(", ")
        ));
    }
    out.push('\n');
    out.push_str(&format!("{} {ORIGIN}\n", scale_words(to_scale)));
    for note in &diagram.notes {
        out.push_str(&format!("{note}\n"));
    }
    out
}

fn duration([from, to]: [f64; 2]) -> String {
    let length = to - from;
    if length.is_finite() {
        time(length)
    } else {
        String::new()
    }
}

/// Writes a label into the middle of a bar that has room for it.
fn inscribe(line: &mut [char], from: usize, to: usize, label: &str) {
    let label = format!(" {label} ");
    let room = to - from + 1;
    let length = label.chars().count();
    if label.trim().is_empty() || length + 2 > room {
        return;
    }
    let start = from + (room - length) / 2;
    for (k, c) in label.chars().enumerate() {
        line[start + k] = c;
    }
}
