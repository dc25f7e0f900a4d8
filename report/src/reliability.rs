//! Draws what estimated uncertainties are worth: the actual error against the estimated one, a
//! panel for each estimator.

use std::collections::BTreeMap;

use motefield_evaluator::uncertainty::ReliabilityClass;

use crate::figure::legend::{self, LegendEntry};
use crate::figure::palette::{IN_ORDER, INK, PAPER, ramp};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, HEADING, LABEL, Ruler, Side, Svg, TITLE, ends, fill, fitted, frame,
    stroke,
};
use crate::table::Label;
use motefield_rig::quantity::digits;
use motefield_study::run::Point;

/// Side of a panel, px.
const SIDE: f64 = 270.0;
/// From one panel to the next, px.
const PITCH: f64 = 330.0;
const LEFT: f64 = 74.0;
const TOP: f64 = 96.0;
const LEGEND: f64 = 150.0;
/// From one line of cautions to the next, px.
const LINE: f64 = 18.0;
/// Values that the legend names at most.
const NAMED: usize = 12;

const ABOUT: &str = "Root mean square of the actual error against that of the estimated uncertainty, in classes of \
                     rising uncertainty; on the dashed line both agree, above it errors are larger than estimated.";
const KEY: &str =
    "filled: x, open: y; on the dashed line both agree, above it errors are larger than estimated";

/// Draws the reliability curves of all points of a study that varied `key`, as the content of an
/// SVG file. All points carry the same estimators.
pub fn draw(key: &str, rows: &[(Label, &Point)]) -> String {
    let estimators: Vec<&str> = rows.first().map_or_else(Vec::new, |(_, point)| {
        point.besides.trust.iter().map(|t| t.estimator.as_str()).collect()
    });
    let panels_end = LEFT + PITCH * estimators.len().max(1) as f64;
    let cautions = cautions(rows);
    let size = [
        panels_end + LEGEND,
        TOP + SIDE + 66.0 + LINE * cautions.len() as f64,
    ];
    let title = format!("Uncertainty against error, over {key}");
    let mut svg = Svg::new(size, &title, ABOUT);
    let (text, font) = fitted(&title, TITLE, size[0] - 2.0 * 20.0);
    svg.text(&text, font, [20.0, 34.0], Anchor::Start, BOLD);
    svg.text(KEY, LABEL, [20.0, 56.0], Anchor::Start, "");
    let range = range(rows);
    for (k, name) in estimators.iter().enumerate() {
        let left = LEFT + PITCH * k as f64;
        let area = Area {
            x: [left, left + SIDE],
            y: [TOP, TOP + SIDE],
        };
        svg.text(name, HEADING, [left, TOP - 10.0], Anchor::Start, BOLD);
        panel(&mut svg, area, range, rows, k);
    }
    values(&mut svg, key, rows, panels_end - 30.0);
    for (k, caution) in cautions.iter().enumerate() {
        let (text, font) = fitted(caution, LABEL, size[0] - 2.0 * 20.0);
        let base = TOP + SIDE + 70.0 + LINE * k as f64;
        svg.text(&text, font, [20.0, base], Anchor::Start, "");
    }
    svg.finish()
}

/// What must be said beside the points, each caveat once with the values that it concerns.
fn cautions(rows: &[(Label, &Point)]) -> Vec<String> {
    let mut of: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (label, point) in rows {
        for caveat in &point.caveats {
            of.entry(caveat.id()).or_default().push(label.text());
        }
    }
    of.into_iter()
        .map(|(caveat, values)| format!("Caution at {}: {}", values.join(", "), caveat.replace('-', " ")))
        .collect()
}

/// Which colour is which value of the key.
fn values(svg: &mut Svg, key: &str, rows: &[(Label, &Point)], left: f64) {
    let size = fitted(key, LABEL, LEGEND + 20.0).1;
    svg.text(key, size, [left, TOP - 10.0], Anchor::Start, "");
    let step = rows.len().div_ceil(NAMED).max(1);
    let named: Vec<(String, String)> = rows
        .iter()
        .enumerate()
        .step_by(step)
        .map(|(k, (label, _))| (colour(k, rows.len()), fitted(&label.text(), LABEL, LEGEND).0))
        .collect();
    let entries: Vec<LegendEntry> = named
        .iter()
        .map(|(colour, value)| LegendEntry::disc(fill(colour), value))
        .collect();
    legend::column(svg, [left, TOP + 10.0], 21.0, &entries);
}

/// The colour of value `k` of so many.
fn colour(k: usize, count: usize) -> String {
    ramp(&IN_ORDER, k as f64 / (count.max(2) - 1) as f64)
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
    let [low, high] = ends(all);
    match low < high {
        true => [low / 1.25, high * 1.25],
        false => [0.01, 1.0],
    }
}

fn panel(svg: &mut Svg, area: Area, range: [f64; 2], rows: &[(Label, &Point)], estimator: usize) {
    let axis = |place| Axis {
        scale: AxisScale::Log,
        range,
        place,
    };
    let (x, y) = (axis(area.x), axis([area.y[1], area.y[0]]));
    // The error stands beside the first panel only: all have the same axes.
    let error = if estimator == 0 { "error, px" } else { "" };
    let rulers = [
        Ruler::new(x, Side::Bottom, &digits).titled("estimated uncertainty, px", 42.0),
        Ruler::new(y, Side::Left, &digits).titled(error, 52.0),
    ];
    frame(
        svg,
        area,
        area,
        &rulers.map(|ruler| Ruler { grid: true, ..ruler }),
    );
    svg.line(
        [area.x[0], area.y[1]],
        [area.x[1], area.y[0]],
        &(stroke(INK, 1.0) + " stroke-dasharray=\"7 5\""),
    );
    for (k, (label, point)) in rows.iter().enumerate() {
        let Some(trust) = point.besides.trust.get(estimator) else {
            continue;
        };
        let colour = colour(k, rows.len());
        for (component, of) in trust.of.iter().enumerate() {
            let places: Vec<[f64; 2]> = drawable(&of.curve)
                .iter()
                .map(|[p, a]| [x.at(*p), y.at(*a)])
                .collect();
            let dashes = ["", " stroke-dasharray=\"3 3\""][component];
            svg.path(&places, false, &(stroke(&colour, 1.3) + dashes));
            let ground = [colour.as_str(), PAPER][component];
            let mark = format!("{} stroke=\"{colour}\" stroke-width=\"1.3\"", fill(ground));
            let hint = format!("{}, {}", label.text(), ["x", "y"][component]);
            for at in places {
                svg.disc(at, 3.0, &mark, &hint);
            }
        }
    }
}
