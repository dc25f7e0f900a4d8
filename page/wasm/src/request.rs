//! Requests and answers.

use motefield_generator::{Crop, Pair, Scene};
use motefield_rig::plan::Plan;
use motefield_rig::setup::{Document, Fault, Referenced, Setup, SetupError};
use motefield_study::StudyError;
use motefield_study::run::Ledger;
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
    fn json(&self) -> Value {
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

/// A pair, or a part of one.
pub(crate) struct Rendered {
    pub(crate) scene: Scene,
    /// Where in the scene's pictures it stands.
    pub(crate) crop: Crop,
    pub(crate) pair: Pair,
}

/// What the module keeps between requests.
#[derive(Default)]
pub struct Module {
    /// The last pair, for vectors and correlation planes.
    pub(crate) pair: Option<Rendered>,
    /// The last setup planned: a hand that moves asks several things of it.
    planned: Option<(String, Plan)>,
    pub(crate) study: Option<(crate::study::Asked, Ledger)>,
}

impl Module {
    /// Answers a request; what cannot be answered has `faults`.
    pub fn answer(&mut self, request: &[u8]) -> Answer {
        let end = request
            .iter()
            .position(|byte| *byte == 0)
            .unwrap_or(request.len());
        let bytes = request.get(end + 1..).unwrap_or_default();
        let answer = match serde_json::from_slice::<Value>(&request[..end]) {
            Ok(request) => self.dispatch(&request, bytes),
            Err(e) => Err(Refusal::Words(format!("the request is no JSON: {e}"))),
        };
        answer.unwrap_or_else(|refusal| refusal.json().into())
    }

    /// The plan of a request's setup.
    fn plan(&mut self, request: &Value) -> Result<&Plan, Refusal> {
        let wanted = text(request, "setup");
        let kept = self.planned.take().filter(|(of, _)| of == wanted);
        let found = match kept {
            Some(kept) => kept,
            None => (wanted.to_owned(), motefield_rig::plan::plan(&setup(request)?)?),
        };
        Ok(&self.planned.insert(found).1)
    }

    fn dispatch(&mut self, request: &Value, bytes: &[u8]) -> Result<Answer, Refusal> {
        match text(request, "do") {
            "keys" => Ok(crate::rig::keys().into()),
            "edit" => crate::rig::edit(request).map(Answer::from),
            "plan" => Ok(crate::rig::plan(self.plan(request)?).into()),
            "assumed" => crate::rig::assumed(self.plan(request)?).map(Answer::from),
            "pair" => {
                let scene = self.plan(request)?.scene.clone();
                self.pair(scene, request)
            }
            "vectors" => {
                let processing = self.plan(request)?.processing.clone();
                self.vectors(&processing)
            }
            "plane" => {
                let processing = self.plan(request)?.processing.clone();
                self.plane(&processing, number(request, "x"), number(request, "y"))
            }
            "study" => self.begin(request),
            "measure" => self.measure(
                number(request, "experiment") as usize,
                number(request, "number") as usize,
            ),
            "enter" => Ok(json!({ "entered": self.enter(bytes) }).into()),
            "look" => self.look(),
            other => Err(Refusal::Words(format!("no request is called {other}"))),
        }
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
