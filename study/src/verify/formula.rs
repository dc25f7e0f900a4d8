//! Expected values written as formulas of the swept value x, such as `-(d^2/8 + 1/6)/(D - x)`.

use std::collections::BTreeMap;
use std::fmt;

use exmex::{
    Express, FlatEx, FloatOpsFactory, MakeOperators, MatchLiteral, Operator, literal_matcher_from_pattern,
};

/// The usual functions of floating-point numbers and the error function.
#[derive(Debug, Clone)]
struct Functions;

impl MakeOperators<f64> for Functions {
    fn make<'a>() -> Vec<Operator<'a, f64>> {
        let mut all = FloatOpsFactory::<f64>::make();
        all.push(Operator::make_unary("erf", libm::erf));
        all
    }
}

literal_matcher_from_pattern!(Numbers, r"^([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?");

/// A formula of x and named constants.
#[derive(Clone)]
pub struct Formula {
    text: String,
    parsed: FlatEx<f64, Functions, Numbers>,
}

impl Formula {
    /// Reads a formula of operators `+ - * / ^`, functions such as `sqrt exp ln log10 sin cos tan
    /// asin acos atan abs erf`, `PI`, `x` and names of constants.
    ///
    /// # Errors
    /// What the parser objects to; a minus before a power without brackets.
    ///
    /// # Examples
    /// ```
    /// use std::collections::BTreeMap;
    ///
    /// use motefield_study::verify::formula::Formula;
    ///
    /// let constants = BTreeMap::from([("D".to_owned(), 32.0)]);
    /// let formula = Formula::parse("1 - x/D").unwrap();
    /// assert_eq!(formula.at(8.0, &constants), Ok(0.75));
    /// ```
    pub fn parse(text: &str) -> Result<Formula, String> {
        if negated_power(text) {
            return Err(format!(
                "`{text}`: a minus before a power can be read in two ways; write -(x^2) or (-x)^2"
            ));
        }
        let parsed = FlatEx::parse(text).map_err(|e| format!("`{text}` is not a formula: {e}"))?;
        Ok(Formula {
            text: text.to_owned(),
            parsed,
        })
    }

    /// Names in the formula other than x.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.parsed
            .var_names()
            .iter()
            .map(String::as_str)
            .filter(|n| *n != "x")
    }

    /// The formula's value at x.
    ///
    /// # Errors
    /// When a name has no value, or the result is not finite.
    pub fn at(&self, x: f64, constants: &BTreeMap<String, f64>) -> Result<f64, String> {
        let values = self
            .parsed
            .var_names()
            .iter()
            .map(|name| match name.as_str() {
                "x" => Ok(x),
                name => constants.get(name).copied().ok_or_else(|| {
                    format!(
                        "`{}`: {name} is neither x nor a constant; give it under [constants]",
                        self.text
                    )
                }),
            })
            .collect::<Result<Vec<f64>, String>>()?;
        let value = self
            .parsed
            .eval(&values)
            .map_err(|e| format!("`{}`: {e}", self.text))?;
        if value.is_finite() {
            Ok(value)
        } else {
            Err(format!("`{}` is {value} at x = {x}", self.text))
        }
    }
}

/// Whether a sign stands before a power without brackets: the parser takes -x^2 for (-x)^2,
/// mathematics for -(x^2).
fn negated_power(text: &str) -> bool {
    let signs: Vec<char> = text.chars().filter(|c| !c.is_whitespace()).collect();
    let is_sign = |k: usize| signs[k] == '-' && (k == 0 || "(,*/+-^".contains(signs[k - 1]));
    (0..signs.len()).filter(|&k| is_sign(k)).any(|k| {
        let mut depth = 0;
        let end = signs[k + 1..].iter().position(|&c| {
            match c {
                '(' => depth += 1,
                ')' => depth -= 1,
                _ => {}
            }
            depth < 0 || depth == 0 && !(c.is_alphanumeric() || ".)_".contains(c))
        });
        end.is_some_and(|end| signs[k + 1 + end] == '^')
    })
}

impl fmt::Display for Formula {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl fmt::Debug for Formula {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Formula({})", self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand; erf(1) from Abramowitz and Stegun, table 7.1.
    #[test]
    fn values_by_hand() {
        let constants = BTreeMap::from([("d".to_owned(), 2.0), ("D".to_owned(), 32.0)]);
        for (text, x, value) in [
            ("-(d^2/8 + 1/6)/(D - x)", 2.0, -(0.5 + 1.0 / 6.0) / 30.0),
            (
                "sqrt(PI)/2*erf(x)",
                1.0,
                0.5 * std::f64::consts::PI.sqrt() * 0.842_700_792_949_714_9,
            ),
            ("exp(-4*x^2)", 0.5, (-1.0f64).exp()),
            ("1/sqrt(1+x^2)", 0.1, 1.0 / 1.01f64.sqrt()),
            ("2e-3*x", 3.0, 6e-3),
            ("-(x^2)", 3.0, -9.0),
            ("(-x)^2", 3.0, 9.0),
        ] {
            let found = Formula::parse(text).unwrap().at(x, &constants).unwrap();
            assert!((found - value).abs() < 1e-12, "{text} = {found}, not {value}");
        }
    }

    #[test]
    fn faults_are_named() {
        assert!(Formula::parse("1 +").is_err());
        for twofold in ["-x^2", "exp(-x^2)", "2*-(x + 1)^2", "-sin(x) ^2"] {
            assert!(
                Formula::parse(twofold).unwrap_err().contains("two ways"),
                "{twofold}"
            );
        }
        for plain in ["3 - x^2", "-4*x^2", "-(d^2/8)/(2 - x)", "x^-2", "(1-x)^2"] {
            assert!(Formula::parse(plain).is_ok(), "{plain}");
        }
        let none = BTreeMap::new();
        assert!(
            Formula::parse("q*x")
                .unwrap()
                .at(1.0, &none)
                .unwrap_err()
                .contains("[constants]")
        );
        assert!(Formula::parse("1/x").unwrap().at(0.0, &none).is_err());
    }
}
