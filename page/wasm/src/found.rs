//! An answer, and what it says.

use motefield_report::decide as report;
use motefield_study::decide::choice::SettingsChoice;
use motefield_study::decide::enough::Unmet;
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::map::Map;
use motefield_study::decide::trial::{MeasuredSetting, Trial};
use motefield_study::decide::worth::Answered;
use motefield_study::decide::{Decision, USUAL_LIMIT_PX};
use motefield_study::run::Point;
use serde_json::Value;

use crate::asked::{Asked, Sought};

/// An answer.
pub(crate) enum FoundAnswer {
    /// A pulse length.
    Pulse(Box<Decision>),
    /// The best of several numbers.
    Map(Box<Map>),
    /// The best of listed values.
    Choice(Box<SettingsChoice>),
}

/// How a study that waits for measurements goes on.
const GO_ON: &str = "Measuring.";

impl FoundAnswer {
    pub(crate) fn stopped(&self) -> bool {
        match self {
            FoundAnswer::Pulse(decision) => decision.stopped,
            FoundAnswer::Map(map) => map.stopped,
            FoundAnswer::Choice(choice) => choice.stopped,
        }
    }

    /// Whether the best keeps the limit, where one is stated that plays no part in finding it.
    pub(crate) fn met(&self, asked: &Asked) -> Option<bool> {
        let best: &MeasuredSetting = match self {
            FoundAnswer::Pulse(_) => return None,
            FoundAnswer::Map(map) => map.best()?.1,
            FoundAnswer::Choice(choice) => choice.best()?.1,
        };
        asked.limit?.kept_by(best)
    }

    /// What it rests on; `None` where there is no answer, or one from a list.
    pub(crate) fn answered<'a>(&self, asked: &'a Asked) -> Option<Answered<'a>> {
        match (self, &asked.sought) {
            (FoundAnswer::Pulse(decision), Sought::Pulse(search)) => Answered::of_pulse(search, decision),
            (FoundAnswer::Map(map), _) => Answered::of_map(&asked.setup, map),
            _ => None,
        }
    }

    /// What does not meet its limit; `None` where it does, or there is none.
    pub(crate) fn unmet<'a>(&self, asked: &'a Asked) -> Option<Unmet<'a>> {
        match (self, &asked.sought) {
            (FoundAnswer::Pulse(decision), Sought::Pulse(search)) => {
                let limit = asked.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX));
                Unmet::of_pulse(search, decision, limit)
            }
            (FoundAnswer::Map(map), _) => Unmet::of_map(&asked.setup, map, asked.limit),
            _ => None,
        }
    }

    /// What was measured.
    pub(crate) fn points(&self) -> Vec<&Point> {
        fn of_trials(trials: &[Trial]) -> Vec<&Point> {
            let measured = trials.iter().filter_map(Trial::measured);
            measured.map(|measured| &measured.point).collect()
        }
        match self {
            FoundAnswer::Pulse(decision) => decision.points.iter().map(|m| &m.point).collect(),
            FoundAnswer::Map(map) => of_trials(&map.trials),
            FoundAnswer::Choice(choice) => of_trials(&choice.trials),
        }
    }

    pub(crate) fn json(&self, asked: &Asked) -> Value {
        let mut json = match self {
            // Its limit, always there, stands within.
            FoundAnswer::Pulse(decision) => return report::pulse::json(decision, &asked.setup, GO_ON),
            FoundAnswer::Map(map) => report::map::json(map, &asked.setup, GO_ON),
            FoundAnswer::Choice(choice) => report::choice::json(choice, &asked.setup, GO_ON),
        };
        report::add_limit(&mut json, asked.limit, self.met(asked));
        json
    }

    pub(crate) fn words(&self, asked: &Asked) -> String {
        let (words, limit) = match self {
            // Its limit stands within.
            FoundAnswer::Pulse(decision) => (report::pulse::words(decision, GO_ON), None),
            FoundAnswer::Map(map) => (report::map::words(map, GO_ON), asked.limit),
            FoundAnswer::Choice(choice) => (report::choice::without_table(choice, GO_ON), asked.limit),
        };
        let limit = limit.filter(|_| !self.stopped());
        let tiles = motefield_report::tiles::words(self.points(), None);
        words + &tiles + &report::limit_words(limit, self.met(asked))
    }
}
