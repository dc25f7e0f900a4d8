//! A study: that of the command line over ledgers, whose measurements the page's workers make. Each
//! of its parts has a ledger of its own, so that they may be asked for in any order.

use std::sync::atomic::{AtomicUsize, Ordering};

use motefield_study::run::{Job, Ledger, Progress};
use serde_json::{Value, json};

use crate::answer::{Answer, Refusal, text};
use crate::asked::Asked;
use crate::found::Found;
use crate::module::Module;

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Part {
    /// The answer.
    Answer,
    /// What the assumptions behind it are worth.
    Worth,
    /// What would be enough, where it does not meet the limit.
    Enough,
}

impl Part {
    fn of(request: &Value) -> Part {
        match text(request, "part") {
            "worth" => Part::Worth,
            "enough" => Part::Enough,
            _ => Part::Answer,
        }
    }
}

/// A study and what is known of it.
pub(crate) struct Study {
    pub(crate) asked: Asked,
    ledgers: [Ledger; 3],
    /// The answer, once it is whole.
    pub(crate) found: Option<Found>,
}

/// Pairs that a part expects in all, and those done.
#[derive(Default)]
pub(crate) struct Count {
    expected: AtomicUsize,
    done: AtomicUsize,
}

impl Progress for Count {
    fn expect(&self, pairs: usize) {
        self.expected.store(pairs, Ordering::Relaxed);
    }
    fn done(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }
}

impl Count {
    /// What a part says, with how far it is.
    pub(crate) fn beside(&self, mut says: Value, finished: bool, pairs_before: usize) -> Value {
        let expected = self.expected.load(Ordering::Relaxed);
        says["finished"] = json!(finished);
        says["expected"] = json!(expected.saturating_sub(pairs_before));
        says["done"] = json!(self.done.load(Ordering::Relaxed));
        says
    }
}

impl Study {
    pub(crate) fn ledger(&self, part: Part) -> &Ledger {
        &self.ledgers[part as usize]
    }

    /// What a part says by the measurements entered.
    fn run(&mut self, part: Part) -> Result<Value, Refusal> {
        if part != Part::Answer && self.found.is_none() {
            self.answer()?;
            if self.found.is_none() {
                return Err(Refusal::Words("there is no answer yet".to_owned()));
            }
        }
        match part {
            Part::Answer => self.answer(),
            Part::Worth => self.worth(),
            Part::Enough => self.enough(),
        }
    }
}

impl Module {
    /// Takes up a study: what the rig asks, or what the request does.
    pub(crate) fn begin(&mut self, request: &Value) -> Result<Answer, Refusal> {
        self.study = None;
        let asked = Asked::of(request)?;
        let question = asked.question().as_str();
        self.study = Some(Study {
            asked,
            ledgers: Default::default(),
            found: None,
        });
        Ok(json!({ "question": question }).into())
    }

    fn taken_up(&mut self) -> Result<&mut Study, Refusal> {
        let none = || Refusal::Words("no study is taken up".to_owned());
        self.study.as_mut().ok_or_else(none)
    }

    /// Enters a measurement.
    pub(crate) fn enter(&mut self, request: &Value, bytes: &[u8]) -> bool {
        let study = self.study.as_ref();
        study.is_some_and(|study| study.ledger(Part::of(request)).enter(bytes))
    }

    /// Makes a measurement; the study first comes to its experiment if need be.
    pub(crate) fn measure(&mut self, request: &Value) -> Result<Answer, Refusal> {
        let [experiment, number] =
            ["experiment", "number"].map(|name| request[name].as_u64().unwrap_or(u64::MAX) as usize);
        let (part, job) = (Part::of(request), Job { experiment, number });
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
        let part = Part::of(request);
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
