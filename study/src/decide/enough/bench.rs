//! Where changed rigs are planned and measured.

use std::cell::Cell;
use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::statistics::Estimate;
use motefield_rig::plan::{Plan, Rule, RuleId, Status};
use motefield_rig::quantity::significant;
use motefield_rig::setup::Value;

use super::{Unmet, lever};
use crate::decide::trial::{MeasuredSetting, measured};
use crate::decide::{Wish, errors_of};
use crate::run::{Effort, Experiment, Journal, Progress};
use crate::vary::SweepValue;

/// Settings of the rig as a setup writes them.
pub(super) type Settings = Vec<(String, String)>;

/// Settings, and what was measured with them.
#[derive(Debug, Clone)]
pub(super) struct Tried {
    pub settings: Settings,
    pub measured: MeasuredSetting,
    pub strain: Estimate,
}

/// A change of the rig with the settings that the question sets free at their best.
#[derive(Debug, Clone)]
pub(super) struct AtBest {
    /// Numbers of the free settings, in their units.
    pub free: Vec<f64>,
    /// Error over the limit.
    pub strain: f64,
}

/// Values of a free setting side by side, a factor apart.
const STEP: f64 = 1.5;
/// Most steps to the best.
const STEPS: usize = 4;
/// Most steps back to where the rules are kept.
const STEPS_BACK: i32 = 14;
/// What tells the pairs of a confirmation from those of the study.
const OTHER_PAIRS: u64 = 0x656e_6f75_6768;

pub(super) struct Bench<'a> {
    pub unmet: &'a Unmet<'a>,
    /// The rig as it stands, with the best settings.
    pub standing: Plan,
    rules: Vec<Rule>,
    wish: &'a Wish,
    journal: Option<&'a Journal<'a>>,
    progress: &'a dyn Progress,
    stop: &'a AtomicBool,
    spent: Cell<usize>,
}

/// Progress of one step of the search: how many follow is not known, but few searches take less
/// than the study did.
struct Later<'a> {
    whole: &'a dyn Progress,
    spent: usize,
    least: usize,
}

impl Progress for Later<'_> {
    fn expect(&self, pairs: usize) {
        self.whole.expect((self.spent + pairs).max(self.least));
    }
    fn done(&self) {
        self.whole.done();
    }
    fn reached(&self, half_width: f64) {
        self.whole.reached(half_width);
    }
}

impl<'a> Bench<'a> {
    pub fn new(
        unmet: &'a Unmet,
        standing: Plan,
        wish: &'a Wish,
        journal: Option<&'a Journal<'a>>,
        progress: &'a dyn Progress,
        stop: &'a AtomicBool,
    ) -> Bench<'a> {
        Bench {
            rules: standing.rules(),
            unmet,
            standing,
            wish,
            journal,
            progress,
            stop,
            spent: Cell::new(0),
        }
    }

    /// Pairs measured so far.
    pub fn spent(&self) -> usize {
        self.spent.get()
    }

    /// How well the points of the study are known.
    pub fn precision(&self) -> f64 {
        self.wish.effort.precision
    }

    pub fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// What a builder can change here.
    pub fn levers(&self) -> Vec<lever::Lever> {
        let taken: Vec<&str> = self.unmet.free.iter().map(|free| free.key.as_str()).collect();
        lever::all(&self.standing, self.unmet.judge.limit, &taken)
    }

    /// The present numbers of the free settings.
    pub fn present(&self) -> Vec<f64> {
        let number = |free: &super::Free| free.value.number.parse().unwrap_or(f64::NAN);
        self.unmet.free.iter().map(number).collect()
    }

    /// Changes with the free settings, to three digits, as a setup writes them.
    pub fn settings(&self, changes: &[(String, String)], free: &[f64]) -> Settings {
        let own = self.unmet.free.iter().zip(free);
        let own = own.map(|(free, number)| {
            let value = match free.moves {
                true => free.value.with_number(significant(*number, 3)).text,
                false => free.value.text.clone(),
            };
            (free.key.clone(), value)
        });
        changes.iter().cloned().chain(own).collect()
    }

    /// The plan of these settings; `None` where there is none, or where a rule breaks that the
    /// pictures cannot show.
    pub fn plan(&self, settings: &Settings) -> Option<Plan> {
        // Of a study that was stopped nothing more is measured.
        if self.stopped() {
            return None;
        }
        match self.journal.and_then(Journal::ledger) {
            Some(ledger) => ledger.plan(settings, || self.planned(settings)),
            None => self.planned(settings),
        }
    }

    fn planned(&self, settings: &Settings) -> Option<Plan> {
        let changes: Vec<(&str, Value)> = (settings.iter())
            .map(|(key, text)| (key.as_str(), SweepValue::new(text).value()))
            .collect();
        let setup = self.unmet.setup.with_all(&changes).ok()?;
        let plan = self.standing.changed(&setup).ok()?;
        self.keeps_rules(&plan.rules()).then_some(plan)
    }

    fn keeps_rules(&self, rules: &[Rule]) -> bool {
        rules.iter().all(|rule| {
            let before = self.rules.iter().find(|before| before.id == rule.id);
            let before = before.map_or(Status::Pass, |before| before.status);
            match rule.id {
                RuleId::Saturation => rule.status < Status::Fail || before == Status::Fail,
                // What these warn of the measured error holds.
                RuleId::Streak
                | RuleId::PeakSnr
                | RuleId::MeasuredFactor
                | RuleId::Gradient
                | RuleId::ParticleImageDiameter
                | RuleId::QuarterOutOfPlane
                | RuleId::PairsFirstWindow
                | RuleId::PairsFinalWindow => true,
                _ => rule.status <= before,
            }
        })
    }

    /// Measures plans side by side.
    fn measure(&self, plans: Vec<(Settings, Plan)>, effort: Effort) -> Vec<Option<Tried>> {
        let experiments: Vec<Experiment> = (plans.iter())
            .map(|(_, plan)| Experiment {
                scene: plan.scene.clone(),
                processing: plan.processing.clone(),
            })
            .collect();
        if experiments.is_empty() || self.stopped() {
            return plans.iter().map(|_| None).collect();
        }
        let wish = Wish { effort, ..*self.wish };
        let after = Later {
            whole: self.progress,
            spent: self.spent(),
            least: self.unmet.pairs,
        };
        let points = errors_of(&experiments, &wish, self.journal, &after, self.stop);
        let tried = |((settings, plan), point): ((Settings, Plan), Option<_>)| {
            let measured = measured(&plan, point?);
            self.spent.set(self.spent.get() + measured.point.pairs());
            Some(Tried {
                settings,
                strain: self.unmet.judge.strain(&measured),
                measured,
            })
        };
        plans.into_iter().zip(points).map(tried).collect()
    }

    /// A few pairs, the same at every place.
    fn few(&self, ensemble: usize) -> Effort {
        let pairs = self.wish.effort.first_pairs;
        let measurements = pairs.div_ceil(ensemble).max(1);
        Effort {
            first_pairs: measurements,
            most_pairs: measurements * ensemble,
            ..self.wish.effort
        }
    }

    /// The same few pairs with several settings of the free ones.
    fn look(&self, changes: &[(String, String)], free: &[Vec<f64>]) -> Vec<Option<Tried>> {
        let planned = |free: &Vec<f64>| {
            let settings = self.settings(changes, free);
            self.plan(&settings).map(|plan| (settings, plan))
        };
        let plans: Vec<Option<_>> = free.iter().map(planned).collect();
        let ensemble = plans
            .iter()
            .flatten()
            .map(|(_, plan)| plan.processing.ensemble)
            .max();
        let have: Vec<bool> = plans.iter().map(Option::is_some).collect();
        let mut found = self
            .measure(
                plans.into_iter().flatten().collect(),
                self.few(ensemble.unwrap_or(1)),
            )
            .into_iter();
        have.into_iter()
            .map(|have| if have { found.next().flatten() } else { None })
            .collect()
    }

    /// Measures settings on pairs of their own, until half the interval is `precision` of the
    /// error or there are `times` as many pairs as a point may take.
    pub fn confirm(&self, settings: &Settings, precision: f64, times: usize) -> Option<Tried> {
        let plan = self.plan(settings)?;
        let effort = Effort {
            seed: self.wish.effort.seed ^ OTHER_PAIRS,
            precision,
            most_pairs: times * self.wish.effort.most_pairs,
            ..self.wish.effort
        };
        self.measure(vec![(settings.clone(), plan)], effort).pop()?
    }

    /// Free settings to start from under a change: as near to `from` as the rules are kept, the
    /// pulse or exposure shorter if that does, else the separation, else both; and a pulse shorter
    /// still where it has more light. `None` where no shorter times keep the rules.
    pub fn start(&self, changes: &[(String, String)], from: &[f64]) -> Option<Vec<f64>> {
        let scaled = |[pulses, separation]: [f64; 2]| -> Vec<f64> {
            let one = |(free, number): (&super::Free, &f64)| match (free.moves, free.is_separation()) {
                (false, _) => *number,
                (true, true) => number * separation,
                (true, false) => number * pulses,
            };
            self.unmet.free.iter().zip(from).map(one).collect()
        };
        let fits = |factors: [f64; 2]| self.plan(&self.settings(changes, &scaled(factors)));
        let nearest = (0..STEPS_BACK).find_map(|k| {
            let factor = STEP.powi(-k);
            let either = [[factor, 1.0], [1.0, factor], [factor, factor]];
            either
                .into_iter()
                .find_map(|factors| Some((factors, fits(factors)?)))
        });
        let ([pulses, separation], plan) = nearest?;
        // Of twice the light half makes the pulse shorter, half the noise less.
        let per_time = |plan: &Plan, factor: f64| plan.scene.electrons / factor;
        let gain = per_time(&plan, pulses) / per_time(&self.standing, 1.0);
        let wanted = [gain.max(1.0).powf(-0.5).min(pulses), separation];
        Some(match fits(wanted) {
            Some(_) => scaled(wanted),
            None => scaled([pulses, separation]),
        })
    }

    /// A first look at a change, at one or two settings of the free ones.
    pub fn glance(&self, changes: &[(String, String)]) -> Option<AtBest> {
        let present = self.present();
        let start = self.start(changes, &present)?;
        let mut places = vec![start.clone()];
        if start != present && self.plan(&self.settings(changes, &present)).is_some() {
            places.push(present);
        }
        let found = self.look(changes, &places);
        let tried = places.into_iter().zip(found);
        tried
            .filter_map(|(free, tried)| {
                Some(AtBest {
                    free,
                    strain: tried?.strain.value,
                })
            })
            .min_by(|a, b| a.strain.total_cmp(&b.strain))
    }

    /// The free settings at their best under a change, one after the other.
    pub fn best(&self, changes: &[(String, String)], from: &[f64]) -> Option<AtBest> {
        let mut free = self.start_at(changes, from)?;
        let mut strain = None;
        for axis in 0..free.len() {
            if self.unmet.free[axis].moves {
                let (number, smallest) = self.along(changes, &free, axis)?;
                free[axis] = number;
                strain = Some(smallest);
            }
        }
        let strain = match strain {
            Some(strain) => strain,
            None => {
                self.look(changes, std::slice::from_ref(&free))
                    .pop()??
                    .strain
                    .value
            }
        };
        Some(AtBest { free, strain })
    }

    /// `from` itself where the rules are kept there.
    pub fn start_at(&self, changes: &[(String, String)], from: &[f64]) -> Option<Vec<f64>> {
        match self.plan(&self.settings(changes, from)) {
            Some(_) => Some(from.to_vec()),
            None => self.start(changes, from),
        }
    }

    /// The best number on one axis, and the smallest strain: the vertex of the parabola through the
    /// logarithms of the three about the smallest.
    fn along(&self, changes: &[(String, String)], free: &[f64], axis: usize) -> Option<(f64, f64)> {
        let with = |number: f64| {
            let mut free = free.to_vec();
            free[axis] = number;
            free
        };
        let mut known: Vec<[f64; 2]> = Vec::new();
        let now = free[axis];
        let mut wanted = vec![now / STEP, now, self.toward(changes, &with, now, now * STEP)];
        for _ in 0..STEPS {
            wanted.retain(|n| known.iter().all(|[ln, _]| (ln - n.ln()).abs() > 0.02));
            wanted.dedup_by(|a, b| (*a / *b).ln().abs() < 0.02);
            let places: Vec<Vec<f64>> = wanted.iter().map(|n| with(*n)).collect();
            let found = self.look(changes, &places);
            let before = known.len();
            known.extend(wanted.iter().zip(found).filter_map(|(number, tried)| {
                let strain = tried?.strain.value;
                Some([number.ln(), strain.min(1e6).ln()])
            }));
            if known.len() == before {
                break;
            }
            known.sort_by(|a, b| a[0].total_cmp(&b[0]));
            let best = smallest(&known)?;
            let at = known[best][0].exp();
            wanted = match (best, known.len() - 1 - best) {
                (0, _) => vec![at / STEP],
                (_, 0) => vec![self.toward(changes, &with, at, at * STEP)],
                _ => break,
            };
        }
        let best = smallest(&known)?;
        let (ln, strain) = match best.checked_sub(1).and_then(|k| known.get(k..k + 3)) {
            Some(three) => vertex(three),
            None => (known[best][0], known[best][1]),
        };
        Some((ln.exp(), strain.exp()))
    }

    /// `far`, or where it breaks a rule the largest number below it that does not.
    fn toward(
        &self,
        changes: &[(String, String)],
        with: &dyn Fn(f64) -> Vec<f64>,
        near: f64,
        far: f64,
    ) -> f64 {
        let fits = |number: f64| self.plan(&self.settings(changes, &with(number))).is_some();
        if fits(far) {
            return far;
        }
        let (mut good, mut bad) = (near, far);
        while bad / good > 1.01 {
            let middle = (good * bad).sqrt();
            match fits(middle) {
                true => good = middle,
                false => bad = middle,
            }
        }
        good
    }

    /// The smallest error with unlimited light, at the present times and shorter ones.
    pub fn unlimited(&self) -> Option<Tried> {
        let ideal = [(
            motefield_rig::keys::camera::IDEAL.path.to_owned(),
            "true".to_owned(),
        )];
        let present = self.present();
        let shorter = |factor: f64| -> Vec<f64> {
            let one = |(free, number): (&super::Free, &f64)| {
                // The separation stays: a shorter one makes displacements small.
                let shorter = free.moves && !free.is_separation();
                if shorter { number * factor } else { *number }
            };
            self.unmet.free.iter().zip(&present).map(one).collect()
        };
        let mut places = [1.0, 0.25, 0.0625].map(shorter).to_vec();
        places.dedup();
        let found = self.look(&ideal, &places).into_iter().flatten();
        found.min_by(|a, b| a.strain.value.total_cmp(&b.strain.value))
    }
}

fn smallest(known: &[[f64; 2]]) -> Option<usize> {
    (0..known.len()).min_by(|a, b| known[*a][1].total_cmp(&known[*b][1]))
}

/// Place and value of the vertex of the parabola through three points of which the middle one is
/// the lowest.
fn vertex(three: &[[f64; 2]]) -> (f64, f64) {
    let [[x0, y0], [x1, y1], [x2, y2]] = [three[0], three[1], three[2]];
    let (left, right) = ((y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1));
    let curvature = (right - left) / (x2 - x0);
    if !curvature.is_finite() || curvature <= 0.0 {
        return (x1, y1);
    }
    let slope = left + curvature * (x1 - x0);
    let by = -slope / (2.0 * curvature);
    (x1 + by, y1 - slope * slope / (4.0 * curvature))
}

#[cfg(test)]
mod tests {
    use super::vertex;

    /// Three points of y = 2 + 3 (x - 0.4)², whatever the distances (algebra).
    #[test]
    fn the_vertex_of_a_parabola_is_found() {
        let of = |x: f64| [x, 2.0 + 3.0 * (x - 0.4) * (x - 0.4)];
        for xs in [[-1.0, 0.3, 0.7], [0.0, 0.5, 2.0]] {
            let (x, y) = vertex(&xs.map(of));
            assert!((x - 0.4).abs() < 1e-12 && (y - 2.0).abs() < 1e-12, "{x} {y}");
        }
    }
}
