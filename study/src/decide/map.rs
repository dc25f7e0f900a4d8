//! One to three settings at once: a map of the velocity error over them, and the best values within
//! the rules.
//!
//! A longer pulse separation makes the displacement, and with it the velocity, better known in
//! relation to its size, until particles leave the window or the sheet, paths curve, or the streaks
//! of pulses that may now be longer smear; so settings are judged by the error of the
//! *velocity* over the mean speed, not by pixels.

mod axis;
#[cfg(test)]
mod tests;

use std::sync::atomic::{AtomicBool, Ordering};

use super::Wish;
use super::again::Remeasurement;
use super::bounds::{self, Bound, Edge, SearchEnd};
use super::question::Question;
use super::trial::{MeasuredSetting, Planned, Trial, after, best};
use crate::StudyError;
use crate::run::{Journal, Progress};
use crate::vary::SweepValue;
pub use axis::{FreeSetting, known_key};
use motefield_rig::keys;
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::Setup;

/// Most settings at once.
pub const MOST_SETTINGS: usize = 3;

/// Rounds of refinement about the best.
const REFINEMENTS: usize = 2;
/// How often the map grows where the best stands at its border.
const GROWTHS: usize = 2;

/// The map.
#[derive(Debug, Clone)]
pub struct Map {
    /// What it answers.
    pub question: Question,
    /// The settings, with the values of the regular grid.
    pub axes: Vec<FreeSetting>,
    /// The regular grid, row by row of the last setting, then refinements about the best.
    pub trials: Vec<Trial>,
    /// Place of the best in `trials`; `None` if no values may be used, or the
    /// study was stopped.
    pub best: Option<usize>,
    /// The setup as it stands.
    pub standing: Option<Trial>,
    /// What was wished; its limit in px plays no part.
    pub wish: Wish,
    /// Whether the study was stopped before its end.
    pub stopped: bool,
}

/// The settings that a question sets free by itself, as far as they can be built.
///
/// # Errors
/// When the setup cannot be planned, or its displacement does not follow the pulse separation.
pub fn axes_of(setup: &Setup, question: Question) -> Result<Vec<FreeSetting>, StudyError> {
    let planned = plan(setup)?;
    let key = keys::timing::SEPARATION;
    let Some(now_s) = planned.rig.setup.separation_s else {
        return Err(setup
            .error(key, "is missing: write for example separation = \"2 ms\"")
            .into());
    };
    if planned.scene.electrons <= 0.0 {
        return Err(setup
            .error(
                keys::light::POWER,
                "gives no photo-electrons: check the light and the lens in the plan",
            )
            .into());
    }
    if planned.rig.speeds.fast_px < STILL_PX {
        return Err(setup.error(key, "leaves the particles where they are between the pulses: without displacement there is nothing to decide; lengthen it or raise the velocity").into());
    }
    if !planned.rig.follows_separation() {
        return Err(setup.error(keys::flow::KIND, "has a displacement that does not follow timing.separation: state velocities in the lab's units, such as \"0.2 m/s\"").into());
    }
    let of_separation = |besides: &[f64]| {
        let bounds = bounds::separation(setup, &planned);
        FreeSetting::of_time(key.path, now_s, bounds, besides)
    };
    Ok(match question {
        Question::Separation => vec![of_separation(&[])],
        Question::Exposure => exposure_axes(setup, &planned),
        Question::PulseLength | Question::Settings | Question::Choice => Vec::new(),
    })
}

/// The settings that a question sets free, and those that are named beside it.
///
/// # Errors
/// As [`axes_of`]; when there are more than [`MOST_SETTINGS`], or the pulse length is named and
/// fixed.
pub fn axes_beside(
    setup: &Setup,
    question: Question,
    named: Vec<FreeSetting>,
) -> Result<Vec<FreeSetting>, StudyError> {
    let pulse = keys::light::PULSE_LENGTH;
    let is_named = |key: &str| named.iter().any(|axis| axis.key == key);
    if question == Question::Separation && is_named(pulse.path) {
        return Err(setup
            .error(pulse, "is fixed: leave it out, or write light.pulse = \"free\"")
            .into());
    }
    let own = match question {
        Question::PulseLength => vec![FreeSetting::new(setup, pulse.path, None)?],
        _ => axes_of(setup, question)?,
    };
    let own = own.into_iter().filter(|axis| !is_named(&axis.key));
    let mut axes: Vec<FreeSetting> = own.collect();
    axes.extend(named);
    match axes.len() {
        0..=2 => Ok(axes),
        MOST_SETTINGS => Ok(axes.into_iter().map(FreeSetting::coarser).collect()),
        _ => Err(StudyError::request(format!(
            "{}: more than {MOST_SETTINGS} settings at once; leave some out",
            axes.iter()
                .map(|axis| axis.key.as_str())
                .collect::<Vec<_>>()
                .join(", ")
        ))),
    }
}

/// Exposure and separation in continuous light. The longest exposure is the longest separation less
/// the dead time; frame after frame is tried as well.
fn exposure_axes(setup: &Setup, planned: &Plan) -> Vec<FreeSetting> {
    let (exposure, separation) = (keys::camera::EXPOSURE.path, keys::timing::SEPARATION.path);
    let dead_s = setup.camera.dead_time_s.unwrap_or(0.0);
    let exposure_s = setup.camera.exposure_s.unwrap_or(dead_s);
    let separation_s = planned.rig.setup.separation_s.unwrap_or(exposure_s);
    let [shortest, longest] = bounds::separation_of_exposures(setup, planned);
    let most = |bound: Bound| Bound {
        at_s: bound.at_s - dead_s,
        wall: SearchEnd::Pulses,
    };
    let longest_exposure = longest.map(most).filter(|bound| bound.at_s > 0.0);
    let period: Vec<f64> = setup.camera.frame_rate_hz.iter().map(|hz| 1.0 / hz).collect();
    vec![
        FreeSetting::of_time(exposure, exposure_s, [None, longest_exposure], &[]),
        FreeSetting::of_time(separation, separation_s, [shortest, longest], &period),
    ]
}

/// A displacement that is none, px.
const STILL_PX: f64 = 1e-3;

/// Maps the error over settings. What `journal` holds is not measured again, what is measured
/// is added.
///
/// # Errors
/// When no values give a setup that can be planned.
pub fn map(
    setup: &Setup,
    question: Question,
    axes: Vec<FreeSetting>,
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Map, StudyError> {
    let mut survey = Survey {
        setup,
        keys: axes.iter().map(|a| a.key.clone()).collect(),
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
        survey.refine(0.5f64.powi(round as i32), round == REFINEMENTS)?;
    }
    let mut standing = survey.standing()?;
    let again = Remeasurement {
        setup,
        keys: &survey.keys,
        wish,
        journal,
        progress,
        stop,
    };
    let best = again.best(&mut survey.trials, standing.as_mut())?;
    let stopped = stop.load(Ordering::Relaxed);
    Ok(Map {
        question,
        best: best.filter(|_| !stopped),
        axes: survey.axes,
        trials: survey.trials,
        standing,
        wish: *wish,
        stopped,
    })
}

/// Makes sure that some values of the regular grid give a setup that can be planned.
///
/// # Errors
/// When none does: the first reason.
pub fn check(setup: &Setup, axes: &[FreeSetting]) -> Result<(), StudyError> {
    let keys: Vec<String> = axes.iter().map(|axis| axis.key.clone()).collect();
    Planned::of(setup, &keys, grid(axes)).map(|_| ())
}

/// All combinations of values of the regular grid, row by row of the last setting.
fn grid(axes: &[FreeSetting]) -> Vec<Vec<SweepValue>> {
    product(&axes.iter().map(FreeSetting::values).collect::<Vec<_>>())
}

/// Every combination of one value from each list, the last list the outermost.
fn product(lists: &[Vec<SweepValue>]) -> Vec<Vec<SweepValue>> {
    lists.iter().fold(vec![Vec::new()], |begun, list| {
        let with = |value: &SweepValue, before: &Vec<SweepValue>| {
            before.iter().chain([value]).cloned().collect::<Vec<_>>()
        };
        list.iter()
            .flat_map(|value| begun.iter().map(move |before| with(value, before)))
            .collect()
    })
}

struct Survey<'a> {
    setup: &'a Setup,
    keys: Vec<String>,
    axes: Vec<FreeSetting>,
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
        for setting in values {
            if !fresh.contains(&setting) && self.trials.iter().all(|t| t.values != setting) {
                fresh.push(setting);
            }
        }
        if fresh.is_empty() || self.stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        let later = after(&self.trials, self.progress);
        let rivals = Some(&self.trials[..]);
        let wish = Wish {
            effort: self.wish.effort.among_many(),
            ..*self.wish
        };
        let found = Planned::of(self.setup, &self.keys, fresh)
            .map(|planned| planned.measure(rivals, &wish, self.journal, &later, self.stop));
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
            let pairs = a.values.iter().zip(&b.values).rev();
            pairs.fold(std::cmp::Ordering::Equal, |so_far, (a, b)| {
                so_far.then(number(a).total_cmp(&number(b)))
            })
        });
    }

    /// Tries the neighbours of the best, a `share` of a step away: all around it, or those along
    /// one axis each.
    fn refine(&mut self, share: f64, along_axes: bool) -> Result<(), StudyError> {
        let Some(k) = best(&self.trials, self.wish.valid) else {
            return Ok(());
        };
        let best = &self.trials[k].values;
        let about: Vec<_> = (self.axes.iter().zip(best))
            .map(|(axis, value)| axis.about(value, share))
            .collect();
        let moved = |setting: &Vec<SweepValue>| setting.iter().zip(best).filter(|(a, b)| a != b).count();
        let most = if along_axes { 1 } else { MOST_SETTINGS };
        let all = product(&about)
            .into_iter()
            .filter(|setting| moved(setting) <= most);
        let all = all.collect();
        self.measure(all)
    }

    /// The setup as it stands, if it says all values; tried like the others, but out of the
    /// contest.
    fn standing(&self) -> Result<Option<Trial>, StudyError> {
        let setup = self.setup;
        let written: Option<Vec<String>> = self.keys.iter().map(|key| setup.written(key)).collect();
        let Some(written) = written else {
            return Ok(None);
        };
        if self.stop.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let values = vec![written.iter().map(|text| SweepValue::new(text)).collect()];
        let later = after(&self.trials, self.progress);
        // A setup that cannot be planned as it stands may still be asked what would do.
        let planned = Planned::of(setup, &self.keys, values).ok();
        let tried = planned.map(|planned| planned.measure(None, self.wish, self.journal, &later, self.stop));
        Ok(tried.and_then(|mut t| t.pop()))
    }
}

impl Map {
    /// What is left of a map that was stopped.
    pub fn without_answer(self) -> Map {
        Map {
            best: None,
            stopped: true,
            ..self
        }
    }

    /// The best trial.
    pub fn best(&self) -> Option<(&Trial, &MeasuredSetting)> {
        let trial = &self.trials[self.best?];
        Some((trial, trial.measured()?))
    }

    /// Where the best stands among the values of each setting; empty where there is none.
    pub fn edges(&self) -> Vec<Edge> {
        let best = self.best();
        let edges = best.map(|(trial, _)| self.axes.iter().zip(&trial.values).map(|(a, v)| a.edge(v)));
        edges.into_iter().flatten().collect()
    }

    /// Whether the best stands at the edge of what was tried, so that a better one may lie beyond.
    pub fn at_edge(&self) -> bool {
        self.edges().contains(&Edge::OfTried)
    }

    /// The trials the study cannot tell (95 %) from the best, and those with at most a tenth more
    /// error.
    pub fn near(&self) -> [Vec<&Trial>; 2] {
        let Some((_, best)) = self.best() else {
            return [Vec::new(), Vec::new()];
        };
        let usable = || self.trials.iter().filter(|t| t.usable(self.wish.valid).is_some());
        [
            usable()
                .filter(|t| t.measured().is_some_and(|m| m.as_good_as(best)))
                .collect(),
            usable()
                .filter(|t| t.measured().is_some_and(|m| m.over(best) <= 1.1))
                .collect(),
        ]
    }
}
