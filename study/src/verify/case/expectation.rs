//! What a case expects of its figures.

use serde::Deserialize;
use toml::Value;

use super::{Case, SourceKind};
use crate::verify::formula::Formula;

/// `[[expect]]` as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawExpectation {
    pub name: String,
    quantity: String,
    of: Option<OneOrMore>,
    relative_to: Option<Value>,
    at: Option<Value>,
    over: Option<[f64; 2]>,
    equals: Option<Expected>,
    at_most: Option<Number>,
    at_least: Option<Number>,
    ascending: Option<Vec<Value>>,
    by: Option<f64>,
    lowest_in: Option<[f64; 2]>,
    highest_in: Option<[f64; 2]>,
    slope: Option<f64>,
    axes: Option<Axes>,
    tolerance: Option<AllowedDifference>,
    reason: String,
    kind: Option<SourceKind>,
    known_disagreement: Option<KnownDisagreement>,
}

/// What a figure is known to be where it is not as expected.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KnownDisagreement {
    /// What it is.
    pub value: f64,
    /// Where it must stay.
    pub interval: [f64; 2],
    /// Why the program does not agree.
    pub reason: String,
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

/// One number or formula for all places, or a number for each of them.
#[derive(Deserialize)]
#[serde(untagged)]
enum Expected {
    Each(Vec<f64>),
    All(Number),
}

impl Number {
    fn formula(&self) -> Result<Formula, String> {
        match self {
            Number::Plain(value) => Formula::parse(&format!("{value:?}")),
            Number::Formula(text) => Formula::parse(text),
        }
    }
}

/// How far a figure may be from what is expected: the largest of the limits given.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AllowedDifference {
    /// In the quantity's own unit.
    #[serde(default)]
    pub absolute: f64,
    /// Relative to the expected value.
    #[serde(default)]
    pub relative: f64,
    /// One unit in the last of so many significant digits, as a table prints them; 0 for none.
    #[serde(default)]
    pub digits: u8,
}

impl AllowedDifference {
    /// The limit for an expected value, in the quantity's own unit.
    pub fn of(&self, expected: f64) -> f64 {
        let limit = self.absolute.max(self.relative * expected.abs());
        if self.digits == 0 || expected == 0.0 {
            return limit;
        }
        let first = expected.abs().log10().floor() as i32;
        limit.max(10f64.powi(first + 1 - i32::from(self.digits)))
    }

    /// The range allowed about an expected value.
    pub fn about(&self, expected: f64) -> [f64; 2] {
        [expected - self.of(expected), expected + self.of(expected)]
    }
}

/// On which axes a slope is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Axes {
    /// The values as they are.
    Linear,
    /// The logarithms of both: the slope is an exponent.
    LogLog,
}

/// What is expected.
#[derive(Debug, Clone)]
pub enum Check {
    /// A value at each place.
    Equals(Formula, AllowedDifference),
    /// A value of its own at each of the places.
    Values(Vec<f64>, AllowedDifference),
    /// No more than a value at each place.
    AtMost(Formula),
    /// No less than a value at each place.
    AtLeast(Formula),
    /// Rising from each of these places to the next at least by the factor.
    Places(Vec<usize>, f64),
    /// Rising from each of these curves to the next, at every place, at least by the factor.
    Variants(Vec<usize>, f64),
    /// The lowest lies at a place in this range.
    Lowest([f64; 2]),
    /// The highest lies at a place in this range.
    Highest([f64; 2]),
    /// The slope of the line fitted through the places.
    Slope(f64, Axes, AllowedDifference),
}

/// What figures are divided by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RelativeTo {
    /// The figure of this curve at the same place.
    Variant(usize),
    /// The figure at this place of the same curve.
    Place(usize),
}

/// An expectation of a case, checked against the case's curves and places.
#[derive(Debug, Clone)]
pub struct Expectation {
    /// What it is called.
    pub name: String,
    /// Which figure of the measure.
    pub quantity: String,
    /// What the figure is divided by, if anything.
    pub relative_to: Option<RelativeTo>,
    /// Numbers of the curves it holds for.
    pub variants: Vec<usize>,
    /// Numbers of the places it holds for.
    pub places: Vec<usize>,
    /// What is expected.
    pub check: Check,
    /// Why the tolerance is what it is.
    pub reason: String,
    /// What kind of source it has.
    pub kind: SourceKind,
    /// What the figure is known to be where the program does not agree.
    pub known_disagreement: Option<KnownDisagreement>,
}

impl RawExpectation {
    /// The curves it holds for; all if it names none.
    fn variants(&self, case: &Case) -> Result<Vec<usize>, String> {
        let curve = |name: &String| {
            let names: Vec<&str> = case.variants.iter().map(|v| v.name.as_str()).collect();
            case.variant(name)
                .ok_or_else(|| format!("there is no variant \"{name}\", but: {}", names.join(", ")))
        };
        match &self.of {
            None => Ok((0..case.variants.len()).collect()),
            Some(OneOrMore::One(name)) => Ok(vec![curve(name)?]),
            Some(OneOrMore::More(names)) => names.iter().map(curve).collect(),
        }
    }

    /// The places it holds for; all if it names none.
    fn places(&self, case: &Case) -> Result<Vec<usize>, String> {
        let places = match (&self.at, self.over) {
            (Some(_), Some(_)) => return Err("give `at` or `over`, not both".into()),
            (Some(Value::Array(values)), None) => places(case, values)?,
            (Some(value), None) => vec![place(case, value)?],
            (None, Some([low, high])) => (0..case.places.len())
                .filter(|&k| (low..=high).contains(&case.places[k].x))
                .collect(),
            (None, None) => (0..case.places.len()).collect::<Vec<_>>(),
        };
        if places.is_empty() {
            return Err("`over` holds none of the values swept".into());
        }
        Ok(places)
    }

    fn relative_to(&self, case: &Case) -> Result<Option<RelativeTo>, String> {
        match &self.relative_to {
            None => Ok(None),
            Some(Value::String(name)) if case.variant(name).is_some() => {
                Ok(case.variant(name).map(RelativeTo::Variant))
            }
            Some(value) => Ok(Some(RelativeTo::Place(place(case, value)?))),
        }
    }

    fn tolerance(&self) -> Result<AllowedDifference, String> {
        self.tolerance
            .filter(|t| t.absolute > 0.0 || t.relative > 0.0 || t.digits > 0)
            .ok_or_else(|| {
                "lacks its tolerance, such as tolerance = { relative = 0.07, absolute = 0.002 }".to_owned()
            })
    }

    /// The one check that it asks for.
    fn check(&self, case: &Case) -> Result<Check, String> {
        let given = [
            self.equals.is_some(),
            self.at_most.is_some(),
            self.at_least.is_some(),
            self.ascending.is_some(),
            self.lowest_in.is_some(),
            self.highest_in.is_some(),
            self.slope.is_some(),
        ];
        if given.iter().filter(|c| **c).count() != 1 {
            return Err(
                "give one of equals, at_most, at_least, ascending, lowest_in, highest_in, slope".into(),
            );
        }
        let check = if let Some(expected) = &self.equals {
            match expected {
                Expected::All(number) => Check::Equals(number.formula()?, self.tolerance()?),
                Expected::Each(values) => self.values(case, values)?,
            }
        } else if let Some(number) = &self.at_most {
            Check::AtMost(number.formula()?)
        } else if let Some(number) = &self.at_least {
            Check::AtLeast(number.formula()?)
        } else if let Some(values) = &self.ascending {
            self.ordering(case, values)?
        } else if let Some(range) = self.lowest_in {
            Check::Lowest(range)
        } else if let Some(range) = self.highest_in {
            Check::Highest(range)
        } else {
            let axes = self
                .axes
                .ok_or("a slope needs axes = \"linear\" or \"log-log\"")?;
            Check::Slope(self.slope.unwrap_or(f64::NAN), axes, self.tolerance()?)
        };
        let takes_tolerance = matches!(check, Check::Equals(..) | Check::Values(..) | Check::Slope(..));
        if self.tolerance.is_some() && !takes_tolerance {
            return Err("only `equals` and `slope` take a tolerance".into());
        }
        Ok(check)
    }

    fn values(&self, case: &Case, values: &[f64]) -> Result<Check, String> {
        let places = self.places(case)?.len();
        if values.len() != places {
            return Err(format!(
                "`equals` lists {} numbers for {places} places: give one for each",
                values.len()
            ));
        }
        Ok(Check::Values(values.to_vec(), self.tolerance()?))
    }

    /// An ordering of curves where every entry is the name of one, of places otherwise.
    fn ordering(&self, case: &Case, values: &[Value]) -> Result<Check, String> {
        let by = self.by.unwrap_or(1.0);
        if values.len() < 2 || by.is_nan() || by < 1.0 {
            return Err("`ascending` needs two or more entries, and `by` a factor of at least 1".into());
        }
        let curves: Option<Vec<usize>> = values
            .iter()
            .map(|v| v.as_str().and_then(|name| case.variant(name)))
            .collect();
        match curves {
            Some(curves) => Ok(Check::Variants(curves, by)),
            None => Ok(Check::Places(places(case, values)?, by)),
        }
    }
}

/// The number of the place with this value.
fn place(case: &Case, value: &Value) -> Result<usize, String> {
    let all: Vec<&str> = case.places.iter().map(|p| p.text.as_str()).collect();
    case.place(value)
        .ok_or_else(|| format!("{value} is not among the values swept: {}", all.join(", ")))
}

fn places(case: &Case, values: &[Value]) -> Result<Vec<usize>, String> {
    values.iter().map(|value| place(case, value)).collect()
}

impl Expectation {
    pub(super) fn read(case: &Case, raw: RawExpectation) -> Result<Expectation, String> {
        if !case.measure.figures.contains(&raw.quantity.as_str()) {
            return Err(format!(
                "quantity = \"{}\" is not a figure of measure = \"{}\", which gives: {}",
                raw.quantity,
                case.measure.name,
                case.measure.figures.join(", ")
            ));
        }
        if raw.reason.trim().is_empty() {
            return Err("its reason is empty: say why the tolerance is what it is".into());
        }
        if let Some(known) = &raw.known_disagreement
            && !(known.interval[0]..=known.interval[1]).contains(&known.value)
        {
            return Err("the value of its known_disagreement lies outside the interval given with it".into());
        }
        let expectation = Expectation {
            variants: raw.variants(case)?,
            places: raw.places(case)?,
            relative_to: raw.relative_to(case)?,
            check: raw.check(case)?,
            name: raw.name,
            quantity: raw.quantity,
            reason: raw.reason,
            kind: raw.kind.unwrap_or(case.source.kind),
            known_disagreement: raw.known_disagreement,
        };
        expectation.check_formula(case)?;
        Ok(expectation)
    }

    /// Checks that the formula has a value at every place of every curve.
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

    /// The word for the check.
    pub fn word(&self) -> &'static str {
        match &self.check {
            Check::Equals(..) if self.places.len() == 1 => "value",
            Check::Values(..) => "value",
            Check::Equals(..) => "formula",
            Check::AtMost(_) | Check::AtLeast(_) => "bound",
            Check::Places(..) | Check::Variants(..) => "ordering",
            Check::Lowest(_) | Check::Highest(_) => "optimum",
            Check::Slope(..) => "slope",
        }
    }

    /// Number of statements about chance, each of which may raise a false alarm.
    pub fn statements(&self) -> usize {
        let (variants, places) = (self.variants.len(), self.places.len());
        match &self.check {
            Check::Equals(..) | Check::Values(..) | Check::AtMost(_) | Check::AtLeast(_) => variants * places,
            Check::Places(order, _) => variants * (order.len() - 1),
            Check::Variants(order, _) => places * (order.len() - 1),
            // Any other place may seem to beat the true optimum.
            Check::Lowest(_) | Check::Highest(_) => variants * (places - 1),
            Check::Slope(..) => variants,
        }
    }
}
