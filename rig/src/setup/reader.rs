//! Reads a document key by key: what each key may hold comes from the key table, and every fault
//! is kept, so that all of them are reported together.

use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fmt;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use super::document::{Document, FLOW, Leaf};
use super::error::{Fault, SetupError};
use crate::keys::{self, Choice, Key, Kind};
use crate::quantity::{self, Dimension, Quantity, QuantityError, parse_as_any};

/// A key, or an entry of a list that a key describes.
#[derive(Debug, Clone)]
pub struct KeyAt {
    key: &'static Key,
    path: Cow<'static, str>,
}

impl From<&'static Key> for KeyAt {
    fn from(key: &'static Key) -> KeyAt {
        KeyAt {
            key,
            path: Cow::Borrowed(key.path),
        }
    }
}

impl Key {
    /// Entry `k` of a list that this key describes.
    pub fn entry(&'static self, k: usize) -> KeyAt {
        KeyAt::from(self).entry(k)
    }

    /// This key in table `k` of the list that holds it: `passes[].window` in `passes[2].window`.
    pub fn in_table(&'static self, k: usize) -> KeyAt {
        KeyAt {
            key: self,
            path: self.path.replacen("[]", &format!("[{k}]"), 1).into(),
        }
    }
}

impl KeyAt {
    /// Entry `k` of this list.
    pub fn entry(&self, k: usize) -> KeyAt {
        KeyAt {
            key: self.key,
            path: format!("{}[{k}]", self.path).into(),
        }
    }

    /// The key of one of several fields that add: `flow.seed` as `flow[1].seed`. Keys of other
    /// sections, and of a flow of one field, stay what they are.
    pub(crate) fn in_field(self, field: Option<usize>) -> KeyAt {
        match (field, keys::flow::SECTION.name_in(&self.path)) {
            (Some(k), Some(name)) => KeyAt {
                path: format!("{FLOW}[{k}].{name}").into(),
                ..self
            },
            _ => self,
        }
    }

    /// The key with its places in lists.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The same under the name by which a text has it.
    pub(super) fn written(&self, document: &Document) -> Cow<'static, str> {
        match document.other_name(self.key) {
            Some(name) if !document.has(self.key.path) => {
                Cow::Owned(self.path.replacen(self.key.path, name, 1))
            }
            _ => self.path.clone(),
        }
    }
}

impl fmt::Display for KeyAt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)
    }
}

/// A value that fits its key.
enum FittingValue {
    /// In SI, with its dimension where it has one.
    Number(f64, Option<Dimension>),
    Word(String),
    Switch(bool),
}

/// Reads one document.
pub(super) struct Reader<'a> {
    document: &'a Document,
    asked: Rc<RefCell<BTreeSet<String>>>,
    faults: Rc<RefCell<Vec<Fault>>>,
    /// Which of several fields that add it reads.
    field: Option<usize>,
}

impl<'a> Reader<'a> {
    pub(super) fn new(document: &'a Document) -> Reader<'a> {
        Reader {
            document,
            asked: Rc::default(),
            faults: Rc::default(),
            field: None,
        }
    }

    /// A reader of one of several fields that add: where it is asked for `flow.kind` it reads
    /// `flow[1].kind`. It keeps faults with this one.
    pub(super) fn in_field(&self, field: usize) -> Reader<'a> {
        Reader {
            document: self.document,
            asked: Rc::clone(&self.asked),
            faults: Rc::clone(&self.faults),
            field: Some(field),
        }
    }

    /// How many fields the flow adds, if it is a list of them.
    pub(super) fn fields(&self, most: usize) -> Option<usize> {
        let Some(Leaf::List(count)) = self.document.get(FLOW) else {
            return None;
        };
        let named = (0..most).take_while(|k| self.document.any_below(&format!("{FLOW}[{k}].")));
        let count = named.count().max(*count);
        self.asked.borrow_mut().insert(FLOW.to_owned());
        if !(1..=most).contains(&count) {
            self.fault_at(
                FLOW,
                format_args!("has {count} fields, but must have 1 to {most}"),
            );
        }
        for k in 0..count.min(most) {
            let path = format!("{FLOW}[{k}]");
            self.asked.borrow_mut().insert(path.clone());
            if self
                .document
                .get(&path)
                .is_some_and(|leaf| *leaf != Leaf::Section)
            {
                self.fault_at(&path, "must be a table such as { kind = \"turbulence\", … }");
            }
        }
        Some(count.min(most))
    }

    /// Keeps a fault; `message` follows the key, as in "must be above 0".
    pub(super) fn fault(&self, at: impl Into<KeyAt>, message: impl fmt::Display) {
        let fault = self.document.fault(self.written(&at.into()).as_ref(), message);
        self.faults.borrow_mut().push(fault);
    }

    /// The path under which the text has the key: its own, or another name of it.
    fn written(&self, at: &KeyAt) -> Cow<'static, str> {
        let at = at.clone().in_field(self.field);
        Cow::Owned(at.written(self.document).into_owned())
    }

    fn get(&self, at: &KeyAt) -> Option<&'a Leaf> {
        let path = self.written(at);
        let found = self.document.get(&path);
        self.asked.borrow_mut().insert(path.into_owned());
        found
    }

    /// The value under a key, if it is there and fits.
    fn fitting(&self, at: &KeyAt, kind: &Kind) -> Option<FittingValue> {
        let leaf = self.get(at)?;
        match fit(&at.clone().in_field(self.field), leaf, kind) {
            Ok(fitting) => Some(fitting),
            Err(message) => {
                let whole = message.starts_with('`');
                let mut fault = self.document.fault(&self.written(at), &message);
                if whole {
                    // The message of a quantity names its key itself.
                    fault.message = message;
                }
                self.faults.borrow_mut().push(fault);
                None
            }
        }
    }

    /// Whether the key, or a list or section of that name, is there.
    pub(super) fn has(&self, at: impl Into<KeyAt>) -> bool {
        self.get(&at.into()).is_some()
    }

    /// Whether the value was changed after the text was read.
    pub(super) fn is_changed(&self, key: &'static Key) -> bool {
        self.document.is_changed(key.path)
    }

    /// A quantity with the dimension in which it is written, in SI.
    pub(super) fn quantity(&self, at: impl Into<KeyAt>) -> Option<Quantity> {
        let at = at.into();
        match self.fitting(&at, part(&at))? {
            FittingValue::Number(value, Some(dimension)) => Some(Quantity { value, dimension }),
            _ => None,
        }
    }

    /// A quantity with the dimension in which it is written, in SI, or a plain number.
    pub(super) fn measured(&self, at: impl Into<KeyAt>) -> Option<(f64, Option<Dimension>)> {
        let at = at.into();
        match self.fitting(&at, part(&at))? {
            FittingValue::Number(value, dimension) => Some((value, dimension)),
            _ => None,
        }
    }

    /// A quantity in SI, a plain number or a share.
    pub(super) fn number(&self, at: impl Into<KeyAt>) -> Option<f64> {
        let at = at.into();
        match self.fitting(&at, part(&at))? {
            FittingValue::Number(value, _) => Some(value),
            _ => None,
        }
    }

    /// A whole number.
    pub(super) fn whole(&self, at: impl Into<KeyAt>) -> Option<usize> {
        self.number(at).map(|number| number as usize)
    }

    /// A switch.
    pub(super) fn switch(&self, at: impl Into<KeyAt>) -> Option<bool> {
        let at = at.into();
        match self.fitting(&at, part(&at))? {
            FittingValue::Switch(on) => Some(on),
            _ => None,
        }
    }

    /// One of the words of a choice.
    pub(super) fn choice<T: Choice>(&self, at: impl Into<KeyAt>) -> Option<T> {
        let word = self.text(at)?;
        let found = T::all().into_iter().find(|(known, _)| *known == word);
        found.map(|(_, choice)| choice)
    }

    /// A text or a word.
    pub(super) fn text(&self, at: impl Into<KeyAt>) -> Option<String> {
        let at = at.into();
        match self.fitting(&at, part(&at))? {
            FittingValue::Word(word) => Some(word),
            _ => None,
        }
    }

    /// The path of a file: beside the file that names it, or as named where it was changed.
    pub(super) fn file(&self, key: &'static Key) -> Option<PathBuf> {
        let text = self.text(key)?;
        let folder = self.document.folder(&self.written(&key.into()));
        Some(folder.unwrap_or(Path::new("")).join(text))
    }

    /// One of the unit named under the key, in SI.
    pub(super) fn unit(&self, key: &'static Key) -> Option<Quantity> {
        let text = self.text(key)?;
        let Kind::Unit(dimensions) = &key.kind else {
            return None;
        };
        parse_as_any(&format!("1 {text}"), dimensions).ok()
    }

    /// How many entries a list has.
    pub(super) fn list(&self, at: impl Into<KeyAt>) -> Option<usize> {
        let at = at.into();
        let (least, most) = match list_kind(&at.key.kind)? {
            Kind::List { least, most, .. } | Kind::Tables { least, most } => (*least, *most),
            Kind::Row(kinds) => (kinds.len(), kinds.len()),
            _ => return None,
        };
        // A change may name single entries, of a list that is there or not.
        let path = self.written(&at);
        let there = |k: &usize| {
            let entry = format!("{path}[{k}]");
            self.document.has(&entry) || self.document.any_below(&format!("{entry}."))
        };
        let named = || (0..).take_while(there).count();
        match self.get(&at) {
            None => Some(named()).filter(|n| *n > 0),
            Some(Leaf::List(n)) if (least..=most).contains(n) => Some(named().clamp(*n, most)),
            Some(Leaf::List(n)) => {
                let count = match least == most {
                    true => format!("{least}"),
                    false => format!("{least} to {most}"),
                };
                let entries = if *n == 1 { "entry" } else { "entries" };
                self.fault(at, format!("has {n} {entries}, but must have {count}"));
                None
            }
            Some(_) => {
                let must = at.key.kind.words();
                self.fault(at, format!("must be {must}"));
                None
            }
        }
    }

    /// Keeps a fault where there is no value that the setup needs; `or` stands in for it until all
    /// faults are reported.
    pub(super) fn needed<T>(&self, at: impl Into<KeyAt>, found: Option<T>, why: &str, or: T) -> T {
        let at = at.into();
        found.unwrap_or_else(|| {
            // A value that is there but does not fit has its fault already.
            if !self.has(at.clone()) {
                self.fault(at, format!("is missing: {why}"));
            }
            or
        })
    }

    /// Keeps a fault of the value under a path.
    pub(super) fn fault_at(&self, path: &str, message: impl fmt::Display) {
        let fault = self.document.fault(path, message);
        self.faults.borrow_mut().push(fault);
    }

    /// Passes over a key whose meaning cannot be told.
    pub(super) fn pass_over(&self, key: &'static Key) {
        let start = KeyAt::from(key).path().to_owned();
        let field = |path: &str| crate::keys::field_of(path).map(|(k, _)| k);
        let mut asked = self.asked.borrow_mut();
        for (path, _) in self.document.leaves() {
            let here = field(path) == self.field;
            if here && crate::keys::without_places(path).starts_with(&start) {
                asked.insert(path.to_owned());
            }
        }
    }

    /// Keeps a fault where a setup gives two keys of which either does.
    pub(super) fn exclude(&self, key: &'static Key, other: &'static Key, why: &str) {
        if self.has(key) && self.has(other) {
            let other = self.written(&other.into());
            self.fault(key, format!("and {other} {why}: leave one out"));
        }
    }

    /// Ends the reading of one section: its faults, and keys of it that nothing asked for.
    pub(super) fn finish_section(self, name: &str) -> Result<(), SetupError> {
        let start = format!("{name}.");
        self.finish_where(|path| path.starts_with(&start))
    }

    /// Ends the reading: every fault found, and keys that nothing asked for.
    pub(super) fn finish(self) -> Result<(), SetupError> {
        self.finish_where(|_| true)
    }

    fn finish_where(self, counts: impl Fn(&str) -> bool) -> Result<(), SetupError> {
        let mut faults = self.faults.take();
        let asked = self.asked.take();
        let below = |path: &str| {
            let begins = |start: String| {
                let mut after = asked.range(start.clone()..);
                after.next().is_some_and(|a| a.starts_with(&start))
            };
            begins(format!("{path}.")) || begins(format!("{path}["))
        };
        let mut unknown_list: Option<String> = None;
        for (path, leaf) in self.document.leaves() {
            // Of a list that is no key, one message is enough.
            if unknown_list.as_ref().is_some_and(|list| path.starts_with(list)) {
                continue;
            }
            let parent = matches!(leaf, Leaf::Section | Leaf::List(_)) && below(path);
            if counts(path) && !asked.contains(path) && !parent {
                unknown_list = matches!(leaf, Leaf::List(_)).then(|| format!("{path}["));
                let message = self.of_which_field(path).unwrap_or_else(|| unknown(path, leaf));
                faults.push(self.document.fault(path, message));
            }
        }
        if faults.is_empty() {
            return Ok(());
        }
        Err(self.document.errors(faults))
    }
}

impl Reader<'_> {
    /// What is wrong with a key of the flow that does not say to which of several fields it
    /// belongs.
    fn of_which_field(&self, path: &str) -> Option<String> {
        let name = keys::flow::SECTION.name_in(path)?;
        match self.document.get(FLOW) {
            Some(Leaf::List(_)) => Some(format!(
                "does not say which [[flow]] is meant: write flow[0].{name} for the first, flow[1].{name} for the second"
            )),
            _ => None,
        }
    }
}

/// What is wrong with a path that nothing asked for.
fn unknown(path: &str, leaf: &Leaf) -> String {
    let other_name = keys::find(path).filter(|key| key.names().skip(1).any(|name| name == path));
    if let Some(key) = other_name {
        return format!("says the same as {}: leave one out", key.path);
    }
    if keys::find(path).is_some() {
        return "has no meaning in this combination of keys: leave it out".to_owned();
    }
    let plain = keys::without_places(path);
    let what = match leaf {
        Leaf::Section if !path.contains('.') => "is not a section of a setup",
        _ => "is not a key of a setup",
    };
    match keys::nearest(&plain) {
        Some(known) => {
            let field = keys::field_of(path).zip(keys::flow::SECTION.name_in(known));
            let known = field.map_or(known.to_owned(), |((k, _), name)| format!("{FLOW}[{k}].{name}"));
            format!("{what}; did you mean {known}?")
        }
        None => format!("{what}; see the list of keys"),
    }
}

/// The kind of what stands under a path: of an entry where the path names one of a plain list.
fn part(at: &KeyAt) -> &'static Kind {
    let kind = &at.key.kind;
    let entry = at.path.ends_with(']') && !at.key.path.ends_with(']');
    match list_kind(kind) {
        Some(Kind::List { of, .. }) if entry => of,
        Some(Kind::Row(kinds)) if entry => {
            let start = at.path.rfind('[').map_or(0, |k| k + 1);
            let place: usize = at.path[start..at.path.len() - 1].parse().unwrap_or(0);
            kinds.get(place).unwrap_or(kind)
        }
        _ => kind,
    }
}

/// The list among what a key may hold.
fn list_kind(kind: &Kind) -> Option<&Kind> {
    match kind {
        Kind::List { .. } | Kind::Row(_) | Kind::Tables { .. } => Some(kind),
        Kind::Either(one, other) => list_kind(one).or_else(|| list_kind(other)),
        _ => None,
    }
}

/// The value, if it fits the kind; else what it must be.
fn fit(at: &KeyAt, leaf: &Leaf, kind: &Kind) -> Result<FittingValue, String> {
    let must = || format!("must be {}", kind.words());
    let number = |number: f64, holds: bool| match holds {
        true => Ok(FittingValue::Number(number, None)),
        false => Err(format!("is {number}, but {}", must())),
    };
    let named = |error: QuantityError| error.with_key(at.path()).to_string();
    match (kind, leaf) {
        (Kind::Quantity { dimensions, range }, leaf) => {
            let quantity = match leaf {
                Leaf::Text(text) => parse_as_any(text, dimensions).map_err(named)?,
                Leaf::Quantity(quantity) if dimensions.contains(&quantity.dimension) => *quantity,
                Leaf::Number(number) => {
                    return Err(named(QuantityError::missing_unit(number.to_string(), dimensions)));
                }
                _ => return Err(format!("{} such as \"{}\"", must(), dimensions[0].example())),
            };
            match range.holds(quantity.value) {
                true => Ok(FittingValue::Number(quantity.value, Some(quantity.dimension))),
                false => Err(format!(
                    "is {}, but must be {}",
                    quantity::format(quantity.value, quantity.dimension),
                    range.limits(|end| quantity::format(end, quantity.dimension))
                )),
            }
        }
        (Kind::Number(range), Leaf::Number(n)) => number(*n, range.holds(*n)),
        (Kind::Whole { low, high, odd }, Leaf::Number(n)) => {
            let within = (*low as f64..=*high as f64).contains(n);
            let whole = n.fract() == 0.0 && within;
            if whole && *odd && n % 2.0 == 0.0 {
                let must = must();
                return Err(format!(
                    "is {n}, but {must}, so that one is in the middle: write {}",
                    n + 1.0
                ));
            }
            number(*n, whole)
        }
        (Kind::Share(range), Leaf::Number(n)) => number(*n, range.holds(*n)),
        (Kind::Share(range), Leaf::Text(text)) => {
            let share = parse_as_any(text, &[Dimension::Fraction]).map_err(named)?.value;
            number(share, range.holds(share))
        }
        (Kind::Share(range), Leaf::Quantity(q)) if q.dimension == Dimension::Fraction => {
            number(q.value, range.holds(q.value))
        }
        (Kind::Choice(words), Leaf::Text(text)) => match words().contains(&text.as_str()) {
            true => Ok(FittingValue::Word(text.clone())),
            false => Err(format!("is \"{text}\", but {}", must())),
        },
        (Kind::Switch, Leaf::Switch(on)) => Ok(FittingValue::Switch(*on)),
        (Kind::File | Kind::Text, Leaf::Text(text)) => Ok(FittingValue::Word(text.clone())),
        (Kind::Unit(dimensions), Leaf::Text(text)) => match parse_as_any(&format!("1 {text}"), dimensions) {
            Ok(_) => Ok(FittingValue::Word(text.clone())),
            Err(_) => Err(format!("is \"{text}\", but {}", must())),
        },
        (Kind::Either(one, other), leaf) => {
            let simple = [one, other].into_iter().find(|kind| list_kind(kind).is_none());
            match simple {
                Some(simple) => fit(at, leaf, simple).map_err(|_| must()),
                None => Err(must()),
            }
        }
        (_, Leaf::Text(text)) => Err(format!("is \"{text}\", but {}", must())),
        _ => Err(must()),
    }
}
