//! Requests and who answers them.

use serde_json::{Value, json};

use crate::answer::{Answer, Refusal, number, text};
use crate::module::Module;

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

    fn dispatch(&mut self, request: &Value, bytes: &[u8]) -> Result<Answer, Refusal> {
        match text(request, "do") {
            "keys" => Ok(crate::rig::keys().into()),
            "edit" => crate::rig::edit(request).map(Answer::from),
            "field" => crate::rig::field(request).map(Answer::from),
            "plan" => Ok(crate::rig::plan(self.plan(request)?).into()),
            "assumed" => crate::rig::assumed(self.plan(request)?).map(Answer::from),
            "pair" => {
                let scene = self.plan(request)?.scene.clone();
                self.pair(scene, request)
            }
            "vectors" => {
                let processing = self.plan(request)?.processing.clone();
                self.vectors(&processing, request)
            }
            "plane" => {
                let processing = self.plan(request)?.processing.clone();
                self.plane(&processing, number(request, "x"), number(request, "y"))
            }
            "study" => self.begin(request),
            "measure" => self.measure(request),
            "enter" => Ok(json!({ "entered": self.enter(request, bytes) }).into()),
            "look" => self.look(request),
            other => Err(Refusal::Words(format!("no request is called {other}"))),
        }
    }
}
