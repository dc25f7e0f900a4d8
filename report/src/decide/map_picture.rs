//! The map as a picture: one cell per pair of values, its colour and number the error, a letter
//! where a rule forbids it.

use crate::figure::palette::{BY_SIZE, FAINT, GREY, INK, PALE, PAPER, VERMILION, ramp};
use crate::figure::{
    Anchor, Area, BOLD, HEADING, LABEL, NOTE, Svg, TITLE, fill, fitted, middle, stroke, text_width,
};
use crate::format::{ends, in_percent, named, percent, remarks, typeset_all};
use motefield_rig::quantity::short;
use motefield_study::decide::map::Map;
use motefield_study::decide::trial::{Obstacle, Trial};
use motefield_study::vary::SweepValue;

/// Cells' width and height, px; narrower where there are many.
const CELL: [f64; 2] = [74.0, 46.0];
/// Widest field of cells, px.
const WIDEST: f64 = 780.0;
/// Left and top of the field of cells, px.
const CORNER: [f64; 2] = [150.0, 92.0];
/// From the smallest error to this multiple the colours run from light to dark.
const DARKEST: f64 = 8.0;
/// Radius of the ring at a best that lies between cells, px.
const RING: f64 = 7.0;
/// Half the room that the number of a cell takes, px.
const NUMBER: [f64; 2] = [26.0, 14.0];
/// Left end, width and height of the colour bar: right of the field of cells, px.
const BAR: [f64; 3] = [28.0, 14.0, 150.0];
/// Room right of the field of cells, px.
const BESIDE: f64 = 130.0;
/// Left end of titles and sentences, px.
const LEFT: f64 = 24.0;

fn letter(obstacle: Obstacle) -> &'static str {
    match obstacle {
        Obstacle::Impossible => "–",
        Obstacle::Straddling => "S",
        Obstacle::QuarterRule => "Q",
        Obstacle::FrameRate => "R",
        Obstacle::Source => "L",
        Obstacle::Saturation => "F",
        Obstacle::Valid => "V",
    }
}

fn legend(obstacle: Obstacle) -> &'static str {
    match obstacle {
        Obstacle::Impossible => "–  cannot be built (pulses outside the exposures, sizes, shares)",
        Obstacle::Straddling => "S  an exposure cuts its pulse",
        Obstacle::QuarterRule => "Q  fastest displacement exceeds a quarter of the first window",
        Obstacle::FrameRate => "R  a pair takes longer than two frames",
        Obstacle::Source => "L  pulses exceed the limits of the source",
        Obstacle::Saturation => "F  brightest particles exceed the camera's range",
        Obstacle::Valid => "V  too few valid vectors",
    }
}

/// The field of cells: a column for each first value, a row for each second one.
struct Field<'a> {
    map: &'a Map,
    /// The values of either axis that are shown.
    values: [Vec<SweepValue>; 2],
    /// Width and height of a cell, px.
    cell: [f64; 2],
    area: Area,
}

impl Field<'_> {
    fn of(map: &Map) -> Field<'_> {
        let values = [0, 1].map(|k| shown(map, k));
        let [columns, rows] = [values[0].len() as f64, values[1].len() as f64];
        let cell = [CELL[0].min(WIDEST / columns), CELL[1]];
        Field {
            map,
            values,
            cell,
            area: Area {
                x: [CORNER[0], CORNER[0] + cell[0] * columns],
                y: [CORNER[1], CORNER[1] + cell[1] * rows],
            },
        }
    }

    /// The middle of a cell, px. The larger second value stands higher, as on any axis.
    fn at(&self, column: f64, row: f64) -> [f64; 2] {
        [
            self.area.x[0] + self.cell[0] * (column + 0.5),
            self.area.y[1] - self.cell[1] * (row + 0.5),
        ]
    }

    /// What was tried at the values shown, with column and row.
    fn trials(&self) -> Vec<(usize, usize, &Trial)> {
        let [x, y] = &self.values;
        let cells = (0..y.len()).flat_map(|row| (0..x.len()).map(move |column| (column, row)));
        cells
            .filter_map(|(column, row)| Some((column, row, find(self.map, &x[column], &y[row])?)))
            .collect()
    }
}

/// Draws a map of two settings as the content of an SVG file; that of a study that was stopped has
/// no best, and says with `go_on` how to get it.
pub fn draw(map: &Map, go_on: &str) -> String {
    let field = Field::of(map);
    let area = field.area;
    let errors = map.trials.iter().filter_map(|t| t.usable(map.wish.valid));
    let smallest = errors.fold(f64::NAN, f64::min);
    let sentences = sentences(map, &field, go_on);
    // Wide enough for the sentences below and above, whatever the number of cells.
    let lines = sentences.len().max(4) as f64;
    let size = [(area.x[1] + BESIDE).max(700.0), area.y[1] + 74.0 + 20.0 * lines];
    let title = format!(
        "{}rror of the velocity over {} and {}",
        if map.stopped { "Unfinished: e" } else { "E" },
        named(&map.axes[0].key),
        named(&map.axes[1].key)
    );
    let mut svg = Svg::new(size, &title, &super::map::words(map, go_on));
    svg.text(&title, TITLE, [LEFT, 34.0], Anchor::Start, BOLD);
    let about = "in % of the mean speed: total error of the displacement, plus what curved paths add";
    svg.text(about, NOTE, [LEFT, 55.0], Anchor::Start, &fill(FAINT));
    svg.area(area, &fill(PAPER));
    for (column, row, trial) in field.trials() {
        let [x, y] = field.at(column as f64, row as f64);
        let half = field.cell.map(|side| 0.5 * side - 1.0);
        let cell = Area {
            x: [x - half[0], x + half[0]],
            y: [y - half[1], y + half[1]],
        };
        paint(&mut svg, map, trial, cell, smallest);
    }
    labels(&mut svg, &field);
    mark_best(&mut svg, &field);
    if smallest.is_finite() {
        colour_bar(&mut svg, area, smallest);
    }
    for (k, sentence) in sentences.iter().enumerate() {
        let base = area.y[1] + 78.0 + 20.0 * k as f64;
        svg.text(sentence, NOTE, [LEFT, base], Anchor::Start, "");
    }
    svg.finish()
}

/// What stands below the field: the best, what the marks mean, the letters.
fn sentences(map: &Map, field: &Field, go_on: &str) -> Vec<String> {
    let mut all = Vec::new();
    if map.stopped {
        all.push("Unfinished: the study was stopped before its end, so nothing is recommended.".to_owned());
        all.push(go_on.to_owned());
    } else if let Some((trial, m)) = map.best() {
        let relative = m.relative();
        all.push(format!(
            "Marked: the {}, {} and {}: {} ({} %, 95 % interval).",
            if map.at_edge() {
                "smallest, at the edge of what was tried"
            } else {
                "best"
            },
            typeset_all(&trial.values[0].text),
            typeset_all(&trial.values[1].text),
            percent(relative.value),
            ends(in_percent(relative)),
        ));
        all.push("Dots: values tried near the best. Dark outline: at most 10 % more error.".to_owned());
        if !m.point.caveats.is_empty() {
            all.push(format!("Caution: {}.", remarks(&m.point.caveats)));
        }
    } else {
        all.push("No combination is usable.".to_owned());
    }
    let trials = field.trials();
    if trials.iter().any(|(.., trial)| is_cautioned(trial)) {
        all.push(CAUTIONED.to_owned());
    }
    let mut shut: Vec<Obstacle> = trials
        .iter()
        .filter_map(|(.., trial)| trial.obstacle(map.wish.valid))
        .collect();
    shut.sort();
    shut.dedup();
    all.extend(shut.into_iter().map(|obstacle| legend(obstacle).to_owned()));
    all
}

const CAUTIONED: &str =
    "*  something must be said beside this error: see the caveats in map.csv or decision.json";

fn is_cautioned(trial: &Trial) -> bool {
    trial.measured().is_some_and(|m| !m.point.caveats.is_empty())
}

/// The values of an axis without those, beyond the first, at which everything is ruled out up to
/// the border.
fn shown(map: &Map, axis: usize) -> Vec<SweepValue> {
    let values = map.axes[axis].values();
    let open = |v: &SweepValue| {
        let mut at = map.trials.iter().filter(|t| t.values[axis] == *v);
        at.any(|t| t.obstacle(map.wish.valid).is_none())
    };
    let (Some(first), Some(last)) = (values.iter().position(open), values.iter().rposition(open)) else {
        return values;
    };
    values[first.saturating_sub(1)..(last + 2).min(values.len())].to_vec()
}

fn find<'a>(map: &'a Map, a: &SweepValue, b: &SweepValue) -> Option<&'a Trial> {
    map.trials.iter().find(|t| t.values[0] == *a && t.values[1] == *b)
}

/// A cell: its error or what stands against it.
fn paint(svg: &mut Svg, map: &Map, trial: &Trial, area: Area, smallest: f64) {
    let room = area.x[1] - area.x[0] - 4.0;
    let write = |svg: &mut Svg, text: &str, colour: &str| {
        let (text, size) = fitted(text, LABEL, room);
        let at = [middle(area.x), middle(area.y) + 4.5];
        svg.text(&text, size, at, Anchor::Middle, &fill(colour));
    };
    match (trial.obstacle(map.wish.valid), trial.usable(map.wish.valid)) {
        (Some(obstacle), _) => {
            svg.area(area, &fill(PALE));
            svg.line([area.x[0], area.y[1]], [area.x[1], area.y[0]], &stroke(GREY, 1.0));
            write(svg, letter(obstacle), FAINT);
        }
        (None, Some(relative)) => {
            let share = ((relative / smallest).ln() / DARKEST.ln()).clamp(0.0, 1.0);
            svg.area(area, &fill(&ramp(&BY_SIZE, share)));
            if !map.stopped && relative <= 1.1 * smallest {
                let inner = Area {
                    x: [area.x[0] + 1.0, area.x[1] - 1.0],
                    y: [area.y[0] + 1.0, area.y[1] - 1.0],
                };
                svg.area(inner, &stroke(INK, 2.0));
            }
            let ink = if share > 0.45 { PAPER } else { INK };
            let mark = if is_cautioned(trial) { " *" } else { "" };
            write(svg, &format!("{}{mark}", short(100.0 * relative)), ink);
        }
        (None, None) => {
            svg.area(area, &fill(PALE));
            write(svg, "?", FAINT);
        }
    }
}

/// Values under the columns and beside the rows, and what they are.
fn labels(svg: &mut Svg, field: &Field) {
    let area = field.area;
    let [columns, rows] = &field.values;
    for (k, value) in columns.iter().enumerate() {
        let (text, size) = fitted(&typeset_all(&value.text), NOTE, field.cell[0] - 4.0);
        let at = [field.at(k as f64, 0.0)[0], area.y[1] + 19.0];
        svg.text(&text, size, at, Anchor::Middle, "");
    }
    for (k, value) in rows.iter().enumerate() {
        let at = [area.x[0] - 8.0, field.at(0.0, k as f64)[1] + 4.5];
        svg.text(&typeset_all(&value.text), NOTE, at, Anchor::End, "");
    }
    let [x, y] = [0, 1].map(|k| named(&field.map.axes[k].key));
    let below = [middle(area.x), area.y[1] + 46.0];
    svg.text(&x, HEADING, below, Anchor::Middle, BOLD);
    let widest = rows.iter().map(|v| text_width(&v.text, NOTE)).fold(0.0, f64::max);
    let beside = [(area.x[0] - widest - 26.0).max(24.0), middle(area.y)];
    svg.upright(&y, HEADING, beside, BOLD);
}

/// The mark at the best and dots at the refinements, which lie between the cells' middles. The mark
/// is a ring, or a frame about the cell whose number a ring would cover.
fn mark_best(svg: &mut Svg, field: &Field) {
    let map = field.map;
    let steps = |t: &Trial| [0, 1].map(|k| map.axes[k].steps(&field.values[k][0], &t.values[k]));
    let place = |t: &Trial| {
        let [column, row] = steps(t);
        field.at(column, row)
    };
    let best = map.best().map(|(trial, _)| trial);
    let covered = |at: [f64; 2]| {
        best.map(place)
            .is_some_and(|c| (at[0] - c[0]).hypot(at[1] - c[1]) < RING)
    };
    for trial in &map.trials {
        let at = place(trial);
        let between = (0..2).any(|k| !map.axes[k].values().contains(&trial.values[k]));
        if between && field.area.holds(at, 0.0) && !covered(at) {
            svg.disc(at, 2.0, &fill(VERMILION), &hint(map, trial));
        }
    }
    let Some(trial) = best else {
        return;
    };
    let at = place(trial);
    let [column, row] = steps(trial).map(f64::round);
    let middle = field.at(column, row);
    if (0..2).all(|k| (at[k] - middle[k]).abs() < NUMBER[k]) {
        let half = field.cell.map(|side| 0.5 * side - 2.5);
        let cell = Area {
            x: [middle[0] - half[0], middle[0] + half[0]],
            y: [middle[1] - half[1], middle[1] + half[1]],
        };
        svg.area(cell, &stroke(PAPER, 6.0));
        svg.area(cell, &stroke(VERMILION, 3.5));
    } else {
        svg.disc(at, RING, &stroke(PAPER, 5.0), "");
        svg.disc(at, RING, &stroke(VERMILION, 3.0), &hint(map, trial));
    }
}

/// What the colours mean, from the smallest error upward.
fn colour_bar(svg: &mut Svg, area: Area, smallest: f64) {
    let [beside, width, height] = BAR;
    let left = area.x[1] + beside;
    let bottom = area.y[0] + height.min(area.y[1] - area.y[0]);
    let high = bottom - area.y[0];
    let parts = 50;
    for k in 0..parts {
        let share = (f64::from(k) + 0.5) / f64::from(parts);
        let y = bottom - high * f64::from(k + 1) / f64::from(parts);
        let part = Area {
            x: [left, left + width],
            y: [y, y + high / f64::from(parts) + 0.5],
        };
        svg.area(part, &fill(&ramp(&BY_SIZE, share)));
    }
    for (times, above) in [(1.0, ""), (2.0, ""), (4.0, ""), (DARKEST, "≥ ")] {
        let y = bottom - high * f64::ln(times) / DARKEST.ln();
        let label = format!("{above}{}", percent(times * smallest));
        svg.line([left + width, y], [left + width + 4.0, y], &stroke(INK, 1.0));
        svg.text(&label, NOTE, [left + width + 8.0, y + 4.0], Anchor::Start, "");
    }
}

fn hint(map: &Map, trial: &Trial) -> String {
    let what = match trial.usable(map.wish.valid) {
        Some(relative) => percent(relative),
        None => trial
            .obstacle(map.wish.valid)
            .map_or("not reached", Obstacle::words)
            .to_owned(),
    };
    format!("{}, {}: {what}", trial.values[0].text, trial.values[1].text)
}
