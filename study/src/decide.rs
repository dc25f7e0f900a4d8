//! The decision: how long may the light pulse be?
//!
//! The pulse length is swept over the range that the rig allows; around the smallest error and the
//! crossings of the limit the sweep is refined; at the ends of what is allowed the experiment is
//! repeated without the sensor's and the light's noise, and with the motion frozen, to say which of
//! the two limits.

mod again;
pub mod bounds;
pub mod choice;
pub mod enough;
pub mod limit;
pub mod map;
mod pulses;
pub mod question;
pub mod reading;
mod search;
pub mod thumb;
pub mod trial;
pub mod velocity;
pub mod worth;

use std::sync::atomic::AtomicBool;

use crate::run::{Chain, Contest, Effort, Experiment, External, Journal, Point, Progress, Wanted, run_kept};
use bounds::Edge;
use motefield_rig::plan::{Plan, Speeds};
pub use pulses::decide;
use reading::{PulseReading, PulseSample};
pub use search::PulseSearch;

/// What the user may choose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// Largest total error allowed, px.
    pub limit_px: f64,
    /// Least share of valid vectors.
    pub valid: f64,
    /// How well each point shall be known.
    pub effort: Effort,
    /// Another program for which to decide, in place of this one's evaluator.
    pub external: External,
}

/// Total error commonly accepted, px (common practice, no source).
pub const USUAL_LIMIT_PX: f64 = 0.1;
/// Share of valid vectors commonly asked for (Keane and Adrian 1992, Appl. Sci. Res. 49, 191;
/// memory).
pub const USUAL_VALID: f64 = 0.95;

/// A pulse length and what came of it.
#[derive(Debug, Clone)]
pub struct MeasuredPulse {
    /// Pulse length, s.
    pub pulse_s: f64,
    /// Mean streak in the fastest tenth of the field, px.
    pub streak_px: f64,
    /// The errors.
    pub point: Point,
}

/// The same pulse with one cause of error taken away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    /// Pulse length, s.
    pub pulse_s: f64,
    /// Total error as it is, px: that of the point.
    pub total_px: f64,
    /// Whether too many vectors are lost to compare the errors of the others, so that in the three
    /// figures that follow each lost one counts with the outlier limit.
    pub counts_lost: bool,
    /// Total error as it is, so counted, px.
    pub compared_px: f64,
    /// Without shot noise, dark noise and quantisation, as with unlimited light, px.
    pub unlimited_light_px: f64,
    /// With the particles frozen during the pulse, at the same light, px.
    pub frozen_px: f64,
}

/// Everything the study found.
#[derive(Debug, Clone)]
pub struct Decision {
    /// The rig as planned, at its own pulse length.
    pub plan: Plan,
    /// How far the field moves.
    pub speeds: Speeds,
    /// What was wished.
    pub wish: Wish,
    /// The sweep, by rising pulse length.
    pub points: Vec<MeasuredPulse>,
    /// What the sweep says; `None` if nothing was measured or the study was stopped.
    pub reading: Option<PulseReading>,
    /// What ends the pulse lengths worth trying toward long ones, if they were tried so far.
    pub wall: Option<bounds::SearchEnd>,
    /// What limits toward short pulses, and toward long ones.
    pub causes: [Option<Cause>; 2],
    /// Whether the study was stopped before its end: then there are points, and no answer.
    pub stopped: bool,
}

/// Runs experiments whose errors alone are wanted.
fn errors_of(
    experiments: &[Experiment],
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    errors_in(None, experiments, wish, journal, progress, stop)
}

/// The same of experiments that compete: those that are clearly beaten are known less well.
fn errors_in(
    contest: Option<Contest>,
    experiments: &[Experiment],
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Vec<Option<Point>> {
    let chain = Chain {
        external: wish.external,
        ..Chain::default()
    };
    let wanted = Wanted {
        contest,
        ..Wanted::default()
    };
    run_kept(
        journal,
        &chain,
        &wanted,
        experiments,
        &wish.effort,
        progress,
        stop,
    )
}

/// The points of a sweep as [`reading`] takes them.
pub fn samples(points: &[MeasuredPulse]) -> Vec<PulseSample<'_>> {
    points
        .iter()
        .map(|m| PulseSample {
            pulse_s: m.pulse_s,
            point: &m.point,
        })
        .collect()
}

/// What limits the pulse at one end of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Limit {
    /// Too little light against the noise.
    Light,
    /// Too long a streak.
    Blur,
    /// The error is within the limit up to the end of the range that the rig allows or that is
    /// worth trying.
    Range,
    /// Neither more light nor frozen motion brings the error down by a tenth: processing, flow
    /// gradients, out-of-plane motion.
    Other,
}

impl Limit {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            Limit::Light => "light",
            Limit::Blur => "blur",
            Limit::Range => "range",
            Limit::Other => "other",
        }
    }
}

impl Cause {
    /// The cause whose removal brings the error down most, if by more than a tenth.
    pub fn limit(&self) -> Limit {
        let least = 0.9 * self.compared_px;
        match (self.unlimited_light_px, self.frozen_px) {
            (light, blur) if light.min(blur) > least => Limit::Other,
            (light, blur) if light < blur => Limit::Light,
            _ => Limit::Blur,
        }
    }
}

impl Decision {
    /// What is left of a decision that was stopped. A few pairs at each of a few pulse lengths have
    /// a best as well, but the refinement that would confirm or refute it is missing, and its
    /// interval knows nothing of that.
    pub fn without_answer(self) -> Decision {
        Decision {
            reading: None,
            causes: [None; 2],
            stopped: true,
            ..self
        }
    }

    /// Whether some pulse length meets the limit.
    pub fn met(&self) -> bool {
        self.reading.as_ref().is_some_and(|r| r.window.is_some())
    }

    /// Where the best stands among the pulse lengths tried.
    pub fn edge(&self) -> Edge {
        let last = self.points.len().saturating_sub(1);
        match (self.reading.as_ref().map(|r| r.best), self.wall) {
            (Some(best), Some(wall)) if best == last => Edge::At(wall),
            (Some(best), _) if best == 0 || best == last => Edge::OfTried,
            _ => Edge::Inside,
        }
    }

    /// What limits toward short (0) and long (1) pulses.
    pub fn limit(&self, side: usize) -> Limit {
        match (&self.reading, &self.causes[side]) {
            (
                Some(PulseReading {
                    window: Some(window), ..
                }),
                _,
            ) if !window.walls[side] => Limit::Range,
            (_, Some(cause)) => cause.limit(),
            _ => Limit::Range,
        }
    }

    /// Streak in the fastest tenth of the field at a pulse length, px.
    pub fn streak_px(&self, pulse_s: f64) -> f64 {
        self.plan
            .rig
            .setup
            .separation_s
            .map_or(f64::NAN, |dt| pulse_s / dt * self.speeds.fast_px)
    }

    /// The best point of the sweep and the reading that says so.
    pub fn best(&self) -> Option<(&MeasuredPulse, &PulseReading)> {
        self.reading.as_ref().map(|r| (&self.points[r.best], r))
    }

    /// An error in px as a velocity, m/s, where the rig has a scale.
    pub fn velocity_m_s(&self, px: f64) -> Option<f64> {
        Some(px / self.plan.rig.px_per_m()? / self.plan.rig.setup.separation_s?)
    }
}
