//! Why a text is not the quantity that was expected.

use std::fmt;

use super::units::{Dimension, UNITS};
use crate::near;

/// Why a text is not the quantity that was expected; says what to write instead.
#[derive(Debug, Clone, PartialEq)]
pub struct QuantityError {
    key: Option<String>,
    /// As it stands in the file, a string with its quotation marks.
    text: String,
    expected: Vec<Dimension>,
    fault: Misreading,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Misreading {
    NoUnit(String),
    NotANumber,
    DecimalComma,
    NotFinite,
    UnknownUnit(String),
    WrongDimension(Dimension),
}

impl QuantityError {
    /// For a setup file that gives a plain number (`text`) where a quantity with its unit is
    /// needed.
    pub fn missing_unit(text: impl Into<String>, expected: &[Dimension]) -> QuantityError {
        let text = text.into();
        QuantityError {
            key: None,
            text: text.clone(),
            expected: expected.to_vec(),
            fault: Misreading::NoUnit(text),
        }
    }

    pub(super) fn of_string(text: &str, expected: &[Dimension], fault: Misreading) -> QuantityError {
        QuantityError {
            key: None,
            text: format!("\"{text}\""),
            expected: expected.to_vec(),
            fault,
        }
    }

    /// The same error, which then also names the key of the setup file.
    #[must_use]
    pub fn with_key(self, key: impl Into<String>) -> QuantityError {
        QuantityError {
            key: Some(key.into()),
            ..self
        }
    }
}

impl std::error::Error for QuantityError {}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.key {
            Some(key) => write!(f, "`{key} = {}`", self.text)?,
            None => write!(f, "`{}`", self.text)?,
        }
        let any = if self.expected.is_empty() {
            &[Dimension::Time, Dimension::Length][..]
        } else {
            &self.expected
        };
        let examples = listed(any.iter().map(|d| format!("\"{}\"", d.example())));
        match &self.fault {
            Misreading::NoUnit(number) => {
                let example = match any {
                    [Dimension::Aperture] => format!("\"f/{number}\""),
                    [one] => match one.example().split_once(' ') {
                        Some((_, unit)) => format!("\"{number} {unit}\""),
                        None => examples,
                    },
                    _ => examples,
                };
                write!(f, " has no unit: write for example {example}")
            }
            Misreading::NotANumber => write!(f, " is not a number with a unit: write for example {examples}"),
            Misreading::DecimalComma => write!(
                f,
                " has a decimal comma: write a point instead, for example {examples}"
            ),
            Misreading::NotFinite => write!(f, " is not a finite number: write for example {examples}"),
            Misreading::UnknownUnit(unit) => {
                write!(f, " has the unknown unit `{unit}`")?;
                let near = nearest(unit, &self.expected);
                if !near.is_empty() {
                    write!(
                        f,
                        " (did you mean {}?)",
                        listed(near.iter().map(|u| format!("`{u}`")))
                    )?;
                }
                for dimension in &self.expected {
                    let units = listed(dimension.units().map(|u| format!("`{u}`")));
                    write!(f, "; {} is written with {units}", dimension.name())?;
                }
                Ok(())
            }
            Misreading::WrongDimension(found) => {
                let wanted = listed(
                    any.iter()
                        .map(|d| format!("{} such as \"{}\"", d.name(), d.example())),
                );
                write!(f, ": expected {wanted}, found {}", found.name())
            }
        }
    }
}

/// "a", "a or b", "a, b or c".
fn listed(items: impl Iterator<Item = String>) -> String {
    let mut items: Vec<String> = items.collect();
    match items.pop() {
        Some(last) if items.is_empty() => last,
        Some(last) => format!("{} or {last}", items.join(", ")),
        None => String::new(),
    }
}

/// Up to three known units that are near to `unit`, whatever their case; of other dimensions than
/// the expected ones only where none of those is as near.
fn nearest(unit: &str, expected: &[Dimension]) -> Vec<&'static str> {
    let plain = unit.to_lowercase();
    let mut found: Vec<_> = UNITS
        .iter()
        .filter_map(|u| {
            let edits = near::edits(&plain, &u.name.to_lowercase())?;
            Some((!expected.contains(&u.dimension), edits, u.name))
        })
        .collect();
    found.sort_by_key(|&(foreign, edits, _)| (edits > 0, foreign, edits));
    let (foreign, closest) = found.first().map_or((false, 0), |f| (f.0, f.1));
    found
        .iter()
        .filter(|f| f.1 == closest && f.0 == foreign)
        .take(3)
        .map(|f| f.2)
        .collect()
}
