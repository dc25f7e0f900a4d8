//! Numbers of a setup, read by the description of their keys.

use std::collections::BTreeMap;

use super::document::Value;
use super::reader::{KeyAt, Reader};
use crate::keys::{Key, Kind};
use crate::quantity::{self, Dimension};

/// A number of a setup with the dimension in which it is written, if it has one; in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stated {
    /// The value.
    pub value: f64,
    /// What it measures.
    pub dimension: Option<Dimension>,
}

/// What a text states under some keys; of lists each entry.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StatedKeys(BTreeMap<&'static str, Vec<Option<Stated>>>);

impl StatedKeys {
    /// Reads quantities, numbers and lists of them.
    pub(super) fn read(r: &Reader, keys: impl Iterator<Item = &'static Key>) -> StatedKeys {
        StatedKeys(
            keys.filter_map(|key| Some((key.path, entries(r, key)?)))
                .collect(),
        )
    }

    /// Whether the text states something under a key.
    pub fn has(&self, key: &Key) -> bool {
        self.0.contains_key(key.path)
    }

    /// Entry `k` of what the text states under a key (0 where it is no list), else of what holds
    /// where the key is not given.
    pub fn entry(&self, key: &Key, k: usize) -> Option<Stated> {
        let stated = self
            .0
            .get(key.path)
            .and_then(|entries| entries.get(k).copied().flatten());
        stated.or_else(|| default(key, k))
    }

    /// What the text states under a key, else what holds where it is not given.
    pub fn number(&self, key: &Key) -> Option<f64> {
        self.entry(key, 0).map(|stated| stated.value)
    }

    /// The same of a key that has a default; 0 if it has none.
    pub fn number_or_zero(&self, key: &Key) -> f64 {
        self.number(key).unwrap_or(0.0)
    }
}

fn entries(r: &Reader, key: &'static Key) -> Option<Vec<Option<Stated>>> {
    let number = |at: KeyAt| {
        r.measured(at)
            .map(|(value, dimension)| Stated { value, dimension })
    };
    match key.kind {
        Kind::List { .. } => r
            .list(key)
            .map(|count| (0..count).map(|k| number(key.entry(k))).collect()),
        _ => number(key.into()).map(|stated| vec![Some(stated)]),
    }
}

/// Entry `k` of what holds where the key is not given.
fn default(key: &Key, k: usize) -> Option<Stated> {
    let entry = match Value::parse(key.absent.value?) {
        Value::List(entries) => entries.into_iter().nth(k)?,
        value => value,
    };
    match entry {
        Value::Number(value) => Some(Stated {
            value,
            dimension: None,
        }),
        Value::Text(text) => quantity::parse(&text).ok().map(|q| Stated {
            value: q.value,
            dimension: Some(q.dimension),
        }),
        _ => None,
    }
}
