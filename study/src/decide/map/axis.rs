//! A setting set free: its key and the values tried.

use crate::StudyError;
use crate::vary::{SweepValue, Vary};
use motefield_rig::setup::Setup;

/// Values of an axis, unless the user says otherwise.
const VALUES: usize = 9;
/// By how much the range goes below and above the value in the setup.
const REACH: f64 = 4.0;
/// Values added where the best stands at the border.
const GROWTH: i32 = 3;

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
}

impl FreeSetting {
    /// The axis of `key`: over the range that `range` gives, as `FROM..TO`, `FROM..TO:log:N` or
    /// `FROM..TO:lin:N`; without one from a quarter to four times the value in the setup, and
    /// beyond if the best lies there.
    ///
    /// # Errors
    /// When the range cannot be read, or there is none and the setup has no number above zero under
    /// the key.
    pub fn new(setup: &Setup, key: &str, range: Option<&str>) -> Result<FreeSetting, StudyError> {
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
        }
        .rounded())
    }

    fn about_setup(setup: &Setup, key: &str) -> Result<FreeSetting, StudyError> {
        let written = setup.written(key);
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
        }
        .rounded())
    }

    /// To three digits, or to whole numbers, each once.
    fn rounded(mut self) -> FreeSetting {
        for number in &mut self.numbers {
            *number = if self.whole {
                number.round()
            } else {
                format!("{number:.2e}").parse().expect("a number written by Rust")
            };
        }
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
        let more = (1..=GROWTH).map(|k| match number == ends[0] {
            true => number / step.powi(k),
            false => number * step.powi(k),
        });
        self.numbers.extend(more);
        self.numbers.sort_by(f64::total_cmp);
        let grown = self.clone().rounded();
        let longer = grown.numbers.len() > self.numbers.len() - GROWTH as usize;
        self.numbers = grown.numbers;
        longer
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
