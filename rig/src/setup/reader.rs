//! Reads a TOML text key by key, remembering where each key stands and which were asked for.
//!
//! The text is flattened: `[light] power = "4 W"` is the key `light.power`, the first entry of `displacement = […]` is
//! `flow.displacement[0]`. What nobody asked for in the end is an unknown key, and an error.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::{Path, PathBuf};

use toml::de::{DeTable, DeValue};

use crate::quantity::{Dimension, Quantity, QuantityError, parse_as_any};

/// A setup that cannot be used: where, which key, what to do.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupError {
    place: String,
    message: String,
}

impl std::error::Error for SetupError {}

impl fmt::Display for SetupError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.message)
    }
}

#[derive(Debug, Clone, PartialEq)]
enum Value {
    Text(String),
    Number(f64),
    Switch(bool),
    List(usize),
    Section,
}

/// Where a key's value comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Origin {
    Line(usize),
    CommandLine,
}

/// A flattened setup text.
#[derive(Debug, Clone)]
pub struct Reader {
    name: String,
    values: BTreeMap<String, (Origin, Value)>,
    asked: RefCell<BTreeSet<String>>,
}

impl Reader {
    /// Reads `text`, called `name` in messages, with the values of `overrides` (key, value) in place of its own.
    ///
    /// # Errors
    /// When the text is not TOML, or a value is of a kind no setup has (a date).
    pub fn new(name: &str, text: &str, overrides: &[(String, String)]) -> Result<Reader, SetupError> {
        let mut reader = Reader {
            name: name.to_owned(),
            values: BTreeMap::new(),
            asked: RefCell::default(),
        };
        let table = DeTable::parse(text).map_err(|e| SetupError {
            place: match e.span() {
                Some(span) => format!("{name}, line {}", line(text, span.start)),
                None => name.to_owned(),
            },
            message: format!("not valid TOML: {}", e.message()),
        })?;
        reader.flatten("", table.get_ref(), text)?;
        for (key, value) in overrides {
            let value = match value.as_str() {
                "true" => Value::Switch(true),
                "false" => Value::Switch(false),
                text => text
                    .parse()
                    .map_or_else(|_| Value::Text(text.trim_matches('"').to_owned()), Value::Number),
            };
            reader.values.insert(key.clone(), (Origin::CommandLine, value));
        }
        Ok(reader)
    }

    fn flatten(&mut self, prefix: &str, table: &DeTable, text: &str) -> Result<(), SetupError> {
        for (key, value) in table {
            let path = if prefix.is_empty() {
                key.get_ref().to_string()
            } else {
                format!("{prefix}.{}", key.get_ref())
            };
            self.value(path, key.span().start, value.get_ref(), text)?;
        }
        Ok(())
    }

    fn value(&mut self, path: String, at: usize, value: &DeValue, text: &str) -> Result<(), SetupError> {
        let origin = Origin::Line(line(text, at));
        let number = |digits: &str| digits.replace('_', "").parse::<f64>().ok();
        let value = match value {
            DeValue::String(s) => Some(Value::Text(s.to_string())),
            DeValue::Integer(i) => number(i.as_str()).map(Value::Number),
            DeValue::Float(x) => number(x.as_str()).map(Value::Number),
            DeValue::Boolean(b) => Some(Value::Switch(*b)),
            DeValue::Array(array) => {
                for (k, item) in array.iter().enumerate() {
                    self.value(format!("{path}[{k}]"), item.span().start, item.get_ref(), text)?;
                }
                Some(Value::List(array.len()))
            }
            DeValue::Table(table) => {
                self.flatten(&path, table, text)?;
                Some(Value::Section)
            }
            DeValue::Datetime(_) => None,
        };
        match value {
            Some(value) => {
                self.values.insert(path, (origin, value));
                Ok(())
            }
            None => {
                self.values.insert(path.clone(), (origin, Value::Section));
                Err(self.error(
                    &path,
                    "is a date or a number in an unusual base, which no setup needs",
                ))
            }
        }
    }

    /// An error about `key`: `message` follows the key, as in "must be above 0".
    pub fn error(&self, key: &str, message: impl fmt::Display) -> SetupError {
        SetupError {
            place: self.place(key),
            message: format!("{key} {message}"),
        }
    }

    fn place(&self, key: &str) -> String {
        match self.values.get(key) {
            Some((Origin::Line(line), _)) => format!("{}, line {line}", self.name),
            Some((Origin::CommandLine, _)) => format!("{} with {key} from the command line", self.name),
            None => self.name.clone(),
        }
    }

    /// A number, quantity or word as it is written; `None` where the key is not given or holds more than one value.
    pub fn written(&self, key: &str) -> Option<String> {
        match &self.values.get(key)?.1 {
            Value::Text(text) => Some(text.clone()),
            Value::Number(number) => Some(number.to_string()),
            Value::Switch(on) => Some(on.to_string()),
            Value::List(_) | Value::Section => None,
        }
    }

    fn get(&self, key: &str) -> Option<&Value> {
        self.asked.borrow_mut().insert(key.to_owned());
        self.values.get(key).map(|(_, value)| value)
    }

    fn quantity_error(&self, key: &str, error: QuantityError) -> SetupError {
        SetupError {
            place: self.place(key),
            message: error.with_key(key).to_string(),
        }
    }

    /// Whether the key, or a section of that name, is there.
    pub fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Whether the key's value stands on the command line.
    pub fn from_command_line(&self, key: &str) -> bool {
        matches!(self.values.get(key), Some((Origin::CommandLine, _)))
    }

    /// A quantity of one of the dimensions, in SI.
    pub fn quantity(&self, key: &str, dimensions: &[Dimension]) -> Result<Option<Quantity>, SetupError> {
        match self.get(key) {
            None => Ok(None),
            Some(Value::Text(text)) => parse_as_any(text, dimensions)
                .map(Some)
                .map_err(|error| self.quantity_error(key, error)),
            Some(Value::Number(number)) => {
                Err(self.quantity_error(key, QuantityError::missing_unit(number.to_string(), dimensions)))
            }
            Some(_) => Err(self.error(
                key,
                format!(
                    "must be {} such as \"{}\"",
                    dimensions[0].name(),
                    dimensions[0].example()
                ),
            )),
        }
    }

    /// A quantity above zero.
    pub fn positive(&self, key: &str, dimension: Dimension) -> Result<Option<f64>, SetupError> {
        self.checked(key, dimension, |v| v > 0.0, "must be above 0")
    }

    /// A quantity of at least zero.
    pub fn not_negative(&self, key: &str, dimension: Dimension) -> Result<Option<f64>, SetupError> {
        self.checked(key, dimension, |v| v >= 0.0, "must not be negative")
    }

    fn checked(
        &self,
        key: &str,
        dimension: Dimension,
        good: fn(f64) -> bool,
        must: &str,
    ) -> Result<Option<f64>, SetupError> {
        match self.quantity(key, &[dimension])? {
            Some(q) if !good(q.value) => Err(self.error(
                key,
                format!("is {}, but {must}", crate::quantity::format(q.value, dimension)),
            )),
            found => Ok(found.map(|q| q.value)),
        }
    }

    /// A plain number.
    pub fn number(
        &self,
        key: &str,
        good: impl Fn(f64) -> bool,
        must: &str,
    ) -> Result<Option<f64>, SetupError> {
        match self.get(key) {
            None => Ok(None),
            Some(Value::Number(n)) if n.is_finite() && good(*n) => Ok(Some(*n)),
            Some(Value::Number(n)) => Err(self.error(key, format!("is {n}, but must be {must}"))),
            Some(Value::Text(text)) => {
                Err(self.error(key, format!("is \"{text}\", but must be a plain number: {must}")))
            }
            Some(_) => Err(self.error(key, format!("must be a plain number: {must}"))),
        }
    }

    /// A share of one: a number from 0 to 1, or a percentage.
    pub fn share(&self, key: &str) -> Result<Option<f64>, SetupError> {
        let must = "0 to 1, or \"0 %\" to \"100 %\"";
        let share = match self.get(key) {
            Some(Value::Text(text)) => Some(
                parse_as_any(text, &[Dimension::Fraction])
                    .map_err(|error| self.quantity_error(key, error))?
                    .value,
            ),
            _ => self.number(key, |_| true, must)?,
        };
        match share {
            Some(s) if !(0.0..=1.0).contains(&s) => {
                Err(self.error(key, format!("is {s}, but must be {must}")))
            }
            share => Ok(share),
        }
    }

    /// A whole number.
    pub fn whole(&self, key: &str, low: usize, high: usize) -> Result<Option<usize>, SetupError> {
        let good = |n: f64| n.fract() == 0.0 && (low as f64..=high as f64).contains(&n);
        Ok(self
            .number(key, good, &format!("a whole number from {low} to {high}"))?
            .map(|n| n as usize))
    }

    /// A switch.
    pub fn switch(&self, key: &str) -> Result<Option<bool>, SetupError> {
        match self.get(key) {
            None => Ok(None),
            Some(Value::Switch(on)) => Ok(Some(*on)),
            Some(_) => Err(self.error(key, "must be true or false")),
        }
    }

    /// A word out of a list.
    pub fn word<T: Copy>(&self, key: &str, words: &[(&str, T)]) -> Result<Option<T>, SetupError> {
        let choices = || {
            words
                .iter()
                .map(|(word, _)| format!("\"{word}\""))
                .collect::<Vec<_>>()
                .join(", ")
        };
        match self.get(key) {
            None => Ok(None),
            Some(Value::Text(text)) => match words.iter().find(|(word, _)| word == text) {
                Some((_, value)) => Ok(Some(*value)),
                None => Err(self.error(key, format!("is \"{text}\", but must be one of {}", choices()))),
            },
            Some(_) => Err(self.error(key, format!("must be one of {}", choices()))),
        }
    }

    /// A text.
    pub fn text(&self, key: &str) -> Result<Option<&str>, SetupError> {
        match self.get(key) {
            None => Ok(None),
            Some(Value::Text(text)) => Ok(Some(text)),
            Some(_) => Err(self.error(key, "must be a text in quotes")),
        }
    }

    /// The path of a file: beside the setup file, or as the command line sees it when the key stands there.
    pub fn path(&self, key: &str) -> Result<Option<PathBuf>, SetupError> {
        let Some(text) = self.text(key)? else {
            return Ok(None);
        };
        let here = matches!(self.values.get(key), Some((Origin::CommandLine, _)));
        let folder = Path::new(&self.name).parent().filter(|_| !here);
        Ok(Some(folder.unwrap_or(Path::new("")).join(text)))
    }

    /// How many entries the list `key` has, which must be one of `lengths`.
    pub fn list(
        &self,
        key: &str,
        lengths: std::ops::RangeInclusive<usize>,
    ) -> Result<Option<usize>, SetupError> {
        // The command line changes a list entry by entry, and may name the first or one more.
        let there = |k: &usize| {
            let entry = format!("{key}[{k}]");
            let within = format!("{entry}.");
            let mut after = self.values.range(within.clone()..);
            self.values.contains_key(&entry)
                || after.next().is_some_and(|(name, _)| name.starts_with(&within))
        };
        let named = || (0..).take_while(there).count();
        match self.get(key) {
            None if named() == 0 => Ok(None),
            None => Ok(Some(named())),
            Some(Value::List(n)) if lengths.contains(n) => Ok(Some(named().clamp(*n, *lengths.end()))),
            Some(Value::List(n)) => Err(self.error(
                key,
                format!(
                    "has {n} entries, but must have {} to {}",
                    lengths.start(),
                    lengths.end()
                ),
            )),
            Some(_) => Err(self.error(
                key,
                format!(
                    "must be a list of {} to {} entries in square brackets",
                    lengths.start(),
                    lengths.end()
                ),
            )),
        }
    }

    /// Errors when the text has a key that was never asked for.
    pub fn finish(&self) -> Result<(), SetupError> {
        let asked = self.asked.borrow();
        let section = |key: &str| {
            asked
                .iter()
                .any(|a| a.starts_with(&format!("{key}.")) || a.starts_with(&format!("{key}[")))
        };
        let unknown = self.values.iter().find(|(key, (_, value))| {
            let parent = matches!(value, Value::Section | Value::List(_)) && section(key);
            !asked.contains(*key) && !parent
        });
        let Some((key, _)) = unknown else { return Ok(()) };
        let near = asked
            .iter()
            .map(|known| (strsim::damerau_levenshtein(key, known), known))
            .filter(|(distance, known)| *distance <= 1 + known.len().min(key.len()) / 4)
            .min();
        let hint = match near {
            Some((_, known)) => format!("did you mean {known}?"),
            None => "`motefield plan --keys` lists those there are".to_owned(),
        };
        Err(self.error(
            key,
            format!("is not a key of a setup in this combination; {hint}"),
        ))
    }
}

fn line(text: &str, at: usize) -> usize {
    1 + text.as_bytes().iter().take(at).filter(|b| **b == b'\n').count()
}
