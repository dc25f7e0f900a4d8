//! What may be written under a key.

use std::fmt;

use crate::quantity::Dimension;

/// What may be written under a key.
#[derive(Clone, Copy)]
pub enum Kind {
    /// A number with its unit, of one of the dimensions; `range` in SI.
    Quantity {
        /// Dimensions, the usual one first.
        dimensions: &'static [Dimension],
        /// Values allowed.
        range: Range,
    },
    /// A plain number.
    Number(Range),
    /// A whole number.
    Whole {
        /// Least.
        low: usize,
        /// Largest.
        high: usize,
        /// Whether it must be odd.
        odd: bool,
    },
    /// A number from 0 to 1, or a percentage.
    Share,
    /// One word of a list.
    Choice(fn() -> Vec<&'static str>),
    /// `true` or `false`.
    Switch,
    /// The name of a file beside the setup file.
    File,
    /// Any text.
    Text,
    /// The name of a unit of one of the dimensions.
    Unit(&'static [Dimension]),
    /// A list of entries of one kind.
    List {
        /// Of each entry.
        of: &'static Kind,
        /// Fewest entries.
        least: usize,
        /// Most entries.
        most: usize,
    },
    /// A list of tables, whose keys are described by entries of their own.
    Tables {
        /// Fewest tables.
        least: usize,
        /// Most tables.
        most: usize,
    },
    /// Either of two kinds.
    Either(&'static Kind, &'static Kind),
}

impl fmt::Debug for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.words())
    }
}

impl Kind {
    /// What must be written, for messages: "a time above 0", "one of \"laser\", \"led\"".
    pub fn words(&self) -> String {
        match self {
            Kind::Quantity { dimensions, range } => {
                let names: Vec<&str> = dimensions.iter().map(|d| d.name()).collect();
                format!("{} {}", names.join(" or "), range.words(dimensions[0].unit()))
                    .trim_end()
                    .to_owned()
            }
            Kind::Number(range) => format!("a plain number {}", range.words("")).trim_end().to_owned(),
            Kind::Whole { low, high, odd } => {
                let odd = if *odd { "an odd" } else { "a" };
                format!("{odd} whole number from {low} to {high}")
            }
            Kind::Share => "0 to 1, or \"0 %\" to \"100 %\"".to_owned(),
            Kind::Choice(words) => {
                let words: Vec<String> = words().iter().map(|word| format!("\"{word}\"")).collect();
                format!("one of {}", words.join(", "))
            }
            Kind::Switch => "true or false".to_owned(),
            Kind::File => "the name of a file in quotes".to_owned(),
            Kind::Text => "a text in quotes".to_owned(),
            Kind::Unit(dimensions) => {
                let units: Vec<_> = dimensions.iter().flat_map(|d| d.units()).collect();
                format!("a unit alone: one of {}", units.join(", "))
            }
            Kind::List { of, least, most } if least == most => {
                format!("a list of {least} entries in square brackets, each {}", of.words())
            }
            Kind::List { of, least, most } => {
                format!("a list of {least} to {most} entries in square brackets, each {}", of.words())
            }
            Kind::Tables { least, most } => {
                format!("a list of {least} to {most} tables in square brackets")
            }
            Kind::Either(one, other) => format!("{}, or {}", one.words(), other.words()),
        }
    }
}

/// Values allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Range {
    /// Any finite number.
    Any,
    /// Above 0.
    AboveZero,
    /// 0 or above.
    NotNegative,
    /// From one to the other, both included.
    Within(f64, f64),
    /// Above the first, up to and including the second.
    AboveUpTo(f64, f64),
}

impl Range {
    /// Whether the value is allowed.
    pub fn holds(self, value: f64) -> bool {
        value.is_finite()
            && match self {
                Range::Any => true,
                Range::AboveZero => value > 0.0,
                Range::NotNegative => value >= 0.0,
                Range::Within(low, high) => (low..=high).contains(&value),
                Range::AboveUpTo(low, high) => value > low && value <= high,
            }
    }

    /// For messages, with the unit of the ends: "above 0", "from 0 to 10 px".
    pub fn words(self, unit: &str) -> String {
        match self {
            Range::Any => String::new(),
            Range::AboveZero => "above 0".to_owned(),
            Range::NotNegative => "of at least 0".to_owned(),
            Range::Within(low, high) => format!("from {low} to {high} {unit}").trim_end().to_owned(),
            Range::AboveUpTo(low, high) => {
                format!("above {low} and at most {high} {unit}").trim_end().to_owned()
            }
        }
    }
}

/// Something that a setup chooses by a word.
pub trait Choice: Copy + PartialEq + 'static {
    /// Every word with what it stands for, the default first where there is one.
    fn all() -> Vec<(&'static str, Self)>;

    /// The word for it.
    fn word(self) -> &'static str {
        let found = Self::all().into_iter().find(|(_, of)| *of == self);
        found.map_or("", |(word, _)| word)
    }
}

pub(super) fn words<T: Choice>() -> Vec<&'static str> {
    T::all().into_iter().map(|(word, _)| word).collect()
}
