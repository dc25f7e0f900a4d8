//! What a request says and what an answer holds.

use motefield_rig::setup::{Document, Fault, Referenced, Setup, SetupError};
use motefield_study::StudyError;
use serde_json::{Value, json};

/// What a request leads to.
#[derive(Debug, Default, PartialEq)]
pub struct Answer {
    /// For the page.
    pub json: Value,
    /// Pixels, measurements.
    pub bytes: Vec<u8>,
}

impl Answer {
    /// Length of the JSON, the JSON, and bytes.
    pub fn bytes(&self) -> Vec<u8> {
        let json = self.json.to_string();
        let mut all = (json.len() as u32).to_le_bytes().to_vec();
        all.extend(json.as_bytes());
        all.extend(&self.bytes);
        all
    }
}

impl From<Value> for Answer {
    fn from(json: Value) -> Answer {
        Answer {
            json,
            bytes: Vec::new(),
        }
    }
}

/// Why a request has no answer.
pub(crate) enum Refusal {
    /// Faults of the setup.
    Setup(SetupError),
    /// Anything else, in words.
    Words(String),
}

impl From<SetupError> for Refusal {
    fn from(error: SetupError) -> Refusal {
        Refusal::Setup(error)
    }
}

impl From<StudyError> for Refusal {
    fn from(error: StudyError) -> Refusal {
        match error {
            StudyError::Setup(error) => Refusal::Setup(error),
            other => Refusal::Words(other.to_string()),
        }
    }
}

impl Refusal {
    /// Faults with their line and bytes in the setup's own text, so that they can be underlined.
    pub(crate) fn json(&self) -> Value {
        let faults: Vec<Value> = match self {
            Refusal::Words(words) => vec![json!({ "message": words })],
            Refusal::Setup(error) => {
                let fault = |fault: &Fault| {
                    let Fault { place, message } = fault;
                    let own = place.as_ref().filter(|place| place.source == 0);
                    json!({
                        "message": message,
                        "line": own.and_then(|_| error.line(fault)),
                        "span": own.map(|place| [place.span.start, place.span.end]),
                    })
                };
                error.faults.iter().map(fault).collect()
            }
        };
        json!({ "faults": faults })
    }
}

/// A text of a request; empty where there is none.
pub(crate) fn text<'a>(request: &'a Value, name: &str) -> &'a str {
    request[name].as_str().unwrap_or_default()
}

/// A number of a request; 0 where there is none.
pub(crate) fn number(request: &Value, name: &str) -> f64 {
    request[name].as_f64().unwrap_or(0.0)
}

pub(crate) fn seed(request: &Value) -> u64 {
    request["seed"].as_u64().unwrap_or(1)
}

/// The setup of a request. The page has no disk: a setup that names files is refused by the reader.
pub(crate) fn setup(request: &Value) -> Result<Setup, Refusal> {
    let document = Document::parse(NAME, text(request, "setup"))?;
    Ok(Setup::read(document, no_files())?)
}

/// What messages call the setup.
pub(crate) const NAME: &str = "the setup";

pub(crate) fn no_files() -> std::sync::Arc<Referenced> {
    Referenced::new(std::sync::Arc::new(motefield_files::Memory::new([])))
}
