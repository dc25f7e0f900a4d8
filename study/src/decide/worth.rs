//! What each assumption of a setup is worth: how far the error and the best setting move if it is
//! replaced by the value usual in the trade.
//!
//! Every assumption is tried at three settings along each axis, the best among them, on the same
//! particles as the study itself, so that few pairs show the difference. Those that move most are
//! tried again where the best would then stand.

mod base;
mod shift;
mod spread;

use std::sync::atomic::{AtomicBool, Ordering};

use motefield_evaluator::statistics::{Confidence, Estimate, GridValues, root_mean_square_ratio};
use motefield_rig::assumption::{Assumption, assumptions};
use motefield_rig::plan::{Plan, plan};
use motefield_rig::setup::{Setup, Value};
use rayon::prelude::*;

use super::{Wish, errors_of};
use crate::StudyError;
use crate::run::{After, Effort, Experiment, Journal, Progress};
use crate::vary::SweepValue;
pub use base::Answered;
use base::Squares;
use shift::{Three, shift};
pub use spread::{AnswerSpread, SpreadOfBest};

/// What the assumptions are worth may take so much of what the study took.
const MOST_SHARE: f64 = 0.4;
/// Part of it for the first look at all of them.
const FIRST_LOOK: f64 = 0.6;
/// How many are tried again.
const VERIFIED: usize = 5;
/// A shift of the best setting by less, or of the error, is none, a share.
const NEGLIGIBLE: f64 = 0.05;

/// The assumptions behind an answer.
#[derive(Debug, Clone, Default)]
pub struct Worths {
    /// All of them, in the order of the key table.
    pub assumed: Vec<Assumption>,
    /// Those whose usual value was tried, the one that moves most first.
    pub tried: Vec<Worth>,
    /// What the tolerances of stated values do; `None` where none is stated.
    pub spread: Option<AnswerSpread>,
    /// Pairs that this took.
    pub pairs: usize,
}

impl Worths {
    /// The assumptions alone.
    ///
    /// # Errors
    /// When the setup cannot be planned.
    pub fn listed(setup: &Setup) -> Result<Worths, StudyError> {
        Ok(Worths {
            assumed: assumptions(&plan(setup)?),
            ..Worths::default()
        })
    }

    /// The one to look into first: of those that move the best setting or the error, the one that
    /// moves most.
    pub fn first(&self) -> Option<&Worth> {
        self.tried.first().filter(|w| w.moves_best() || w.changes_error())
    }
}

/// What one assumption is worth.
#[derive(Debug, Clone)]
pub struct Worth {
    /// Which, with the usual value that was tried.
    pub assumption: Assumption,
    /// Error at the best setting with the usual value, over that without.
    pub error: Estimate,
    /// Share of valid vectors there.
    pub valid: f64,
    /// Whether so many vectors are lost that each counts as an error of the outlier limit.
    pub counts_lost: bool,
    /// Where the best would stand, one entry per axis.
    pub moves: Vec<Move>,
    /// What the second trial gave, of those that were tried again.
    pub again: Option<MeasuredAgain>,
}

/// Where the best setting moves along one axis.
#[derive(Debug, Clone)]
pub struct Move {
    /// Key of the axis.
    pub key: String,
    /// The best now, and with the usual value.
    pub best: [SweepValue; 2],
    /// Its shift, as a logarithm of the value, or over the present value where steps are not
    /// factors, with its 95 % interval; unknown where too few vectors tell.
    pub shift: Estimate,
    /// Whether the end of what was looked at stands for a best beyond it.
    pub end: bool,
}

/// The usual value tried again where the best would stand.
#[derive(Debug, Clone)]
pub struct MeasuredAgain {
    /// Error at the setting now best, and where the best would stand (the same, where that does not
    /// move): px or share of the mean speed, as the answer is judged.
    pub errors: [f64; 2],
    /// Share of valid vectors at both.
    pub valid: [f64; 2],
}

impl MeasuredAgain {
    /// Whether the setting where the best would stand is the better one.
    pub fn confirmed(&self) -> bool {
        self.errors[1] <= self.errors[0]
    }
}

impl Move {
    /// Whether the best moves at all: by more than a twentieth, and more than chance would do.
    pub fn moves(&self) -> bool {
        let told = self.shift.lo > 0.0 || self.shift.hi < 0.0;
        let elsewhere = self.best[0].text != self.best[1].text;
        elsewhere && self.shift.value.abs() > NEGLIGIBLE && (told || self.end)
    }
}

impl Worth {
    /// Whether the error changes by more than a twentieth, and more than chance would do.
    pub fn changes_error(&self) -> bool {
        let told = self.error.lo > 1.0 || self.error.hi < 1.0;
        (self.error.value - 1.0).abs() > NEGLIGIBLE && told
    }

    /// Whether the best setting moves along any axis.
    pub fn moves_best(&self) -> bool {
        self.moves.iter().any(Move::moves)
    }

    /// How much it does: logarithms of the factors of error and setting.
    fn size(&self) -> f64 {
        let known = |v: f64| if v.is_finite() { v.abs() } else { 0.0 };
        let moves = self.moves.iter().filter(|m| m.moves());
        known(self.error.value.ln()) + moves.map(|m| known(m.shift.value)).sum::<f64>()
    }
}

struct WorthStudy<'a> {
    base: &'a Answered<'a>,
    /// The setup as it stands, planned.
    standing: Plan,
    wish: &'a Wish,
    journal: Option<&'a Journal<'a>>,
    progress: &'a dyn Progress,
    stop: &'a AtomicBool,
    spent: std::cell::Cell<usize>,
    /// Places of the grid that count.
    places: Vec<bool>,
}

/// Finds out what the assumptions behind an answer are worth. What `journal` holds is not measured
/// again, what is measured is added.
///
/// # Errors
/// When the setup cannot be planned.
pub fn worths(
    base: &Answered,
    wish: &Wish,
    journal: Option<&Journal<'_>>,
    progress: &dyn Progress,
    stop: &AtomicBool,
) -> Result<Worths, StudyError> {
    let standing = match base.standing {
        Some(standing) => standing.clone(),
        None => plan(base.setup)?,
    };
    let assumed = assumptions(&standing);
    let study = WorthStudy {
        base,
        standing,
        wish,
        journal,
        progress,
        stop,
        spent: std::cell::Cell::new(0),
        places: base.counts(),
    };
    let mut tried = study.first_look(&assumed);
    tried.sort_by(|a, b| b.size().total_cmp(&a.size()));
    study.again(&mut tried);
    let spread = study.spread();
    match stop.load(Ordering::Relaxed) {
        true => tried.clear(),
        // The second trial knows better.
        false => tried.sort_by(|a, b| b.size().total_cmp(&a.size())),
    }
    Ok(Worths {
        assumed,
        tried,
        spread: spread.filter(|_| !stop.load(Ordering::Relaxed)),
        pairs: study.spent.get(),
    })
}

impl WorthStudy<'_> {
    /// Measures setups with so many pairs each; `None` where one cannot be planned.
    fn run(&self, setups: &[Vec<(&str, Value)>], pairs: usize) -> Vec<Option<Squares>> {
        let (setup, standing) = (self.base.setup, &self.standing);
        let plans: Vec<_> = setups
            .par_iter()
            .map(|changes| standing.changed(&setup.with_all(changes).ok()?).ok())
            .collect();
        let experiments: Vec<Experiment> = plans
            .iter()
            .flatten()
            .map(|plan| Experiment {
                scene: plan.scene.clone(),
                processing: plan.processing.clone(),
            })
            .collect();
        if experiments.is_empty() {
            return plans.iter().map(|_| None).collect();
        }
        let effort = Effort {
            first_pairs: pairs,
            most_pairs: pairs * self.base.setup.processing.ensemble,
            ..self.wish.effort
        };
        let wish = Wish { effort, ..*self.wish };
        let after = After {
            whole: self.progress,
            pairs: self.base.pairs + self.spent.get(),
        };
        let mut points = errors_of(&experiments, &wish, self.journal, &after, self.stop).into_iter();
        let probes = plans.iter().map(|plan| {
            let (plan, point) = (plan.as_ref()?, points.next()??);
            self.spent.set(self.spent.get() + point.pairs());
            Some(self.base.judged.squares(plan, point))
        });
        probes.collect()
    }

    /// Pairs that all this may take.
    fn budget(&self) -> f64 {
        MOST_SHARE * self.base.pairs as f64
    }

    /// Every assumption with a usual value at three settings along each axis.
    fn first_look(&self, assumed: &[Assumption]) -> Vec<Worth> {
        let settings = self.base.settings();
        let candidates: Vec<(&Assumption, (&str, Value))> =
            assumed.iter().filter_map(|a| Some((a, a.to_usual()?))).collect();
        let setups: Vec<Vec<(&str, Value)>> = candidates
            .iter()
            .flat_map(|(_, usual)| {
                let at = |k: &usize| {
                    let own = self.base.tried[*k].changes.iter();
                    let own = own.map(|(key, value)| (key.as_str(), value.clone()));
                    own.chain([usual.clone()]).collect()
                };
                settings.iter().map(at).collect::<Vec<_>>()
            })
            .collect();
        let each = FIRST_LOOK * self.budget() / setups.len().max(1) as f64;
        let pairs = (each as usize).clamp(1, self.wish.effort.first_pairs.max(1));
        let probes = self.run(&setups, pairs);
        let looked = candidates.iter().zip(probes.chunks(settings.len().max(1)));
        let worth = |((assumption, _), probes): (&(&Assumption, _), &[Option<Squares>])| {
            let probes: Vec<&Squares> = probes.iter().map(Option::as_ref).collect::<Option<_>>()?;
            Some(self.worth(assumption, &settings, &probes))
        };
        looked.filter_map(worth).collect()
    }

    /// What the trials of one assumption say.
    fn worth(&self, assumption: &Assumption, settings: &[usize], probes: &[&Squares]) -> Worth {
        let base = self.base;
        let now: Vec<&Squares> = settings.iter().map(|k| &base.tried[*k].squares).collect();
        let counts = self.counts_lost(now.iter().chain(probes).copied());
        let [from, to] = [&now[..], probes].map(|all| self.grids(all, counts));
        // The best is the first of the settings.
        let moves = base.axes.iter().enumerate().filter_map(|(axis, free)| {
            let along = base.along(axis, settings);
            let [a, b, c] = along[..] else { return None };
            let at = [a, b, c].map(|k| base.tried[settings[k]].at[axis]);
            let standing = base.tried[base.best].at[axis];
            let (moved, end) = match shift(&Three::of(at, &from, [a, b, c]), &Three::of(at, &to, [a, b, c])) {
                Some((moved, [from, to])) => {
                    // What ends the answer ends that under the usual value too.
                    let within = |at: f64| at.clamp(free.limits[0], free.limits[1]);
                    let half = 0.5 * (moved.hi - moved.lo);
                    (Estimate::symmetric(within(to.at) - within(from.at), half), to.end)
                }
                None => (Estimate::unbounded(0.0), false),
            };
            let there = (standing + moved.value).clamp(free.limits[0], free.limits[1]);
            Some(Move {
                key: free.key.clone(),
                best: [free.value(standing), free.value(there)],
                shift: moved,
                end,
            })
        });
        Worth {
            assumption: *assumption,
            error: error_ratio(&to[0], &from[0]),
            valid: probes[0].valid,
            counts_lost: counts,
            moves: moves.collect(),
            again: None,
        }
    }

    /// Whether too many vectors are lost to compare the errors of the others.
    fn counts_lost<'s>(&self, mut all: impl Iterator<Item = &'s Squares>) -> bool {
        all.any(|s| s.valid < self.wish.valid)
    }

    /// Squared errors of settings, with the lost vectors or without.
    fn grids<'s>(&'s self, all: &[&'s Squares], count_lost: bool) -> Vec<GridValues<'s>> {
        let one = |squares: &&'s Squares| match count_lost {
            true => squares.counted(&self.places),
            false => squares.of_valid.clone(),
        };
        all.iter().map(one).collect()
    }

    /// Every stated tolerance at both ends; `None` where there is none or a rig cannot be so.
    fn spread(&self) -> Option<AnswerSpread> {
        let tolerances = &self.base.setup.tolerances;
        if tolerances.is_empty() || self.stop.load(Ordering::Relaxed) {
            return None;
        }
        let settings = self.base.settings();
        let ends = tolerances
            .iter()
            .flat_map(|t| [-1.0, 1.0].map(|share| (t, share)));
        let setups: Vec<Vec<(&str, Value)>> = ends
            .flat_map(|(tolerance, share)| {
                let at = move |k: &usize| {
                    let own = self.base.tried[*k].changes.iter();
                    let own = own.map(|(key, value)| (key.as_str(), value.clone()));
                    own.chain([(tolerance.path.as_str(), tolerance.at(share))])
                        .collect()
                };
                settings.iter().map(at).collect::<Vec<_>>()
            })
            .collect();
        let each = self.budget() / setups.len() as f64;
        let pairs = (each as usize).clamp(1, self.wish.effort.first_pairs.max(1));
        let probes: Vec<Squares> = self.run(&setups, pairs).into_iter().collect::<Option<_>>()?;
        let now: Vec<&Squares> = settings.iter().map(|k| &self.base.tried[*k].squares).collect();
        let counts = self.counts_lost(probes.iter().chain(now.iter().copied()));
        let probes: Vec<Vec<GridValues>> = probes
            .chunks(settings.len())
            .map(|all| self.grids(&all.iter().collect::<Vec<_>>(), counts))
            .collect();
        let now = self.grids(&now, counts);
        Some(spread::spread(self.base, &settings, tolerances, &probes, &now))
    }

    /// Tries those that move most again, at the best now and where it would stand.
    fn again(&self, tried: &mut [Worth]) {
        if self.stop.load(Ordering::Relaxed) {
            return;
        }
        let first = self.spent.get();
        let left = (self.budget() - first as f64).max(0.0) as usize;
        let count = tried.len().min(VERIFIED);
        let pairs = (left / (2 * count).max(1)).clamp(1, self.wish.effort.first_pairs.max(1));
        // At least the first is verified.
        let count = count.min((left / (2 * pairs)).max(1));
        let setups: Vec<Vec<(&str, Value)>> = tried[..count.min(tried.len())]
            .iter()
            .flat_map(|worth| {
                let usual = worth.assumption.to_usual();
                [0, 1].map(|which| {
                    let at = worth.moves.iter().map(|m| {
                        let stays = which == 0 || !m.moves();
                        (m.key.as_str(), m.best[usize::from(!stays)].value())
                    });
                    at.chain(usual.clone()).collect()
                })
            })
            .collect();
        let probes = self.run(&setups, pairs);
        for (worth, pair) in tried.iter_mut().zip(probes.chunks(2)) {
            let [Some(now), Some(there)] = pair else { continue };
            let base = &self.base.tried[self.base.best].squares;
            let counts = self.counts_lost([base, now, there].into_iter());
            let grids = self.grids(&[base, now, there], counts);
            worth.valid = now.valid;
            worth.counts_lost = counts;
            worth.error = error_ratio(&grids[1], &grids[0]);
            worth.again = Some(MeasuredAgain {
                errors: [1, 2].map(|k: usize| grids[k].mean().sqrt()),
                valid: [now, there].map(|probe| probe.valid),
            });
        }
    }
}

/// Root mean square of `changed` over that of `base`, on the same pairs and places.
fn error_ratio(changed: &GridValues, base: &GridValues) -> Estimate {
    root_mean_square_ratio(changed, &base.join(changed, |v, _| v), Confidence::USUAL)
}
