//! What all JSON files share: their head, the setup they came from, and estimates.

use motefield_evaluator::statistics::Estimate;
use motefield_rig::setup::Setup;
use motefield_study::RESULTS_VERSION;
use motefield_study::caveat::Caveat;
use motefield_study::values::Figure;
use serde::Serialize;
use serde_json::{Map, Value, json};

/// An estimate with the ends of its confidence interval; unknown numbers become null.
///
/// ```
/// use motefield_evaluator::statistics::Estimate;
/// use motefield_report::json::Interval;
///
/// let error = Estimate { value: 0.1, lo: 0.09, hi: f64::INFINITY };
/// let written = serde_json::to_string(&Interval::from(error)).unwrap();
/// assert_eq!(written, r#"{"value":0.1,"lo":0.09,"hi":null}"#);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// The estimate.
    pub value: f64,
    /// Lower end.
    pub lo: f64,
    /// Upper end.
    pub hi: f64,
}

impl From<Estimate> for Interval {
    fn from(Estimate { value, lo, hi }: Estimate) -> Interval {
        Interval { value, lo, hi }
    }
}

/// Named estimates as the fields of an object.
pub(crate) fn intervals<N: Into<String>>(
    named: impl IntoIterator<Item = (N, Estimate)>,
) -> Map<String, Value> {
    named
        .into_iter()
        .map(|(name, e)| (name.into(), json!(Interval::from(e))))
        .collect()
}

/// What must be said beside figures: `id`, which is stable, and the words.
pub(crate) fn caveats(all: &[Caveat]) -> Value {
    all.iter()
        .map(|caveat| json!({ "id": caveat.id(), "says": caveat.to_string() }))
        .collect()
}

/// Named figures as the fields of an object: an [`Interval`], or `{"cannot_tell": reason}`, so that
/// whoever takes it for a number is stopped.
pub(crate) fn figures(named: impl IntoIterator<Item = (String, Figure)>) -> Map<String, Value> {
    let value = |figure: Figure| match figure {
        Ok(e) => json!(Interval::from(e)),
        Err(reason) => json!({ "cannot_tell": reason.as_str() }),
    };
    named
        .into_iter()
        .map(|(name, figure)| (name, value(figure)))
        .collect()
}

/// What every JSON file begins with: `schema` (the layout's name and version, raised when a name
/// changes its meaning or goes), `version` of the program and `results_version`, which changes when
/// any computed value may.
///
/// ```
/// let head = motefield_report::json::head("motefield-plan/1");
/// assert_eq!(head["schema"], "motefield-plan/1");
/// assert!(head["results_version"].is_u64());
/// ```
pub fn head(schema: &str) -> Map<String, Value> {
    let fields = [
        ("schema", json!(schema)),
        ("version", json!(env!("CARGO_PKG_VERSION"))),
        ("results_version", json!(RESULTS_VERSION)),
    ];
    fields
        .map(|(name, value)| (name.to_owned(), value))
        .into_iter()
        .collect()
}

/// A JSON file: its [`head`], then the fields of an object.
///
/// # Panics
/// When `fields` is no object.
pub fn file(schema: &str, fields: Value) -> Value {
    let Value::Object(fields) = fields else {
        panic!("the fields of a JSON file are an object");
    };
    head(schema).into_iter().chain(fields).collect()
}

/// The setup: what messages call it, its text and what was changed in it.
pub fn setup(setup: &Setup) -> Value {
    let changes = setup.document().changes().iter();
    let changes: Vec<[String; 2]> = changes
        .map(|(key, value)| [key.clone(), value.to_string()])
        .collect();
    let mut json = json!({ "name": setup.name(), "text": setup.text(), "changes": changes });
    let parts = setup.document().parts();
    if !parts.is_empty() {
        let parts = parts
            .iter()
            .map(|part| json!({ "name": *part.name, "text": *part.text }));
        json["parts"] = parts.collect();
    }
    json
}
