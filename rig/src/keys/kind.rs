//! What may be written under a key.

use std::fmt;

use crate::quantity::{self, Dimension};

/// A length in the lab, or in the picture.
pub(super) const LAB_OR_PICTURE: &[Dimension] = &[Dimension::Length, Dimension::Pixels];
/// A velocity, or the displacement that it makes between the pulses.
pub(super) const SPEED_OR_DISPLACEMENT: &[Dimension] = &[Dimension::Speed, Dimension::Pixels];

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
        /// The least value allowed.
        low: u64,
        /// The largest value allowed.
        high: u64,
        /// Whether it must be odd.
        odd: bool,
    },
    /// A number from 0 to 1, or a percentage.
    Share(Range),
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
    /// A list with one entry of each of these kinds.
    Row(&'static [Kind]),
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
        let plain = |value: f64| value.to_string();
        match self {
            Kind::Quantity { dimensions, range } => {
                let names: Vec<&str> = dimensions.iter().map(|d| d.name()).collect();
                let range = range_words(*range, dimensions[0]);
                format!("{} {range}", names.join(" or ")).trim_end().to_owned()
            }
            Kind::Number(range) => format!("a plain number {}", range.words(plain))
                .trim_end()
                .to_owned(),
            Kind::Whole { low, high, odd } => {
                let odd = if *odd { "an odd" } else { "a" };
                format!("{odd} whole number from {low} to {high}")
            }
            Kind::Share(Range::Within(0.0, 1.0)) => "0 to 1, or \"0 %\" to \"100 %\"".to_owned(),
            Kind::Share(range) => format!("a share {}, or in percent", range.words(plain)),
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
            Kind::List { of, least, most } => {
                let number = how_many(*least, *most);
                format!(
                    "a list of {number} entries in square brackets, each {}",
                    of.words()
                )
            }
            Kind::Row(kinds) => {
                let entries: Vec<String> = kinds.iter().map(Kind::words).collect();
                format!("a list in square brackets of {}", entries.join(", then "))
            }
            Kind::Tables { least, most } => {
                format!("a list of {} tables in square brackets", how_many(*least, *most))
            }
            Kind::Either(one, other) => format!("{}, or {}", one.words(), other.words()),
        }
    }
}

/// A range of quantities of this dimension: "above 0", "from -45 deg to 45 deg".
pub(super) fn range_words(range: Range, dimension: Dimension) -> String {
    match (range, dimension) {
        // Setups write temperatures in Celsius, whose zero is another.
        (Range::AboveZero, Dimension::Temperature) => "above 0 K".to_owned(),
        _ => range.words(|value| quantity::format(value, dimension)),
    }
}

/// "2", "1 to 64".
pub(super) fn how_many(least: usize, most: usize) -> String {
    if least == most {
        least.to_string()
    } else {
        format!("{least} to {most}")
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
    /// This or above.
    AtLeast(f64),
    /// From one to the other, both included.
    Within(f64, f64),
    /// Above the first, up to and including the second.
    AboveUpTo(f64, f64),
    /// Above the first and below the second.
    Between(f64, f64),
}

impl Range {
    /// Whether the value is allowed.
    pub fn holds(self, value: f64) -> bool {
        value.is_finite()
            && match self {
                Range::Any => true,
                Range::AboveZero => value > 0.0,
                Range::NotNegative => value >= 0.0,
                Range::AtLeast(low) => value >= low,
                Range::Within(low, high) => (low..=high).contains(&value),
                Range::AboveUpTo(low, high) => value > low && value <= high,
                Range::Between(low, high) => value > low && value < high,
            }
    }

    /// What follows the name of a quantity, the ends written by `show`: "above 0", "of at least
    /// 0", "from 0 px to 10 px".
    pub fn words(self, show: impl Fn(f64) -> String) -> String {
        match self {
            Range::NotNegative | Range::AtLeast(_) => format!("of {}", self.limits(show)),
            _ => self.limits(show),
        }
    }

    /// What a value must be, the ends written by `show`: "above 0", "at least 0", "from 0 px to 10
    /// px".
    pub fn limits(self, show: impl Fn(f64) -> String) -> String {
        match self {
            Range::Any => String::new(),
            Range::AboveZero => "above 0".to_owned(),
            Range::NotNegative => "at least 0".to_owned(),
            Range::AtLeast(low) => format!("at least {}", show(low)),
            Range::Within(low, high) => format!("from {} to {}", show(low), show(high)),
            Range::AboveUpTo(low, high) => format!("above {} and at most {}", show(low), show(high)),
            Range::Between(low, high) => format!("above {} and below {}", show(low), show(high)),
        }
    }
}

/// Something that a setup chooses by a word.
pub trait Choice: Copy + PartialEq + 'static {
    /// Every word with what it stands for, in the order of the documents. Several words may stand
    /// for the same.
    fn all() -> Vec<(&'static str, Self)>;

    /// The word for it, the first where there are several.
    fn word(self) -> &'static str {
        let found = Self::all().into_iter().find(|(_, of)| *of == self);
        found.map_or("", |(word, _)| word)
    }
}

pub(super) fn words<T: Choice>() -> Vec<&'static str> {
    T::all().into_iter().map(|(word, _)| word).collect()
}
