//! The best setting measured again.
//!
//! The smallest of several measured errors is the smallest partly by chance: among settings that
//! are about as good, that one is chosen whose pairs happened to come out well, and its own figure
//! promises too much. Which setting is best is decided on particles that all share; what it is
//! worth is told from pairs that took no part in the choice.

use std::sync::atomic::AtomicBool;

use motefield_rig::setup::Setup;

use super::trial::{MeasuredSetting, Outcome, Planned, Trial, after, best};
use super::{Wish, errors_of};
use crate::StudyError;
use crate::run::{Effort, Experiment, Journal, Point, Progress};

/// What tells the second measurement's seed from that of the study.
const OTHER_PAIRS: u64 = 0x6f77_6e20_7061_6972;

/// Windows side by side, in all pairs together, of which the stated error is the mean at least.
///
/// Its interval rests on the scatter of the pairs' mean squares, and that of few windows is skewed:
/// the pairs that hold the rare large errors are missing in most samples, and with them goes a part
/// of the scatter. 4 pairs of 20 windows in a wake covered 175 times in 200 where 190 were due.
const LEAST_WINDOWS: f64 = 600.0;

/// The same wish with pairs of its own: not too few of small pictures, and not fewer than it took
/// before, or the most where so many were taken that it was left at that. Where one vector in some
/// thousands is far off, few pairs would most likely miss it.
fn apart(wish: &Wish, experiment: &Experiment, before: &Point) -> Wish {
    let pairs = (LEAST_WINDOWS / windows(experiment, before)).ceil() as usize;
    let as_before = wish.effort.as_among_many(before.score.pairs, before.ensemble);
    Wish {
        effort: Effort {
            seed: wish.effort.seed ^ OTHER_PAIRS,
            first_pairs: pairs.max(wish.effort.first_pairs).max(as_before),
            ..wish.effort
        },
        ..*wish
    }
}

/// Windows of the last pass that fit side by side into what a pair measures; one at least.
fn windows(experiment: &Experiment, before: &Point) -> f64 {
    let Some(pass) = experiment.processing.passes.last() else {
        return 1.0;
    };
    let own = (1.0 - pass.overlap).powi(2);
    let vectors = match &before.tiles {
        Some(tiles) => tiles.weights.iter().filter(|weight| **weight > 0.0).count(),
        None => before.errors.pair(0).point_px.len(),
    };
    (vectors as f64 * own).max(1.0)
}

/// The point with figures from pairs of its own; `None` where the study was stopped.
pub(super) fn again(
    point: &Point,
    experiment: Experiment,
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Option<Point> {
    let apart = apart(wish, &experiment, point);
    let again = errors_of(&[experiment], &apart, journal, progress, stop).pop()??;
    Some(point.clone().measured_again(again))
}

/// Trials of some keys' values, and what measures them.
pub(super) struct Remeasurement<'a> {
    pub setup: &'a Setup,
    pub keys: &'a [String],
    pub wish: &'a Wish,
    pub journal: Option<&'a Journal<'a>>,
    pub progress: &'a dyn Progress,
    pub stop: &'a AtomicBool,
}

impl Remeasurement<'_> {
    /// Place of the best trial, measured again with pairs of its own; where these lose too many
    /// vectors the best is sought among the others. What `standing` says of the same setting is
    /// replaced with it. `None` if none can be used or the study was stopped.
    ///
    /// # Errors
    /// As the plan.
    pub fn best(
        &self,
        trials: &mut [Trial],
        mut standing: Option<&mut Trial>,
    ) -> Result<Option<usize>, StudyError> {
        while let Some(k) = best(trials, self.wish.valid) {
            let values = vec![trials[k].values.clone()];
            let planned = Planned::of(self.setup, self.keys, values)?;
            let later = after(trials, self.progress);
            let experiments = planned.experiments();
            let (Some(before), Some(experiment)) = (trials[k].measured(), experiments.first()) else {
                return Ok(None);
            };
            let apart = apart(self.wish, experiment, &before.point);
            let mut found = planned.measure(None, &apart, self.journal, &later, self.stop);
            let found = found.pop().map(|trial| trial.outcome);
            let (Some(before), Some(Outcome::Measured(again))) = (trials[k].measured(), found) else {
                return Ok(None);
            };
            let measured = MeasuredSetting {
                point: before.point.clone().measured_again(again.point),
                ..*again
            };
            let total = |m: &MeasuredSetting| m.point.score.total_px.value;
            if let Some(standing) = standing.as_deref_mut()
                && standing.measured().is_some_and(|m| total(m) == total(before))
            {
                standing.outcome = Outcome::Measured(Box::new(measured.clone()));
            }
            trials[k].outcome = Outcome::Measured(Box::new(measured));
            if trials[k].usable(self.wish.valid).is_some() {
                return Ok(Some(k));
            }
        }
        Ok(None)
    }
}

#[cfg(test)]
mod coverage;

#[cfg(test)]
mod tests {
    use motefield_rig::setup::EMBEDDED;

    use super::*;
    use crate::decide::choice::{ChoiceSearch, choose};
    use crate::decide::{PulseSearch, decide};
    use crate::run::{Silent, run};

    fn small() -> Setup {
        let changes = [("camera.size", "[96, 80]"), ("processing.window", "32")];
        Setup::from_text("small", EMBEDDED, &changes).unwrap()
    }

    fn wish(seed: u64) -> Wish {
        super::coverage::wish(Effort {
            seed,
            most_pairs: 4,
            ..Effort::default()
        })
    }

    fn measured(setup: &Setup, seed: u64) -> Point {
        let plan = motefield_rig::plan::plan(setup).unwrap();
        let experiment = Experiment {
            scene: plan.scene,
            processing: plan.processing,
        };
        let (effort, stop) = (wish(seed).effort, AtomicBool::new(false));
        run(&[experiment], &effort, &Silent, &stop)
            .pop()
            .unwrap()
            .unwrap()
    }

    /// The best pulse length, and no other, states the error of pairs of another seed, and is still
    /// compared on the particles of the study's.
    #[test]
    fn the_best_pulse_length_states_the_error_of_other_pairs() {
        let search = PulseSearch::of(&small()).unwrap();
        let stop = AtomicBool::new(false);
        let decision = decide(&search, &wish(7), None, &Silent, &stop).unwrap();
        let (best, reading) = decision.best().unwrap();
        let again: Vec<bool> = (decision.points.iter())
            .map(|m| m.point.is_measured_again())
            .collect();
        let only: Vec<bool> = (0..again.len()).map(|k| k == reading.best).collect();
        assert_eq!(again, only);
        let pulse = Setup::quantity(best.pulse_s, motefield_rig::quantity::Dimension::Time);
        let setup = small().with("light.pulse_length", pulse).unwrap();
        let [own, common] = [7 ^ OTHER_PAIRS, 7].map(|seed| measured(&setup, seed));
        assert_eq!(best.point.score.total_px.value, own.score.total_px.value,);
        assert_ne!(own.score.total_px.value, common.score.total_px.value);
        let squares = [&best.point, &common].map(|point| point.squared_errors());
        assert_eq!(squares[0].pairs(), squares[1].pairs());
        assert_eq!(squares[0].pair(1), squares[1].pair(1));
        // The smallest on the common particles, which is why it was chosen.
        let totals = decision.points.iter().map(|m| m.point.common_total_px());
        let smallest = totals.fold(f64::INFINITY, f64::min);
        assert_eq!(best.point.common_total_px(), smallest);
    }

    /// The same of a choice; the setup as it stands, which is the best, has one error, not two.
    #[test]
    fn the_best_of_a_choice_states_the_error_of_other_pairs() {
        let setup = small();
        let search = ChoiceSearch::of(&setup, &["processing.window=32,16".to_owned()]).unwrap();
        let stop = AtomicBool::new(false);
        let choice = choose(search, &wish(7), None, &Silent, &stop).unwrap();
        let (trial, best) = choice.best().unwrap();
        assert_eq!(trial.values[0].text, "32");
        assert!(best.point.is_measured_again());
        assert!(!choice.trials[1].measured().unwrap().point.is_measured_again());
        let total = |m: &MeasuredSetting| m.point.score.total_px.value;
        let own = measured(&setup, 7 ^ OTHER_PAIRS);
        assert_eq!(total(best), own.score.total_px.value);
        let standing = choice.standing.as_ref().unwrap().measured().unwrap();
        assert_eq!(total(standing), total(best));
    }
}
