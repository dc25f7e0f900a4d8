//! Draws what estimated uncertainties are worth: the actual error against the estimated one, a panel for each estimator.

use motefield_evaluator::reliability::ReliabilityClass;

use crate::figure::{Anchor, Area, Axis, Scale, Svg, fitted};
use crate::table::Label;
use motefield_rig::quantity::digits;
use motefield_study::run::Point;

/// Side of a panel, px.
const SIDE: f64 = 270.0;
/// From one panel to the next.
const PITCH: f64 = 330.0;
const LEFT: f64 = 74.0;
const TOP: f64 = 96.0;
const LEGEND: f64 = 150.0;
const INK: &str = "#222";
/// Values that the legend names at most.
const NAMED: usize = 12;

/// From the first to the last value of the key: dark blue, green, orange.
const RAMP: [[f64; 3]; 3] = [[38.0, 60.0, 140.0], [45.0, 150.0, 110.0], [225.0, 120.0, 20.0]];

fn colour(share: f64) -> String {
    let place = share.clamp(0.0, 1.0) * (RAMP.len() - 1) as f64;
    let first = (place.floor() as usize).min(RAMP.len() - 2);
    let [r, g, b] = [0, 1, 2].map(|k| {
        let (from, to) = (RAMP[first][k], RAMP[first + 1][k]);
        (from + (place - first as f64) * (to - from)).round() as u8
    });
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// The reliability curves of all points of a study that varied `key`; the points carry the same estimators.
pub fn draw(key: &str, rows: &[(Label, &Point)]) -> String {
    let estimators: Vec<&str> = rows.first().map_or_else(Vec::new, |(_, point)| {
        point.besides.trust.iter().map(|t| t.estimator.as_str()).collect()
    });
    let size = [
        LEFT + PITCH * estimators.len().max(1) as f64 + LEGEND,
        TOP + SIDE + 66.0,
    ];
    let title = format!("Uncertainty against error, over {key}");
    let mut svg = Svg::new(
        size,
        &title,
        "Root mean square of the actual error against that of the estimated uncertainty, in classes of rising uncertainty; on the dashed line they agree, above it errors are larger than estimated.",
    );
    let ink = format!("fill=\"{INK}\"");
    let (text, font) = fitted(&title, 18.0, size[0] - 2.0 * 20.0);
    svg.text(
        &text,
        font,
        [20.0, 34.0],
        Anchor::Start,
        &format!("{ink} font-weight=\"bold\""),
    );
    svg.text(
        "filled: x, open: y; on the dashed line they agree, above it errors are larger than estimated",
        13.0,
        [20.0, 56.0],
        Anchor::Start,
        &ink,
    );
    let range = range(rows);
    for (k, name) in estimators.iter().enumerate() {
        let left = LEFT + PITCH * k as f64;
        let frame = Area {
            x: [left, left + SIDE],
            y: [TOP, TOP + SIDE],
        };
        svg.text(
            name,
            14.0,
            [left, TOP - 10.0],
            Anchor::Start,
            &format!("{ink} font-weight=\"bold\""),
        );
        panel(&mut svg, frame, range, rows, k);
    }
    let left = LEFT + PITCH * estimators.len().max(1) as f64 - 30.0;
    svg.text(
        key,
        fitted(key, 13.0, LEGEND + 20.0).1,
        [left, TOP - 10.0],
        Anchor::Start,
        &ink,
    );
    let step = rows.len().div_ceil(NAMED).max(1);
    for (place, (k, (label, _))) in rows.iter().enumerate().step_by(step).enumerate() {
        let y = TOP + 10.0 + 21.0 * place as f64;
        svg.disc(
            [left + 6.0, y],
            4.0,
            &format!("fill=\"{}\"", colour(share(k, rows.len()))),
            "",
        );
        let value = format!("{} {}", label.value, label.unit);
        svg.text(
            &fitted(&value, 13.0, LEGEND).0,
            13.0,
            [left + 17.0, y + 4.5],
            Anchor::Start,
            &ink,
        );
    }
    svg.finish()
}

fn share(k: usize, count: usize) -> f64 {
    k as f64 / (count.max(2) - 1) as f64
}

/// Classes that can be drawn.
fn drawable(classes: &[ReliabilityClass]) -> Vec<[f64; 2]> {
    classes
        .iter()
        .map(|class| [class.predicted_px.value, class.actual_px.value])
        .filter(|at| at.iter().all(|v| v.is_finite() && *v > 0.0))
        .collect()
}

/// The same range of px for both axes of all panels, so that they can be compared.
fn range(rows: &[(Label, &Point)]) -> [f64; 2] {
    let all = rows
        .iter()
        .flat_map(|(_, point)| &point.besides.trust)
        .flat_map(|trust| &trust.of)
        .flat_map(|of| drawable(&of.curve))
        .flatten();
    let (low, high) = all.fold((f64::INFINITY, 0.0f64), |(low, high), v| {
        (low.min(v), high.max(v))
    });
    match low < high {
        true => [low / 1.25, high * 1.25],
        false => [0.01, 1.0],
    }
}

fn panel(svg: &mut Svg, frame: Area, range: [f64; 2], rows: &[(Label, &Point)], estimator: usize) {
    let axis = |place| Axis {
        scale: Scale::Log,
        range,
        place,
    };
    let (x, y) = (axis(frame.x), axis([frame.y[1], frame.y[0]]));
    let ink = format!("fill=\"{INK}\"");
    let grid = "stroke=\"#000\" stroke-opacity=\"0.1\"";
    let mark = format!("stroke=\"{INK}\"");
    for tick in x.ticks(digits, |label| 7.5 * label.len() as f64 + 12.0) {
        svg.line([tick.at, frame.y[1]], [tick.at, frame.y[1] + 4.0], &mark);
        if let Some(label) = tick.label {
            svg.line([tick.at, frame.y[0]], [tick.at, frame.y[1]], grid);
            svg.text(&label, 12.0, [tick.at, frame.y[1] + 18.0], Anchor::Middle, &ink);
        }
    }
    for tick in y.ticks(digits, |_| 20.0) {
        svg.line([frame.x[0], tick.at], [frame.x[0] - 4.0, tick.at], &mark);
        if let Some(label) = tick.label {
            svg.line([frame.x[0], tick.at], [frame.x[1], tick.at], grid);
            svg.text(&label, 12.0, [frame.x[0] - 7.0, tick.at + 4.0], Anchor::End, &ink);
        }
    }
    svg.line(
        [frame.x[0], frame.y[1]],
        [frame.x[1], frame.y[0]],
        &format!("{mark} stroke-dasharray=\"7 5\""),
    );
    for (k, (label, point)) in rows.iter().enumerate() {
        let Some(trust) = point.besides.trust.get(estimator) else {
            continue;
        };
        let colour = colour(share(k, rows.len()));
        for (component, of) in trust.of.iter().enumerate() {
            let places: Vec<[f64; 2]> = drawable(&of.curve)
                .iter()
                .map(|[p, a]| [x.at(*p), y.at(*a)])
                .collect();
            let dashes = ["", " stroke-dasharray=\"3 3\""][component];
            svg.path(
                &places,
                false,
                &format!("fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.3\"{dashes}"),
            );
            let fill = [colour.as_str(), "#fff"][component];
            let hint = format!("{} {}, {}", label.value, label.unit, ["x", "y"][component]);
            for at in places {
                svg.disc(
                    at,
                    3.0,
                    &format!("fill=\"{fill}\" stroke=\"{colour}\" stroke-width=\"1.3\""),
                    &hint,
                );
            }
        }
    }
    svg.area(frame, &format!("fill=\"none\" stroke=\"{INK}\""));
    let middle = |[a, b]: [f64; 2]| 0.5 * (a + b);
    svg.text(
        "estimated uncertainty, px",
        13.0,
        [middle(frame.x), frame.y[1] + 42.0],
        Anchor::Middle,
        &ink,
    );
    if estimator == 0 {
        svg.upright("error, px", 13.0, [22.0, middle(frame.y)], &ink);
    }
}
