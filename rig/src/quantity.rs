//! Quantities as a setup file writes them, `"120 us"`, and as results show them.
//!
//! A closed list of units, each belonging to one dimension; values come out in SI (pixels,
//! electrons and grey levels count as themselves). Power-of-ten units shift the number's own
//! exponent before it is read, so `"532 nm"` is exactly 532e-9.

mod error;
mod number;
mod units;

pub use error::QuantityError;
pub use number::{digits, short, significant, to_three_digits};
pub use units::Dimension;

use error::Misreading;
use units::{UNITS, Unit};

/// A number with what it measures, in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// The value in the unit that [`Dimension`] names.
    pub value: f64,
    /// What it measures.
    pub dimension: Dimension,
}

impl Quantity {
    /// All digits of the value with the unit in which values are stored: read back, it is the same.
    pub fn exact(&self) -> String {
        match self.dimension {
            Dimension::Aperture => format!("f/{}", self.value),
            Dimension::Fraction => self.value.to_string(),
            dimension => format!("{:e} {}", self.value, dimension.unit()),
        }
    }
}

/// Reads a quantity of any dimension.
///
/// A number (sign, decimals, exponent; underscores may group digits), then a unit of the list, with
/// or without space between: `"120 us"`, `"1.2e-3 J"`, `"8.7 /mm3"`; an f-number as `"f/4"`. µ may
/// be written `u`, `µ` or `μ`, degrees `deg` or `°`, powers `m3`, `m^3` or `m³`.
///
/// # Errors
/// When the text is no number with a known unit, or not finite.
pub fn parse(text: &str) -> Result<Quantity, QuantityError> {
    read(text, &[])
}

/// Reads a quantity of one dimension; its value in SI.
///
/// # Errors
/// As [`parse`], and when the quantity is of another dimension.
pub fn parse_as(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    parse_as_any(text, &[dimension]).map(|q| q.value)
}

/// Reads a quantity of any of the dimensions given.
///
/// # Errors
/// As [`parse`], and when the quantity is of another dimension.
pub fn parse_as_any(text: &str, expected: &[Dimension]) -> Result<Quantity, QuantityError> {
    let quantity = read(text, expected)?;
    if expected.contains(&quantity.dimension) {
        return Ok(quantity);
    }
    let fault = Misreading::WrongDimension(quantity.dimension);
    Err(QuantityError::of_string(text, expected, fault))
}

fn read(text: &str, expected: &[Dimension]) -> Result<Quantity, QuantityError> {
    let fail = |fault| Err(QuantityError::of_string(text, expected, fault));
    let plain = one_spelling(text);
    let (number, unit_name) = match plain.strip_prefix("f/").or(plain.strip_prefix("F/")) {
        Some(number) => (number.trim(), "f/"),
        None => {
            let (number, unit) = plain.split_at(number_length(&plain));
            (number, unit.trim())
        }
    };
    if unit_name.starts_with(',') {
        return fail(Misreading::DecimalComma);
    }
    let Some((mantissa, exponent)) = scientific(number) else {
        return fail(Misreading::NotANumber);
    };
    if unit_name.is_empty() {
        return fail(Misreading::NoUnit(number.to_owned()));
    }
    let Some(unit) = UNITS.iter().find(|u| unit_key(u.name) == unit_key(unit_name)) else {
        return fail(Misreading::UnknownUnit(unit_name.to_owned()));
    };
    // Reading "120e-6" instead of multiplying 120 by 1e-6 rounds once, so "120 us" is 120e-6
    // exactly.
    let shifted = format!("{mantissa}e{}", exponent.saturating_add(unit.exponent));
    let value = shifted.parse::<f64>().unwrap_or(f64::NAN) * unit.factor + unit.zero;
    if !value.is_finite() {
        return fail(Misreading::NotFinite);
    }
    Ok(Quantity {
        value,
        dimension: unit.dimension,
    })
}

/// The text with one spelling for each sign: `u` for µ, `deg` for °, plain digits and minus.
fn one_spelling(text: &str) -> String {
    text.trim()
        .replace(['µ', 'μ'], "u")
        .replace('°', "deg")
        .replace('³', "3")
        .replace('²', "2")
        .replace('−', "-")
}

/// A unit's name without what may be written or left out: "1/mm^3" is "/mm3", "Pa·s" is "Pa s",
/// "e-" is "e".
fn unit_key(name: &str) -> String {
    let name: String = name
        .chars()
        .filter(|c| !matches!(c, ' ' | '^' | '·' | '*'))
        .collect();
    let name = name
        .strip_prefix("1/")
        .map_or(name.clone(), |rest| format!("/{rest}"));
    match name.as_str() {
        "e-" => "e".to_owned(),
        "DN/e-" => "DN/e".to_owned(),
        "e-/s" => "e/s".to_owned(),
        _ => name,
    }
}

/// Bytes of the number at the start of `text`. An `e` belongs to it only with digits behind: "5e-6
/// m", but "20000e".
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let run =
        |from: usize, good: fn(u8) -> bool| from + bytes[from..].iter().take_while(|&&b| good(b)).count();
    let sign = |at: usize| at + usize::from(matches!(bytes.get(at), Some(b'+' | b'-')));
    let is_digit = |b: u8| b.is_ascii_digit() || b == b'_';
    let mut end = run(sign(0), is_digit);
    if bytes.get(end) == Some(&b'.') {
        end = run(end + 1, is_digit);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let digits = sign(end + 1);
        let exponent_end = run(digits, |b| b.is_ascii_digit());
        if exponent_end > digits {
            end = exponent_end;
        }
    }
    end
}

/// Mantissa and exponent of a number, or nothing where there is none. Underscores stand between
/// digits only.
fn scientific(number: &str) -> Option<(String, i32)> {
    let is_digit = |b: Option<&u8>| b.is_some_and(u8::is_ascii_digit);
    let bytes = number.as_bytes();
    let grouped = (0..bytes.len())
        .filter(|&i| bytes[i] == b'_')
        .all(|i| i > 0 && is_digit(bytes.get(i - 1)) && is_digit(bytes.get(i + 1)));
    let number = number.replace('_', "");
    let (mantissa, exponent) = match number.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa.to_owned(), exponent.parse().ok()?),
        None => (number, 0),
    };
    let plain = mantissa
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.'));
    (grouped && plain && mantissa.parse::<f64>().is_ok()).then_some((mantissa, exponent))
}

/// From here on results show a number with its exponent.
const LONG: f64 = 1e7;

/// Writes a value in SI as a quantity for the eye, in the unit that keeps its number short: "184
/// us", "0.31 m/s", "f/4".
///
/// Four significant digits, or all digits before the point up to 10 million; [`parse`] reads it
/// back to that precision, and what it reads is written the same way again. A value that is not
/// finite is written as `NaN` or `inf` with the unit, which `parse` refuses.
pub fn format(value: f64, dimension: Dimension) -> String {
    let shown = || {
        UNITS
            .iter()
            .filter(|u| u.dimension == dimension && u.shown_from.is_finite())
    };
    let in_unit = |u: &Unit| {
        let number = (value - u.zero) / (u.factor * 10f64.powi(u.exponent));
        // Differences to Celsius' zero carry the rounding of 273.15.
        rounded(if u.zero == 0.0 {
            number
        } else {
            (number * 1e3).round() * 1e-3
        })
    };
    let base = shown().find(|u| u.exponent == 0);
    let fitting = shown().find(|u| in_unit(u).abs() >= u.shown_from);
    let chosen = if value == 0.0 || !value.is_finite() {
        base.or(fitting)
    } else {
        fitting
    };
    let Some(unit) = chosen.or_else(|| shown().next_back()) else {
        return value.to_string();
    };
    let number = shortest(in_unit(unit));
    match unit.dimension {
        Dimension::Aperture => format!("f/{number}"),
        _ => format!("{number} {}", unit.name),
    }
}

/// To four significant digits, or to all digits before the point where an exponent is not yet due.
fn rounded(number: f64) -> f64 {
    match number.abs() {
        1000.0..LONG => number.round(),
        _ => significant(number, 4),
    }
}

/// The shortest digits of a rounded number, with an exponent where it would be long.
fn shortest(number: f64) -> String {
    let magnitude = number.abs();
    if number == 0.0 {
        "0".to_owned()
    } else if (1e-4..LONG).contains(&magnitude) || !number.is_finite() {
        format!("{number}")
    } else {
        format!("{number:e}")
    }
}

#[cfg(test)]
mod tests;
