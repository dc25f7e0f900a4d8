//! A setting set free: its key and the values tried.

use crate::StudyError;
use crate::decide::bounds::{Bound, Edge, SearchEnd};
use crate::vary::{SweepValue, Vary};
use motefield_rig::keys::{self, Key};
use motefield_rig::plan::plan;
use motefield_rig::quantity::{self, Dimension, to_three_digits};
use motefield_rig::setup::Setup;

/// Values of an axis, unless the user says otherwise.
const VALUES: usize = 9;
/// By how much the range goes below and above the value in the setup.
const REACH: f64 = 4.0;
/// Values added where the best stands at the border.
const GROWTH: i32 = 3;

/// How far below its longest value a range of times goes at first: so far at least, and so far at
/// most where the setup's own value is shorter.
const DEPTHS: [f64; 2] = [16.0, 1000.0];

/// A value beyond which nothing is worth trying.
#[derive(Debug, Clone, Copy, PartialEq)]
struct End {
    number: f64,
    wall: SearchEnd,
}

/// A key and its values, evenly spread, by their logarithm where `log` is set.
#[derive(Debug, Clone, PartialEq)]
pub struct FreeSetting {
    /// Key of the setup.
    pub key: String,
    /// Numbers in the unit of `unit`, rising.
    numbers: Vec<f64>,
    /// Gives the unit.
    unit: SweepValue,
    /// Whether steps are factors.
    pub log: bool,
    /// Whether values are whole numbers.
    whole: bool,
    /// Whether the range may grow: nobody chose it.
    open: bool,
    /// Beyond which values nothing is worth trying, below and above.
    ends: [Option<End>; 2],
    /// Values besides the even ones, such as a frame period.
    besides: Vec<f64>,
}

/// The value of a key that is not written but follows from others: the pulse separation from the
/// displacement wanted, and the displacement from the separation.
fn follows(setup: &Setup, key: &str) -> Option<String> {
    let rig = plan(setup).ok()?.rig;
    match key {
        _ if key == keys::timing::SEPARATION.path => {
            Some(quantity::format(rig.setup.separation_s?, Dimension::Time))
        }
        _ if key == keys::timing::DISPLACEMENT.path => {
            Some(format!("{} px", quantity::short(rig.speeds.fastest_px)))
        }
        _ => None,
    }
}

/// The key that a person named.
///
/// # Errors
/// When a setup has none of that name: says which may be meant.
pub fn known_key(name: &str) -> Result<&'static Key, StudyError> {
    keys::find(name).ok_or_else(|| {
        let near = keys::nearest(name).filter(|near| *near != name);
        let meant = near.map_or(String::new(), |near| format!("; did you mean {near}?"));
        StudyError::request(format!("{name}: not a key of a setup{meant}"))
    })
}

impl FreeSetting {
    /// The axis of `key`: over the range that `range` gives, as `FROM..TO`, `FROM..TO:log:N` or
    /// `FROM..TO:lin:N`; without one from a quarter to four times the value in the setup, and
    /// beyond if the best lies there.
    ///
    /// # Errors
    /// When there is no such key, the range cannot be read, or there is none and the setup has no
    /// number above zero under the key.
    pub fn new(setup: &Setup, key: &str, range: Option<&str>) -> Result<FreeSetting, StudyError> {
        known_key(key)?;
        let Some(range) = range else {
            return FreeSetting::about_setup(setup, key);
        };
        let ends = range.split(':').next().unwrap_or_default();
        let text = match range.matches(':').count() {
            0 => format!("{key}={range}:{}:{VALUES}", scale(ends)),
            1 => format!("{key}={range}:{VALUES}"),
            _ => format!("{key}={range}"),
        };
        let bad = |why: &str| {
            StudyError::request(format!(
                "{key}={range}: {why}; write for example light.pulse_length=20us..1ms or image.particle_diameter=2px..4px:lin:5"
            ))
        };
        let vary: Vary = text.parse().map_err(|_| {
            bad("must be FROM..TO, FROM..TO:log:N or FROM..TO:lin:N with numbers of one kind")
        })?;
        let numbers: Vec<f64> = vary.values.iter().filter_map(|v| v.number.parse().ok()).collect();
        if numbers.len() < 2 || numbers.len() != vary.values.len() || !numbers.is_sorted_by(|a, b| a < b) {
            return Err(bad("needs two different numbers, the smaller first"));
        }
        let whole = vary.values[0].unit.is_empty() && whole(&[numbers[0], numbers[numbers.len() - 1]]);
        Ok(FreeSetting {
            key: key.to_owned(),
            numbers,
            unit: vary.values[0].clone(),
            log: text.contains(":log:"),
            whole,
            open: false,
            ends: [None; 2],
            besides: Vec::new(),
        }
        .rounded())
    }

    fn about_setup(setup: &Setup, key: &str) -> Result<FreeSetting, StudyError> {
        let written = setup.written(key).or_else(|| follows(setup, key));
        let value = written.as_deref().map(SweepValue::new);
        let number = value.as_ref().and_then(|v| v.number.parse::<f64>().ok());
        let (Some(unit), Some(number)) = (value, number.filter(|n| *n > 0.0)) else {
            return Err(StudyError::NoRange {
                key: key.to_owned(),
                setup: setup.name().to_owned(),
            });
        };
        let half = (VALUES / 2) as i32;
        let step = REACH.powf(1.0 / f64::from(half));
        Ok(FreeSetting {
            key: key.to_owned(),
            numbers: (-half..=half).map(|k| number * step.powi(k)).collect(),
            // A number that is a count stays one.
            whole: unit.unit.is_empty() && whole(&[number]) && number >= 4.0,
            unit,
            log: true,
            open: true,
            ends: [None; 2],
            besides: Vec::new(),
        }
        .rounded())
    }

    /// A time that stands at `now_s` in the setup and may go from one of the bounds to the other:
    /// values by factors up to the longest, or to four times the present where nothing bounds it,
    /// and down to a sixteenth of that or a quarter of the present; and the times `besides` that
    /// lie between the bounds.
    pub(in crate::decide) fn of_time(
        key: &str,
        now_s: f64,
        bounds: [Option<Bound>; 2],
        besides: &[f64],
    ) -> FreeSetting {
        let longest_s = bounds[1].map_or(REACH * now_s, |bound| bound.at_s);
        let shortest_s = bounds[0].map_or(0.0, |bound| bound.at_s).min(longest_s);
        let [at_least, at_most] = DEPTHS.map(|depth| longest_s / depth);
        let from_s = shortest_s.max(at_least.min((now_s / REACH).max(at_most)));
        // The unit in which a person would write the longest.
        let unit = SweepValue::new(&quantity::format(longest_s, Dimension::Time));
        let unit_s = quantity::parse(&unit.with_number(1.0).text).map_or(1.0, |one| one.value);
        // What is just allowed stays so when it is written with three digits.
        let low = |seconds: f64| to_three_digits(seconds / unit_s, f64::ceil);
        let high = |seconds: f64| to_three_digits(seconds / unit_s, f64::floor);
        let (first, last) = (low(from_s), high(longest_s));
        let steps = VALUES - 1;
        let at = |k: usize| match k {
            0 => first,
            k if k == steps => last,
            k => first * (last / first).powf(k as f64 / steps as f64),
        };
        let end = |bound: Option<Bound>, round: &dyn Fn(f64) -> f64| {
            let end = |bound: Bound| End {
                number: round(bound.at_s),
                wall: bound.wall,
            };
            bound.map(end).filter(|end| end.number > 0.0)
        };
        let within = |seconds: &&f64| (shortest_s..=longest_s).contains(*seconds);
        FreeSetting {
            key: key.to_owned(),
            numbers: (0..=steps).map(at).collect(),
            ends: [end(bounds[0], &low), end(bounds[1], &high)],
            besides: besides.iter().filter(within).map(|s| s / unit_s).collect(),
            unit,
            log: true,
            whole: false,
            open: true,
        }
        .rounded()
    }

    /// Every other value, where nobody chose them: for searches over many settings.
    pub fn coarser(mut self) -> FreeSetting {
        if self.open {
            let even = self.numbers.iter().step_by(2).copied();
            let last = self.numbers.last().copied();
            self.numbers = even.chain(last).collect();
            self.numbers.dedup();
        }
        self
    }

    /// Where a value stands.
    pub fn edge(&self, value: &SweepValue) -> Edge {
        let Ok(number) = value.number.parse::<f64>() else {
            return Edge::Inside;
        };
        let same = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-6;
        let reached = |side: usize| self.ends[side].filter(|end| same(end.number, number));
        match (reached(0).or(reached(1)), self.numbers.as_slice()) {
            (Some(end), _) => Edge::At(end.wall),
            (None, [first, .., last]) if same(number, *first) || same(number, *last) => Edge::OfTried,
            _ => Edge::Inside,
        }
    }

    /// To three digits, or to whole numbers, each once.
    fn rounded(mut self) -> FreeSetting {
        for number in &mut self.numbers {
            *number = if self.whole {
                number.round()
            } else {
                quantity::significant(*number, 3)
            };
        }
        self.numbers.extend(&self.besides);
        self.numbers.sort_by(f64::total_cmp);
        self.numbers.dedup();
        self
    }

    /// The values as a setup says them.
    pub fn values(&self) -> Vec<SweepValue> {
        self.numbers.iter().map(|&n| self.unit.with_number(n)).collect()
    }

    /// Values a `share` of a step below and above `value`, and itself.
    pub(super) fn about(&self, value: &SweepValue, share: f64) -> Vec<SweepValue> {
        let Ok(number) = value.number.parse::<f64>() else {
            return vec![value.clone()];
        };
        let ends = [self.numbers[0], self.numbers[self.numbers.len() - 1]];
        let steps = (self.numbers.len() - 1) as f64;
        let at = |t: f64| match self.log {
            true => number * (ends[1] / ends[0]).powf(t / steps),
            false => number + (ends[1] - ends[0]) * t / steps,
        };
        let near = FreeSetting {
            numbers: vec![at(-share), number, at(share)],
            besides: Vec::new(),
            ..self.clone()
        };
        near.rounded()
            .numbers
            .into_iter()
            .filter(|n| (ends[0]..=ends[1]).contains(n))
            .map(|n| {
                if n == number {
                    value.clone()
                } else {
                    self.unit.with_number(n)
                }
            })
            .collect()
    }

    /// Steps of the grid from one value to another.
    pub fn steps(&self, from: &SweepValue, to: &SweepValue) -> f64 {
        let scaled = |number: f64| if self.log { number.ln() } else { number };
        let number = |v: &SweepValue| v.number.parse().map_or(f64::NAN, scaled);
        let [first, last] = [self.numbers[0], self.numbers[self.numbers.len() - 1]].map(scaled);
        (number(to) - number(from)) / (last - first) * (self.numbers.len() - 1) as f64
    }

    /// Adds values on the side where `value` stands at the border of a range that nobody chose;
    /// whether it did.
    pub(super) fn grow(&mut self, value: &SweepValue) -> bool {
        let Ok(number) = value.number.parse::<f64>() else {
            return false;
        };
        let ends = [self.numbers[0], self.numbers[self.numbers.len() - 1]];
        if !self.open || ends.iter().all(|e| *e != number) {
            return false;
        }
        let step = REACH.powf(1.0 / (VALUES / 2) as f64);
        let end = |side: usize, none: f64| self.ends[side].map_or(none, |end| end.number);
        let (least, most) = (end(0, 0.0), end(1, f64::INFINITY));
        let more = (1..=GROWTH).map(|k| match number == ends[0] {
            true => (number / step.powi(k)).max(least),
            false => (number * step.powi(k)).min(most),
        });
        let before = self.numbers.len();
        self.numbers.extend(more);
        self.numbers.sort_by(f64::total_cmp);
        self.numbers = self.clone().rounded().numbers;
        self.numbers.len() > before
    }
}

/// Factors for ranges of more than four above zero, even steps for others.
fn scale(ends: &str) -> &'static str {
    let number = |text: &str| {
        motefield_rig::quantity::parse(text)
            .map(|q| q.value)
            .or_else(|_| text.trim().parse())
            .ok()
    };
    match ends.split_once("..").map(|(a, b)| (number(a), number(b))) {
        Some((Some(a), Some(b))) if a > 0.0 && b / a > 4.0 => "log",
        _ => "lin",
    }
}

fn whole(numbers: &[f64]) -> bool {
    numbers.iter().all(|n| n.fract() == 0.0)
}

#[cfg(test)]
mod tests {
    use motefield_rig::setup::{EMBEDDED, Value};

    use super::*;

    /// A separation that follows from the displacement wanted starts its range as a written one
    /// does, and the other way round.
    #[test]
    fn a_range_starts_from_what_follows_from_other_keys() {
        let written = Setup::from_text::<&str>("rig", EMBEDDED, &[]).unwrap();
        let px = plan(&written).unwrap().rig.speeds.fastest_px.to_string();
        let wanted = written
            .with("timing.displacement", Value::parse(&format!("{px} px")))
            .unwrap();
        let middle = |setup: &Setup, key: &str| {
            let axis = FreeSetting::new(setup, key, None).unwrap();
            axis.values()[VALUES / 2].text.clone()
        };
        assert_eq!(
            middle(&written, "timing.separation"),
            middle(&wanted, "timing.separation")
        );
        assert_eq!(
            middle(&written, "timing.displacement"),
            middle(&wanted, "timing.displacement")
        );
    }
}
