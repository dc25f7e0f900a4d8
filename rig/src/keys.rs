//! The key table: everything that a setup file may say, each key described once.
//!
//! The reader, the messages, the documents, the JSON Schema and the values that a study varies all
//! come from here. A new key is one entry in one of the files of `keys/` and the place that uses
//! it.

mod kind;

pub mod camera;
pub mod choices;
pub mod document;
pub mod flow;
pub mod fluid;
pub mod image;
pub mod lens;
pub mod light;
pub mod processing;
pub mod reflections;
pub mod schema;
pub mod sheet;
pub mod table;
pub mod timing;
pub mod tracer;

pub use kind::{Choice, Kind, Range};

use crate::near;
use crate::quantity::Dimension;

/// One key of a setup.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// Section and name, `light.power`. Keys of the entries of a list of tables carry brackets
    /// for the entry's place: `processing.passes[].window`.
    pub path: &'static str,
    /// What may be written.
    pub kind: Kind,
    /// What it is, in one line.
    pub about: &'static str,
    /// What holds where it is not given.
    pub absent: Absent,
    /// The value usual in the trade.
    pub usual: Option<Usual>,
    /// Unit in which the value is shown and asked for, as a setup writes it; empty for numbers,
    /// words and switches.
    pub unit: &'static str,
    /// Range and spacing of a slider.
    pub slider: Option<Slider>,
    /// The key of the same section in whose place this one may stand: at most one of the two may be
    /// given. Empty where there is none.
    pub instead_of: &'static str,
    /// Names under which earlier versions knew the key: they are read as before.
    pub former: &'static [&'static str],
    /// Names that a standard or data sheets give the same thing: they are read as well.
    pub also: &'static [&'static str],
    /// Kinds of flow (words of `flow.kind`) that use the key; empty for keys of other sections and
    /// for those that every flow has.
    pub flows: &'static [&'static str],
    /// Those of these kinds that need the key, where the others do without it. A key whose absence
    /// is [`NEEDED`] is needed by all of them.
    pub needed_by: &'static [&'static str],
}

/// What holds where a key is not given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Absent {
    /// The value taken, as a setup would write it (TOML); `None` where it follows from other keys,
    /// where the effect is off, or where there is none.
    pub value: Option<&'static str>,
    /// What is taken, in words, where `value` is `None`: "from the rig", "none", "needed".
    pub words: &'static str,
    /// What taking it assumes about the experiment: "no motion through the sheet"; empty where it
    /// assumes nothing.
    pub assumes: &'static str,
    /// Where the value comes from; empty where it is this program's own choice.
    pub source: &'static str,
}

/// A value usual in the trade.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usual {
    /// As a setup would write it (TOML).
    pub value: &'static str,
    /// Where that is found.
    pub source: &'static str,
}

/// Range of a slider, in the key's own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slider {
    /// Least and largest value offered.
    pub range: [f64; 2],
    /// Whether equal steps are equal factors.
    pub log: bool,
}

/// In place of a default: the key must be given.
pub const NEEDED: &str = "needed";

/// The source of a value that every practitioner knows and no publication need be named for.
pub const PRACTICE: &str = "common practice, no source";

impl Key {
    const fn new(path: &'static str, kind: Kind) -> Key {
        Key {
            path,
            kind,
            about: "",
            absent: Absent {
                value: None,
                words: "",
                assumes: "",
                source: "",
            },
            usual: None,
            unit: "",
            slider: None,
            instead_of: "",
            former: &[],
            also: &[],
            flows: &[],
            needed_by: &[],
        }
    }

    /// A quantity with its unit; shown in `unit`.
    pub const fn quantity(
        path: &'static str,
        dimensions: &'static [Dimension],
        range: Range,
        unit: &'static str,
    ) -> Key {
        Key {
            unit,
            ..Key::new(path, Kind::Quantity { dimensions, range })
        }
    }

    /// A plain number.
    pub const fn number(path: &'static str, range: Range) -> Key {
        Key::new(path, Kind::Number(range))
    }

    /// A whole number from `low` to `high`.
    pub const fn whole(path: &'static str, low: u64, high: u64) -> Key {
        Key::new(
            path,
            Kind::Whole {
                low,
                high,
                odd: false,
            },
        )
    }

    /// An odd whole number from `low` to `high`.
    pub const fn odd(path: &'static str, low: u64, high: u64) -> Key {
        Key::new(path, Kind::Whole { low, high, odd: true })
    }

    /// A number from 0 to 1, or a percentage.
    pub const fn share(path: &'static str) -> Key {
        Key::share_within(path, Range::Within(0.0, 1.0))
    }

    /// A share of a narrower range.
    pub const fn share_within(path: &'static str, range: Range) -> Key {
        Key::new(path, Kind::Share(range))
    }

    /// One of the words of a choice.
    pub const fn choice<T: Choice>(path: &'static str) -> Key {
        Key::new(path, Kind::Choice(kind::words::<T>))
    }

    /// `true` or `false`.
    pub const fn switch(path: &'static str) -> Key {
        Key::new(path, Kind::Switch)
    }

    /// The name of a file beside the setup file.
    pub const fn file(path: &'static str) -> Key {
        Key::new(path, Kind::File)
    }

    /// Any text.
    pub const fn text(path: &'static str) -> Key {
        Key::new(path, Kind::Text)
    }

    /// The name of a unit of one of the dimensions.
    pub const fn unit_of(path: &'static str, dimensions: &'static [Dimension]) -> Key {
        Key::new(path, Kind::Unit(dimensions))
    }

    /// A list of `least` to `most` entries of one kind, shown in `unit`.
    pub const fn list(
        path: &'static str,
        of: &'static Kind,
        [least, most]: [usize; 2],
        unit: &'static str,
    ) -> Key {
        Key {
            unit,
            ..Key::new(path, Kind::List { of, least, most })
        }
    }

    /// A list with one entry of each of these kinds.
    pub const fn row(path: &'static str, kinds: &'static [Kind]) -> Key {
        Key::new(path, Kind::Row(kinds))
    }

    /// A list of `least` to `most` tables, whose keys are entries of the key table themselves.
    pub const fn tables(path: &'static str, [least, most]: [usize; 2]) -> Key {
        Key::new(path, Kind::Tables { least, most })
    }

    /// Either of two kinds.
    pub const fn either(path: &'static str, one: &'static Kind, other: &'static Kind) -> Key {
        Key::new(path, Kind::Either(one, other))
    }

    /// Says what the key is.
    pub const fn about(self, about: &'static str) -> Key {
        Key { about, ..self }
    }

    /// The value taken where the key is not given, and what that assumes.
    pub const fn default(self, value: &'static str, assumes: &'static str) -> Key {
        let absent = Absent {
            value: Some(value),
            assumes,
            ..self.absent
        };
        Key { absent, ..self }
    }

    /// What is taken, in words, where the key is not given, and what that assumes.
    pub const fn otherwise(self, words: &'static str, assumes: &'static str) -> Key {
        let absent = Absent {
            words,
            assumes,
            ..self.absent
        };
        Key { absent, ..self }
    }

    /// Where the default comes from.
    pub const fn default_source(self, source: &'static str) -> Key {
        let absent = Absent {
            source,
            ..self.absent
        };
        Key { absent, ..self }
    }

    /// The value usual in the trade, and where that is found.
    pub const fn usual(self, value: &'static str, source: &'static str) -> Key {
        Key {
            usual: Some(Usual { value, source }),
            ..self
        }
    }

    /// A slider with equal steps.
    pub const fn slider(self, low: f64, high: f64) -> Key {
        let slider = Slider {
            range: [low, high],
            log: false,
        };
        Key {
            slider: Some(slider),
            ..self
        }
    }

    /// A slider with equal factors.
    pub const fn log_slider(self, low: f64, high: f64) -> Key {
        let slider = Slider {
            range: [low, high],
            log: true,
        };
        Key {
            slider: Some(slider),
            ..self
        }
    }

    /// The key in whose place this one may stand.
    pub const fn instead_of(self, instead_of: &'static str) -> Key {
        Key { instead_of, ..self }
    }

    /// Names of earlier versions.
    pub const fn formerly(self, former: &'static [&'static str]) -> Key {
        Key { former, ..self }
    }

    /// Names that a standard or data sheets give the same thing.
    pub const fn also(self, also: &'static [&'static str]) -> Key {
        Key { also, ..self }
    }

    /// Every name under which a setup may give the key, its own first.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        let others = self.also.iter().chain(self.former).copied();
        std::iter::once(self.path).chain(others)
    }

    /// The kinds of flow that use the key.
    pub const fn flows(self, flows: &'static [&'static str]) -> Key {
        Key { flows, ..self }
    }

    /// Those of the kinds of flow that need the key.
    pub const fn needed_by(self, needed_by: &'static [&'static str]) -> Key {
        Key { needed_by, ..self }
    }

    /// Whether a flow of this kind needs the key.
    pub fn is_needed_by(&self, flow: &str) -> bool {
        self.needed_by.contains(&flow) || (self.flows.contains(&flow) && self.absent.words == NEEDED)
    }

    /// A number in the key's own unit as a setup writes it: `4 W`, `f/4`, `0.5`.
    pub fn written(&self, number: f64) -> String {
        match self.unit {
            "" => number.to_string(),
            "f/" => format!("f/{number}"),
            unit => format!("{number} {unit}"),
        }
    }

    /// The section that holds it: `light` of `light.power`.
    pub fn section(&self) -> &'static str {
        self.path.split('.').next().unwrap_or(self.path)
    }

    /// Its name in the section: `power` of `light.power`.
    pub fn name(&self) -> &'static str {
        self.path.split_once('.').map_or(self.path, |(_, name)| name)
    }
}

/// A section of the setup file.
#[derive(Debug, Clone, Copy)]
pub struct Section {
    /// Its name, as in `[light]`.
    pub name: &'static str,
    /// What it is about, in a few words.
    pub title: &'static str,
    /// Whether it belongs to the scene rather than to the rig.
    pub scene: bool,
    /// Its keys, in the order of the documents.
    pub keys: &'static [&'static Key],
}

impl Section {
    /// The name in the section of a path that begins with it: `seed` of `flow.seed`.
    pub fn name_in<'a>(&self, path: &'a str) -> Option<&'a str> {
        path.strip_prefix(self.name)?.strip_prefix('.')
    }
}

/// Every section, in the order of the documents.
pub const SECTIONS: &[Section] = &[
    light::SECTION,
    reflections::SECTION,
    sheet::SECTION,
    tracer::SECTION,
    fluid::SECTION,
    lens::SECTION,
    camera::SECTION,
    flow::SECTION,
    timing::SECTION,
    processing::SECTION,
    image::SECTION,
];

/// Every key, in the order of the documents.
pub fn all() -> impl Iterator<Item = &'static Key> {
    SECTIONS.iter().flat_map(|section| section.keys).copied()
}

/// The key under which `path` is described, which may name an entry of a list: `image.streak[0]`
/// is an entry of `image.streak`, `processing.passes[2].window` is `processing.passes[].window`,
/// `flow[1].seed` is `flow.seed`.
pub fn find(path: &str) -> Option<&'static Key> {
    let plain = without_places(path);
    let known = |wanted: &str| all().find(|key| key.names().any(|name| name == wanted));
    known(&plain).or_else(|| known(plain.strip_suffix("[]")?))
}

/// The known key or section whose name is nearest, if it is near at all.
pub fn nearest(path: &str) -> Option<&'static str> {
    let names = all().map(|key| key.path);
    let sections = SECTIONS.iter().map(|section| section.name);
    near::nearest(path, names.chain(sections))
}

/// The path of the key to which a path belongs: `processing.passes` of
/// `processing.passes[2].window`.
pub(crate) fn whole(path: &str) -> &str {
    let start = field_of(path).map_or(0, |(_, name)| path.len() - name.len());
    let end = path[start..].find('[').map_or(path.len(), |k| start + k);
    &path[..end]
}

/// Of a key of one of several fields that add, `flow[1].centre[0]`, the field's number and the
/// rest: 1 and `centre[0]`.
pub(crate) fn field_of(path: &str) -> Option<(usize, &str)> {
    let (number, rest) = path.strip_prefix("flow[")?.split_once("].")?;
    Some((number.parse().ok()?, rest))
}

/// A path with its places in lists left out: `processing.passes[2].window` becomes
/// `processing.passes[].window`. The keys of each of several fields that add are those of `[flow]`:
/// `flow[1].seed` becomes `flow.seed`.
pub fn without_places(path: &str) -> String {
    let mut plain = String::with_capacity(path.len());
    let mut inside = false;
    for c in path.chars() {
        inside = match c {
            '[' => true,
            ']' => false,
            _ => inside,
        };
        if !inside || c == '[' {
            plain.push(c);
        }
    }
    match plain.strip_prefix("flow[].") {
        Some(name) => format!("flow.{name}"),
        None => plain,
    }
}

/// Declares the keys of a section: each by its name in the code, all in `SECTION`.
macro_rules! section {
    ($name:literal, $title:literal, scene: $scene:literal; $($key:ident = $entry:expr;)*) => {
        $(
            #[doc = concat!("A key of `[", $name, "]`.")]
            pub const $key: &$crate::keys::Key = &$entry;
        )*

        /// The section with its keys.
        pub const SECTION: $crate::keys::Section = $crate::keys::Section {
            name: $name,
            title: $title,
            scene: $scene,
            keys: &[$($key),*],
        };
    };
}
pub(crate) use section;

#[cfg(test)]
mod tests;
