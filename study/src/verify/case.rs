//! A case: a published or derived figure as a file, `cases/published/NAME.toml`. docs/published-cases.md says how to write one.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::{Table, Value};

use super::expectation::Expectation;
use super::measure::{self, Measure};
use crate::StudyError;

/// Where a figure comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Read in the publication cited, or in a copy of its abstract.
    Published,
    /// Algebra from standard theory.
    Derived,
    /// Recalled, with the publication believed to hold it.
    Memory,
    /// A rule of the trade without a source.
    CommonPractice,
}

impl Kind {
    /// The kind's name.
    pub fn as_str(self) -> &'static str {
        match self {
            Kind::Published => "published",
            Kind::Derived => "derived",
            Kind::Memory => "memory",
            Kind::CommonPractice => "common practice",
        }
    }
}

/// `[source]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Citation {
    /// Authors, year, journal; or the theory.
    pub citation: String,
    /// Digital object identifier.
    pub doi: Option<String>,
    /// What kind of source it is.
    pub kind: Kind,
    /// What is known to differ from the source's conditions.
    pub differs: String,
}

/// A curve of the case: changes to the setup or to the arguments, and its own constants.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Variant {
    /// What it is called.
    pub name: String,
    /// Keys of the setup, or arguments, with their values.
    #[serde(default)]
    pub set: BTreeMap<String, Value>,
    /// Numbers for the formulas.
    #[serde(default)]
    pub constants: BTreeMap<String, f64>,
}

/// One place along the sweep.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// The value as the case file writes it.
    pub text: String,
    /// The number in it, in its own unit; the place in the list for words.
    pub x: f64,
    /// Whether it is a word.
    pub word: bool,
}

/// Pairs to render at each point.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pairs {
    /// In quick depth.
    pub quick: usize,
    /// In full depth.
    pub full: usize,
}

/// How the figure is drawn.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drawing {
    /// What is drawn; the first expectation's quantity if not given.
    pub quantity: Option<String>,
    /// Title of the x axis.
    pub x: Option<String>,
    /// Title of the y axis.
    pub y: Option<String>,
    /// Logarithmic axes: `"x"`, `"y"` or `"xy"`.
    #[serde(default)]
    pub log: String,
}

/// A case as it was read and checked.
#[derive(Debug, Clone)]
pub struct Case {
    /// The file's name without its ending.
    pub name: String,
    /// The file's text.
    pub text: String,
    /// What it is about, in a line.
    pub title: String,
    /// Which topic of the summary it belongs to.
    pub topic: String,
    /// Where its figures come from.
    pub source: Citation,
    /// What measures it.
    pub measure: &'static Measure,
    /// Arguments of the measure.
    pub arguments: Table,
    /// The setup's text, each key on its line of the case file; none for measures that need no pictures.
    pub setup: Option<String>,
    /// What is varied, if anything: a key of the setup or an argument.
    pub key: Option<String>,
    /// Where it is measured; one nameless place when nothing is varied.
    pub places: Vec<Place>,
    /// Its curves; at least one.
    pub variants: Vec<Variant>,
    /// Pairs rendered at each point.
    pub pairs: Pairs,
    /// What is expected.
    pub expectations: Vec<Expectation>,
    /// How it is drawn.
    pub drawing: Drawing,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    title: String,
    topic: String,
    measure: Option<String>,
    source: Citation,
    #[serde(default)]
    setup: Table,
    #[serde(default)]
    arguments: Table,
    sweep: Option<RawSweep>,
    #[serde(default)]
    constants: BTreeMap<String, f64>,
    #[serde(default)]
    variant: Vec<Variant>,
    pairs: Option<Pairs>,
    #[serde(default)]
    figure: Drawing,
    expect: Vec<super::expectation::Raw>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSweep {
    key: String,
    values: Vec<Value>,
}

impl Case {
    /// Reads a case.
    ///
    /// # Errors
    /// The first thing in it that cannot be used, with its place.
    pub fn read(name: &str, text: &str) -> Result<Case, StudyError> {
        let bad = |why: String| StudyError::request(format!("case {name}: {why}"));
        let raw: Raw = toml::from_str(text).map_err(|e| bad(e.to_string()))?;
        let word = raw.measure.as_deref().unwrap_or("study");
        let measure = measure::find(word).map_err(|e| bad(format!("measure = \"{word}\": {e}")))?;
        let setup = match raw.setup.is_empty() {
            true => None,
            false => Some(setup_text(text, &raw.setup).map_err(bad)?),
        };
        if measure.pictures != setup.is_some() {
            let verb = if measure.pictures { "needs" } else { "takes no" };
            return Err(bad(format!("measure = \"{word}\" {verb} [setup.…] tables")));
        }
        let pairs = match (raw.pairs, measure.statistical) {
            (Some(pairs), true) if pairs.quick >= 2 && pairs.full >= pairs.quick => pairs,
            (Some(_), true) => {
                return Err(bad(
                    "[pairs] needs quick of at least 2, and full of at least quick".into(),
                ));
            }
            (None, true) => return Err(bad("lacks [pairs], such as quick = 8 and full = 64".into())),
            (None, false) => Pairs { quick: 1, full: 1 },
            (Some(_), false) => {
                return Err(bad(format!("measure = \"{word}\" is exact and takes no [pairs]")));
            }
        };
        let (key, places) = match raw.sweep {
            Some(sweep) if sweep.values.is_empty() => {
                return Err(bad(format!("[sweep] {}: there are no values", sweep.key)));
            }
            Some(sweep) => (
                Some(sweep.key),
                sweep.values.iter().enumerate().map(Place::of).collect(),
            ),
            None => (
                None,
                vec![Place {
                    text: String::new(),
                    x: 0.0,
                    word: false,
                }],
            ),
        };
        let mut variants = raw.variant;
        if variants.is_empty() {
            variants.push(Variant::default());
        }
        for variant in &mut variants {
            for (name, value) in &raw.constants {
                variant.constants.entry(name.clone()).or_insert(*value);
            }
        }
        let mut case = Case {
            name: name.to_owned(),
            text: text.to_owned(),
            title: raw.title,
            topic: raw.topic,
            source: raw.source,
            measure,
            arguments: raw.arguments,
            setup,
            key,
            places,
            variants,
            pairs,
            expectations: Vec::new(),
            drawing: raw.figure,
        };
        case.check_names().map_err(bad)?;
        case.expectations = raw
            .expect
            .into_iter()
            .map(|e| {
                let label = e.name.clone();
                Expectation::read(&case, e).map_err(|why| bad(format!("expectation \"{label}\": {why}")))
            })
            .collect::<Result<_, _>>()?;
        if case.expectations.is_empty() {
            return Err(bad("expects nothing: add [[expect]]".into()));
        }
        Ok(case)
    }

    /// Arguments that the measure knows; keys of a setup only where there is one.
    fn check_names(&self) -> Result<(), String> {
        let varied = self
            .key
            .iter()
            .chain(self.variants.iter().flat_map(|v| v.set.keys()));
        let known = self.measure.arguments;
        for name in self.arguments.keys().chain(varied) {
            let of_setup = self.setup.is_some() && name.contains('.');
            if !of_setup && !known.contains(&name.as_str()) {
                return Err(format!(
                    "{name} is no argument of measure = \"{}\", which has: {}",
                    self.measure.name,
                    if known.is_empty() {
                        "none".to_owned()
                    } else {
                        known.join(", ")
                    }
                ));
            }
        }
        Ok(())
    }

    /// The arguments and the changes to the setup at a place of a curve.
    pub fn at(&self, variant: &Variant, place: &Place) -> (Table, Vec<(String, String)>) {
        let mut arguments = self.arguments.clone();
        let mut changes = Vec::new();
        let mut set = |name: &str, value: Value| {
            if name.contains('.') {
                changes.push((name.to_owned(), plain(&value)));
            } else {
                arguments.insert(name.to_owned(), value);
            }
        };
        for (name, value) in &variant.set {
            set(name, value.clone());
        }
        if let Some(key) = &self.key {
            set(key, Value::String(place.text.clone()));
        }
        (arguments, changes)
    }

    /// The place that a case file names by its value.
    pub fn place(&self, value: &Value) -> Option<usize> {
        let text = plain(value);
        self.places.iter().position(|p| {
            p.text == text
                || text
                    .parse::<f64>()
                    .is_ok_and(|x| !p.word && (x - p.x).abs() <= 1e-9 * x.abs())
        })
    }

    /// The curve of this name.
    pub fn variant(&self, name: &str) -> Option<usize> {
        self.variants.iter().position(|v| v.name == name)
    }
}

impl Place {
    fn of((number, value): (usize, &Value)) -> Place {
        let text = plain(value);
        let digits = text.strip_prefix("f/").unwrap_or(&text);
        let end = (0..=digits.len())
            .rev()
            .filter(|&k| digits.is_char_boundary(k))
            .find_map(|k| {
                digits[..k]
                    .trim_end()
                    .parse::<f64>()
                    .ok()
                    .filter(|x| x.is_finite())
            });
        Place {
            x: end.unwrap_or(number as f64),
            word: end.is_none(),
            text,
        }
    }
}

/// A value as it stands in a setup file, without quotes.
fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// The `[setup.…]` tables as a setup file of their own, on the same lines, so that messages name the right one.
fn setup_text(text: &str, expected: &Table) -> Result<String, String> {
    let mut inside = false;
    let mut lines = Vec::new();
    for line in text.lines() {
        let start = line.trim_start();
        let rest = start.strip_prefix("[setup.");
        if start.starts_with('[') && start.trim_end().ends_with(']') || rest.is_some() {
            inside = rest.is_some();
        }
        lines.push(match (inside, rest) {
            (true, Some(rest)) => format!("[{rest}"),
            (true, None) => line.to_owned(),
            (false, _) => String::new(),
        });
    }
    let found = lines.join("\n") + "\n";
    match found.parse::<Table>() {
        Ok(table) if table == *expected => Ok(found),
        _ => Err(
            "write the setup as tables [setup.image], [setup.flow] …, each heading alone on its line".into(),
        ),
    }
}
