//! One proposal that keeps every rule of the trade, where some are broken: the change that each
//! rule names by itself may break another.
//!
//! In the logarithms of the settings most rules are straight: their values are products of powers.
//! So the rules are taken as linear in them, with slopes from plans a twentieth aside; the smallest
//! step of the fewest settings that keeps all of them is found ([`least`]), and the plan made there
//! is linearised anew until its rules are kept. What is proposed was planned.

mod adjustable;
mod least;

use std::cell::Cell;

use super::rules::{Rule, RuleId, Status};
use super::{Plan, Rig};
use crate::quantity;
use crate::setup::{Setup, Value};
use adjustable::Adjustable;
use least::{Row, least_step};

/// Settings with which every rule is kept, or why there are none.
#[derive(Debug, Clone, PartialEq)]
pub enum Proposal {
    /// These together keep every rule.
    Together(Vec<ProposedChange>),
    /// Two rules that exclude each other: either can be kept, both cannot, whatever the settings
    /// within [`FARTHEST`].
    Exclude([(RuleId, String); 2]),
    /// A rule that no setting within [`FARTHEST`] meets.
    OutOfReach(RuleId, String),
    /// None was found, though no two rules are known to exclude each other; these were left.
    NotFound(Vec<(RuleId, String)>),
}

impl Proposal {
    /// Keys and the values that keep every rule, as a setup writes them; `None` where none do.
    pub fn settings(&self) -> Option<Vec<(String, String)>> {
        match self {
            Proposal::Together(changes) => {
                let to = |change: &ProposedChange| (change.key.clone(), change.values[1].clone());
                Some(changes.iter().map(to).collect())
            }
            _ => None,
        }
    }
}

/// A setting of a proposal.
#[derive(Debug, Clone, PartialEq)]
pub struct ProposedChange {
    /// Its key.
    pub key: String,
    /// From which value to which, as a setup writes them.
    pub values: [String; 2],
}

/// Each setting may become so many times larger or smaller.
pub const FARTHEST: f64 = 30.0;

/// Plans linearised on the way to a proposal.
const ROUNDS: usize = 10;
/// Farthest step of one round, a factor.
const LONGEST_STEP: f64 = 3.0;
/// What is left between a rule and its limit, as a logarithm: roundings to three digits are
/// smaller.
const MARGIN: f64 = 0.004;
/// Where a round leaves more than this share of the excess over the limits, the search gives up.
const PROGRESS: f64 = 0.9;
/// Changes that the rules name, made in turn.
const IN_TURN: usize = 12;
/// How often the way is shortened where the whole of it has no step.
const PARTS: usize = 4;
/// Plans made in all: hundredths of a second each, but seconds where the separation is sought that
/// gives a displacement in a field of many speeds.
const MOST_PLANS: [usize; 2] = [1000, 12];
/// By how much more a setting is changed where rounding broke a rule.
const MORE: f64 = 1.01;

impl Proposal {
    /// The proposal for a plan; `None` where every rule is kept.
    pub fn of(plan: &Plan) -> Option<Proposal> {
        let rules = plan.rules();
        if rules.iter().all(|rule| rule.status == Status::Pass) {
            return None;
        }
        let search = Search::new(plan, &rules);
        Some(search.proposal(&rules))
    }
}

struct Search<'a> {
    rig: &'a Rig,
    setup: &'a Setup,
    keys: Vec<Adjustable>,
    /// Plans that may still be made.
    plans_left: Cell<usize>,
}

/// Logarithms of the factors of all keys.
type At = Vec<f64>;

/// How far a rule is beyond its limits: a row for each end, at most 0 where it is kept.
fn beyond(rule: &Rule, separation_s: f64) -> Vec<f64> {
    let [least, most] = rule.within;
    let mut rows = Vec::new();
    if rule.id == RuleId::Straddling {
        return vec![(least - rule.value) / separation_s];
    }
    let value = rule.value.max(1e-300);
    if least.is_finite() {
        rows.push((least / value).ln());
    }
    if most.is_finite() {
        rows.push((value / most).ln());
    }
    rows
}

impl<'a> Search<'a> {
    fn new(plan: &'a Plan, rules: &[Rule]) -> Search<'a> {
        let (sought, speeds) = (plan.rig.setup.displacement_px, &plan.rig.speeds);
        let is_slow = sought.is_some() && speeds.mean_px < 0.999 * speeds.fastest_px;
        Search {
            rig: &plan.rig,
            setup: &plan.rig.setup,
            keys: adjustable::all(plan, rules),
            plans_left: Cell::new(MOST_PLANS[usize::from(is_slow)]),
        }
    }

    fn proposal(&self, rules: &[Rule]) -> Proposal {
        let name = |rule: &Rule| (rule.id, rule.label.clone());
        let all: Vec<RuleId> = rules.iter().map(|rule| rule.id).collect();
        if let Some(changes) = self.fewest(&all) {
            return Proposal::Together(changes);
        }
        let broken: Vec<&Rule> = rules.iter().filter(|rule| rule.status > Status::Pass).collect();
        // A search that was cut short excludes nothing.
        let none = |wanted: &[RuleId]| self.solve(wanted).is_none() && self.plans_left.get() > 0;
        for rule in &broken {
            if none(&[rule.id]) {
                let (id, label) = name(rule);
                return Proposal::OutOfReach(id, label);
            }
        }
        for rule in &broken {
            for other in rules.iter().filter(|other| other.id != rule.id) {
                if none(&[rule.id, other.id]) && self.solve(&[other.id]).is_some() {
                    return Proposal::Exclude([name(rule), name(other)]);
                }
            }
        }
        Proposal::NotFound(broken.into_iter().map(name).collect())
    }

    /// The changes that the rules name, made one after the other, or what is solved for: whichever
    /// changes fewer settings.
    fn fewest(&self, all: &[RuleId]) -> Option<Vec<ProposedChange>> {
        let in_turn = self.in_turn(all);
        match in_turn {
            Some(changes) if changes.len() == 1 => Some(changes),
            Some(changes) => Some(match self.kept(all) {
                Some(solved) if solved.len() <= changes.len() => solved,
                _ => changes,
            }),
            None => self.kept(all),
        }
    }

    /// The changes that the rules name by themselves, the worst first, until every rule is kept;
    /// `None` where they run in circles.
    fn in_turn(&self, wanted: &[RuleId]) -> Option<Vec<ProposedChange>> {
        let mut made: Vec<(String, String)> = Vec::new();
        for _ in 0..IN_TURN {
            let rules = self.rules_with(&made)?;
            if kept_all(&rules, wanted) {
                let made = self.without_superfluous(made, wanted);
                let change = |(key, value): (String, String)| ProposedChange {
                    values: [
                        self.setup.written(&key).unwrap_or_else(|| "none".to_owned()),
                        value,
                    ],
                    key,
                };
                return Some(made.into_iter().map(change).collect());
            }
            let broken = rules.iter().filter(|rule| rule.status > Status::Pass);
            let worst = broken.rev().max_by_key(|rule| rule.status)?;
            let (key, value) = worst.fix.as_ref()?.set.clone()?;
            made.retain(|(other, _)| *other != key);
            made.push((key, value));
        }
        None
    }

    /// Changes without those that the rules do not need.
    fn without_superfluous(&self, made: Vec<(String, String)>, wanted: &[RuleId]) -> Vec<(String, String)> {
        let mut kept = made;
        let mut k = 0;
        while k < kept.len() {
            let mut fewer = kept.clone();
            fewer.remove(k);
            match self
                .rules_with(&fewer)
                .is_some_and(|rules| kept_all(&rules, wanted))
            {
                true => kept = fewer,
                false => k += 1,
            }
        }
        kept
    }

    /// Rules of the plan with changes as they are written.
    fn rules_with(&self, made: &[(String, String)]) -> Option<Vec<Rule>> {
        let value = |text: &str| match quantity::parse(text) {
            Ok(quantity) => Value::Quantity(quantity),
            Err(_) => Value::parse(text),
        };
        let changes: Vec<(&str, Value)> = (made.iter())
            .map(|(key, text)| (key.as_str(), value(text)))
            .collect();
        self.planned(&changes)
    }

    /// Settings with which these rules are kept as they are written, no more of them than needed.
    fn kept(&self, wanted: &[RuleId]) -> Option<Vec<ProposedChange>> {
        let mut at = self.solve(wanted)?;
        let keeps = |at: &At| self.rules(at).is_some_and(|rules| kept_all(&rules, wanted));
        for _ in 0..4 {
            if keeps(&at) {
                break;
            }
            at.iter_mut().for_each(|x| *x *= MORE);
        }
        if !keeps(&at) {
            return None;
        }
        for k in 0..at.len() {
            let mut without = at.clone();
            without[k] = 0.0;
            if at[k] != 0.0 && keeps(&without) {
                at = without;
            }
        }
        let changes = self.keys.iter().zip(&at).filter(|(_, x)| **x != 0.0);
        Some(changes.map(|(key, x)| key.change(*x)).collect())
    }

    /// Rules of the plan at a place.
    fn rules(&self, at: &At) -> Option<Vec<Rule>> {
        let changes: Vec<(&str, Value)> = (self.keys.iter().zip(at))
            .filter(|(_, x)| **x != 0.0)
            .map(|(key, x)| (key.path.as_str(), key.value(*x)))
            .collect();
        self.planned(&changes)
    }

    fn planned(&self, changes: &[(&str, Value)]) -> Option<Vec<Rule>> {
        self.plans_left.set(self.plans_left.get().checked_sub(1)?);
        let setup = self.setup.with_all(changes).ok()?;
        Some(Plan::of(self.rig.changed(&setup).ok()?).ok()?.rules())
    }

    /// A place at which the rules `wanted` are kept.
    fn solve(&self, wanted: &[RuleId]) -> Option<At> {
        let mut at = vec![0.0; self.keys.len()];
        let mut before = f64::INFINITY;
        for _ in 0..ROUNDS {
            let rules = self.rules(&at)?;
            if kept_all(&rules, wanted) {
                return Some(at);
            }
            let left = self.left(&rules, wanted);
            if left > PROGRESS * before {
                return None;
            }
            before = left;
            let mut rows = self.linear(&at, &rules, wanted);
            let mut step = least_step(&rows, &at);
            // Where the rules are far from straight, part of the way shows more.
            for _ in 0..PARTS {
                if step.is_some() {
                    break;
                }
                rows.iter_mut()
                    .filter(|row| row.most < 0.0)
                    .for_each(|row| row.most *= 0.4);
                step = least_step(&rows, &at);
            }
            let step = step?;
            let longest = step.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            let mut share = (LONGEST_STEP.ln() / longest).min(1.0);
            // What cannot be planned is no farther than half the way.
            let next = (0..6).find_map(|_| {
                let next: At = at.iter().zip(&step).map(|(x, d)| x + share * d).collect();
                share *= 0.5;
                self.rules(&next).map(|_| next)
            });
            at = next?;
        }
        None
    }

    /// How far the rules `wanted` are from being kept, in all.
    fn left(&self, rules: &[Rule], wanted: &[RuleId]) -> f64 {
        let separation_s = self.setup.separation_s.unwrap_or(1.0);
        let wanted = rules.iter().filter(|rule| wanted.contains(&rule.id));
        let rows = wanted.flat_map(|rule| beyond(rule, separation_s));
        rows.map(|by| (by + MARGIN).max(0.0)).sum()
    }

    /// The rules as rows of a linear problem about a place.
    fn linear(&self, at: &At, rules: &[Rule], wanted: &[RuleId]) -> Vec<Row> {
        let separation_s = self.setup.separation_s.unwrap_or(1.0);
        let wanted_rules: Vec<&Rule> = rules.iter().filter(|rule| wanted.contains(&rule.id)).collect();
        let mut rows: Vec<Row> = (wanted_rules.iter())
            .flat_map(|rule| beyond(rule, separation_s))
            .map(|by| Row {
                slopes: vec![0.0; at.len()],
                most: -by - MARGIN,
            })
            .collect();
        for (k, key) in self.keys.iter().enumerate() {
            let aside = [1.0, -1.0].into_iter().find_map(|sign| {
                let mut aside = at.clone();
                aside[k] = key.aside(at[k], sign);
                Some((aside[k] - at[k], self.rules(&aside)?))
            });
            let Some((by, rules_aside)) = aside.filter(|(by, _)| *by != 0.0) else {
                continue;
            };
            let mut row = 0;
            for rule in &wanted_rules {
                let there = rules_aside.iter().find(|other| other.id == rule.id);
                let [here, there] = [Some(*rule), there].map(|rule| rule.map(|r| beyond(r, separation_s)));
                let (Some(here), Some(there)) = (here, there) else {
                    continue;
                };
                for (end, from) in here.iter().enumerate() {
                    rows[row + end].slopes[k] = (there[end] - from) / by;
                }
                row += here.len();
            }
        }
        rows
    }
}

fn kept_all(rules: &[Rule], wanted: &[RuleId]) -> bool {
    let wanted = rules.iter().filter(|rule| wanted.contains(&rule.id));
    wanted.into_iter().all(|rule| rule.status == Status::Pass)
}

#[cfg(test)]
mod tests;
