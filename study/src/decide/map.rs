//! Two settings at once: a map of the velocity error over both, and the best pair of values within
//! the rules.
//!
//! A longer pulse separation makes the displacement, and with it the velocity, better known in
//! relation to its size, until particles leave the window or the sheet, paths curve, or the streaks
//! of pulses that may now be longer smear; so two settings are judged by the error of the
//! *velocity* over the mean speed, not by pixels.

mod axis;
#[cfg(test)]
mod tests;

use std::sync::atomic::{AtomicBool, Ordering};

use super::Wish;
use super::trial::{Later, MeasuredSetting, Planned, Trial, best};
use crate::StudyError;
use crate::run::{Journal, Progress};
use crate::vary::SweepValue;
pub use axis::FreeSetting;
use motefield_rig::setup::Setup;

/// Rounds of refinement about the best.
const REFINEMENTS: usize = 2;
/// How often the map grows where the best stands at its border.
const GROWTHS: usize = 2;

/// The map.
#[derive(Debug, Clone)]
pub struct Map {
    /// The two settings, with the values of the regular grid.
    pub axes: [FreeSetting; 2],
    /// The regular grid, row by row of the second setting, then refinements about the best.
    pub trials: Vec<Trial>,
    /// Place of the best in `trials`; `None` if no pair of values may be used, or the
    /// study was stopped.
    pub best: Option<usize>,
    /// The setup as it stands.
    pub standing: Option<Trial>,
    /// What was wished; its limit in px plays no part.
    pub wish: Wish,
    /// Whether the study was stopped before its end.
    pub stopped: bool,
}

/// Maps the error over two settings. What `journal` holds is not measured again, what is measured
/// is added.
///
/// # Errors
/// When no pair of values gives a setup that can be planned.
pub fn map(
    setup: &Setup,
    axes: [FreeSetting; 2],
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Map, StudyError> {
    let mut survey = Survey {
        setup,
        keys: axes.each_ref().map(|a| a.key.clone()),
        axes,
        wish,
        journal,
        progress,
        stop,
        trials: Vec::new(),
    };
    survey.fill()?;
    for _ in 0..GROWTHS {
        if !survey.grow() {
            break;
        }
        survey.fill()?;
    }
    // The grid by rows, for the picture; refinements behind it.
    survey.sort();
    for round in 1..=REFINEMENTS {
        survey.refine(0.5f64.powi(round as i32))?;
    }
    let standing = survey.standing()?;
    let stopped = stop.load(Ordering::Relaxed);
    Ok(Map {
        best: best(&survey.trials, wish.valid).filter(|_| !stopped),
        axes: survey.axes,
        trials: survey.trials,
        standing,
        wish: *wish,
        stopped,
    })
}

/// Makes sure that some pair of values of the regular grid gives a setup that can be planned.
///
/// # Errors
/// When none does: the first reason.
pub fn check(setup: &Setup, axes: &[FreeSetting; 2]) -> Result<(), StudyError> {
    let keys = axes.each_ref().map(|axis| axis.key.clone());
    Planned::of(setup, &keys, grid(axes)).map(|_| ())
}

/// All pairs of values of the regular grid, row by row of the second setting.
fn grid([a, b]: &[FreeSetting; 2]) -> Vec<Vec<SweepValue>> {
    let rows = b.values().into_iter();
    rows.flat_map(|y| a.values().into_iter().map(move |x| vec![x, y.clone()]))
        .collect()
}

struct Survey<'a> {
    setup: &'a Setup,
    keys: [String; 2],
    axes: [FreeSetting; 2],
    wish: &'a Wish,
    journal: Option<&'a Journal<'a>>,
    progress: &'a dyn Progress,
    stop: &'a AtomicBool,
    trials: Vec<Trial>,
}

impl Survey<'_> {
    /// Tries what is not yet tried among `values`.
    fn measure(&mut self, values: Vec<Vec<SweepValue>>) -> Result<(), StudyError> {
        let mut fresh: Vec<Vec<SweepValue>> = Vec::new();
        for pair in values {
            if !fresh.contains(&pair) && self.trials.iter().all(|t| t.values != pair) {
                fresh.push(pair);
            }
        }
        if fresh.is_empty() || self.stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        let later = Later::than(&self.trials, self.progress);
        let found = Planned::of(self.setup, &self.keys, fresh)
            .map(|planned| planned.measure(self.wish, self.journal, &later, self.stop));
        match found {
            Ok(found) => self.trials.extend(found),
            // Beyond what can be built there is nothing to find; at the outset there must be
            // something.
            Err(failure) if self.trials.is_empty() => return Err(failure),
            Err(_) => {}
        }
        Ok(())
    }

    /// Tries the whole regular grid.
    fn fill(&mut self) -> Result<(), StudyError> {
        self.measure(grid(&self.axes))
    }

    /// Lengthens the axes whose range nobody chose on the side where the best stands at the border;
    /// whether there was one.
    fn grow(&mut self) -> bool {
        let Some(k) = best(&self.trials, self.wish.valid) else {
            return false;
        };
        let values = self.trials[k].values.clone();
        let mut grown = false;
        for (axis, value) in self.axes.iter_mut().zip(&values) {
            grown |= axis.grow(value);
        }
        grown
    }

    fn sort(&mut self) {
        let number = |v: &SweepValue| v.number.parse::<f64>().unwrap_or(f64::NAN);
        self.trials.sort_by(|a, b| {
            number(&a.values[1])
                .total_cmp(&number(&b.values[1]))
                .then(number(&a.values[0]).total_cmp(&number(&b.values[0])))
        });
    }

    /// Tries the eight neighbours of the best, a `share` of a step away.
    fn refine(&mut self, share: f64) -> Result<(), StudyError> {
        let Some(k) = best(&self.trials, self.wish.valid) else {
            return Ok(());
        };
        let about = [0, 1].map(|axis| self.axes[axis].about(&self.trials[k].values[axis], share));
        let all = about[1]
            .iter()
            .flat_map(|y| about[0].iter().map(move |x| vec![x.clone(), y.clone()]))
            .collect();
        self.measure(all)
    }

    /// The setup as it stands, if it says both values; tried like the others, but out of the
    /// contest.
    fn standing(&self) -> Result<Option<Trial>, StudyError> {
        let setup = self.setup;
        let written = self.keys.each_ref().map(|key| setup.written(key));
        let [Some(a), Some(b)] = written else {
            return Ok(None);
        };
        if self.stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let values = vec![vec![SweepValue::new(&a), SweepValue::new(&b)]];
        let later = Later::than(&self.trials, self.progress);
        // A setup that cannot be planned as it stands may still be asked what would do.
        let planned = Planned::of(setup, &self.keys, values).ok();
        let tried = planned.map(|planned| planned.measure(self.wish, self.journal, &later, self.stop));
        Ok(tried.and_then(|mut t| t.pop()))
    }
}

impl Map {
    /// The best trial.
    pub fn best(&self) -> Option<(&Trial, &MeasuredSetting)> {
        let trial = &self.trials[self.best?];
        Some((trial, trial.measured()?))
    }

    /// The trials the study cannot tell (95 %) from the best, and those with at most a tenth more
    /// error.
    pub fn near(&self) -> [Vec<&Trial>; 2] {
        let Some((_, best)) = self.best() else {
            return [Vec::new(), Vec::new()];
        };
        let usable = || self.trials.iter().filter(|t| t.usable(self.wish.valid).is_some());
        let tenth = 1.1 * best.relative().value;
        [
            usable()
                .filter(|t| t.measured().is_some_and(|m| m.as_good_as(best)))
                .collect(),
            usable()
                .filter(|t| t.usable(self.wish.valid).is_some_and(|r| r <= tenth))
                .collect(),
        ]
    }
}
