//! What would be enough where nothing meets the limit: the least light, and up to three other
//! changes of the rig, each solved for and not tried.
//!
//! Along one change, or several that go hand in hand, the error is measured on the particles that
//! the study itself used, so that it falls without jumps, and the place where it meets the limit is
//! found as a root; at every place the settings that the question sets free stand at their best.
//! The place is then measured on pairs of its own and moved until the upper end of the error's
//! interval is within the limit.

mod bench;
mod judge;
mod lever;
mod ray;
mod sought;

use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::statistics::Estimate;
use motefield_rig::plan::plan;
use motefield_rig::quantity::{self, Dimension};
use motefield_rig::setup::{Setup, Value};

use super::limit::ErrorLimit;
use super::map::Map;
use super::trial::MeasuredSetting;
use super::{Decision, PulseSearch, Wish};
use crate::StudyError;
use crate::run::{Journal, Progress};
use crate::vary::SweepValue;
use bench::Bench;
use judge::Judge;
pub use lever::{Lever, Means};
use motefield_rig::keys;
pub use sought::MOST_SHARE;

/// Most alternatives to more light.
pub const ALTERNATIVES: usize = 3;

/// A change of one thing.
#[derive(Debug, Clone)]
pub struct Change {
    /// What is changed.
    pub means: Means,
    /// Its key.
    pub key: String,
    /// From which value to which, as a setup writes them.
    pub values: [String; 2],
    /// The second over the first.
    pub factor: f64,
}

/// Settings with which the limit is met.
#[derive(Debug, Clone)]
pub struct Sufficient {
    /// What is changed of the rig; the least light is one change.
    pub changes: Vec<Change>,
    /// Every setting that differs from the setup, those that the question sets free among them.
    pub settings: Vec<(String, String)>,
    /// What was measured there on pairs of its own.
    pub measured: MeasuredSetting,
    /// The error over the limit there, of which the upper end is at most 1.
    pub strain: Estimate,
}

impl Sufficient {
    /// Sum of the logarithms of the factors: how large the change is.
    pub fn size(&self) -> f64 {
        self.changes.iter().map(|change| change.factor.ln().abs()).sum()
    }
}

/// What light alone does.
#[derive(Debug, Clone)]
pub enum LeastLight {
    /// With so many times the light the limit is met, and with less it is not.
    Factor {
        /// Times the light, with the interval that the error's leaves; where light comes in whole
        /// sources, the number of times alone.
        times: Estimate,
        /// The settings.
        with: Box<Sufficient>,
    },
    /// No amount is enough: what is left with unlimited light.
    Never {
        /// Error over the limit.
        strain: Estimate,
        /// What was measured.
        measured: Box<MeasuredSetting>,
    },
    /// With so many times the light the camera saturates, or another rule of the plan breaks, and
    /// the limit is not met before.
    Ends {
        /// Times the light tried last that could be.
        times: f64,
        /// What was measured there.
        measured: Box<MeasuredSetting>,
    },
    /// The setup has no key that changes the light.
    NoKey,
    /// The study was stopped, or nothing could be measured.
    Unknown,
}

/// What would be enough.
#[derive(Debug, Clone)]
pub struct Enough {
    /// More light.
    pub light: LeastLight,
    /// Other changes: those of fewest settings first, among these the smallest.
    pub changes: Vec<Sufficient>,
    /// Whether the search ended because it had taken as many pairs as it may.
    pub ended_early: bool,
    /// Pairs that this took.
    pub pairs: usize,
    /// Limit that was to be met; infinite where only valid vectors were asked for.
    pub limit: ErrorLimit,
    /// Share of valid vectors that was asked for.
    pub valid: f64,
    /// Whether the error is that of the velocity, curved paths counted in.
    pub of_velocity: bool,
    /// Error of the displacement over its mean at the best setting of the rig as it stands.
    pub velocity_before: f64,
}

impl Enough {
    /// Whether a solution meets its limit, stated in px, at the expense of the velocity: the
    /// displacement became shorter by more than its error.
    pub fn costs_velocity(&self, solution: &Sufficient) -> bool {
        let MeasuredSetting { point, speeds, .. } = &solution.measured;
        !self.of_velocity && point.score.total_px.lo / speeds.mean_px > self.velocity_before
    }
}

/// A setting that the question sets free, at its best.
#[derive(Debug, Clone)]
struct Free {
    key: String,
    value: SweepValue,
    /// Whether it is looked for anew under every change: times are, what a user named beside them
    /// stays.
    moves: bool,
}

/// An answer that does not meet its limit.
#[derive(Debug, Clone)]
pub struct Unmet<'a> {
    setup: &'a Setup,
    judge: Judge,
    free: Vec<Free>,
    /// Pairs that the study took.
    pairs: usize,
    velocity_before: f64,
}

impl Free {
    fn is_separation(&self) -> bool {
        self.key == keys::timing::SEPARATION.path
    }
}

/// The keys of times that are looked for anew.
fn is_time(key: &str) -> bool {
    let times = [
        keys::light::PULSE_LENGTH,
        keys::camera::EXPOSURE,
        keys::timing::SEPARATION,
    ];
    times.iter().any(|time| time.path == key)
}

impl<'a> Unmet<'a> {
    /// Of a pulse length; `None` where there is no answer, or one that meets the limit.
    pub fn of_pulse(search: &'a PulseSearch, decision: &Decision, limit: ErrorLimit) -> Option<Unmet<'a>> {
        let (best, _) = decision.best().filter(|_| !decision.met())?;
        Some(Unmet {
            setup: &search.setup,
            judge: Judge {
                limit,
                of_velocity: false,
                valid: decision.wish.valid,
            },
            free: vec![Free {
                key: keys::light::PULSE_LENGTH.path.to_owned(),
                value: SweepValue::new(&quantity::format(best.pulse_s, Dimension::Time)),
                moves: true,
            }],
            pairs: decision.points.iter().map(|m| m.point.pairs()).sum(),
            velocity_before: best.point.score.total_px.value / decision.speeds.mean_px,
        })
    }

    /// Of a map; `None` where there is no answer, or one that meets the limit. Where too many
    /// vectors are lost everywhere, of the setting that loses fewest.
    pub fn of_map(setup: &'a Setup, map: &Map, limit: Option<ErrorLimit>) -> Option<Unmet<'a>> {
        let all = || {
            map.trials
                .iter()
                .filter_map(|trial| Some((trial, trial.measured()?)))
        };
        let (best, measured) = match map.best() {
            _ if map.stopped => None,
            Some((trial, measured)) => (limit?.kept_by(measured) == Some(false)).then_some((trial, measured)),
            None => all().max_by(|(_, a), (_, b)| a.valid().total_cmp(&b.valid())),
        }?;
        let free = map.axes.iter().zip(&best.values).map(|(axis, value)| Free {
            key: axis.key.clone(),
            value: value.clone(),
            moves: is_time(&axis.key),
        });
        Some(Unmet {
            setup,
            judge: Judge {
                limit: limit.unwrap_or(ErrorLimit::Share(f64::INFINITY)),
                of_velocity: true,
                valid: map.wish.valid,
            },
            free: free.collect(),
            pairs: all().map(|(_, m)| m.point.pairs()).sum(),
            velocity_before: measured.relative().value,
        })
    }
}

/// Finds what would be enough. What `journal` holds is not measured again, what is measured is
/// added.
///
/// # Errors
/// When the setup cannot be planned with the best settings; it was planned before.
pub fn enough(
    unmet: &Unmet,
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Enough, StudyError> {
    let at_best: Vec<(&str, Value)> = (unmet.free.iter())
        .map(|free| (free.key.as_str(), free.value.value()))
        .collect();
    let standing = plan(&unmet.setup.with_all(&at_best)?)?;
    let bench = Bench::new(unmet, standing, wish, journal, progress, stop);
    let found = sought::sought(&bench);
    let stopped = stop.load(Ordering::Relaxed);
    Ok(Enough {
        light: if stopped { LeastLight::Unknown } else { found.light },
        changes: if stopped { Vec::new() } else { found.changes },
        ended_early: found.ended_early,
        pairs: bench.spent(),
        limit: unmet.judge.limit,
        valid: unmet.judge.valid,
        of_velocity: unmet.judge.of_velocity,
        velocity_before: unmet.velocity_before,
    })
}

#[cfg(test)]
mod tests;
