//! A setup text, flattened: every value under its key, with its place in the text.
//!
//! `[light] power = "4 W"` is the value of `light.power`, the first entry of `displacement = […]`
//! under `[flow]` that of `flow.displacement[0]`.

mod edit;
mod fields;
mod parts;
mod stated;
mod usual;

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use toml::de::{DeTable, DeValue};

pub(super) use fields::FLOW;
pub use usual::names as usual_parts;

use super::error::{Fault, Place, SetupError, SourceText};
use crate::keys;
use crate::quantity::Quantity;

/// Largest text of a setup, bytes; the longest in use hold some ten thousand.
const LARGEST_BYTES: usize = 1_000_000;

/// A value as it stands in a setup.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A text in quotes, which may be a quantity with its unit.
    Text(String),
    /// A plain number.
    Number(f64),
    /// `true` or `false`.
    Switch(bool),
    /// A quantity in SI, as a study sets it.
    Quantity(Quantity),
    /// A list.
    List(Vec<Value>),
    /// A table of a list of tables, such as a pass: its keys with their values.
    Table(Vec<(String, Value)>),
}

impl Value {
    /// Reads a value as a person gives it for a key: TOML, or a word or quantity without quotes.
    pub fn parse(text: &str) -> Value {
        let text = text.trim();
        let document = format!("v = {text}");
        let parsed = DeTable::parse(&document).ok();
        let value = parsed.as_ref().and_then(|table| table.get_ref().get("v"));
        let number = || text.parse().ok().map(Value::Number);
        value
            .and_then(|value| Value::of_toml(value.get_ref()))
            .or_else(number)
            .unwrap_or_else(|| Value::Text(text.trim_matches('"').to_owned()))
    }

    fn of_toml(value: &DeValue) -> Option<Value> {
        Some(match value {
            DeValue::Array(array) => {
                let entries = array.iter().map(|item| Value::of_toml(item.get_ref()));
                Value::List(entries.collect::<Option<_>>()?)
            }
            DeValue::Table(table) => {
                let entries = table
                    .iter()
                    .map(|(key, value)| Some((key.get_ref().to_string(), Value::of_toml(value.get_ref())?)));
                Value::Table(entries.collect::<Option<_>>()?)
            }
            other => match plain(other)? {
                Plain::Text(text) => Value::Text(text),
                Plain::Number(number) => Value::Number(number),
                Plain::Switch(on) => Value::Switch(on),
            },
        })
    }
}

impl Value {
    /// As a person would give it within a list or a table.
    fn within(&self) -> String {
        match self {
            Value::Text(text) => format!("\"{text}\""),
            other => other.to_string(),
        }
    }
}

impl std::fmt::Display for Value {
    /// As a person would give it for a key.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Value::Text(text) => f.write_str(text),
            Value::Number(number) => write!(f, "{number}"),
            Value::Switch(on) => write!(f, "{on}"),
            Value::Quantity(quantity) => f.write_str(&quantity.exact()),
            Value::List(entries) => {
                let entries: Vec<String> = entries.iter().map(Value::within).collect();
                write!(f, "[{}]", entries.join(", "))
            }
            Value::Table(entries) => {
                let entries: Vec<String> = entries
                    .iter()
                    .map(|(key, value)| format!("{key} = {}", value.within()))
                    .collect();
                write!(f, "{{ {} }}", entries.join(", "))
            }
        }
    }
}

/// A value without parts.
#[derive(Debug, Clone, PartialEq)]
enum Plain {
    Text(String),
    Number(f64),
    Switch(bool),
}

fn plain(value: &DeValue) -> Option<Plain> {
    let number = |digits: &str| digits.replace('_', "").parse::<f64>().ok();
    match value {
        DeValue::String(text) => Some(Plain::Text(text.to_string())),
        DeValue::Integer(digits) => number(digits.as_str()).map(Plain::Number),
        DeValue::Float(digits) => number(digits.as_str()).map(Plain::Number),
        DeValue::Boolean(on) => Some(Plain::Switch(*on)),
        DeValue::Array(_) | DeValue::Table(_) | DeValue::Datetime(_) => None,
    }
}

/// A value of the flattened text.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Leaf {
    Text(String),
    Number(f64),
    Switch(bool),
    Quantity(Quantity),
    /// A list and its number of entries, which stand under keys of their own.
    List(usize),
    /// A section or a table in a list.
    Section,
}

/// Where a value comes from: a place in a text, or a change made to it.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Origin {
    Text(Place),
    Change,
}

/// A setup text, the parts that it includes, and the changes to it.
#[derive(Debug, Clone)]
pub struct Document {
    /// The setup itself, then its parts.
    sources: Vec<SourceText>,
    values: BTreeMap<String, (Origin, Leaf)>,
    changed: Vec<(String, Value)>,
    /// Of values with a tolerance, `"2.5 W +- 20 %"`, what stands behind the sign.
    tolerances: BTreeMap<String, String>,
}

impl Document {
    /// Flattens a text, called `name` in messages.
    ///
    /// # Errors
    /// When it is not TOML, or holds values of kinds that no setup has (dates).
    pub fn parse(name: &str, text: &str) -> Result<Document, SetupError> {
        let mut document = Document {
            sources: vec![SourceText {
                name: name.into(),
                text: text.into(),
            }],
            values: BTreeMap::new(),
            changed: Vec::new(),
            tolerances: BTreeMap::new(),
        };
        if text.len() > LARGEST_BYTES {
            let message = format!(
                "holds {} bytes, but no setup needs more than {LARGEST_BYTES}: give the setup itself, and files that it names",
                text.len()
            );
            return Err(document.error(Fault { place: None, message }));
        }
        let table = match DeTable::parse(text) {
            Ok(table) => table,
            Err(e) => {
                let message = format!("not valid TOML: {}", e.message());
                let place = e.span().map(|span| Place { source: 0, span });
                return Err(document.error(Fault { place, message }));
            }
        };
        let mut faults = Vec::new();
        document.table("", table.get_ref(), &mut faults);
        match faults.is_empty() {
            true => Ok(document),
            false => Err(document.errors(faults)),
        }
    }

    fn table(&mut self, prefix: &str, table: &DeTable, faults: &mut Vec<Fault>) {
        for (key, value) in table {
            let path = match prefix {
                "" => key.get_ref().to_string(),
                _ => format!("{prefix}.{}", key.get_ref()),
            };
            self.leaf(path, key.span(), value.span(), value.get_ref(), faults);
        }
    }

    fn leaf(
        &mut self,
        path: String,
        key: Range<usize>,
        span: Range<usize>,
        value: &DeValue,
        faults: &mut Vec<Fault>,
    ) {
        let (span, leaf) = match value {
            DeValue::Array(array) => {
                for (k, item) in array.iter().enumerate() {
                    let entry = format!("{path}[{k}]");
                    self.leaf(entry, item.span(), item.span(), item.get_ref(), faults);
                }
                (span, Leaf::List(array.len()))
            }
            DeValue::Table(table) => {
                self.table(&path, table, faults);
                (key, Leaf::Section)
            }
            other => match plain(other) {
                Some(Plain::Text(text)) => (span, self.text_leaf(&path, text)),
                Some(Plain::Number(number)) => (span, Leaf::Number(number)),
                Some(Plain::Switch(on)) => (span, Leaf::Switch(on)),
                None => {
                    let place = Place {
                        source: 0,
                        span: span.clone(),
                    };
                    faults.push(Fault {
                        place: Some(place),
                        message: format!(
                            "{path} is a date or a number in an unusual base, which no setup needs"
                        ),
                    });
                    (span, Leaf::Section)
                }
            },
        };
        let origin = Origin::Text(Place { source: 0, span });
        self.values.insert(path, (origin, leaf));
    }

    /// A text, or the value before a tolerance, which is kept.
    fn text_leaf(&mut self, path: &str, text: String) -> Leaf {
        let Some((value, tolerance)) = stated::parts(path, &text) else {
            return Leaf::Text(text);
        };
        self.tolerances.insert(path.to_owned(), tolerance.to_owned());
        match value.parse() {
            Ok(number) => Leaf::Number(number),
            Err(_) => Leaf::Text(value.to_owned()),
        }
    }

    /// The paths of values with a tolerance, and what stands behind the sign.
    pub(super) fn tolerances(&self) -> &BTreeMap<String, String> {
        &self.tolerances
    }

    /// The same with another value under `path`, which may be an entry of a list.
    pub fn with(&self, path: &str, value: Value) -> Document {
        let mut document = self.clone();
        if keys::field_of(path).is_some_and(|(k, _)| k > 0) {
            document.as_list_of_fields();
        }
        let given = document.as_given(path);
        document.remove(&given);
        document.put(given, &value);
        document.changed.push((path.to_owned(), value));
        document
    }

    /// Where the flow is a single table, makes it the first of a list of fields that add.
    fn as_list_of_fields(&mut self) {
        if self.get(FLOW) != Some(&Leaf::Section) {
            return;
        }
        let moved = |path: &str| {
            let name = keys::flow::SECTION.name_in(path)?;
            Some(format!("{FLOW}[0].{name}"))
        };
        let to_list = |(path, kept): (String, (Origin, Leaf))| (moved(&path).unwrap_or(path), kept);
        self.values = std::mem::take(&mut self.values)
            .into_iter()
            .map(to_list)
            .collect();
        let tolerances = std::mem::take(&mut self.tolerances).into_iter();
        self.tolerances = tolerances
            .map(|(path, stated)| (moved(&path).unwrap_or(path), stated))
            .collect();
        if let Some((origin, leaf)) = self.values.get_mut(FLOW) {
            *leaf = Leaf::List(1);
            let first = (origin.clone(), Leaf::Section);
            self.values.insert(format!("{FLOW}[0]"), first);
        }
    }

    /// The path with its key under the name by which the text gives it.
    fn as_given(&self, path: &str) -> String {
        if let (Some((0, name)), Some(Leaf::Section)) = (keys::field_of(path), self.get(FLOW)) {
            return format!("flow.{name}");
        }
        let whole = keys::whole(path);
        let key = keys::all().find(|key| key.names().any(|name| name == whole));
        let given = key.and_then(|key| key.names().find(|name| self.has(name)));
        given.map_or(path.to_owned(), |name| path.replacen(whole, name, 1))
    }

    fn put(&mut self, path: String, value: &Value) {
        let leaf = match value {
            Value::Text(text) => self.text_leaf(&path, text.clone()),
            Value::Number(number) => Leaf::Number(*number),
            Value::Switch(on) => Leaf::Switch(*on),
            Value::Quantity(quantity) => Leaf::Quantity(*quantity),
            Value::List(entries) => {
                for (k, entry) in entries.iter().enumerate() {
                    self.put(format!("{path}[{k}]"), entry);
                }
                Leaf::List(entries.len())
            }
            Value::Table(entries) => {
                for (key, value) in entries {
                    self.put(format!("{path}.{key}"), value);
                }
                Leaf::Section
            }
        };
        self.values.insert(path, (Origin::Change, leaf));
    }

    /// Takes a value away with all its parts.
    fn remove(&mut self, path: &str) {
        let (list, table) = (format!("{path}["), format!("{path}."));
        let parts: Vec<String> = [&list, &table]
            .into_iter()
            .flat_map(|start| {
                let below = self.values.range(start.clone()..);
                below
                    .map(|(key, _)| key.clone())
                    .take_while(move |key| key.starts_with(start))
            })
            .collect();
        for key in parts.iter().map(String::as_str).chain([path]) {
            self.values.remove(key);
            self.tolerances.remove(key);
        }
    }

    /// The text as it was read, without its changes but for those of keys that `keep` says.
    pub(crate) fn as_read(&self, keep: impl Fn(&str) -> bool) -> Result<Document, SetupError> {
        let kept = self.changed.iter().filter(|(path, _)| keep(path));
        let plain = Document::parse(self.name(), self.text())?;
        Ok(kept.fold(plain, |document, (path, value)| {
            document.with(path, value.clone())
        }))
    }

    /// What the setup is called.
    pub fn name(&self) -> &str {
        &self.sources[0].name
    }

    /// The setup's own text.
    pub fn text(&self) -> &str {
        &self.sources[0].text
    }

    /// The parts that were included.
    pub fn parts(&self) -> &[SourceText] {
        &self.sources[1..]
    }

    /// The folder of the file in which a value stands; none of one that was changed.
    pub(super) fn folder(&self, path: &str) -> Option<&Path> {
        match self.values.get(path)? {
            (Origin::Text(place), _) => Path::new(&*self.sources[place.source].name).parent(),
            (Origin::Change, _) => None,
        }
    }

    /// What was changed, in order.
    pub fn changes(&self) -> &[(String, Value)] {
        &self.changed
    }

    pub(super) fn get(&self, path: &str) -> Option<&Leaf> {
        self.values.get(path).map(|(_, leaf)| leaf)
    }

    /// Whether the value was changed after the text was read.
    pub(super) fn is_changed(&self, path: &str) -> bool {
        matches!(self.values.get(path), Some((Origin::Change, _)))
    }

    /// Whether anything stands under the path, or below it.
    pub fn has(&self, path: &str) -> bool {
        self.values.contains_key(path)
    }

    /// Whether a value stands under a path that begins so.
    pub(super) fn any_below(&self, start: &str) -> bool {
        let mut below = self.values.range(start.to_owned()..);
        below.next().is_some_and(|(key, _)| key.starts_with(start))
    }

    /// Every path with what it holds.
    pub(super) fn leaves(&self) -> impl Iterator<Item = (&str, &Leaf)> {
        self.values.iter().map(|(path, (_, leaf))| (path.as_str(), leaf))
    }

    /// What stands under a path as a setup would write it, lists too; `None` for sections and lists
    /// of tables.
    pub fn written(&self, path: &str) -> Option<String> {
        Some(match self.get(path)? {
            Leaf::Text(text) => text.clone(),
            Leaf::Number(number) => number.to_string(),
            Leaf::Switch(on) => on.to_string(),
            Leaf::Quantity(quantity) => quantity.exact(),
            Leaf::List(count) => {
                let entry = |k| Some(Value::parse(&self.written(&format!("{path}[{k}]"))?));
                Value::List((0..*count).map(entry).collect::<Option<_>>()?).to_string()
            }
            Leaf::Section => return None,
        })
    }

    /// What was set under a path that was changed itself or with its list or table.
    fn changed_to(&self, path: &str) -> Option<String> {
        let whole = || self.changed.iter().rev().find(|(changed, _)| changed == path);
        self.written(path)
            .or_else(|| whole().map(|(_, value)| value.to_string()))
    }

    /// A fault of the value under `path`; `message` follows the path, as in "must be above 0".
    pub(super) fn fault(&self, path: &str, message: impl std::fmt::Display) -> Fault {
        let mut message = format!("{path} {message}");
        let mut place = None;
        // What is missing is shown where its list or section begins.
        let mut at = path;
        loop {
            match self.values.get(at) {
                Some((Origin::Text(there), _)) => place = Some(there.clone()),
                Some((Origin::Change, _)) if at == path => {
                    if let Some(value) = self.changed_to(path) {
                        message = format!("{message} (changed to {value})");
                    }
                }
                _ => {}
            }
            if place.is_some() || self.is_changed(at) {
                break;
            }
            match at.rfind(['.', '[']) {
                Some(end) => at = &at[..end],
                None => break,
            }
        }
        Fault { place, message }
    }

    pub(super) fn error(&self, fault: Fault) -> SetupError {
        self.errors(vec![fault])
    }

    pub(super) fn errors(&self, faults: Vec<Fault>) -> SetupError {
        let mut error = SetupError {
            sources: self.sources.clone(),
            faults,
        };
        error.sort();
        error
    }

    /// The name under which the text has a key, where that is not its own.
    pub(super) fn other_name(&self, key: &keys::Key) -> Option<&'static str> {
        key.names().skip(1).find(|name| self.has(name))
    }
}
