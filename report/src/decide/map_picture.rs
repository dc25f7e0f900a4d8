//! The map as a picture: a cell a pair of values, its colour and number the error, a letter where a rule shuts it out.

use crate::figure::{Anchor, Area, Svg, fitted, text_width};
use motefield_rig::plan::short;
use motefield_study::decide::map::Map;
use motefield_study::decide::trial::{Obstacle, Outcome, Trial};
use motefield_study::vary::Value;

/// Cells' width and height, px; narrower where there are many.
const CELL: [f64; 2] = [74.0, 46.0];
/// Widest field of cells, px.
const WIDEST: f64 = 780.0;
/// Left and top of the field of cells, px.
const CORNER: [f64; 2] = [150.0, 92.0];
/// From the smallest error to this multiple the colours run from light to dark.
const DARKEST: f64 = 8.0;

/// Radius of the ring at the best, px: a cell's number has room in it.
const RING: f64 = 20.0;

/// Light (small error) to dark, equal steps to the eye in green-blue: distinct by lightness alone.
const LIGHT: [f64; 3] = [233.0, 246.0, 231.0];
const DARK: [f64; 3] = [13.0, 61.0, 82.0];

fn letter(obstacle: Obstacle) -> &'static str {
    match obstacle {
        Obstacle::Impossible => "–",
        Obstacle::Straddling => "S",
        Obstacle::QuarterRule => "Q",
        Obstacle::Saturation => "F",
        Obstacle::Valid => "V",
    }
}

fn legend(obstacle: Obstacle) -> &'static str {
    match obstacle {
        Obstacle::Impossible => "–  cannot be built (pulses between the exposures, sizes, shares)",
        Obstacle::Straddling => "S  an exposure cuts its pulse",
        Obstacle::QuarterRule => "Q  fastest displacement over a quarter of the first window",
        Obstacle::Saturation => "F  brightest particles over the camera's range",
        Obstacle::Valid => "V  too few valid vectors",
    }
}

/// Draws the map as the content of an SVG file.
pub fn draw(map: &Map) -> String {
    let [x, y] = [0, 1].map(|k| shown(map, k));
    let cell = [CELL[0].min(WIDEST / x.len() as f64), CELL[1]];
    let field = Area {
        x: [CORNER[0], CORNER[0] + cell[0] * x.len() as f64],
        y: [CORNER[1], CORNER[1] + cell[1] * y.len() as f64],
    };
    let trials: Vec<Option<&Trial>> = y
        .iter()
        .flat_map(|b| x.iter().map(move |a| find(map, a, b)))
        .collect();
    let smallest = map.best().map_or(f64::NAN, |(_, m)| m.relative().value);
    let shut = present(map, &trials);
    let lines = 3 + shut.len();
    // Wide enough for the sentences below and above, whatever the number of cells.
    let size = [
        (field.x[1] + 40.0).max(700.0),
        field.y[1] + 74.0 + 20.0 * lines as f64,
    ];
    let title = format!(
        "Error of the velocity over {} and {}",
        map.axes[0].key, map.axes[1].key
    );
    let mut svg = Svg::new(size, &title, &super::map::words(map));
    svg.text(&title, 17.0, [24.0, 34.0], Anchor::Start, "font-weight=\"bold\"");
    svg.text(
        "in % of the mean speed: total error of the displacement, and what curved paths add",
        12.5,
        [24.0, 55.0],
        Anchor::Start,
        "fill=\"#444\"",
    );
    svg.area(field, "fill=\"#fff\"");
    for (k, trial) in trials.iter().enumerate() {
        let (column, row) = (k % x.len(), k / x.len());
        // The larger second value stands higher, as on any axis.
        let top = field.y[1] - cell[1] * (row + 1) as f64;
        let left = field.x[0] + cell[0] * column as f64;
        let area = Area {
            x: [left + 1.0, left + cell[0] - 1.0],
            y: [top + 1.0, top + cell[1] - 1.0],
        };
        paint(&mut svg, map, *trial, area, smallest);
    }
    frame(&mut svg, map, field, cell, [&x, &y]);
    mark_best(&mut svg, map, field, cell, [&x, &y]);
    let mut base = field.y[1] + 78.0;
    let mut say = |svg: &mut Svg, text: &str| {
        svg.text(text, 12.5, [24.0, base], Anchor::Start, "");
        base += 20.0;
    };
    if let Some((trial, m)) = map.best() {
        let best = format!(
            "Ring: the best, {} and {}: {} % ({} to {} %, 95 % interval).",
            trial.values[0].text,
            trial.values[1].text,
            short(100.0 * m.relative().value),
            short(100.0 * m.relative().lo),
            short(100.0 * m.relative().hi)
        );
        say(&mut svg, &best);
        say(
            &mut svg,
            "Dots: values tried about the best. Heavy outline: at most a tenth more error.",
        );
    } else {
        say(&mut svg, "No pair of values may be used.");
    }
    for obstacle in shut {
        say(&mut svg, legend(obstacle));
    }
    svg.finish()
}

/// The values of an axis without those, beyond the first, at which everything is shut out up to the border.
fn shown(map: &Map, axis: usize) -> Vec<Value> {
    let values = map.axes[axis].values();
    let open = |v: &Value| {
        let mut at = map.trials.iter().filter(|t| t.values[axis] == *v);
        at.any(|t| t.obstacle(map.wish.valid).is_none())
    };
    let (Some(first), Some(last)) = (values.iter().position(open), values.iter().rposition(open)) else {
        return values;
    };
    values[first.saturating_sub(1)..(last + 2).min(values.len())].to_vec()
}

fn find<'a>(map: &'a Map, a: &Value, b: &Value) -> Option<&'a Trial> {
    map.trials.iter().find(|t| t.values[0] == *a && t.values[1] == *b)
}

/// The obstacles that the picture shows.
fn present(map: &Map, trials: &[Option<&Trial>]) -> Vec<Obstacle> {
    let mut all: Vec<Obstacle> = trials
        .iter()
        .flatten()
        .filter_map(|t| t.obstacle(map.wish.valid))
        .collect();
    all.sort();
    all.dedup();
    all
}

fn paint(svg: &mut Svg, map: &Map, trial: Option<&Trial>, area: Area, smallest: f64) {
    let middle = [0.5 * (area.x[0] + area.x[1]), 0.5 * (area.y[0] + area.y[1])];
    let room = area.x[1] - area.x[0] - 4.0;
    let write = |svg: &mut Svg, text: &str, attributes: &str| {
        let (text, size) = fitted(text, 13.0, room);
        svg.text(
            &text,
            size,
            [middle[0], middle[1] + 4.5],
            Anchor::Middle,
            attributes,
        );
    };
    let Some(trial) = trial else { return };
    match (trial.obstacle(map.wish.valid), trial.usable(map.wish.valid)) {
        (Some(obstacle), _) => {
            svg.area(area, "fill=\"#ececec\"");
            svg.line(
                [area.x[0], area.y[1]],
                [area.x[1], area.y[0]],
                "stroke=\"#d2d2d2\"",
            );
            write(svg, letter(obstacle), "fill=\"#777\"");
        }
        (None, Some(relative)) => {
            let share = ((relative / smallest).ln() / DARKEST.ln()).clamp(0.0, 1.0);
            let [r, g, b] = [0, 1, 2].map(|k| (LIGHT[k] + share * (DARK[k] - LIGHT[k])).round());
            svg.area(area, &format!("fill=\"rgb({r},{g},{b})\""));
            if relative <= 1.1 * smallest {
                let inner = Area {
                    x: [area.x[0] + 1.0, area.x[1] - 1.0],
                    y: [area.y[0] + 1.0, area.y[1] - 1.0],
                };
                svg.area(inner, "fill=\"none\" stroke=\"#222\" stroke-width=\"2\"");
            }
            let ink = if share > 0.45 {
                "fill=\"#fff\""
            } else {
                "fill=\"#222\""
            };
            write(svg, &short(100.0 * relative), ink);
        }
        (None, None) => {
            debug_assert!(matches!(trial.outcome, Outcome::NotReached));
            write(svg, "?", "fill=\"#777\"");
        }
    }
}

/// Values under the columns and beside the rows, and the keys.
fn frame(svg: &mut Svg, map: &Map, field: Area, cell: [f64; 2], values: [&[Value]; 2]) {
    for (k, value) in values[0].iter().enumerate() {
        let x = field.x[0] + cell[0] * (k as f64 + 0.5);
        let (text, size) = fitted(&value.text, 12.5, cell[0] - 4.0);
        svg.text(&text, size, [x, field.y[1] + 19.0], Anchor::Middle, "");
    }
    for (k, value) in values[1].iter().enumerate() {
        let y = field.y[1] - cell[1] * (k as f64 + 0.5);
        svg.text(&value.text, 12.5, [field.x[0] - 8.0, y + 4.5], Anchor::End, "");
    }
    let middle = [0.5 * (field.x[0] + field.x[1]), 0.5 * (field.y[0] + field.y[1])];
    let bold = "font-weight=\"bold\"";
    svg.text(
        &map.axes[0].key,
        14.0,
        [middle[0], field.y[1] + 46.0],
        Anchor::Middle,
        bold,
    );
    let widest = values[1]
        .iter()
        .map(|v| text_width(&v.text, 12.5))
        .fold(0.0, f64::max);
    let at = [(field.x[0] - widest - 26.0).max(24.0), middle[1]];
    svg.upright(&map.axes[1].key, 14.0, at, bold);
}

/// A ring at the best and dots at the refinements, which lie between the cells' middles.
fn mark_best(svg: &mut Svg, map: &Map, field: Area, cell: [f64; 2], values: [&[Value]; 2]) {
    let place = |t: &Trial| {
        let [column, row] = [0, 1].map(|k| map.axes[k].steps(&values[k][0], &t.values[k]));
        [
            field.x[0] + cell[0] * (column + 0.5),
            field.y[1] - cell[1] * (row + 0.5),
        ]
    };
    let ring = map.best().map(|(trial, _)| (trial, place(trial)));
    let covered = |at: [f64; 2]| ring.is_some_and(|(_, c)| (at[0] - c[0]).hypot(at[1] - c[1]) < RING);
    for trial in &map.trials {
        let at = place(trial);
        let between = (0..2).any(|k| !map.axes[k].values().contains(&trial.values[k]));
        if between && field.holds(at, 0.0) && !covered(at) {
            svg.disc(at, 2.0, "fill=\"#c24a00\"", &hint(map, trial));
        }
    }
    if let Some((trial, at)) = ring {
        svg.disc(
            at,
            RING,
            "fill=\"none\" stroke=\"#c24a00\" stroke-width=\"2.5\"",
            &hint(map, trial),
        );
    }
}

fn hint(map: &Map, trial: &Trial) -> String {
    let what = match trial.usable(map.wish.valid) {
        Some(relative) => format!("{} %", short(100.0 * relative)),
        None => trial
            .obstacle(map.wish.valid)
            .map_or("not reached", Obstacle::words)
            .to_owned(),
    };
    format!("{}, {}: {what}", trial.values[0].text, trial.values[1].text)
}
