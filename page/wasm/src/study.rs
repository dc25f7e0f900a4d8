//! A study: that of the command line over ledgers, whose measurements the page's workers make. Each
//! of its parts has a ledger of its own, so that they may be asked for in any order.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use motefield_report::decide as report;
use motefield_study::decide::choice::choose;
use motefield_study::decide::decide;
use motefield_study::decide::enough::enough;
use motefield_study::decide::map::map;
use motefield_study::decide::worth::{Worth, worths};
use motefield_study::run::{Journal, Ledger, Progress};
use serde_json::{Value, json};

use crate::answer::{Refusal, text};
use crate::asked::{Asked, Sought};
use crate::found::FoundAnswer;

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum StudyPart {
    /// The answer.
    Answer,
    /// What the assumptions behind it are worth.
    Worth,
    /// What would be enough, where it does not meet the limit.
    Enough,
}

impl StudyPart {
    pub(crate) fn of(request: &Value) -> StudyPart {
        match text(request, "part") {
            "worth" => StudyPart::Worth,
            "enough" => StudyPart::Enough,
            _ => StudyPart::Answer,
        }
    }
}

/// A study and what is known of it.
pub(crate) struct Study {
    asked: Asked,
    ledgers: [Ledger; 3],
    /// The answer, once it is whole.
    found: Option<FoundAnswer>,
}

/// Pairs that a part expects in all, and those done.
#[derive(Default)]
struct PairCount {
    expected: AtomicUsize,
    done: AtomicUsize,
}

impl Progress for PairCount {
    fn expect(&self, pairs: usize) {
        self.expected.store(pairs, Ordering::Relaxed);
    }
    fn done(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }
}

impl PairCount {
    /// What a part says, with how far it is.
    fn beside(&self, mut says: Value, finished: bool, pairs_before: usize) -> Value {
        let expected = self.expected.load(Ordering::Relaxed);
        says["finished"] = json!(finished);
        says["expected"] = json!(expected.saturating_sub(pairs_before));
        says["done"] = json!(self.done.load(Ordering::Relaxed));
        says
    }
}

impl Study {
    /// A study of which nothing is known.
    pub(crate) fn of(asked: Asked) -> Study {
        Study {
            asked,
            ledgers: Default::default(),
            found: None,
        }
    }

    pub(crate) fn ledger(&self, part: StudyPart) -> &Ledger {
        &self.ledgers[part as usize]
    }

    /// What a part says by the measurements entered.
    pub(crate) fn run(&mut self, part: StudyPart) -> Result<Value, Refusal> {
        if part != StudyPart::Answer && self.found.is_none() {
            self.answer()?;
            if self.found.is_none() {
                return Err(Refusal::Words("there is no answer yet".to_owned()));
            }
        }
        match part {
            StudyPart::Answer => self.answer(),
            StudyPart::Worth => self.worth(),
            StudyPart::Enough => self.enough(),
        }
    }
}

impl Study {
    /// The answer by the measurements entered; kept once it is whole.
    fn answer(&mut self) -> Result<Value, Refusal> {
        let journal = Journal::over(self.ledger(StudyPart::Answer));
        let (stop, count, asked) = (AtomicBool::new(false), PairCount::default(), &self.asked);
        let (wish, journal) = (&asked.wish, Some(&journal));
        let found = match &asked.sought {
            Sought::Pulse(search) => {
                FoundAnswer::Pulse(Box::new(decide(search, wish, journal, &count, &stop)?))
            }
            Sought::Map(question, axes) => {
                let (setup, axes) = (&asked.setup, axes.clone());
                let found = map(setup, *question, axes, wish, journal, &count, &stop)?;
                FoundAnswer::Map(Box::new(found))
            }
            Sought::Choice(search) => FoundAnswer::Choice(Box::new(choose(
                (**search).clone(),
                wish,
                journal,
                &count,
                &stop,
            )?)),
        };
        let finished = !found.stopped();
        let says = json!({
            "answer": found.json(asked),
            "words": found.words(asked),
            "has_worth": finished && found.answered(asked).is_some(),
            "is_unmet": finished && found.unmet(asked).is_some(),
        });
        self.found = finished.then_some(found);
        Ok(count.beside(says, finished, 0))
    }

    /// What the assumptions behind the answer are worth, those first that move it most.
    fn worth(&self) -> Result<Value, Refusal> {
        let Some(answered) = self.found.as_ref().and_then(|found| found.answered(&self.asked)) else {
            return Err(Refusal::Words("there is no answer".to_owned()));
        };
        let journal = Journal::over(self.ledger(StudyPart::Worth));
        let (stop, count) = (AtomicBool::new(false), PairCount::default());
        let worths = worths(&answered, &self.asked.wish, Some(&journal), &count, &stop)?;
        let one = |worth: &Worth| {
            json!({
                "key": worth.assumption.key.path,
                "usual": report::worth::usual(worth),
                "moves": worth.moves_best() || worth.changes_error(),
                "says": report::worth::consequence(worth, Some(&answered)),
            })
        };
        let says = json!({
            "first": worths.first().map(|worth| report::worth::first_words(worth, &answered)),
            "worths": worths.tried.iter().map(one).collect::<Value>(),
            "tolerances": worths.spread.as_ref().map(report::worth::spread_words),
        });
        Ok(count.beside(says, !stop.load(Ordering::Relaxed), answered.pairs()))
    }

    /// What would be enough.
    fn enough(&self) -> Result<Value, Refusal> {
        let Some(unmet) = self.found.as_ref().and_then(|found| found.unmet(&self.asked)) else {
            return Err(Refusal::Words("the limit is met".to_owned()));
        };
        let journal = Journal::over(self.ledger(StudyPart::Enough));
        let (stop, count) = (AtomicBool::new(false), PairCount::default());
        let found = enough(&unmet, &self.asked.wish, Some(&journal), &count, &stop)?;
        let ways = report::enough::ways(&found);
        let mut says = report::enough::json(Some(&found));
        for (solution, way) in says["solutions"].as_array_mut().into_iter().flatten().zip(ways) {
            solution["says"] = json!(way.what);
            let gives = |with| {
                let cost = report::enough::cost(&found, with);
                [report::enough::gives(&found, with)]
                    .into_iter()
                    .chain(cost)
                    .collect::<Vec<_>>()
                    .join("; ")
            };
            solution["gives"] = json!(way.with.map(gives));
        }
        says["aim"] = json!(report::enough::aim(&found));
        says["nothing_else"] = json!(report::enough::nothing_else(&found));
        Ok(count.beside(says, !stop.load(Ordering::Relaxed), 0))
    }
}
