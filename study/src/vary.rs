//! What a sweep varies: `KEY=FROM..TO:log:N`, `KEY=FROM..TO:lin:N` or `KEY=a,b,c`.

use crate::StudyError;
use motefield_rig::{quantity, setup};

/// A key of the setup and the values it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Vary {
    /// The key, such as `light.pulse_length`.
    pub key: String,
    /// Its values in order.
    pub values: Vec<SweepValue>,
}

/// One value of the key.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepValue {
    /// As it would stand in the setup file (without quotes).
    pub text: String,
    /// The number in it, or the word.
    pub number: String,
    /// The unit in it; empty for plain numbers and words.
    pub unit: String,
}

/// Largest number of points of a sweep.
const MOST: usize = 1000;

impl std::str::FromStr for Vary {
    type Err = StudyError;

    fn from_str(text: &str) -> Result<Vary, StudyError> {
        let bad = |why: &str| {
            StudyError::request(format!(
                "{text}: {why}; write for example light.pulse_length=10us..1ms:log:9, image.seeding_density=0.01ppp..0.05ppp:lin:5 or camera.bits=8,10,12"
            ))
        };
        let (key, values) = text
            .split_once('=')
            .ok_or_else(|| bad("there is no `=` after the key"))?;
        let key = key.trim().to_owned();
        let Some((from, rest)) = values.split_once("..") else {
            let values: Vec<SweepValue> = values
                .split(',')
                .map(str::trim)
                .filter(|v| !v.is_empty())
                .map(SweepValue::new)
                .collect();
            return match values.len() {
                0 => Err(bad("there are no values")),
                n if n > MOST => Err(bad("there are more than 1000 values")),
                _ => Ok(Vary { key, values }),
            };
        };
        let parts: Vec<&str> = rest.split(':').collect();
        let [to, scale, count] = parts[..] else {
            return Err(bad(
                "after FROM.. there must be TO, then :log: or :lin:, then the number of points",
            ));
        };
        let count: usize = count
            .trim()
            .parse()
            .ok()
            .filter(|n| (2..=MOST).contains(n))
            .ok_or_else(|| bad("the number of points must be 2 to 1000"))?;
        let (from, to) = (SweepValue::new(from), SweepValue::new(to));
        let (a, b) = ends(&from, &to).ok_or_else(|| bad("FROM and TO must be numbers of the same kind"))?;
        let at: Box<dyn Fn(f64) -> f64> = match scale {
            "lin" => Box::new(move |t| a + (b - a) * t),
            "log" if a > 0.0 && b > 0.0 => Box::new(move |t| a * (b / a).powf(t)),
            "log" => return Err(bad("a logarithmic range must be above 0")),
            _ => return Err(bad("the spacing must be log or lin")),
        };
        let value = |k: usize| {
            from.with_number(match k {
                0 => a,
                k if k + 1 == count => b,
                k => at(k as f64 / (count - 1) as f64),
            })
        };
        Ok(Vary {
            key,
            values: (0..count).map(value).collect(),
        })
    }
}

/// Both numbers in the unit of the first.
fn ends(from: &SweepValue, to: &SweepValue) -> Option<(f64, f64)> {
    let (a, b) = (from.number.parse::<f64>().ok()?, to.number.parse::<f64>().ok()?);
    if !(a.is_finite() && b.is_finite()) {
        return None;
    }
    if from.unit == to.unit {
        return Some((a, b));
    }
    let (end, zero, one) = (
        quantity::parse(&to.text).ok()?,
        quantity::parse(&from.with_number(0.0).text).ok()?,
        quantity::parse(&from.with_number(1.0).text).ok()?,
    );
    (end.dimension == one.dimension).then(|| (a, (end.value - zero.value) / (one.value - zero.value)))
}

impl SweepValue {
    /// The value as a setup takes it.
    pub fn value(&self) -> setup::Value {
        match quantity::parse(&self.text) {
            Ok(quantity) => setup::Value::Quantity(quantity),
            Err(_) => setup::Value::parse(&self.text),
        }
    }

    /// Takes a value apart into its number, or word, and its unit.
    pub fn new(text: &str) -> SweepValue {
        let text = text.trim();
        if let Some(number) = text.strip_prefix("f/") {
            return SweepValue {
                text: text.to_owned(),
                number: number.trim().to_owned(),
                unit: "f/".to_owned(),
            };
        }
        let number = (0..=text.len())
            .rev()
            .filter(|&k| text.is_char_boundary(k))
            .find(|&k| text[..k].trim_end().parse::<f64>().is_ok_and(f64::is_finite));
        match number {
            Some(k) if k > 0 => SweepValue {
                text: text.to_owned(),
                number: text[..k].trim_end().to_owned(),
                unit: text[k..].trim().to_owned(),
            },
            _ => SweepValue {
                text: text.to_owned(),
                number: text.to_owned(),
                unit: String::new(),
            },
        }
    }

    /// Another number in the same unit, to six significant digits: what the table shows is what was
    /// rendered.
    pub fn with_number(&self, number: f64) -> SweepValue {
        let number = quantity::significant(number, 6).to_string();
        let text = match self.unit.as_str() {
            "f/" => format!("f/{number}"),
            "" => number.clone(),
            unit => format!("{number} {unit}"),
        };
        SweepValue {
            text,
            number,
            unit: self.unit.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(vary: &str) -> Vec<String> {
        vary.parse::<Vary>()
            .unwrap()
            .values
            .into_iter()
            .map(|v| v.text)
            .collect()
    }

    #[test]
    fn ranges_and_lists() {
        assert_eq!(
            texts("light.pulse_length=10us..1ms:log:3"),
            ["10 us", "100 us", "1000 us"]
        );
        assert_eq!(
            texts("image.seeding_density=0.01 ppp..0.05 ppp:lin:3"),
            ["0.01 ppp", "0.03 ppp", "0.05 ppp"]
        );
        assert_eq!(texts("camera.bits=8,10, 12"), ["8", "10", "12"]);
        assert_eq!(texts("lens.aperture=f/2..f/8:log:3"), ["f/2", "f/4", "f/8"]);
        assert_eq!(
            texts("processing.weighting=top-hat,gaussian"),
            ["top-hat", "gaussian"]
        );
        assert_eq!(
            texts("fluid.temperature=10degC..293.15K:lin:2"),
            ["10 degC", "20 degC"]
        );
    }

    #[test]
    fn bad_ranges_say_what_to_write() {
        for bad in [
            "light.power",
            "a=1..2:log",
            "a=1..2:cube:4",
            "a=0..2:log:4",
            "a=1 us..2 mm:lin:4",
            "a=1..2:lin:1",
            "a=",
            "a=1..x:lin:3",
        ] {
            let message = bad.parse::<Vary>().unwrap_err().to_string();
            assert!(
                message.contains(bad) && message.contains("for example"),
                "{message}"
            );
        }
    }
}
