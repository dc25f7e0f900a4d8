//! Setups tried side by side: what came of each, or why it cannot be used.

use std::sync::atomic::AtomicBool;

use motefield_evaluator::statistics::{Confidence, Estimate, GridValues, not_above};
use motefield_generator::truth;

use super::{Wish, errors_in};
use crate::StudyError;
use crate::run::{After, Contest, Experiment, Journal, Point, Progress, Yardstick};
use crate::vary::SweepValue;
use motefield_rig::plan::{FactId, Plan, Rule, RuleId, Speeds, Status, plan, points};
use motefield_rig::setup::Setup;
use rayon::prelude::*;

/// Why a setup is out of the question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Obstacle {
    /// The plan refuses it: pulses that do not fit between the exposures, windows larger than the
    /// picture, a share above one.
    Impossible,
    /// A pulse is cut by its exposure, or has not the margin that the jitter asks for.
    Straddling,
    /// The fastest displacement is more than a quarter of the first window (Keane & Adrian 1990,
    /// Meas. Sci. Technol. 1, 1202; memory).
    QuarterRule,
    /// A pair takes more than two frame periods.
    FrameRate,
    /// A pulse is longer, has more energy or comes more often than the source bears.
    Source,
    /// The brightest particles pass the camera's range.
    Saturation,
    /// Too few vectors are valid.
    Valid,
}

impl Obstacle {
    /// Name in JSON files.
    pub fn as_str(self) -> &'static str {
        match self {
            Obstacle::Impossible => "impossible",
            Obstacle::Straddling => "straddling",
            Obstacle::QuarterRule => "quarter-rule",
            Obstacle::FrameRate => "frame-rate",
            Obstacle::Source => "source",
            Obstacle::Saturation => "saturation",
            Obstacle::Valid => "valid-vectors",
        }
    }

    /// The end of a sentence about the setup: it "cannot be built".
    pub fn words(self) -> &'static str {
        match self {
            Obstacle::Impossible => "cannot be built",
            Obstacle::Straddling => "lets an exposure cut its pulse",
            Obstacle::QuarterRule => "breaks the quarter rule",
            Obstacle::FrameRate => "takes longer than two frames",
            Obstacle::Source => "exceeds the limits of the source",
            Obstacle::Saturation => "saturates the sensor",
            Obstacle::Valid => "loses too many vectors",
        }
    }
}

/// A setup that was rendered and correlated.
#[derive(Debug, Clone)]
pub struct MeasuredSetting {
    /// Mean streak in the fastest tenth of the field, px.
    pub streak_px: f64,
    /// How far the field moves.
    pub speeds: Speeds,
    /// What the displacement between the pulses misses of the velocity midway, where paths are
    /// curved or speeds change on the way: root mean square over the field, px.
    pub curvature_px: f64,
    /// Mean speed of the field, m/s, where the setup has a scale.
    pub mean_m_s: Option<f64>,
    /// The rules of the trade that are broken and do not shut the setup out.
    pub broken: Vec<RuleId>,
    /// Share of the full well in the brightest pixel, where the setup has a sensor.
    pub full_well_share: Option<f64>,
    /// The errors.
    pub point: Point,
}

impl MeasuredSetting {
    /// Error of the velocity over the mean speed of the field: total error of the displacement and
    /// curvature of the path, root of the sum of squares, over the mean displacement.
    pub fn relative(&self) -> Estimate {
        let measure = Yardstick {
            adds_px: self.curvature_px,
            over_px: self.speeds.mean_px,
        };
        self.point.score.total_px.map_rising(|px| measure.of(px))
    }

    /// Share of valid vectors.
    pub fn valid(&self) -> f64 {
        1.0 - self.point.score.outliers.value
    }

    /// Squared error of each vector, with the curvature, over the squared mean displacement.
    pub(super) fn squares(&self) -> GridValues<'static> {
        self.point.squared_errors().map(self.square())
    }

    /// The same of one squared error of the displacement, px².
    pub(super) fn square(&self) -> impl Fn(f64) -> f64 + Send + Sync + use<> {
        let (adds, over) = (self.curvature_px.powi(2), self.speeds.mean_px.powi(2));
        move |square| (square + adds) / over
    }

    /// Error of the velocity over that of `best`, on the particles that both share: those of the
    /// pairs of which both have a measurement.
    pub fn over(&self, best: &MeasuredSetting) -> f64 {
        let [own, other] = [self, best].map(MeasuredSetting::squares);
        let pairs = own.pairs().min(other.pairs());
        (own.first(pairs).mean() / other.first(pairs).mean()).sqrt()
    }

    /// The mean of these of each pair.
    fn squared(&self) -> Vec<f64> {
        self.squares().pair_means()
    }

    /// Whether the study cannot tell (95 %) that this setup is worse than `best`. Both were
    /// measured on the same particles, so the differences pair by pair are compared; and where few
    /// pairs were enough to see that it is worse, its interval lies above that of the best.
    pub fn as_good_as(&self, best: &MeasuredSetting) -> bool {
        let apart = self.relative().lo > best.relative().hi;
        !apart && not_above(&self.squared(), &best.squared(), Confidence::USUAL)
    }
}

/// What came of a setup.
#[derive(Debug, Clone)]
pub enum Outcome {
    /// It is out of the question; in words, why.
    Refused(Obstacle, String),
    /// It was measured.
    Measured(Box<MeasuredSetting>),
    /// The study was stopped before.
    NotReached,
}

/// One setup and what came of it.
#[derive(Debug, Clone)]
pub struct Trial {
    /// The values of the keys tried, in their order.
    pub values: Vec<SweepValue>,
    /// What came of it.
    pub outcome: Outcome,
}

impl Trial {
    /// The measurement, where there is one.
    pub fn measured(&self) -> Option<&MeasuredSetting> {
        match &self.outcome {
            Outcome::Measured(measured) => Some(measured),
            _ => None,
        }
    }

    /// What stands against the setup.
    pub fn obstacle(&self, valid: f64) -> Option<Obstacle> {
        match &self.outcome {
            Outcome::Refused(obstacle, _) => Some(*obstacle),
            Outcome::Measured(m) if !(m.relative().value.is_finite() && m.valid() >= valid) => {
                Some(Obstacle::Valid)
            }
            _ => None,
        }
    }

    /// `usable`, or what stands against the setup: the name in JSON files and tables.
    pub fn state(&self, valid: f64) -> &'static str {
        match (&self.outcome, self.obstacle(valid)) {
            (_, Some(obstacle)) => obstacle.as_str(),
            (Outcome::NotReached, _) => "not-reached",
            _ => "usable",
        }
    }

    /// Error of the velocity over the mean speed, of setups that may be used.
    pub fn usable(&self, valid: f64) -> Option<f64> {
        match self.obstacle(valid) {
            None => Some(self.measured()?.relative().value),
            Some(_) => None,
        }
    }
}

/// The usable trial with the smallest relative error.
pub fn best(trials: &[Trial], valid: f64) -> Option<usize> {
    let usable = trials
        .iter()
        .enumerate()
        .filter_map(|(k, t)| Some((k, t.usable(valid)?)));
    usable.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(k, _)| k)
}

/// Setups that are planned and not yet measured.
#[derive(Debug, Clone)]
pub(super) struct Planned {
    trials: Vec<Trial>,
    /// Of the trials that are worth measuring: place and plan.
    ready: Vec<(usize, Plan)>,
}

impl Planned {
    /// Plans setups: `keys` take each of the lists of `values` in turn. Those whose exposures cut a
    /// pulse, that break the quarter rule or saturate the sensor will not be rendered.
    ///
    /// # Errors
    /// When the plan refuses every one of them: the first reason.
    pub(super) fn of(
        setup: &Setup,
        keys: &[String],
        values: Vec<Vec<SweepValue>>,
    ) -> Result<Planned, StudyError> {
        let mut planned = Planned {
            trials: Vec::new(),
            ready: Vec::new(),
        };
        let mut first_reason = None;
        // As it stands it may be refused.
        let standing = plan(setup).ok();
        let planned_with = |values: &Vec<SweepValue>| {
            let changes: Vec<(&str, motefield_rig::setup::Value)> = keys
                .iter()
                .zip(values)
                .map(|(key, value)| (key.as_str(), value.value()))
                .collect();
            let changed = setup.with_all(&changes)?;
            let plan = match &standing {
                Some(standing) => standing.changed(&changed)?,
                None => plan(&changed)?,
            };
            Ok((broken(&plan.rules()), plan))
        };
        let tried: Vec<Result<_, motefield_rig::setup::SetupError>> =
            values.par_iter().map(planned_with).collect();
        for (values, tried) in values.into_iter().zip(tried) {
            let outcome = match tried {
                Err(failure) => {
                    let reason = failure.to_string();
                    first_reason.get_or_insert(StudyError::from(failure));
                    Outcome::Refused(Obstacle::Impossible, reason)
                }
                Ok((Some((obstacle, reason)), _)) => Outcome::Refused(obstacle, reason),
                Ok((None, plan)) => {
                    planned.ready.push((planned.trials.len(), plan));
                    Outcome::NotReached
                }
            };
            planned.trials.push(Trial { values, outcome });
        }
        let impossible = |t: &Trial| matches!(t.outcome, Outcome::Refused(Obstacle::Impossible, _));
        match first_reason {
            Some(reason) if planned.trials.iter().all(impossible) => Err(reason),
            _ => Ok(planned),
        }
    }

    /// What is worth measuring.
    pub(super) fn experiments(&self) -> Vec<Experiment> {
        let of = |plan: &Plan| Experiment {
            scene: plan.scene.clone(),
            processing: plan.processing.clone(),
        };
        self.ready.iter().map(|(_, plan)| of(plan)).collect()
    }

    /// Measures what is worth it. The trials compete with each other and with their `rivals` from
    /// before; where there are none to speak of (`None`), each is known as well as is wished.
    pub(super) fn measure(
        mut self,
        rivals: Option<&[Trial]>,
        wish: &Wish,
        journal: Option<&Journal<'_>>,
        progress: &dyn Progress,
        stop: &AtomicBool,
    ) -> Vec<Trial> {
        let experiments = self.experiments();
        let contest = rivals.map(|rivals| Contest {
            measures: self.ready.iter().map(|(_, plan)| measure_of(plan)).collect(),
            valid: wish.valid,
            to_beat: to_beat(rivals, wish.valid),
            limit: 0.0,
        });
        let points = errors_in(contest, &experiments, wish, journal, progress, stop);
        for ((k, plan), point) in self.ready.iter().zip(points) {
            if let Some(point) = point {
                self.trials[*k].outcome = Outcome::Measured(Box::new(measured(plan, point)));
            }
        }
        self.trials
    }
}

/// Progress of trials that follow others.
pub(super) fn after<'a>(trials: &[Trial], whole: &'a dyn Progress) -> After<'a> {
    let of = |t: &Trial| t.measured().map_or(0, |m| m.point.score.pairs);
    After {
        whole,
        pairs: trials.iter().map(of).sum(),
    }
}

/// How errors of a plan's displacement are judged.
fn measure_of(plan: &Plan) -> Yardstick {
    Yardstick {
        adds_px: curvature_px(plan),
        over_px: plan.rig.speeds.mean_px,
    }
}

/// Upper end of the smallest error among these trials; infinite where none can be used.
fn to_beat(trials: &[Trial], valid: f64) -> f64 {
    let ends = trials.iter().filter(|t| t.usable(valid).is_some());
    let ends = ends.filter_map(|t| Some(t.measured()?.relative().hi));
    ends.fold(f64::INFINITY, f64::min)
}

/// The first of the plan's rules that is broken so that there is no use in measuring.
fn broken(rules: &[Rule]) -> Option<(Obstacle, String)> {
    rules.iter().find_map(|rule| {
        let obstacle = match (rule.id, rule.status) {
            (RuleId::Straddling, Status::Warn | Status::Fail) => Obstacle::Straddling,
            (RuleId::QuarterInPlane, Status::Warn | Status::Fail) => Obstacle::QuarterRule,
            (RuleId::FrameRate, Status::Fail) => Obstacle::FrameRate,
            (RuleId::SourceOnTime | RuleId::SourceEnergy | RuleId::SourceDuty, Status::Fail) => {
                Obstacle::Source
            }
            (RuleId::Saturation, Status::Fail) => Obstacle::Saturation,
            _ => return None,
        };
        Some((
            obstacle,
            format!("{}: {}, {}", rule.label, rule.shown, rule.limit),
        ))
    })
}

pub(super) fn measured(plan: &Plan, point: Point) -> MeasuredSetting {
    let speeds = plan.rig.speeds;
    MeasuredSetting {
        streak_px: speeds.streak_px(plan.scene.exposure),
        curvature_px: curvature_px(plan),
        mean_m_s: mean_m_s(plan),
        broken: (plan.rules().iter())
            .filter(|rule| rule.status > Status::Pass)
            .map(|rule| rule.id)
            .collect(),
        full_well_share: plan.figure(FactId::PeakShareOfFullWell),
        speeds,
        point,
    }
}

fn mean_m_s(plan: &Plan) -> Option<f64> {
    Some(plan.rig.speeds.mean_px / plan.rig.px_per_m()? / plan.rig.setup.separation_s?)
}

/// Root mean square, over the picture, of the difference between displacement and velocity midway.
pub(super) fn curvature_px(plan: &Plan) -> f64 {
    let scene = &plan.scene;
    let square = |[x, y]: [f64; 2]| {
        if scene.flow.solid([x, y, 0.0]) {
            return None;
        }
        let [dx, dy] = truth::displacement(scene.flow.as_ref(), x, y);
        let [u, v, _] = scene.flow.velocity([x, y, 0.0], 0.0);
        Some((dx - u).powi(2) + (dy - v).powi(2))
    };
    let points: Vec<[f64; 2]> = points(scene.size).collect();
    let squares: Vec<Option<f64>> = points.into_par_iter().map(square).collect();
    let (sum, n) = (squares.iter().flatten()).fold((0.0, 0.0), |(sum, n), square| (sum + square, n + 1.0));
    (sum / f64::max(n, 1.0)).sqrt()
}

#[cfg(test)]
pub(super) mod tests {
    use motefield_rig::setup::EMBEDDED;

    use super::*;
    use crate::run::{Effort, Silent, run};

    /// The embedded rig with changes, measured on two pairs.
    pub fn two_pairs(changes: &[(&str, &str)]) -> MeasuredSetting {
        let plan = plan(&Setup::from_text("rig", EMBEDDED, changes).unwrap()).unwrap();
        let experiment = Experiment {
            scene: plan.scene.clone(),
            processing: plan.processing.clone(),
        };
        let effort = Effort {
            first_pairs: 2,
            most_pairs: 2,
            ..Effort::default()
        };
        let mut points = run(&[experiment], &effort, &Silent, &AtomicBool::new(false));
        let point = points.pop().flatten().expect("a study that nobody stops");
        measured(&plan, point)
    }

    /// With two pairs the differences pair by pair tell nothing, but of much less light the windows
    /// do; a setting is as good as itself.
    #[test]
    fn few_pairs_tell_what_is_much_worse() {
        let setting = |power| two_pairs(&[("camera.size", "[160, 128]"), ("light.power", power)]);
        let (bright, dim) = (setting("2.5 W"), setting("0.7 W"));
        assert!(not_above(&dim.squared(), &bright.squared(), Confidence::USUAL));
        assert!(!dim.as_good_as(&bright));
        assert!(bright.as_good_as(&bright));
    }
}
