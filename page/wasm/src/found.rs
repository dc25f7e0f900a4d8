//! The answer of a study, what its assumptions are worth, and what would be enough.

use std::sync::atomic::{AtomicBool, Ordering};

use motefield_report::decide as report;
use motefield_study::decide::choice::{SettingsChoice, choose};
use motefield_study::decide::enough::{Unmet, enough};
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::map::{Map, map};
use motefield_study::decide::trial::{MeasuredSetting, Trial};
use motefield_study::decide::worth::{Answered, Worth, worths};
use motefield_study::decide::{Decision, USUAL_LIMIT_PX, decide};
use motefield_study::run::{Journal, Point};
use serde_json::{Value, json};

use crate::answer::Refusal;
use crate::asked::{Asked, Sought};
use crate::study::{Count, Part, Study};

/// An answer.
pub(crate) enum Found {
    /// A pulse length.
    Pulse(Box<Decision>),
    /// The best of several numbers.
    Map(Box<Map>),
    /// The best of listed values.
    Choice(Box<SettingsChoice>),
}

/// How a study that waits for measurements goes on.
const GO_ON: &str = "Measuring.";

impl Found {
    fn stopped(&self) -> bool {
        match self {
            Found::Pulse(decision) => decision.stopped,
            Found::Map(map) => map.stopped,
            Found::Choice(choice) => choice.stopped,
        }
    }

    /// Whether the best keeps the limit, where one is stated that plays no part in finding it.
    fn met(&self, asked: &Asked) -> Option<bool> {
        let best: &MeasuredSetting = match self {
            Found::Pulse(_) => return None,
            Found::Map(map) => map.best()?.1,
            Found::Choice(choice) => choice.best()?.1,
        };
        asked.limit?.kept_by(best)
    }

    /// What it rests on; `None` where there is no answer, or one from a list.
    fn answered<'a>(&self, asked: &'a Asked) -> Option<Answered<'a>> {
        match (self, &asked.sought) {
            (Found::Pulse(decision), Sought::Pulse(search)) => Answered::of_pulse(search, decision),
            (Found::Map(map), _) => Answered::of_map(&asked.setup, map),
            _ => None,
        }
    }

    /// What does not meet its limit; `None` where it does, or there is none.
    fn unmet<'a>(&self, asked: &'a Asked) -> Option<Unmet<'a>> {
        match (self, &asked.sought) {
            (Found::Pulse(decision), Sought::Pulse(search)) => {
                let limit = asked.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX));
                Unmet::of_pulse(search, decision, limit)
            }
            (Found::Map(map), _) => Unmet::of_map(&asked.setup, map, asked.limit),
            _ => None,
        }
    }

    /// What was measured.
    fn points(&self) -> Vec<&Point> {
        fn of_trials(trials: &[Trial]) -> Vec<&Point> {
            let measured = trials.iter().filter_map(Trial::measured);
            measured.map(|measured| &measured.point).collect()
        }
        match self {
            Found::Pulse(decision) => decision.points.iter().map(|m| &m.point).collect(),
            Found::Map(map) => of_trials(&map.trials),
            Found::Choice(choice) => of_trials(&choice.trials),
        }
    }

    fn json(&self, asked: &Asked) -> Value {
        let mut json = match self {
            // Its limit, always there, stands within.
            Found::Pulse(decision) => return report::pulse::json(decision, &asked.setup, GO_ON),
            Found::Map(map) => report::map::json(map, &asked.setup, GO_ON),
            Found::Choice(choice) => report::choice::json(choice, &asked.setup, GO_ON),
        };
        report::add_limit(&mut json, asked.limit, self.met(asked));
        json
    }

    fn words(&self, asked: &Asked) -> String {
        let (words, limit) = match self {
            // Its limit stands within.
            Found::Pulse(decision) => (report::pulse::words(decision, GO_ON), None),
            Found::Map(map) => (report::map::words(map, GO_ON), asked.limit),
            Found::Choice(choice) => (report::choice::without_table(choice, GO_ON), asked.limit),
        };
        let limit = limit.filter(|_| !self.stopped());
        let tiles = motefield_report::tiles::words(self.points());
        words + &tiles + &report::limit_words(limit, self.met(asked))
    }
}

impl Study {
    /// The answer by the measurements entered; kept once it is whole.
    pub(crate) fn answer(&mut self) -> Result<Value, Refusal> {
        let journal = Journal::over(self.ledger(Part::Answer));
        let (stop, count, asked) = (AtomicBool::new(false), Count::default(), &self.asked);
        let (wish, journal) = (&asked.wish, Some(&journal));
        let found = match &asked.sought {
            Sought::Pulse(search) => Found::Pulse(Box::new(decide(search, wish, journal, &count, &stop)?)),
            Sought::Map(question, axes) => {
                let (setup, axes) = (&asked.setup, axes.clone());
                let found = map(setup, *question, axes, wish, journal, &count, &stop)?;
                Found::Map(Box::new(found))
            }
            Sought::Choice(search) => Found::Choice(Box::new(choose(
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
    pub(crate) fn worth(&self) -> Result<Value, Refusal> {
        let Some(answered) = self.found.as_ref().and_then(|found| found.answered(&self.asked)) else {
            return Err(Refusal::Words("there is no answer".to_owned()));
        };
        let journal = Journal::over(self.ledger(Part::Worth));
        let (stop, count) = (AtomicBool::new(false), Count::default());
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
    pub(crate) fn enough(&self) -> Result<Value, Refusal> {
        let Some(unmet) = self.found.as_ref().and_then(|found| found.unmet(&self.asked)) else {
            return Err(Refusal::Words("the limit is met".to_owned()));
        };
        let journal = Journal::over(self.ledger(Part::Enough));
        let (stop, count) = (AtomicBool::new(false), Count::default());
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
