//! The answer: the study of the command line over a ledger, whose measurements the page's workers
//! make.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use motefield_report::decide as report;
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
use motefield_study::decide::map::{FreeSetting, axes_beside, axes_of, map};
use motefield_study::decide::question::Question;
use motefield_study::decide::{PulseSearch, USUAL_LIMIT_PX, USUAL_VALID, Wish, decide};
use motefield_study::run::{Effort, External, Job, Journal, Ledger, Progress};
use serde_json::{Value, json};

use crate::answer::{Answer, Refusal, seed, setup};
use crate::module::{Asked, Module};

/// What is asked, and the settings set free: those that the request names under `free`, as with the
/// command line's `--free`, or those that the rig's own question frees.
fn freed(setup: &Setup, request: &Value) -> Result<(Question, Vec<FreeSetting>), Refusal> {
    let keys = request["free"].as_array().map(Vec::as_slice).unwrap_or_default();
    if keys.len() < 2 {
        let question = Question::of(setup)?;
        let axes = match question {
            Question::PulseLength => Vec::new(),
            _ => axes_of(setup, question)?,
        };
        return Ok((question, axes));
    }
    let named = (keys.iter())
        .map(|key| FreeSetting::new(setup, key.as_str().unwrap_or_default(), None))
        .collect::<Result<Vec<FreeSetting>, StudyError>>()?;
    let (question, axes) = match Question::of(setup) {
        // A better separation goes with each of them.
        Ok(Question::Separation) => (
            Question::Separation,
            axes_beside(setup, Question::Separation, named)?,
        ),
        _ => (Question::Settings, named),
    };
    motefield_study::decide::map::check(setup, &axes)?;
    Ok((question, axes))
}

/// Pairs that the study expects in all, and those done.
#[derive(Default)]
struct Count {
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

/// How a study that waits for measurements goes on.
const GO_ON: &str = "Measuring.";

impl Module {
    /// Takes up a study: what the rig asks.
    pub(crate) fn begin(&mut self, request: &Value) -> Result<Answer, Refusal> {
        let setup = setup(request)?;
        let (question, axes) = freed(&setup, request)?;
        let usual = Effort::default();
        let wish = Wish {
            limit_px: request["limit_px"].as_f64().unwrap_or(USUAL_LIMIT_PX),
            valid: request["valid"].as_f64().unwrap_or(USUAL_VALID),
            external: External::default(),
            effort: Effort {
                seed: seed(request),
                precision: request["precision"].as_f64().unwrap_or(usual.precision),
                most_pairs: request["most_pairs"]
                    .as_u64()
                    .map_or(usual.most_pairs, |n| n as usize),
                ..usual
            },
        };
        let asked = Asked {
            setup,
            question,
            axes,
            wish,
        };
        self.study = Some((asked, Ledger::default()));
        Ok(json!({ "question": question.as_str() }).into())
    }

    /// Enters a measurement.
    pub(crate) fn enter(&self, bytes: &[u8]) -> bool {
        self.study.as_ref().is_some_and(|(_, ledger)| ledger.enter(bytes))
    }

    /// Makes a measurement; the study first comes to its experiment if need be.
    pub(crate) fn measure(&mut self, experiment: usize, number: usize) -> Result<Answer, Refusal> {
        let waiting = || Refusal::Words("the study has not come to this experiment".to_owned());
        let Some((asked, ledger)) = &self.study else {
            return Err(waiting());
        };
        let job = Job { experiment, number };
        if let Some(bytes) = ledger.measure(job) {
            return Ok(Answer {
                json: json!({}),
                bytes,
            });
        }
        asked.run(ledger)?;
        ledger.missing();
        let bytes = ledger.measure(job).ok_or_else(waiting)?;
        Ok(Answer {
            json: json!({}),
            bytes,
        })
    }

    /// What the study says by the measurements entered, and the jobs that are missing.
    pub(crate) fn look(&self) -> Result<Answer, Refusal> {
        let Some((asked, ledger)) = &self.study else {
            return Err(Refusal::Words("no study is taken up".to_owned()));
        };
        let mut answer = asked.run(ledger)?;
        let jobs = ledger.missing();
        answer["jobs"] = jobs
            .iter()
            .map(|job| json!([job.experiment, job.number]))
            .collect();
        Ok(answer.into())
    }
}

impl Asked {
    fn run(&self, ledger: &Ledger) -> Result<Value, Refusal> {
        let journal = Journal::over(ledger);
        let stop = AtomicBool::new(false);
        let count = Count::default();
        let (answer, words, stopped) = match self.question {
            Question::PulseLength => {
                let search = PulseSearch::of(&self.setup)?;
                let decision = decide(&search, &self.wish, Some(&journal), &count, &stop)?;
                (
                    report::pulse::json(&decision, &self.setup, GO_ON),
                    report::pulse::words(&decision, GO_ON),
                    decision.stopped,
                )
            }
            question => {
                let found = map(
                    &self.setup,
                    question,
                    self.axes.clone(),
                    &self.wish,
                    Some(&journal),
                    &count,
                    &stop,
                )?;
                (
                    report::map::json(&found, &self.setup, GO_ON),
                    report::map::words(&found, GO_ON),
                    found.stopped,
                )
            }
        };
        Ok(json!({
            "answer": answer,
            "words": words,
            "finished": !stopped,
            "expected": count.expected.load(Ordering::Relaxed),
            "done": count.done.load(Ordering::Relaxed),
        }))
    }
}
