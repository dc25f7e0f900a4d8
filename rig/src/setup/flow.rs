//! `[flow]`: what moves, in lab or in picture units.

mod imported;

use std::collections::BTreeMap;

use super::document::Value;
use super::reader::{KeyAt, Reader};
use crate::keys::flow::{self as keys, FlowKind};
use crate::keys::{Key, Kind};
use crate::quantity::{self, Dimension};
pub use imported::{Imported, Stands};

/// A length in the lab or in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extent {
    /// px.
    Px(f64),
    /// m, in the plane of the sheet.
    M(f64),
}

/// A velocity in the lab, or the displacement it makes between the pulses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Motion {
    /// px per pulse separation.
    Px(f64),
    /// m/s.
    MS(f64),
}

/// A place from the image's middle.
pub type PlaceFromMiddle = [Extent; 2];

/// A number of a setup with the dimension in which it is written, if it has one; in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stated {
    /// The value.
    pub value: f64,
    /// What it measures.
    pub dimension: Option<Dimension>,
}

/// `[flow]`
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSetup {
    /// Which of the fields that are known.
    pub kind: FlowKind,
    /// The file, where the field comes from one.
    pub imported: Option<Imported>,
    /// What the text states under the keys that this kind of flow uses; of lists each entry.
    stated: BTreeMap<&'static str, Vec<Option<Stated>>>,
}

impl FlowSetup {
    /// Entry `k` of what the setup states under a key (0 where it is no list), or under one that it
    /// may give instead, with the key that it gives; else what holds where the key is not given.
    pub(crate) fn given(&self, key: &'static Key, k: usize) -> Option<(&'static Key, Stated)> {
        let own = std::iter::once(key).chain(instead_of(key));
        let mut stated = own.filter_map(|key| Some((key, self.stated.get(key.path)?)));
        let entry = match stated.next() {
            Some((given, entries)) => entries.get(k).copied().flatten().map(|entry| (given, entry)),
            None => None,
        };
        entry.or_else(|| Some((key, default(key, k)?)))
    }
}

/// The keys that a setup may give instead of this one.
fn instead_of(key: &'static Key) -> impl Iterator<Item = &'static Key> {
    let all = keys::SECTION.keys.iter().copied();
    all.filter(move |other| other.instead_of == key.path)
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

const MIDDLE: Extent = Extent::Px(0.0);

/// A length, where there is one.
pub(super) fn extent(r: &Reader, at: impl Into<KeyAt>) -> Option<Extent> {
    let q = r.quantity(at)?;
    Some(match q.dimension {
        Dimension::Pixels => Extent::Px(q.value),
        _ => Extent::M(q.value),
    })
}

/// A place from the image's middle, the middle itself where none is given.
pub(super) fn place(r: &Reader, at: impl Into<KeyAt>) -> PlaceFromMiddle {
    let at = at.into();
    let mut all = [MIDDLE; 2];
    if r.list(at.clone()).is_some() {
        for (k, part) in all.iter_mut().enumerate() {
            *part = extent(r, at.entry(k)).unwrap_or(*part);
        }
    }
    all
}

pub(super) fn flow(r: &Reader) -> FlowSetup {
    let why = "write for example kind = \"uniform\" under [flow]";
    let Some(kind) = r.needed(keys::KIND, r.choice::<FlowKind>(keys::KIND).map(Some), why, None) else {
        // Nobody can say which of the flow's keys the missing kind would take.
        keys::SECTION.keys.iter().for_each(|key| r.pass_over(key));
        return FlowSetup {
            kind: FlowKind::Uniform,
            imported: None,
            stated: BTreeMap::new(),
        };
    };
    let from_file = kind == FlowKind::Imported;
    let imported = from_file.then(|| imported::field(r));
    let used = |key: &&Key| {
        let every = key.flows.is_empty() && key.path != keys::KIND.path;
        every || (!from_file && key.flows.contains(&kind.word()))
    };
    let of_kind = keys::SECTION.keys.iter().copied().filter(used);
    let stated = of_kind.filter_map(|key| Some((key.path, stated(r, kind, key)?)));
    FlowSetup {
        kind,
        imported,
        stated: stated.collect(),
    }
}

/// What the text states under a key; a fault where the flow needs it and nothing stands in for it.
fn stated(r: &Reader, kind: FlowKind, key: &'static Key) -> Option<Vec<Option<Stated>>> {
    let number = |at: KeyAt| {
        r.measured(at)
            .map(|(value, dimension)| Stated { value, dimension })
    };
    let found = match key.kind {
        Kind::List { .. } => r
            .list(key)
            .map(|count| (0..count).map(|k| number(key.entry(k))).collect()),
        _ => number(key.into()).map(|stated| vec![Some(stated)]),
    };
    for other in instead_of(key) {
        r.exclude(other, key, "say the same twice");
    }
    let others = || instead_of(key).any(|other| r.has(other));
    if key.instead_of.is_empty() && key.is_needed_by(kind.word()) && found.is_none() && !others() {
        r.needed(key, None, &needed(key), ());
    }
    found
}

/// What to write under a key that is missing.
fn needed(key: &'static Key) -> String {
    let others: String = instead_of(key)
        .map(|other| format!(" (or {})", example(other)))
        .collect();
    let either = match dimensions(&key.kind) {
        [Dimension::Length, ..] => " or \"40 px\"",
        [Dimension::Speed, ..] if others.is_empty() => " (or \"6 px\" between the pulses)",
        _ => "",
    };
    format!(
        "this kind of flow needs it, for example {}{either}{others}",
        example(key)
    )
}

fn dimensions(kind: &Kind) -> &'static [Dimension] {
    match kind {
        Kind::Quantity { dimensions, .. } => dimensions,
        Kind::List { of, .. } => dimensions(of),
        _ => &[],
    }
}

/// A key with a value that it may have: `wall_y = "4 mm"`.
fn example(key: &Key) -> String {
    let one = match (dimensions(&key.kind), key.unit) {
        (_, "px") => "\"6 px\"",
        ([Dimension::Length, ..], _) => "\"4 mm\"",
        ([Dimension::Speed, ..], _) => "\"0.1 m/s\"",
        ([Dimension::Angle, ..], _) => "\"5 deg\"",
        ([Dimension::Frequency, ..], _) => "\"20 /s\"",
        _ => "0.02",
    };
    match key.kind {
        Kind::List { .. } => format!("{} = [{one}, \"0 px\"]", key.name()),
        _ => format!("{} = {one}", key.name()),
    }
}
