//! Values with a tolerance: `power = "2.5 W +- 20 %"`, `aperture = "f/4 +- 5 %"`,
//! `temperature = "20 degC +- 2 K"`. The value counts as it stands; a decision tells what the
//! tolerance does to it.

use super::document::{Document, Value};
use super::reader::Reader;
use crate::quantity::{self, Dimension, Quantity};

/// A value and how far it may be off.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerance {
    /// Key, or entry of a list.
    pub path: String,
    /// In SI.
    pub value: f64,
    /// Half the width of the range, in SI.
    pub half_width: f64,
    /// As it is stated behind the sign.
    pub stated: String,
    dimension: Option<Dimension>,
}

impl Tolerance {
    /// The value with so much of the half-width added, -1 for the lower end and 1 for the upper.
    pub fn at(&self, share: f64) -> Value {
        let value = self.value + share * self.half_width;
        match self.dimension {
            Some(dimension) => Value::Quantity(Quantity { value, dimension }),
            None => Value::Number(value),
        }
    }
}

/// Every value with a tolerance; faults where a tolerance cannot be read.
pub(super) fn tolerances(r: &Reader, document: &Document) -> Vec<Tolerance> {
    let one = |(path, stated): (&String, &String)| {
        // A value that does not fit its key has its fault already.
        let (value, dimension) = number(&document.written(path)?)?;
        let half_width = half_width(value, dimension, stated);
        let found = half_width.filter(|half| *half > 0.0 && half.is_finite());
        if found.is_none() {
            let unit = dimension.map_or("0.1".to_owned(), |d| d.example().to_owned());
            r.fault_at(path, format_args!(
                "has the tolerance \"{stated}\", but behind +- must stand a share above 0, such as 20 %, or a value of the same kind, such as {unit}"
            ));
        }
        Some(Tolerance {
            path: path.clone(),
            value,
            half_width: found?,
            stated: stated.clone(),
            dimension,
        })
    };
    document.tolerances().iter().filter_map(one).collect()
}

/// A number with its dimension, if it has one.
fn number(text: &str) -> Option<(f64, Option<Dimension>)> {
    match text.parse() {
        Ok(number) => Some((number, None)),
        Err(_) => quantity::parse(text).ok().map(|q| (q.value, Some(q.dimension))),
    }
}

/// A share of the value, or a difference in its own unit.
fn half_width(value: f64, dimension: Option<Dimension>, stated: &str) -> Option<f64> {
    let (half, of) = number(stated)?;
    match (of, dimension) {
        (Some(Dimension::Temperature), Some(Dimension::Temperature)) => {
            // A difference of degrees is one of kelvins.
            let degrees = stated.trim_end().ends_with('C');
            Some(if degrees { half - 273.15 } else { half })
        }
        // Of a temperature a share has no meaning.
        (Some(Dimension::Fraction), Some(Dimension::Temperature)) => None,
        (Some(Dimension::Fraction), _) => Some(half * value.abs()),
        (of, dimension) if of == dimension => Some(half),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use crate::setup::{EMBEDDED, EMBEDDED_NAME, Setup};

    fn setup(key: &str, value: &str) -> Result<Setup, String> {
        Setup::from_text(EMBEDDED_NAME, EMBEDDED, &[(key, value)]).map_err(|e| e.to_string())
    }

    /// By hand: shares of the value, and differences in its unit; the value counts as it stands.
    #[test]
    fn tolerances_are_shares_or_differences() {
        for (key, value, wanted) in [
            ("light.power", "2.5 W +- 20 %", 0.5),
            ("light.power", "2.5 W \u{b1} 300 mW", 0.3),
            ("lens.aperture", "f/4 +- 5 %", 0.2),
            ("sheet.out_of_plane", "0.05 +- 0.02", 0.02),
            ("fluid.temperature", "18 degC +- 2 K", 2.0),
            ("fluid.temperature", "18 degC +- 2 degC", 2.0),
            ("lens.transmission", "0.9 +- 10 %", 0.09),
        ] {
            let found = setup(key, value).unwrap();
            let [tolerance] = &found.tolerances[..] else {
                panic!("{value}: {:?}", found.tolerances)
            };
            assert_eq!(tolerance.path, key);
            assert!(
                (tolerance.half_width - wanted).abs() < 1e-9,
                "{value}: {tolerance:?}"
            );
        }
        assert_eq!(
            setup("light.power", "2.5 W +- 20 %").unwrap().light.power_w,
            Some(2.5)
        );
        // A changed value has no tolerance any more.
        let changed = setup("light.power", "2.5 W +- 20 %").unwrap();
        let changed = changed
            .with("light.power", crate::setup::Value::parse("3 W"))
            .unwrap();
        assert!(changed.tolerances.is_empty());
    }

    #[test]
    fn a_tolerance_that_says_nothing_is_refused() {
        for (key, value) in [
            ("light.power", "2.5 W +- 20 us"),
            ("light.power", "2.5 W +- some"),
            ("light.power", "2.5 W +- 0 %"),
            ("light.power", "2.5 W +- -3 %"),
            ("fluid.temperature", "18 degC +- 5 %"),
        ] {
            let message = setup(key, value).unwrap_err();
            assert!(
                message.contains(key) && message.contains("tolerance"),
                "{message}"
            );
        }
    }
}
