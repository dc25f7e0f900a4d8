//! One or several settings chosen from lists: which window, which sub-pixel fit, which aperture.
//!
//! Every combination measures the same pairs, so that small differences show.

use std::sync::atomic::{AtomicBool, Ordering};

use super::Wish;
use super::again::Remeasurement;
use super::map::{FreeSetting, known_key};
use super::trial::{MeasuredSetting, Planned, Trial, after};
use crate::StudyError;
use crate::run::{Journal, Progress};
use crate::vary::{SweepValue, Vary};
use motefield_rig::keys::{self, Kind};
use motefield_rig::setup::Setup;

/// Most combinations of a choice.
const MOST: usize = 300;

/// What was found.
#[derive(Debug, Clone)]
pub struct SettingsChoice {
    /// The settings.
    pub keys: Vec<String>,
    /// Every combination: those that may be used by rising error, then the others.
    pub trials: Vec<Trial>,
    /// Whether the first of them is the best; not if none may be used or the study was stopped.
    found: bool,
    /// The setup as it stands.
    pub standing: Option<Trial>,
    /// What was wished; its limit in px plays no part.
    pub wish: Wish,
    /// Whether the study was stopped before its end.
    pub stopped: bool,
}

/// A number whose best value is the smallest or largest tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndOfTried<'a> {
    /// The key.
    pub key: &'a str,
    /// Its best value.
    pub value: &'a SweepValue,
    /// Whether it is the largest; else it is the smallest.
    pub largest: bool,
}

impl SettingsChoice {
    /// The settings by number whose best value has no neighbour on one side among those tried, of
    /// three or more.
    pub fn at_end_of_tried(&self) -> Vec<EndOfTried<'_>> {
        let Some((best, _)) = self.best() else {
            return Vec::new();
        };
        let of_key = |k: usize| {
            let number = |value: &SweepValue| value.number.parse::<f64>().ok();
            let numbers: Option<Vec<f64>> = self.trials.iter().map(|t| number(&t.values[k])).collect();
            let mut numbers = numbers?;
            numbers.sort_by(f64::total_cmp);
            numbers.dedup();
            let (value, at) = (&best.values[k], number(&best.values[k])?);
            let largest = numbers.last() == Some(&at);
            let end = numbers.len() >= 3 && (largest || numbers.first() == Some(&at));
            end.then(|| EndOfTried {
                key: &self.keys[k],
                value,
                largest,
            })
        };
        (0..self.keys.len()).filter_map(of_key).collect()
    }
}

/// What is tried for a key when the user names no values: every word of a processing choice, usual
/// sizes of windows, or the setup's value and those about it.
fn candidates(setup: &Setup, key: &str) -> Result<Vec<SweepValue>, StudyError> {
    let list = |values: &[&str]| values.iter().map(|v| SweepValue::new(v)).collect();
    let described = known_key(key)?;
    Ok(match described.kind {
        _ if described.path == keys::processing::WINDOW.path => list(&["16", "24", "32", "48", "64", "96"]),
        _ if described.path == keys::processing::OVERLAP.path => list(&["0", "0.5", "0.75"]),
        Kind::Switch => list(&["true", "false"]),
        Kind::Choice(words) => list(&words()),
        _ => match FreeSetting::new(setup, key, None) {
            Ok(axis) => axis.values(),
            Err(_) => {
                let takes = format!(" (it takes {})", described.kind.words());
                return Err(StudyError::request(format!(
                    "{key}: say which values to try, as in {key}=a,b,c{takes}; {} has no number above 0 under this key to start from",
                    setup.name()
                )));
            }
        },
    })
}

/// Reads `KEY` or `KEY=a,b,c` (or a range, as a sweep takes it).
///
/// # Errors
/// When the values cannot be read, or there are none and the setup has none to start from.
fn settings(setup: &Setup, text: &str) -> Result<(String, Vec<SweepValue>), StudyError> {
    match text.contains('=') {
        true => {
            let vary: Vary = text.parse()?;
            Ok((vary.key, vary.values))
        }
        false => Ok((text.to_owned(), candidates(setup, text)?)),
    }
}

/// The combinations of a choice, planned and not yet measured: every file that one of them names
/// has been read.
#[derive(Debug, Clone)]
pub struct ChoiceSearch {
    setup: Setup,
    keys: Vec<String>,
    planned: Planned,
    /// The setup as it stands; `None` where it cannot be planned: it may still be asked what would
    /// do.
    standing: Option<Planned>,
}

impl ChoiceSearch {
    /// Every combination of the settings `wanted`, each `KEY` or `KEY=a,b,c`.
    ///
    /// # Errors
    /// When a setting cannot be read, there are too many combinations, or none gives a setup that
    /// can be planned.
    pub fn of(setup: &Setup, wanted: &[String]) -> Result<ChoiceSearch, StudyError> {
        let settings = wanted
            .iter()
            .map(|text| settings(setup, text))
            .collect::<Result<Vec<_>, _>>()?;
        let mut combinations: Vec<Vec<SweepValue>> = vec![Vec::new()];
        for (_, values) in &settings {
            let with = |begun: &Vec<SweepValue>, value: &SweepValue| {
                let mut more = begun.clone();
                more.push(value.clone());
                more
            };
            let begun = std::mem::take(&mut combinations);
            combinations.extend(begun.iter().flat_map(|b| values.iter().map(move |v| with(b, v))));
            if combinations.len() > MOST {
                return Err(StudyError::request(format!(
                    "more than {MOST} combinations; name fewer settings or fewer values, as in processing.window=24,32,48"
                )));
            }
        }
        let keys: Vec<String> = settings.into_iter().map(|(key, _)| key).collect();
        Ok(ChoiceSearch {
            setup: setup.clone(),
            planned: Planned::of(setup, &keys, combinations)?,
            // No values: nothing is changed.
            standing: Planned::of(setup, &keys, vec![Vec::new()]).ok(),
            keys,
        })
    }
}

/// Tries every combination. What `journal` holds is not measured again, what is measured is added.
///
/// # Errors
/// When the best cannot be planned again; it was planned before.
pub fn choose(
    search: ChoiceSearch,
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<SettingsChoice, StudyError> {
    let mut trials = search.planned.measure(Some(&[]), wish, journal, progress, stop);
    let later = after(&trials, progress);
    let mut standing = search
        .standing
        .and_then(|planned| planned.measure(None, wish, journal, &later, stop).pop());
    // Nothing is chosen by chance: equal errors stay in the order given.
    let error = |t: &Trial| t.usable(wish.valid).unwrap_or(f64::INFINITY);
    trials.sort_by(|a, b| error(a).total_cmp(&error(b)));
    let again = Remeasurement {
        setup: &search.setup,
        keys: &search.keys,
        wish,
        journal,
        progress,
        stop,
    };
    let best = again.best(&mut trials, standing.as_mut())?;
    // What its own pairs have ruled out stands behind, so that the best is the first.
    trials.sort_by_key(|t| t.usable(wish.valid).is_none());
    let stopped = stop.load(Ordering::Relaxed);
    Ok(SettingsChoice {
        keys: search.keys,
        found: best.is_some() && !stopped,
        trials,
        standing,
        wish: *wish,
        stopped,
    })
}

impl SettingsChoice {
    /// The best combination; `None` where none is usable or the study was stopped.
    pub fn best(&self) -> Option<(&Trial, &MeasuredSetting)> {
        let trial = self.trials.first().filter(|_| self.found)?;
        Some((trial, trial.measured()?))
    }
}

#[cfg(test)]
mod tests {
    use motefield_rig::setup::EMBEDDED;

    use super::*;

    /// A key that is none is told with the one that was meant, with values and without.
    #[test]
    fn a_misspelt_key_is_told_from_one_without_values() {
        let setup = Setup::from_text::<&str>("rig", EMBEDDED, &[]).unwrap();
        for text in ["processing.windw", "processing.windw=16,32"] {
            let refused = ChoiceSearch::of(&setup, &[text.to_owned()])
                .unwrap_err()
                .to_string();
            assert!(refused.contains("did you mean processing.window?"), "{refused}");
        }
    }
}
