//! An answer as it is asked again under another assumption: the settings that were measured, on
//! their axes.

use motefield_evaluator::score::OUTLIER_PX;
use motefield_evaluator::statistics::GridValues;
use motefield_rig::keys;
use motefield_rig::plan::Plan;
use motefield_rig::quantity::{self, Dimension};
use motefield_rig::setup::{Setup, Value};

use crate::decide::map::Map;
use crate::decide::trial::{MeasuredSetting, measured};
use crate::decide::{Decision, PulseSearch};
use crate::run::Point;
use crate::vary::SweepValue;

/// By what the error is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Judged {
    /// Of the displacement, px.
    Displacement,
    /// Of the velocity, over the mean speed.
    Velocity,
}

/// Squared errors of the vectors of one setting.
#[derive(Debug, Clone)]
pub(super) struct Squares {
    /// Of each, none where it is lost.
    pub of_valid: GridValues<'static>,
    /// What a lost one counts as, where they are counted: an error of the outlier limit.
    pub of_lost: f64,
    /// Share of valid vectors.
    pub valid: f64,
}

impl Squares {
    fn of_displacement(point: &Point) -> Squares {
        Squares {
            of_valid: point.squared_errors(),
            of_lost: OUTLIER_PX * OUTLIER_PX,
            valid: 1.0 - point.score.outliers.value,
        }
    }

    fn of_velocity(measured: &MeasuredSetting) -> Squares {
        Squares {
            of_valid: measured.squares(),
            of_lost: measured.square()(OUTLIER_PX * OUTLIER_PX),
            valid: measured.valid(),
        }
    }

    /// With the lost ones at the places that count.
    pub fn counted<'s>(&'s self, counts: &'s [bool]) -> GridValues<'s> {
        self.of_valid.map_pairs(move |pair| {
            for (value, counts) in pair.iter_mut().zip(counts) {
                if *counts && !value.is_finite() {
                    *value = self.of_lost;
                }
            }
        })
    }
}

impl Judged {
    pub fn squares(self, plan: &Plan, point: Point) -> Squares {
        match self {
            Judged::Displacement => Squares::of_displacement(&point),
            Judged::Velocity => Squares::of_velocity(&measured(plan, point)),
        }
    }
}

/// A setting that was free.
#[derive(Debug, Clone)]
pub(super) struct FreeAxis {
    pub key: String,
    unit: SweepValue,
    /// Whether the coordinate is the logarithm of the value; else it is its share of the present.
    log: bool,
    present: f64,
    /// Coordinates between which a best may stand.
    pub limits: [f64; 2],
}

impl FreeAxis {
    /// The value at a coordinate, to three digits.
    pub fn value(&self, at: f64) -> SweepValue {
        let number = if self.log { at.exp() } else { at * self.present };
        self.unit.with_number(quantity::significant(number, 3))
    }

    fn coordinate(&self, number: f64) -> f64 {
        if self.log {
            number.ln()
        } else {
            number / self.present
        }
    }
}

/// A setting that was measured.
#[derive(Debug, Clone)]
pub(super) struct TriedSetting {
    /// Its coordinate on each axis.
    pub at: Vec<f64>,
    pub changes: Vec<(String, Value)>,
    pub squares: Squares,
}

/// An answer with what was measured on the way to it.
#[derive(Debug, Clone)]
pub struct Answered<'a> {
    pub(super) setup: &'a Setup,
    /// As it stands, where it was planned.
    pub(super) standing: Option<&'a Plan>,
    pub(super) judged: Judged,
    pub(super) axes: Vec<FreeAxis>,
    pub(super) tried: Vec<TriedSetting>,
    pub(super) best: usize,
    /// Error at the best setting in pairs of its own over that on the particles that all share.
    pub(super) own_over_common: f64,
    /// Pairs measured so far.
    pub(super) pairs: usize,
}

/// How far from the best the settings beside it should stand, as a logarithm.
const BESIDE: f64 = 0.9;

impl<'a> Answered<'a> {
    /// Of a pulse length; `None` where there is no answer.
    pub fn of_pulse(search: &'a PulseSearch, decision: &Decision) -> Option<Answered<'a>> {
        let best = decision.reading.as_ref()?.best;
        let point = &decision.points[best].point;
        let key = keys::light::PULSE_LENGTH.path;
        let longest_s = search.most.0.max(decision.points.last()?.pulse_s);
        let unit = SweepValue::new(&quantity::format(decision.points[best].pulse_s, Dimension::Time));
        let unit_s = quantity::parse(&unit.with_number(1.0).text).ok()?.value;
        let tried = decision.points.iter().map(|m| TriedSetting {
            at: vec![(m.pulse_s / unit_s).ln()],
            changes: vec![(key.to_owned(), Setup::quantity(m.pulse_s, Dimension::Time))],
            squares: Squares::of_displacement(&m.point),
        });
        Some(Answered {
            setup: &search.setup,
            standing: Some(&search.plan),
            judged: Judged::Displacement,
            tried: tried.collect(),
            axes: vec![FreeAxis {
                key: key.to_owned(),
                unit,
                log: true,
                present: 1.0,
                limits: [f64::NEG_INFINITY, (longest_s / unit_s).ln()],
            }],
            best,
            own_over_common: point.score.total_px.value / point.common_total_px(),
            pairs: decision.points.iter().map(|m| m.point.pairs()).sum(),
        })
    }

    /// Pairs that the answer took.
    pub fn pairs(&self) -> usize {
        self.pairs
    }

    /// Of a map; `None` where there is no answer.
    pub fn of_map(setup: &'a Setup, map: &Map) -> Option<Answered<'a>> {
        let (best, at_best) = map.best()?;
        let number = |value: &SweepValue| value.number.parse::<f64>().ok();
        let mut axes = Vec::new();
        for (k, free) in map.axes.iter().enumerate() {
            let mut axis = FreeAxis {
                key: free.key.clone(),
                unit: best.values[k].clone(),
                log: free.log,
                present: number(&best.values[k]).filter(|n| *n != 0.0)?,
                limits: [f64::INFINITY, f64::NEG_INFINITY],
            };
            for trial in &map.trials {
                let at = axis.coordinate(number(&trial.values[k])?);
                axis.limits = [axis.limits[0].min(at), axis.limits[1].max(at)];
            }
            axes.push(axis);
        }
        let (mut tried, mut place, mut pairs) = (Vec::new(), None, 0);
        for trial in &map.trials {
            let Some(measured) = trial.measured() else {
                continue;
            };
            pairs += measured.point.pairs();
            if trial.usable(map.wish.valid).is_none() {
                continue;
            }
            if std::ptr::eq(trial, best) {
                place = Some(tried.len());
            }
            let values = axes.iter().zip(&trial.values);
            let at = values.map(|(axis, value)| Some(axis.coordinate(number(value)?)));
            tried.push(TriedSetting {
                at: at.collect::<Option<_>>()?,
                changes: (map.axes.iter().zip(&trial.values))
                    .map(|(axis, value)| (axis.key.clone(), value.value()))
                    .collect(),
                squares: Squares::of_velocity(measured),
            });
        }
        Some(Answered {
            setup,
            standing: None,
            judged: Judged::Velocity,
            axes,
            tried,
            best: place?,
            own_over_common: at_best.relative().value / at_best.squares().mean().sqrt(),
            pairs,
        })
    }

    /// An error found on the particles that all settings share, as the answer is judged and in
    /// proportion to the error that it states, in words: "0.12 px", "3.1 %".
    pub fn shown(&self, error: f64) -> String {
        let error = error * self.own_over_common;
        match self.judged {
            Judged::Displacement => format!("{} px", quantity::short(error)),
            Judged::Velocity => format!("{} %", quantity::short(100.0 * error)),
        }
    }

    /// The error at the best setting, px or share of the mean speed.
    pub fn error(&self) -> f64 {
        self.tried[self.best].squares.of_valid.mean().sqrt()
    }

    /// The places of the grid where some setting gave a vector: the others lie in a body or under a
    /// mask.
    pub(super) fn counts(&self) -> Vec<bool> {
        let of_each: Vec<Vec<bool>> = (self.tried.iter())
            .map(|tried| tried.squares.of_valid.seen())
            .collect();
        let places = of_each.iter().map(Vec::len).max().unwrap_or(0);
        (0..places)
            .map(|k| of_each.iter().any(|seen| seen.get(k) == Some(&true)))
            .collect()
    }

    /// Places of the settings to look at: the best, then two beside it along each axis, on either
    /// side where there are.
    pub(super) fn settings(&self) -> Vec<usize> {
        let mut all = vec![self.best];
        for axis in 0..self.axes.len() {
            all.extend(self.beside(axis).into_iter().flatten());
        }
        all
    }

    /// Of the places in `settings` those along one axis, by rising coordinate.
    pub(super) fn along(&self, axis: usize, settings: &[usize]) -> Vec<usize> {
        let own: Vec<usize> = self
            .beside(axis)
            .into_iter()
            .flatten()
            .chain([self.best])
            .collect();
        let mut places: Vec<usize> = own
            .iter()
            .filter_map(|k| settings.iter().position(|s| s == k))
            .collect();
        let at = |place: &usize| self.tried[settings[*place]].at[axis];
        places.sort_by(|a, b| at(a).total_cmp(&at(b)));
        places
    }

    /// Two settings that differ from the best along one axis alone; both on one side where the best
    /// is the last.
    fn beside(&self, axis: usize) -> Option<[usize; 2]> {
        let best = &self.tried[self.best];
        let scale = |at: f64| at - best.at[axis];
        let same = |k: &usize| {
            let others = (0..self.axes.len()).filter(|j| *j != axis);
            others.into_iter().all(|j| self.tried[*k].at[j] == best.at[j])
        };
        let all: Vec<usize> = (0..self.tried.len())
            .filter(|k| *k != self.best)
            .filter(same)
            .collect();
        let nearest = |wanted: f64, not: Option<usize>| {
            let side = all.iter().copied().filter(|k| {
                let by = scale(self.tried[*k].at[axis]);
                Some(*k) != not && by.signum() == wanted.signum() && by.abs() > 0.1 * BESIDE
            });
            let far = |k: &usize| (scale(self.tried[*k].at[axis]) - wanted).abs();
            side.min_by(|a, b| far(a).total_cmp(&far(b)))
        };
        match (nearest(-BESIDE, None), nearest(BESIDE, None)) {
            (Some(below), Some(above)) => Some([below, above]),
            (Some(one), None) => Some([one, nearest(-2.0 * BESIDE, Some(one))?]),
            (None, Some(one)) => Some([one, nearest(2.0 * BESIDE, Some(one))?]),
            (None, None) => None,
        }
    }
}

#[cfg(test)]
impl FreeAxis {
    /// An axis by factors of the unit in `one`.
    pub fn for_test(key: &str, one: &str) -> FreeAxis {
        FreeAxis {
            key: key.to_owned(),
            unit: SweepValue::new(one),
            log: true,
            present: 1.0,
            limits: [f64::NEG_INFINITY, f64::INFINITY],
        }
    }
}

#[cfg(test)]
impl TriedSetting {
    /// A setting on one axis, all of whose vectors are valid.
    pub fn for_test(at: f64, of_valid: GridValues<'static>) -> TriedSetting {
        TriedSetting {
            at: vec![at],
            changes: Vec::new(),
            squares: Squares {
                of_valid,
                of_lost: 1.0,
                valid: 1.0,
            },
        }
    }
}
