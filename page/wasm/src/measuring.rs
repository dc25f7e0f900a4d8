//! What the page asks of the study that is taken up.

use motefield_study::run::Job;
use serde_json::{Value, json};

use crate::answer::{Answer, Refusal};
use crate::asked::Asked;
use crate::module::Module;
use crate::study::{Study, StudyPart};

impl Module {
    /// Takes up a study: what the rig asks, or what the request does.
    pub(crate) fn begin(&mut self, request: &Value) -> Result<Answer, Refusal> {
        self.study = None;
        let asked = Asked::of(request)?;
        let question = asked.question().as_str();
        self.study = Some(Study::of(asked));
        Ok(json!({ "question": question }).into())
    }

    fn taken_up(&mut self) -> Result<&mut Study, Refusal> {
        let none = || Refusal::Words("no study is taken up".to_owned());
        self.study.as_mut().ok_or_else(none)
    }

    /// Enters a measurement.
    pub(crate) fn enter(&mut self, request: &Value, bytes: &[u8]) -> bool {
        let study = self.study.as_ref();
        study.is_some_and(|study| study.ledger(StudyPart::of(request)).enter(bytes))
    }

    /// Makes a measurement; the study first comes to its experiment if need be.
    pub(crate) fn measure(&mut self, request: &Value) -> Result<Answer, Refusal> {
        let [experiment, number] =
            ["experiment", "number"].map(|name| request[name].as_u64().unwrap_or(u64::MAX) as usize);
        let (part, job) = (StudyPart::of(request), Job { experiment, number });
        let study = self.taken_up()?;
        let mut measured = study.ledger(part).measure(job);
        if measured.is_none() {
            study.run(part)?;
            study.ledger(part).missing();
            measured = study.ledger(part).measure(job);
        }
        match measured {
            Some(bytes) => Ok(Answer {
                json: json!({}),
                bytes,
            }),
            None => Err(Refusal::Words(
                "the study has not come to this experiment".to_owned(),
            )),
        }
    }

    /// What a part of the study says by the measurements entered, and the jobs that are missing.
    pub(crate) fn look(&mut self, request: &Value) -> Result<Answer, Refusal> {
        let part = StudyPart::of(request);
        let study = self.taken_up()?;
        let mut says = study.run(part)?;
        let jobs = study.ledger(part).missing();
        says["jobs"] = jobs
            .iter()
            .map(|job| json!([job.experiment, job.number]))
            .collect();
        Ok(says.into())
    }
}
