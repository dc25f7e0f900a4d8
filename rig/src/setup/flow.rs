//! `[flow]`: what moves, in lab or in picture units.

mod imported;

use super::reader::{KeyAt, Reader};
use super::stated::{Stated, StatedKeys};
use crate::keys::flow::{self as keys, FlowKind};
use crate::keys::{Choice, Key, Kind};
use crate::quantity::Dimension;
pub use imported::{Imported, Stands};

/// A length in the lab or in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Extent {
    /// Px in the picture.
    Px(f64),
    /// m, in the plane of the sheet.
    M(f64),
}

/// A velocity in the lab, or the displacement it makes between the pulses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Velocity {
    /// px per pulse separation.
    Px(f64),
    /// m/s.
    MS(f64),
}

/// A place from the image's middle.
pub type PlaceFromMiddle = [Extent; 2];

/// `[flow]`, or `flow = [{ … }, { … }]`: fields that add.
#[derive(Debug, Clone, PartialEq)]
pub struct FlowSetup {
    /// The fields, one or more.
    pub fields: Vec<FieldSetup>,
}

/// One field of the flow.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldSetup {
    /// Its number in the list, where the setup has one.
    pub place: Option<usize>,
    /// Which of the fields that are known.
    pub kind: FlowKind,
    /// The file, where the field comes from one.
    pub imported: Option<Imported>,
    /// What the text states under the keys that this kind of flow uses.
    stated: StatedKeys,
}

impl FieldSetup {
    /// Entry `k` of what the setup states under a key (0 where it is no list), or under one that it
    /// may give instead, with the key that it gives; else what holds where the key is not given.
    pub(crate) fn given(&self, key: &'static Key, k: usize) -> Option<(&'static Key, Stated)> {
        let mut either = std::iter::once(key).chain(instead_of(key));
        let given = either.find(|key| self.stated.has(key)).unwrap_or(key);
        Some((given, self.stated.entry(given, k)?))
    }
}

/// The keys that a setup may give instead of this one.
fn instead_of(key: &'static Key) -> impl Iterator<Item = &'static Key> {
    let all = keys::SECTION.keys.iter().copied();
    all.filter(move |other| other.instead_of == key.path)
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
    let fields = match r.fields(keys::MOST_FIELDS) {
        None => vec![field(r, None)],
        Some(count) => (0..count).map(|k| field(&r.in_field(k), Some(k))).collect(),
    };
    FlowSetup { fields }
}

fn field(r: &Reader, place: Option<usize>) -> FieldSetup {
    let why = match place {
        None => "write for example kind = \"uniform\" under [flow]",
        Some(_) => "write for example kind = \"turbulence\" in this field",
    };
    let Some(kind) = r.needed(keys::KIND, r.choice::<FlowKind>(keys::KIND).map(Some), why, None) else {
        // Nobody can say which of the flow's keys the missing kind would take.
        keys::SECTION.keys.iter().for_each(|key| r.pass_over(key));
        return FieldSetup {
            place,
            kind: FlowKind::Uniform,
            imported: None,
            stated: StatedKeys::default(),
        };
    };
    let from_file = kind == FlowKind::Imported;
    let imported = from_file.then(|| imported::field(r));
    let used = |key: &&Key| {
        let every = key.flows.is_empty() && key.path != keys::KIND.path;
        every || (!from_file && key.flows.contains(&kind.word()))
    };
    let of_kind = || keys::SECTION.keys.iter().copied().filter(used);
    let stated = StatedKeys::read(r, of_kind());
    of_kind().for_each(|key| complete(r, kind, key));
    r.exclude(keys::DRIFT, keys::CARRIED_BY, "both move the pattern");
    FieldSetup {
        place,
        kind,
        imported,
        stated,
    }
}

/// A fault where the flow needs a key and nothing stands in for it, or where two say the same.
fn complete(r: &Reader, kind: FlowKind, key: &'static Key) {
    for other in instead_of(key) {
        r.exclude(other, key, "say the same twice");
    }
    let given = || r.list(key).is_some() || instead_of(key).any(|other| r.has(other));
    if key.instead_of.is_empty() && key.is_needed_by(kind.word()) && !given() {
        r.needed(key, None, &needed(key), ());
    }
}

/// What to write under a key that is missing.
fn needed(key: &'static Key) -> String {
    let others: String = instead_of(key)
        .map(|other| format!(" (or {})", example(other, false)))
        .collect();
    let either = match dimensions(&key.kind) {
        [Dimension::Length, ..] => " or \"40 px\"",
        [Dimension::Speed, ..] if others.is_empty() => " (or \"6 px\" between the pulses)",
        _ => "",
    };
    format!(
        "this kind of flow needs it, for example {}{either}{others}",
        example(key, false)
    )
}

fn dimensions(kind: &Kind) -> &'static [Dimension] {
    match kind {
        Kind::Quantity { dimensions, .. } => dimensions,
        Kind::List { of, .. } => dimensions(of),
        _ => &[],
    }
}

/// A key with a value that it may have: `wall_y = "4 mm"`, or in the picture `wall_y = "40 px"`.
pub(super) fn example(key: &Key, in_px: bool) -> String {
    let one = match (dimensions(&key.kind), key.unit) {
        (_, "px") => "\"6 px\"",
        ([Dimension::Length, ..], _) if in_px => "\"40 px\"",
        ([Dimension::Speed, ..], _) if in_px => "\"2 px\"",
        ([Dimension::Length, ..], _) => "\"4 mm\"",
        ([Dimension::Speed, ..], _) => "\"0.1 m/s\"",
        ([Dimension::Angle, ..], _) => "\"5 deg\"",
        ([Dimension::Frequency, ..], _) => "\"20 /s\"",
        _ => "0.02",
    };
    match key.kind {
        Kind::List {
            of: Kind::Number(_), ..
        } => format!("{} = [{one}, 0]", key.name()),
        Kind::List { .. } if key.unit == "/s" => format!("{} = [{one}, \"0 /s\"]", key.name()),
        Kind::List { .. } => format!("{} = [{one}, \"0 px\"]", key.name()),
        _ => format!("{} = {one}", key.name()),
    }
}
