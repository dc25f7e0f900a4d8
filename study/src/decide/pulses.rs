//! The study that looks for the pulse length: a sweep, refined, and what limits at its ends.

use std::sync::atomic::AtomicBool;

use motefield_generator::Exposure;
use motefield_rig::keys;
use motefield_rig::plan::Plan;
use motefield_rig::quantity::{Dimension, significant};
use motefield_rig::setup::{Setup, Value as SetupValue};
use rayon::prelude::*;

use super::reading::PulseReading;
use super::{Cause, Decision, MeasuredPulse, PulseSearch, Wish, again, errors_in, samples};
use crate::StudyError;
use crate::run::{Contest, Experiment, Journal, Point, Progress, Yardstick};

/// Points of the first sweep.
const COARSE: usize = 10;
/// Rounds of refinement.
const REFINEMENTS: usize = 2;

/// Decides for a rig. What `journal` holds is not measured again, what is measured is added.
///
/// # Errors
/// When a setup on the way cannot be planned.
///
/// ```no_run
/// use std::sync::atomic::AtomicBool;
///
/// use motefield_rig::setup::{EMBEDDED, EMBEDDED_NAME, Setup};
/// use motefield_study::decide::{PulseSearch, USUAL_LIMIT_PX, USUAL_VALID, Wish, decide};
/// use motefield_study::run::{Effort, External, Silent};
///
/// let setup = Setup::from_text::<&str>(EMBEDDED_NAME, EMBEDDED, &[])?;
/// let wish = Wish {
///     limit_px: USUAL_LIMIT_PX,
///     valid: USUAL_VALID,
///     effort: Effort::default(),
///     external: External::default(),
/// };
/// let search = PulseSearch::of(&setup)?;
/// let decision = decide(&search, &wish, None, &Silent, &AtomicBool::new(false))?;
/// if let Some((best, _)) = decision.best() {
///     println!("{:.0} us: {:.4} px", 1e6 * best.pulse_s, best.point.score.total_px.value);
/// }
/// # Ok::<(), motefield_study::StudyError>(())
/// ```
pub fn decide(
    search: &PulseSearch,
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Decision, StudyError> {
    let PulseSearch {
        setup,
        plan,
        separation_s,
        speeds,
        range_s,
        most,
    } = search;
    let study = PulseStudy {
        setup,
        plan,
        wish,
        separation_s: *separation_s,
        fast_px: speeds.fast_px,
        journal,
        progress,
        stop,
        spent: std::cell::Cell::new(0),
    };

    let ratio = range_s[1] / range_s[0];
    let coarse = (0..COARSE)
        .map(|k| range_s[0] * ratio.powf(k as f64 / (COARSE - 1) as f64))
        .collect::<Vec<_>>();
    let mut points = study.measure(&coarse, &[], REFINEMENTS * MORE + CAUSES)?;
    for round in 0..REFINEMENTS {
        let Some(reading) = study.reading(&points) else {
            break;
        };
        let more = reading.refinements(&samples(&points));
        points.extend(study.measure(&more, &points, (REFINEMENTS - 1 - round) * MORE + CAUSES)?);
        points.sort_by(|a, b| a.pulse_s.total_cmp(&b.pulse_s));
    }
    study.widen(&mut points, most.0)?;
    let reading = study.confirm(&mut points)?;
    let reached = points.last().is_some_and(|m| m.pulse_s > 0.999 * most.0);
    let causes = match &reading {
        Some(reading) => study.causes(&points, reading)?,
        None => [None; 2],
    };
    let whole = Decision {
        plan: plan.clone(),
        speeds: *speeds,
        wish: *wish,
        points,
        reading,
        wall: reached.then_some(most.1),
        causes,
        stopped: false,
    };
    Ok(match stop.load(std::sync::atomic::Ordering::Relaxed) {
        true => whole.without_answer(),
        false => whole,
    })
}

/// Points that a round of refinement usually adds.
const MORE: usize = 4;
/// Pulse lengths added where the best stands at the edge of those tried, and how far they go.
const WIDER: usize = 4;
const WIDER_BY: f64 = 10.0;
/// Experiments at the end: the best again, then two at each end for the causes.
const CAUSES: usize = 5;

struct PulseStudy<'a> {
    setup: &'a Setup,
    plan: &'a Plan,
    wish: &'a Wish,
    separation_s: f64,
    fast_px: f64,
    journal: Option<&'a Journal<'a>>,
    progress: &'a dyn Progress,
    stop: &'a AtomicBool,
    /// Pairs of the finished phases.
    spent: std::cell::Cell<usize>,
}

/// Progress of one phase out of several.
struct Phase<'a> {
    whole: &'a dyn Progress,
    /// Pairs before this phase.
    before: usize,
    /// Points of this phase and of those expected after it.
    points: [usize; 2],
    /// Pairs that a point begins with.
    first_pairs: usize,
}

impl Progress for Phase<'_> {
    fn expect(&self, pairs: usize) {
        let [now, later] = self.points;
        // Later points lie at the walls, where errors scatter more: a quarter more pairs than a
        // point begins with, at least.
        let each = (pairs as f64 / now.max(1) as f64).max(1.25 * self.first_pairs as f64);
        self.whole
            .expect(self.before + pairs + (each * later as f64) as usize);
    }
    fn done(&self) {
        self.whole.done();
    }
    fn reached(&self, half_width: f64) {
        self.whole.reached(half_width);
    }
}

/// A pulse length as a setup takes it.
fn pulse(pulse_s: f64) -> (&'static str, SetupValue) {
    let value = Setup::quantity(pulse_s, Dimension::Time);
    (keys::light::PULSE_LENGTH.path, value)
}

/// The same to three digits: what the report names is what was rendered.
fn rounded_pulse(pulse_s: f64) -> (&'static str, SetupValue) {
    pulse(significant(pulse_s, 3))
}

/// A setup with changes, planned as it was without.
fn experiment(
    setup: &Setup,
    standing: &Plan,
    changes: &[(&str, SetupValue)],
) -> Result<Experiment, StudyError> {
    let plan = standing.changed(&setup.with_all(changes)?)?;
    Ok(Experiment {
        scene: plan.scene,
        processing: plan.processing,
    })
}

impl PulseStudy<'_> {
    fn experiment(&self, changes: &[(&str, SetupValue)]) -> Result<Experiment, StudyError> {
        experiment(self.setup, self.plan, changes)
    }

    fn run(&self, contest: Option<Contest>, experiments: &[Experiment], later: usize) -> Vec<Option<Point>> {
        if experiments.is_empty() {
            return Vec::new();
        }
        let phase = self.phase([experiments.len(), later]);
        let points = errors_in(contest, experiments, self.wish, self.journal, &phase, self.stop);
        self.spent
            .set(self.spent.get() + points.iter().flatten().map(Point::pairs).sum::<usize>());
        points
    }

    fn phase(&self, points: [usize; 2]) -> Phase<'_> {
        Phase {
            whole: self.progress,
            before: self.spent.get(),
            points,
            first_pairs: self.wish.effort.first_pairs,
        }
    }

    /// Pulse lengths that compete with those measured `before`; those near the limit are known as
    /// well as the best.
    fn contest(&self, count: usize, before: &[MeasuredPulse]) -> Contest {
        let mut contest = Contest {
            measures: vec![Yardstick::PLAIN; count],
            valid: self.wish.valid,
            to_beat: f64::INFINITY,
            limit: self.wish.limit_px,
        };
        let ends = before
            .iter()
            .filter_map(|m| contest.upper_end(&Yardstick::PLAIN, &m.point.score.total_error()));
        contest.to_beat = ends.fold(f64::INFINITY, f64::min);
        contest
    }

    fn measure(
        &self,
        pulses_s: &[f64],
        before: &[MeasuredPulse],
        later: usize,
    ) -> Result<Vec<MeasuredPulse>, StudyError> {
        let longest = pulses_s.iter().copied().fold(0.0, f64::max);
        let (setup, plan) = (self.setup, self.plan);
        let experiments = pulses_s
            .par_iter()
            // The longest is a limit: rounding must not carry it beyond.
            .map(|&p| match p == longest {
                true => experiment(setup, plan, &[pulse(p)]),
                false => experiment(setup, plan, &[rounded_pulse(p)]),
            })
            .collect::<Result<Vec<_>, _>>()?;
        let contest = self.contest(experiments.len(), before);
        let points = self.run(Some(contest), &experiments, later);
        Ok(points
            .into_iter()
            .zip(&experiments)
            .filter_map(|(point, experiment)| {
                let Exposure::Fraction(fraction) = experiment.scene.exposure else {
                    return None;
                };
                Some(MeasuredPulse {
                    pulse_s: fraction * self.separation_s,
                    streak_px: fraction * self.fast_px,
                    point: point?,
                })
            })
            .collect())
    }

    /// Goes on where the best stands at the edge of what was tried: a decade shorter, or a decade
    /// longer up to `most_s`.
    fn widen(&self, points: &mut Vec<MeasuredPulse>, most_s: f64) -> Result<(), StudyError> {
        let Some(reading) = self.reading(points) else {
            return Ok(());
        };
        let ratio = match reading.best {
            0 => 1.0 / WIDER_BY,
            last if last + 1 == points.len() => WIDER_BY.min(most_s / reading.best_s),
            _ => 1.0,
        };
        if (0.999..1.001).contains(&ratio) {
            return Ok(());
        }
        let at = |k: usize| reading.best_s * ratio.powf(k as f64 / WIDER as f64);
        let more: Vec<f64> = (1..=WIDER).map(at).collect();
        points.extend(self.measure(&more, points, CAUSES)?);
        points.sort_by(|a, b| a.pulse_s.total_cmp(&b.pulse_s));
        Ok(())
    }

    fn reading(&self, points: &[MeasuredPulse]) -> Option<PulseReading> {
        PulseReading::of(&samples(points), self.wish.limit_px, self.wish.valid)
    }

    /// What the points say, the best of them measured again with pairs of its own. Where these lose
    /// too many vectors the best is sought among the others.
    fn confirm(&self, points: &mut [MeasuredPulse]) -> Result<Option<PulseReading>, StudyError> {
        let Some(mut reading) = self.reading(points) else {
            return Ok(None);
        };
        while !points[reading.best].point.is_measured_again() {
            let best = &mut points[reading.best];
            let experiment = self.experiment(&[pulse(best.pulse_s)])?;
            let phase = self.phase([1, CAUSES - 1]);
            let again = again::again(
                &best.point,
                experiment,
                self.wish,
                self.journal,
                &phase,
                self.stop,
            );
            let Some(again) = again else {
                return Ok(None);
            };
            self.spent.set(self.spent.get() + again.pairs());
            best.point = again;
            let was_usable = reading.usable;
            reading = PulseReading::about(
                reading.best,
                &samples(points),
                self.wish.limit_px,
                self.wish.valid,
            );
            if was_usable && !reading.usable {
                reading = self.reading(points).unwrap_or(reading);
            }
        }
        Ok(Some(reading))
    }

    /// Repeats the ends of the window (of the range, where no window or no wall is there) without
    /// one cause each.
    fn causes(
        &self,
        points: &[MeasuredPulse],
        reading: &PulseReading,
    ) -> Result<[Option<Cause>; 2], StudyError> {
        let end = |side: usize| -> Option<&MeasuredPulse> {
            let wall = reading.window.map(|w| w.pulses_s[side]);
            let beyond = |m: &&MeasuredPulse| match (side, wall) {
                (0, Some(wall)) => m.pulse_s <= wall * 1.000_001,
                (_, Some(wall)) => m.pulse_s >= wall * 0.999_999,
                (0, None) => m.pulse_s < reading.best_s,
                (_, None) => m.pulse_s > reading.best_s,
            };
            let mut beyond = points.iter().filter(beyond);
            // The measured point next to the wall on its outer side, where the error is beyond the
            // limit; without a window, the range's end.
            match (side, wall.is_some()) {
                (0, true) => beyond.next_back(),
                (0, false) => beyond.next(),
                (_, true) => beyond.next(),
                (_, false) => beyond.next_back(),
            }
        };
        let ends = [end(0), end(1)];
        let mut experiments = Vec::new();
        for m in ends.iter().flatten() {
            let pulse = pulse(m.pulse_s);
            let ideal = self.experiment(&[
                pulse.clone(),
                (keys::camera::IDEAL.path, SetupValue::Switch(true)),
            ])?;
            let mut frozen = self.experiment(&[pulse])?;
            frozen.scene.exposure = Exposure::Fraction(0.0);
            experiments.extend([ideal, frozen]);
        }
        let found = self.run(None, &experiments, 0);
        let mut pairs = found.chunks_exact(2);
        let mut cause = |m: Option<&MeasuredPulse>| -> Option<Cause> {
            let m = m?;
            let [ideal, frozen] = pairs.next()? else {
                return None;
            };
            let points = [&m.point, ideal.as_ref()?, frozen.as_ref()?];
            // Where too many vectors are lost, the error of the others alone would flatter.
            let plain = points
                .iter()
                .all(|p| 1.0 - p.score.outliers.value >= self.wish.valid);
            let [compared_px, unlimited_light_px, frozen_px] = points.map(|p| {
                if plain {
                    p.score.total_px.value
                } else {
                    p.score.total_with_outliers_px()
                }
            });
            Some(Cause {
                pulse_s: m.pulse_s,
                total_px: m.point.score.total_px.value,
                counts_lost: !plain,
                compared_px,
                unlimited_light_px,
                frozen_px,
            })
        };
        Ok([cause(ends[0]), cause(ends[1])])
    }
}
