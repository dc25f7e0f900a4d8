//! A sweep in words and as JSON.

use motefield_evaluator::statistics::Estimate;
use motefield_rig::quantity::short;
use motefield_rig::setup::Setup;
use motefield_study::response::Response;
use motefield_study::run::{Effort, Point, trust};
use motefield_study::values::{Figure, figures};
use serde_json::{Map, Value, json};

use crate::format::{CANNOT_TELL, PARTS, columns, fine_percent, half_width, remarks};
use crate::json;
use crate::response;
use crate::table::Label;

/// What a sweep was asked for, and how far it got.
#[derive(Debug, Clone, Copy)]
pub struct Study<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// The key that was varied.
    pub key: &'a str,
    /// How much was to be computed.
    pub effort: &'a Effort,
    /// Whether it was stopped before its end.
    pub stopped: bool,
}

/// The layout of `study.json`. Since 2 `random_x_px` is what changes from pair to pair at one place,
/// without the `local_x_px` that it contained before, and `precision` is that of `total_px`.
const SCHEMA: &str = "motefield-sweep/2";

/// `study.json`: all figures of all points, and the spatial response where the wavelength was
/// varied.
pub fn json(study: &Study, response: Option<&Response>, rows: &[(Label, &Point)]) -> Value {
    let fields = json!({
        "setup": json::setup(study.setup),
        "vary": study.key,
        "seed": study.effort.seed,
        "precision": study.effort.precision,
        "stopped": study.stopped,
        "spatial_response": response.map(response::json),
        "points": rows.iter().map(|(label, point)| row(label, point)).collect::<Value>(),
    });
    json::file(SCHEMA, fields)
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
    let row = |(label, point): &(Label, &Point)| {
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
            remarks(&point.caveats),
        ]
    };
    let head = head.map(str::to_owned).to_vec();
    let rows: Vec<Vec<String>> = std::iter::once(head).chain(rows.iter().map(row)).collect();
    columns(&rows) + "± is half the 95 % interval.\n" + PARTS
}
