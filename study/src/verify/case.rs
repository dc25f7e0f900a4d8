//! A case: reference figures of one source, and how to measure them, as a file
//! `cases/reference/NAME.toml`. docs/reference-figures.md says how to write one.

pub mod expectation;

use std::collections::BTreeMap;
use std::str::FromStr;

use serde::Deserialize;
use toml::{Table, Value};

use super::measure::{self, Measure};
use crate::StudyError;
use expectation::{Expectation, RawExpectation};

/// Where a figure comes from, the surest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// Read in the publication, or in two independent transcriptions that name its table, page or
    /// equation.
    Published,
    /// Read in one such transcription.
    Transcribed,
    /// Algebra from standard theory, shown in the case.
    Derived,
    /// Recalled, or quoted without table, page or equation; the case names the publication. To be
    /// confirmed.
    Memory,
    /// A rule of the trade without a source.
    CommonPractice,
    /// What this project asks of itself.
    OwnRequirement,
}

impl SourceKind {
    /// All kinds, the surest first.
    pub const ALL: [SourceKind; 6] = [
        SourceKind::Published,
        SourceKind::Transcribed,
        SourceKind::Derived,
        SourceKind::Memory,
        SourceKind::CommonPractice,
        SourceKind::OwnRequirement,
    ];

    /// The kind's name.
    pub fn as_str(self) -> &'static str {
        match self {
            SourceKind::Published => "published",
            SourceKind::Transcribed => "transcribed",
            SourceKind::Derived => "derived",
            SourceKind::Memory => "memory",
            SourceKind::CommonPractice => "common practice",
            SourceKind::OwnRequirement => "own requirement",
        }
    }
}

impl FromStr for SourceKind {
    type Err = String;

    /// From the kind's name, with a hyphen or a space between words.
    fn from_str(word: &str) -> Result<SourceKind, String> {
        let named = |kind: &SourceKind| kind.as_str() == word.replace('-', " ");
        SourceKind::ALL.into_iter().find(named).ok_or_else(|| {
            let names = SourceKind::ALL.map(|kind| kind.as_str().replace(' ', "-"));
            format!("there is no such kind, but: {}", names.join(", "))
        })
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
    /// What kind of source it is, unless an expectation says otherwise.
    pub kind: SourceKind,
    /// What is known to differ from the source's conditions.
    pub differs: String,
}

/// A curve of the case: what it changes in the setup or the arguments, and its own constants.
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

/// One value of the swept key, at which every curve is measured.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepPlace {
    /// The value as the case file writes it.
    pub text: String,
    /// The number in it, in its own unit; of a word, its position in the list from 0.
    pub x: f64,
    /// Whether it is a word.
    pub word: bool,
}

/// Pairs to render at each point.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PairCounts {
    /// In quick depth.
    pub quick: usize,
    /// In full depth.
    pub full: usize,
}

/// What an expectation was before, and why it is not any more.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Changed {
    /// The expectation.
    pub expectation: String,
    /// What was expected.
    pub was: String,
    /// What is expected now.
    pub now: String,
    /// Why it was changed.
    pub reason: String,
}

/// How the figure is drawn.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CaseFigure {
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
    /// The setup's text, each key on the line it has in the case file; none for measures without
    /// pictures.
    pub setup: Option<String>,
    /// What is varied, if anything: a key of the setup or an argument.
    pub key: Option<String>,
    /// The values swept; one without a name when nothing is varied.
    pub places: Vec<SweepPlace>,
    /// Its curves; at least one.
    pub variants: Vec<Variant>,
    /// Pairs rendered at each point.
    pub pairs: PairCounts,
    /// What is expected.
    pub expectations: Vec<Expectation>,
    /// How expectations changed, the oldest change first.
    pub changed: Vec<Changed>,
    /// How it is drawn.
    pub drawing: CaseFigure,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCase {
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
    pairs: Option<PairCounts>,
    #[serde(default)]
    figure: CaseFigure,
    expect: Vec<RawExpectation>,
    #[serde(default)]
    changed: Vec<Changed>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSweep {
    key: String,
    values: Vec<Value>,
}

impl Case {
    /// Whether it is about the errors of vectors at their places alone, which those of another
    /// program can be held to as well.
    pub fn is_of_vectors(&self) -> bool {
        let own = |name: &str| {
            ["window_", "bound_", "efficiency_"]
                .iter()
                .any(|part| name.starts_with(part))
        };
        self.measure.name == "study" && !self.expectations.iter().any(|e| own(&e.quantity))
    }

    /// Reads a case from the name and the text of its file.
    ///
    /// # Errors
    /// The first thing in it that cannot be used, and where it stands.
    ///
    /// # Examples
    /// ```
    /// use motefield_study::verify::case::{Case, SourceKind};
    ///
    /// let case = Case::read(
    ///     "range",
    ///     r#"
    ///     title = "Dynamic velocity range"
    ///     topic = "dynamic range"
    ///     measure = "dynamic range"
    ///     [source]
    ///     citation = "Largest displacement over random error"
    ///     kind = "derived"
    ///     differs = "Nothing."
    ///     [arguments]
    ///     field = "2000 px"
    ///     random_error = "0.125 px"
    ///     largest_displacement = "8 px"
    ///     [[expect]]
    ///     name = "64 at 8 px"
    ///     quantity = "velocity"
    ///     equals = 64
    ///     tolerance = { relative = 1e-9 }
    ///     reason = "A closed form."
    ///     "#,
    /// )
    /// .unwrap();
    /// assert_eq!(case.expectations[0].kind, SourceKind::Derived);
    /// ```
    pub fn read(name: &str, text: &str) -> Result<Case, StudyError> {
        let bad = |why: String| StudyError::request(format!("case {name}: {why}"));
        let raw: RawCase = toml::from_str(text).map_err(|e| bad(e.to_string()))?;
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
        let pairs = pair_counts(raw.pairs, measure).map_err(bad)?;
        let (key, places) = swept(raw.sweep).map_err(bad)?;
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
            changed: raw.changed,
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

    /// Checks that the measure knows every argument, and that keys of a setup are given only where
    /// there is one.
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
                    "{name} is not an argument of measure = \"{}\", which has: {}",
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

    /// The arguments and the changes to the setup, keys with their values, at a place of a curve.
    pub fn at(&self, variant: &Variant, place: &SweepPlace) -> (Table, Vec<(String, String)>) {
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

    /// The number of the place that a case file names by its value.
    pub fn place(&self, value: &Value) -> Option<usize> {
        let text = plain(value);
        self.places.iter().position(|p| {
            p.text == text
                || text
                    .parse::<f64>()
                    .is_ok_and(|x| !p.word && (x - p.x).abs() <= 1e-9 * x.abs())
        })
    }

    /// The number of the curve of this name.
    pub fn variant(&self, name: &str) -> Option<usize> {
        self.variants.iter().position(|v| v.name == name)
    }
}

impl SweepPlace {
    fn of((number, value): (usize, &Value)) -> SweepPlace {
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
        SweepPlace {
            x: end.unwrap_or(number as f64),
            word: end.is_none(),
            text,
        }
    }
}

/// The pairs at each point: required of a measure that depends on chance, and of no other.
fn pair_counts(given: Option<PairCounts>, measure: &Measure) -> Result<PairCounts, String> {
    match (given, measure.statistical) {
        (Some(pairs), true) if pairs.quick >= 2 && pairs.full >= pairs.quick => Ok(pairs),
        (Some(_), true) => Err("[pairs] needs quick of at least 2, and full of at least quick".into()),
        (None, true) => Err("lacks [pairs], such as quick = 8 and full = 64".into()),
        (None, false) => Ok(PairCounts { quick: 1, full: 1 }),
        (Some(_), false) => Err(format!(
            "measure = \"{}\" is exact and takes no [pairs]",
            measure.name
        )),
    }
}

/// The key that is varied and its values.
fn swept(sweep: Option<RawSweep>) -> Result<(Option<String>, Vec<SweepPlace>), String> {
    let Some(sweep) = sweep else {
        let only = SweepPlace {
            text: String::new(),
            x: 0.0,
            word: false,
        };
        return Ok((None, vec![only]));
    };
    if sweep.values.is_empty() {
        return Err(format!("[sweep] {}: there are no values", sweep.key));
    }
    let places = sweep.values.iter().enumerate().map(SweepPlace::of).collect();
    Ok((Some(sweep.key), places))
}

/// A value as it stands in a setup file, without quotes.
fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// The `[setup.…]` tables as a setup file of their own, on the same lines, so that messages name
/// the right line.
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
