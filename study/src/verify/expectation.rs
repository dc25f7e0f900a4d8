//! What a case expects, and how what was measured is held against it.

use serde::Deserialize;
use toml::Value;

use super::case::{Case, Kind};
use super::formula::Formula;

/// `[[expect]]` as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Raw {
    pub name: String,
    quantity: String,
    of: Option<OneOrMore>,
    relative_to: Option<Value>,
    at: Option<Value>,
    over: Option<[f64; 2]>,
    equals: Option<Number>,
    at_most: Option<Number>,
    at_least: Option<Number>,
    ascending: Option<Vec<Value>>,
    by: Option<f64>,
    lowest_in: Option<[f64; 2]>,
    highest_in: Option<[f64; 2]>,
    slope: Option<f64>,
    axes: Option<Axes>,
    tolerance: Option<Tolerance>,
    reason: String,
    kind: Option<Kind>,
    known_disagreement: Option<String>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum OneOrMore {
    One(String),
    More(Vec<String>),
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Number {
    Plain(f64),
    Formula(String),
}

impl Number {
    fn formula(&self) -> Result<Formula, String> {
        match self {
            Number::Plain(value) => Formula::parse(&format!("{value:?}")),
            Number::Formula(text) => Formula::parse(text),
        }
    }
}

/// How far a figure may be from what is expected: the larger of the two.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tolerance {
    /// In the quantity's own unit.
    #[serde(default)]
    pub absolute: f64,
    /// Over the expected value.
    #[serde(default)]
    pub relative: f64,
}

impl Tolerance {
    /// In the quantity's own unit.
    pub fn of(&self, expected: f64) -> f64 {
        self.absolute.max(self.relative * expected.abs())
    }
}

/// Which logarithms a slope is taken of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Axes {
    /// None.
    Linear,
    /// Of both: an exponent.
    LogLog,
}

/// What is expected.
#[derive(Debug, Clone)]
pub enum Check {
    /// A value at each place.
    Equals(Formula, Tolerance),
    /// No more than a value at each place.
    AtMost(Formula),
    /// No less than a value at each place.
    AtLeast(Formula),
    /// Rising from one of these places to the next, each at least by the factor.
    Places(Vec<usize>, f64),
    /// Rising from one of these curves to the next at each place, each at least by the factor.
    Variants(Vec<usize>, f64),
    /// The lowest lies at a place in this range.
    Lowest([f64; 2]),
    /// The highest lies at a place in this range.
    Highest([f64; 2]),
    /// The slope of the line fitted through the places.
    Slope(f64, Axes, Tolerance),
}

/// What figures are taken relative to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reference {
    /// Those of this curve at the same place.
    Variant(usize),
    /// That at this place of the same curve.
    Place(usize),
}

/// An expectation of a case, checked against the case's curves and places.
#[derive(Debug, Clone)]
pub struct Expectation {
    /// What it is called.
    pub name: String,
    /// Which figure of the measure.
    pub quantity: String,
    /// What the figure is divided by.
    pub relative_to: Option<Reference>,
    /// Curves it holds for.
    pub variants: Vec<usize>,
    /// Places it holds for.
    pub places: Vec<usize>,
    /// What is expected.
    pub check: Check,
    /// Why the tolerance is what it is.
    pub reason: String,
    /// Where it comes from.
    pub kind: Kind,
    /// Where the program is known not to agree: why.
    pub known_disagreement: Option<String>,
}

impl Expectation {
    pub(super) fn read(case: &Case, raw: Raw) -> Result<Expectation, String> {
        if !case.measure.figures.contains(&raw.quantity.as_str()) {
            return Err(format!(
                "quantity = \"{}\" is no figure of measure = \"{}\", which gives: {}",
                raw.quantity,
                case.measure.name,
                case.measure.figures.join(", ")
            ));
        }
        if raw.reason.trim().is_empty() {
            return Err("its reason is empty: say why the tolerance is what it is".into());
        }
        let curve = |name: &String| {
            let names: Vec<&str> = case.variants.iter().map(|v| v.name.as_str()).collect();
            case.variant(name)
                .ok_or_else(|| format!("there is no variant \"{name}\", but: {}", names.join(", ")))
        };
        let place = |value: &Value| {
            let all: Vec<&str> = case.places.iter().map(|p| p.text.as_str()).collect();
            case.place(value)
                .ok_or_else(|| format!("{value} is not among the values swept: {}", all.join(", ")))
        };
        let variants = match &raw.of {
            None => (0..case.variants.len()).collect(),
            Some(OneOrMore::One(name)) => vec![curve(name)?],
            Some(OneOrMore::More(names)) => names.iter().map(curve).collect::<Result<_, _>>()?,
        };
        let places = match (&raw.at, raw.over) {
            (Some(_), Some(_)) => return Err("give `at` or `over`, not both".into()),
            (Some(Value::Array(values)), None) => values.iter().map(place).collect::<Result<_, _>>()?,
            (Some(value), None) => vec![place(value)?],
            (None, Some([low, high])) => (0..case.places.len())
                .filter(|&k| (low..=high).contains(&case.places[k].x))
                .collect(),
            (None, None) => (0..case.places.len()).collect::<Vec<_>>(),
        };
        if places.is_empty() {
            return Err("`over` holds none of the values swept".into());
        }
        let relative_to = match &raw.relative_to {
            None => None,
            Some(Value::String(name)) if case.variant(name).is_some() => {
                case.variant(name).map(Reference::Variant)
            }
            Some(value) => Some(Reference::Place(place(value)?)),
        };
        let tolerance = || {
            raw.tolerance
                .filter(|t| t.absolute > 0.0 || t.relative > 0.0)
                .ok_or_else(|| {
                    "lacks its tolerance, such as tolerance = { relative = 0.07, absolute = 0.002 }"
                        .to_owned()
                })
        };
        let checks = [
            raw.equals.is_some(),
            raw.at_most.is_some(),
            raw.at_least.is_some(),
            raw.ascending.is_some(),
            raw.lowest_in.is_some(),
            raw.highest_in.is_some(),
            raw.slope.is_some(),
        ];
        if checks.iter().filter(|c| **c).count() != 1 {
            return Err(
                "give one of equals, at_most, at_least, ascending, lowest_in, highest_in, slope".into(),
            );
        }
        let check = if let Some(number) = &raw.equals {
            Check::Equals(number.formula()?, tolerance()?)
        } else if let Some(number) = &raw.at_most {
            Check::AtMost(number.formula()?)
        } else if let Some(number) = &raw.at_least {
            Check::AtLeast(number.formula()?)
        } else if let Some(values) = &raw.ascending {
            let by = raw.by.unwrap_or(1.0);
            if values.len() < 2 || by.is_nan() || by < 1.0 {
                return Err("`ascending` needs two or more entries, and `by` a factor of at least 1".into());
            }
            let names: Option<Vec<usize>> = values
                .iter()
                .map(|v| v.as_str().and_then(|name| case.variant(name)))
                .collect();
            match names {
                Some(names) => Check::Variants(names, by),
                None => Check::Places(values.iter().map(place).collect::<Result<_, _>>()?, by),
            }
        } else if let Some(range) = raw.lowest_in {
            Check::Lowest(range)
        } else if let Some(range) = raw.highest_in {
            Check::Highest(range)
        } else {
            let axes = raw.axes.ok_or("a slope needs axes = \"linear\" or \"log-log\"")?;
            Check::Slope(raw.slope.unwrap_or(f64::NAN), axes, tolerance()?)
        };
        let takes_tolerance = matches!(check, Check::Equals(..) | Check::Slope(..));
        if raw.tolerance.is_some() && !takes_tolerance {
            return Err("only `equals` and `slope` take a tolerance".into());
        }
        let expectation = Expectation {
            name: raw.name,
            quantity: raw.quantity,
            relative_to,
            variants,
            places,
            check,
            reason: raw.reason,
            kind: raw.kind.unwrap_or(case.source.kind),
            known_disagreement: raw.known_disagreement,
        };
        expectation.check_formula(case)?;
        Ok(expectation)
    }

    /// The formula has a value wherever it is asked for one.
    fn check_formula(&self, case: &Case) -> Result<(), String> {
        let (Check::Equals(formula, _) | Check::AtMost(formula) | Check::AtLeast(formula)) = &self.check
        else {
            return Ok(());
        };
        for &variant in &self.variants {
            for &place in &self.places {
                formula.at(case.places[place].x, &case.variants[variant].constants)?;
            }
        }
        Ok(())
    }

    /// The word for what is expected.
    pub fn word(&self) -> &'static str {
        match &self.check {
            Check::Equals(..) if self.places.len() == 1 => "value",
            Check::Equals(..) => "formula",
            Check::AtMost(_) | Check::AtLeast(_) => "bound",
            Check::Places(..) | Check::Variants(..) => "ordering",
            Check::Lowest(_) | Check::Highest(_) => "optimum",
            Check::Slope(..) => "slope",
        }
    }

    /// How many statements about chance it makes, each of which may raise a false alarm.
    pub fn statements(&self) -> usize {
        let (variants, places) = (self.variants.len(), self.places.len());
        match &self.check {
            Check::Equals(..) | Check::AtMost(_) | Check::AtLeast(_) => variants * places,
            Check::Places(order, _) => variants * (order.len() - 1),
            Check::Variants(order, _) => places * (order.len() - 1),
            // One for each place outside the range, which may seem to beat the true optimum.
            Check::Lowest(_) | Check::Highest(_) => variants * (places - 1),
            Check::Slope(..) => variants,
        }
    }
}
