//! A sweep in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use motefield_rig::quantity::short;
use motefield_rig::setup::Setup;
use motefield_study::caveat::Caveat;
use motefield_study::response::Response;
use motefield_study::run::{Effort, Point, trust};
use motefield_study::values::{Figure, figures};
use serde_json::{Map, Value, json};

use crate::figure::palette::{FAINT, series};
use crate::figure::{
    Anchor, Area, Axis, AxisScale, BOLD, NOTE, Ruler, Side, Svg, TITLE, ends, fill, frame, stroke,
};
use crate::format::{
    CANNOT_TELL, PARTS, columns, fine_percent, half_width, interval, named, remarks, typeset_all,
};
use crate::json;
use crate::response;
use crate::table::Label;
use crate::tiles;

/// What a sweep was asked for, and how far it got.
#[derive(Debug, Clone, Copy)]
pub struct SweptStudy<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// The key that was varied.
    pub key: &'a str,
    /// How much was to be computed.
    pub effort: &'a Effort,
    /// Whether it was stopped before its end.
    pub stopped: bool,
}

/// The layout of `study.json`. Since 2 `random_x_px` is what changes from pair to pair at one
/// place, without the `local_x_px` that it contained before, and `precision` is that of `total_px`.
const SCHEMA: &str = "motefield-sweep/2";

/// `study.json`: all figures of all points, and the spatial response where the wavelength was
/// varied.
pub fn json(study: &SweptStudy, response: Option<&Response>, rows: &[(Label, &Point)]) -> Value {
    let fields = json!({
        "setup": json::setup(study.setup),
        "vary": study.key,
        "seed": study.effort.seed,
        "precision": study.effort.precision,
        "stopped": study.stopped,
        "spatial_response": response.map(response::json),
        "points": rows.iter().map(|(label, point)| row(label, point)).collect::<Value>(),
    });
    let mut file = json::file(SCHEMA, fields);
    if let Some(tiles) = tiles::json(rows.iter().map(|(_, point)| *point)) {
        file["measured_on"] = tiles;
    }
    file
}

fn row(label: &Label, point: &Point) -> Value {
    let mut row = json!({
        "value": label.value,
        "unit": label.unit,
        "streak_px": label.streak_px,
        "pairs": point.pairs(),
        "ensemble": point.ensemble,
        "vectors": point.score.vectors,
        "effective_vectors": point.score.effective_vectors,
    });
    let object = row.as_object_mut().expect("an object");
    object.extend(json::figures(figures(point)));
    object.insert("caveats".to_owned(), json::caveats(&point.caveats));
    if !point.besides.trust.is_empty() {
        let reliability: Map<String, Value> = point
            .besides
            .trust
            .iter()
            .map(|trust| {
                let [x, y] = trust.of.each_ref().map(|of| json::intervals(trust::named(of)));
                (trust.estimator.to_string(), json!({ "x": x, "y": y }))
            })
            .collect();
        object.insert("reliability".to_owned(), reliability.into());
    }
    row
}

/// What is to be known of every point alike, where there are several.
fn common<'a>(rows: &[(Label, &'a Point)]) -> Vec<&'a Caveat> {
    let [(_, first), others @ ..] = rows else {
        return Vec::new();
    };
    let caveats = first.caveats.iter().filter(|_| !others.is_empty());
    caveats
        .filter(|caveat| others.iter().all(|(_, point)| point.caveats.contains(caveat)))
        .collect()
}

/// The figures one looks at first, as a table for the eye.
pub fn words(key: &str, rows: &[(Label, &Point)]) -> String {
    let head = [
        key,
        "streak px",
        "bias x px",
        "local x px",
        "random x px",
        "bias y px",
        "local y px",
        "random y px",
        "total px",
        "outliers",
        "pairs",
        "",
    ];
    let local = |figure: Figure| figure.map_or(CANNOT_TELL.to_owned(), half_width);
    let common = common(rows);
    let row = |(label, point): &(Label, &Point)| {
        let own = point.caveats.iter().filter(|caveat| !common.contains(caveat));
        let own: Vec<Caveat> = own.copied().collect();
        let score = &point.score;
        let [x, y] = &score.point;
        let known = |e: Estimate| match e.value.is_finite() {
            true => half_width(e),
            false => "-".to_owned(),
        };
        let outliers = match score.outliers.value.is_finite() {
            true => fine_percent(score.outliers.value),
            false => "-".to_owned(),
        };
        vec![
            label.text(),
            short(label.streak_px),
            known(x.bias_px),
            local(x.local_px),
            known(x.random_px),
            known(y.bias_px),
            local(y.local_px),
            known(y.random_px),
            known(score.total_px),
            outliers,
            point.pairs().to_string(),
            remarks(&own),
        ]
    };
    let head = head.map(str::to_owned).to_vec();
    let rows: Vec<Vec<String>> = std::iter::once(head).chain(rows.iter().map(row)).collect();
    let common: String = common
        .iter()
        .map(|caveat| format!("Everywhere: {caveat}.\n"))
        .collect();
    columns(&rows) + "± is half the 95 % interval.\n" + PARTS + &common
}

/// The answer in a sentence: where the total error is smallest, with its interval. `whole` says how
/// to have all of the picture measured.
pub fn sentence(study: &SweptStudy, rows: &[(Label, &Point)], whole: Option<&str>) -> String {
    if study.stopped {
        return "Unfinished: the study was stopped before its end.\n".to_owned();
    }
    let known = rows
        .iter()
        .filter(|(_, point)| point.score.total_px.value.is_finite());
    let least = known.min_by(|a, b| a.1.score.total_px.value.total_cmp(&b.1.score.total_px.value));
    match least {
        Some((label, point)) => format!(
            "Of {} values of {} the total error is smallest at {}: {}.\n{}",
            rows.len(),
            named(study.key),
            label.text(),
            interval(point.score.total_px, "px"),
            tiles::words(rows.iter().map(|(_, point)| *point), whole)
        ),
        None => "No total error is known.\n".to_owned(),
    }
}

const SIZE: [f64; 2] = [760.0, 480.0];
const PLOT: Area = Area {
    x: [92.0, 736.0],
    y: [72.0, 410.0],
};

/// The total error over what was varied, with its 95 % intervals, as the content of an SVG file.
/// Values that are no numbers stand side by side.
pub fn draw(study: &SweptStudy, rows: &[(Label, &Point)]) -> String {
    let title = format!("Total error over {}", named(study.key));
    let mut svg = Svg::new(SIZE, &title, &sentence(study, rows, None));
    svg.text(&title, TITLE, [24.0, 34.0], Anchor::Start, BOLD);
    svg.text(
        "root mean square of the error vector, 95 % intervals",
        NOTE,
        [24.0, 55.0],
        Anchor::Start,
        &fill(FAINT),
    );
    let values: Vec<f64> = rows
        .iter()
        .map(|(label, _)| label.value.parse().unwrap_or(f64::NAN))
        .collect();
    let numeric = values.iter().all(|v| v.is_finite());
    let at = |k: usize| if numeric { values[k] } else { k as f64 + 1.0 };
    let drawable = |e: &Estimate| e.value.is_finite() && e.value > 0.0;
    let points: Vec<(f64, String, Estimate)> = (rows.iter().enumerate())
        .map(|(k, (label, point))| (at(k), label.text(), point.score.total_px))
        .filter(|(.., e)| drawable(e))
        .collect();
    if points.is_empty() {
        return svg.finish();
    }
    let x = across(points.iter().map(|p| p.0), numeric);
    let shown = |e: &Estimate| [e.lo.max(0.3 * e.value), e.hi.min(3.0 * e.value), e.value];
    let [low, high] = ends(points.iter().flat_map(|p| shown(&p.2)).filter(|v| *v > 0.0));
    let y = Axis {
        scale: AxisScale::Log,
        range: [low / 1.1, high * 1.1],
        place: [PLOT.y[1], PLOT.y[0]],
    };
    let unit = rows.first().map_or("", |(label, _)| label.unit.as_str());
    let comma = if unit.is_empty() { "" } else { ", " };
    let below = typeset_all(&format!("{}{comma}{unit}", named(study.key)));
    let number = |v: f64| short(v);
    let bottom = |v: f64| match numeric {
        true => short(v),
        false => (rows.get((v - 1.0).max(0.0) as usize))
            .filter(|_| v.fract() == 0.0 && v > 0.0)
            .map_or(String::new(), |(label, _)| label.text()),
    };
    let mut rulers = [
        Ruler::new(x, Side::Bottom, &bottom).titled(&below, 46.0),
        Ruler::new(y, Side::Left, &number).titled("total error, px", 62.0),
    ];
    rulers.iter_mut().for_each(|ruler| ruler.grid = true);
    frame(&mut svg, PLOT, PLOT, &rulers);
    let line: Vec<[f64; 2]> = points
        .iter()
        .map(|(v, _, e)| [x.at(*v), y.clamped(e.value)])
        .collect();
    if numeric {
        svg.path(&line, false, &stroke(series(0), 2.0));
    }
    for ((_, label, e), at) in points.iter().zip(&line) {
        let [lo, hi] = [e.lo, e.hi].map(|v| y.clamped(v));
        svg.line([at[0], lo], [at[0], hi], &stroke(series(0), 1.5));
        svg.disc(
            *at,
            4.0,
            &fill(series(0)),
            &format!("{label}: {}", interval(*e, "px")),
        );
    }
    svg.finish()
}

/// The axis of what was varied: logarithmic where numbers reach far.
fn across(places: impl Iterator<Item = f64>, numeric: bool) -> Axis {
    let [left, right] = ends(places);
    let (scale, range) = match left > 0.0 && right > 3.0 * left && numeric {
        true => (AxisScale::Log, [left / 1.1, right * 1.1]),
        false => {
            let room = (0.06 * (right - left)).max(0.5 * f64::from(u8::from(left == right)));
            (AxisScale::Linear, [left - room, right + room])
        }
    };
    Axis {
        scale,
        range,
        place: PLOT.x,
    }
}
