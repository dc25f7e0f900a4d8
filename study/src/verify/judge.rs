//! Verdicts: what was measured against what is expected.

use motefield_evaluator::statistics::{self, Estimate, ln_magnitude, lowest, ratio, weighted_sum};
use serde::{Deserialize, Serialize};

use super::case::expectation::{Axes, Check, Expectation, RelativeTo};
use super::case::{Case, Variant};
use super::formula::Formula;
use super::measure::Figures;

/// Whether a figure is as expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The value lies inside the range allowed and its interval is no wider; of a bound, which has
    /// no width, the whole interval lies inside.
    Agrees,
    /// Not as expected, but as its case says that it is known to be.
    Known,
    /// The interval is too wide to say: more pairs are needed.
    CannotTell,
    /// The value lies outside the range allowed, and its interval reaches in.
    Borderline,
    /// The whole interval lies outside the range allowed.
    Disagrees,
    /// There is no value: never measured, or not a number.
    Missing,
}

impl Verdict {
    /// In words.
    pub fn as_str(self) -> &'static str {
        match self {
            Verdict::Agrees => "agrees",
            Verdict::Known => "disagrees as known",
            Verdict::CannotTell => "cannot tell",
            Verdict::Borderline => "borderline",
            Verdict::Disagrees => "disagrees",
            Verdict::Missing => "missing",
        }
    }

    /// The verdict on a figure that should lie in the range `allowed`; either of its ends may be
    /// infinite.
    ///
    /// With both ends finite a figure agrees when it lies in the range and its interval is no
    /// wider, so that a fault of twice the range is seen. With one end infinite the range has no
    /// width to compare with, and the whole interval must lie inside.
    pub fn of(figure: Estimate, allowed: [f64; 2]) -> Verdict {
        let [low, high] = allowed;
        if figure.value.is_nan() {
            Verdict::Missing
        } else if figure.lo.is_nan() || figure.hi.is_nan() {
            Verdict::CannotTell
        } else if figure.hi < low || figure.lo > high {
            Verdict::Disagrees
        } else if !(low..=high).contains(&figure.value) {
            Verdict::Borderline
        } else if figure.lo >= low && figure.hi <= high
            || figure.hi - figure.lo <= high - low && (high - low).is_finite()
        {
            Verdict::Agrees
        } else {
            Verdict::CannotTell
        }
    }

    /// Whether the figure counts as a failure of the program at any depth.
    pub fn fails(self) -> bool {
        matches!(self, Verdict::Disagrees | Verdict::Missing)
    }

    /// Whether more pairs must decide.
    pub fn is_open(self) -> bool {
        matches!(self, Verdict::CannotTell | Verdict::Borderline)
    }
}

/// One figure held against what is expected of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Number of the expectation in its case.
    pub expectation: usize,
    /// The curve's name.
    pub variant: String,
    /// The place; where two are compared, both.
    pub at: String,
    /// What was measured, with its interval at the suite's confidence.
    pub measured: Estimate,
    /// What is expected, where it is one number.
    pub expected: Option<f64>,
    /// The range allowed.
    pub allowed: [f64; 2],
    /// The verdict.
    pub verdict: Verdict,
}

/// Compares the figures of a case, by curve and place, with all that it expects.
///
/// # Panics
/// When there are fewer curves or places than in the case.
///
/// # Examples
/// ```
/// use motefield_evaluator::statistics::Estimate;
/// use motefield_study::verify::case::Case;
/// use motefield_study::verify::judge::{Verdict, judge};
/// use motefield_study::verify::measure::Figures;
///
/// let case = Case::read(
///     "tracer",
///     r#"
///     title = "Response time of an oil droplet"
///     topic = "tracers"
///     measure = "tracer"
///     [source]
///     citation = "Stokes drag"
///     kind = "derived"
///     differs = "Nothing."
///     [[expect]]
///     name = "response time"
///     quantity = "response_time_s"
///     at_most = 3e-6
///     reason = "Two digits."
///     "#,
/// )
/// .unwrap();
/// let (value, lo, hi) = (2.8e-6, 2.7e-6, 2.9e-6);
/// let estimate = Estimate { value, lo, hi };
/// let measured = Figures::from([("response_time_s".to_owned(), estimate)]);
/// let comparisons = judge(&case, &[vec![measured]]);
/// assert_eq!(comparisons[0].verdict, Verdict::Agrees);
/// ```
pub fn judge(case: &Case, figures: &[Vec<Figures>]) -> Vec<Comparison> {
    case.expectations
        .iter()
        .enumerate()
        .flat_map(|(number, expectation)| {
            let of = Of {
                case,
                figures,
                expectation,
                number,
            };
            of.compare()
        })
        .collect()
}

/// What is expected at a place of a curve (its number among those of the expectation, and the value
/// swept), and the range allowed.
type Allowed<'a> = dyn Fn(usize, f64, &Variant) -> (Option<f64>, [f64; 2]) + 'a;

struct Of<'a> {
    case: &'a Case,
    figures: &'a [Vec<Figures>],
    expectation: &'a Expectation,
    number: usize,
}

impl Of<'_> {
    /// The figure at a place of a curve, divided by what it is relative to.
    fn figure(&self, variant: usize, place: usize) -> Estimate {
        let nothing = Estimate::unbounded(f64::NAN);
        let get = |variant: usize, place: usize| {
            let figures = &self.figures[variant][place];
            figures
                .get(&self.expectation.quantity)
                .copied()
                .unwrap_or(nothing)
        };
        let own = get(variant, place);
        match self.expectation.relative_to {
            None => own,
            Some(RelativeTo::Variant(other)) => ratio(own, get(other, place)),
            Some(RelativeTo::Place(other)) => ratio(own, get(variant, other)),
        }
    }

    fn compare(&self) -> Vec<Comparison> {
        let e = self.expectation;
        let each = |allowed: &Allowed| -> Vec<Comparison> {
            let mut all = Vec::new();
            for &variant in &e.variants {
                for (k, &place) in e.places.iter().enumerate() {
                    let (expected, allowed) =
                        allowed(k, self.case.places[place].x, &self.case.variants[variant]);
                    let at = self.case.places[place].text.clone();
                    all.push(self.comparison(variant, at, self.figure(variant, place), expected, allowed));
                }
            }
            all
        };
        match &e.check {
            Check::Equals(formula, tolerance) => each(&|_, x, variant| {
                let expected = value(formula, x, variant);
                (Some(expected), tolerance.about(expected))
            }),
            Check::Values(values, tolerance) => {
                each(&|k, _, _| (Some(values[k]), tolerance.about(values[k])))
            }
            Check::AtMost(formula) => each(&|_, x, variant| {
                let bound = value(formula, x, variant);
                (Some(bound), [f64::NEG_INFINITY, bound])
            }),
            Check::AtLeast(formula) => each(&|_, x, variant| {
                let bound = value(formula, x, variant);
                (Some(bound), [bound, f64::INFINITY])
            }),
            Check::Places(order, by) => self.rising(order, *by),
            Check::Variants(order, by) => self.rising_variants(order, *by),
            Check::Lowest(range) => self.optimum(*range, 1.0),
            Check::Highest(range) => self.optimum(*range, -1.0),
            Check::Slope(slope, axes, tolerance) => {
                let t = tolerance.of(*slope);
                let slope_of = |&variant: &usize| {
                    let points: Vec<(f64, Estimate)> = e
                        .places
                        .iter()
                        .map(|&place| (self.case.places[place].x, self.figure(variant, place)))
                        .map(|(x, figure)| match axes {
                            Axes::Linear => (x, figure),
                            Axes::LogLog => (x.ln(), ln_magnitude(figure)),
                        })
                        .collect();
                    let allowed = [slope - t, slope + t];
                    self.comparison(
                        variant,
                        self.range(),
                        statistics::slope(&points),
                        Some(*slope),
                        allowed,
                    )
                };
                e.variants.iter().map(slope_of).collect()
            }
        }
    }

    fn rising(&self, order: &[usize], by: f64) -> Vec<Comparison> {
        let mut all = Vec::new();
        for &variant in &self.expectation.variants {
            for two in order.windows(2) {
                let [low, high] = [two[0], two[1]].map(|place| self.figure(variant, place));
                let [from, to] = [two[0], two[1]].map(|place| self.case.places[place].text.as_str());
                let ratio = ratio(high, low);
                all.push(self.comparison(
                    variant,
                    format!("{to} over {from}"),
                    ratio,
                    None,
                    [by, f64::INFINITY],
                ));
            }
        }
        all
    }

    fn rising_variants(&self, order: &[usize], by: f64) -> Vec<Comparison> {
        let mut all = Vec::new();
        for &place in &self.expectation.places {
            for two in order.windows(2) {
                let ratio = ratio(self.figure(two[1], place), self.figure(two[0], place));
                let mut comparison = self.comparison(
                    two[1],
                    self.case.places[place].text.clone(),
                    ratio,
                    None,
                    [by, f64::INFINITY],
                );
                let [low, high] = [two[0], two[1]].map(|v| self.case.variants[v].name.as_str());
                comparison.variant = format!("{high} over {low}");
                all.push(comparison);
            }
        }
        all
    }

    /// Where the lowest (`sign` 1) or highest (`sign` -1) figure of each curve lies.
    fn optimum(&self, range: [f64; 2], sign: f64) -> Vec<Comparison> {
        let place_of = |&variant: &usize| {
            let points: Vec<(f64, Estimate)> = self
                .expectation
                .places
                .iter()
                .map(|&k| {
                    (
                        self.case.places[k].x,
                        weighted_sum(&[(sign, self.figure(variant, k))]),
                    )
                })
                .collect();
            self.comparison(variant, self.range(), lowest(&points), None, range)
        };
        self.expectation.variants.iter().map(place_of).collect()
    }

    /// The first and the last place, in words.
    fn range(&self) -> String {
        let places = &self.expectation.places;
        let name = |k: Option<&usize>| k.map_or("", |&k| self.case.places[k].text.as_str());
        format!("{} to {}", name(places.first()), name(places.last()))
    }

    /// A figure that is known not to be as expected is held to what it is known to be.
    fn verdict(&self, measured: Estimate, allowed: [f64; 2]) -> Verdict {
        let verdict = Verdict::of(measured, allowed);
        match &self.expectation.known_disagreement {
            Some(known) if matches!(verdict, Verdict::Borderline | Verdict::Disagrees) => {
                match Verdict::of(measured, known.interval) {
                    Verdict::Agrees => Verdict::Known,
                    other => other,
                }
            }
            _ => verdict,
        }
    }

    fn comparison(
        &self,
        variant: usize,
        at: String,
        measured: Estimate,
        expected: Option<f64>,
        allowed: [f64; 2],
    ) -> Comparison {
        Comparison {
            expectation: self.number,
            variant: self.case.variants[variant].name.clone(),
            at,
            measured,
            expected,
            allowed,
            verdict: self.verdict(measured, allowed),
        }
    }
}

/// The value of a formula; reading the case checked that it has one.
fn value(formula: &Formula, x: f64, variant: &Variant) -> f64 {
    formula.at(x, &variant.constants).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The five verdicts at the edges of a range and of a bound.
    #[test]
    fn value_and_interval_decide() {
        let of = |[value, lo, hi]: [f64; 3], allowed| Verdict::of(Estimate { value, lo, hi }, allowed);
        let range = [1.0, 2.0];
        assert_eq!(of([1.9, 1.5, 2.3], range), Verdict::Agrees);
        assert_eq!(of([2.1, 1.8, 2.4], range), Verdict::Borderline);
        assert_eq!(of([2.5, 2.1, 2.9], range), Verdict::Disagrees);
        assert_eq!(of([1.5, 0.9, 2.1], range), Verdict::CannotTell);
        let bound = [f64::NEG_INFINITY, 2.0];
        assert_eq!(of([1.0, 0.5, 1.5], bound), Verdict::Agrees);
        assert_eq!(of([1.9, 1.5, 2.3], bound), Verdict::CannotTell);
        assert_eq!(of([2.1, 1.8, 2.4], bound), Verdict::Borderline);
        assert_eq!(of([2.5, 2.1, 2.9], bound), Verdict::Disagrees);
        for allowed in [range, bound] {
            assert_eq!(of([f64::NAN; 3], allowed), Verdict::Missing);
            assert_eq!(of([1.5, f64::NAN, f64::NAN], allowed), Verdict::CannotTell);
            assert_eq!(
                of([1.5, f64::NEG_INFINITY, f64::INFINITY], allowed),
                Verdict::CannotTell
            );
        }
    }

    const CASE: &str = r#"
title = "Response time"
topic = "tracers"
measure = "tracer"
[source]
citation = "Stokes drag"
kind = "derived"
differs = "Nothing."
[[expect]]
name = "response time"
quantity = "response_time_s"
equals = 2.8e-6
tolerance = { relative = 0.01 }
reason = "Two digits."
known_disagreement = { value = 3.2e-6, interval = [3.1e-6, 3.3e-6], reason = "Another drag." }
"#;

    /// A figure that is known to disagree is held to what it is known to be: farther off it fails
    /// like any other, and so does one that was never measured.
    #[test]
    fn known_disagreements_are_held() {
        let case = Case::read("tracer", CASE).unwrap();
        let verdict = |value: f64| {
            let measured = Figures::from([("response_time_s".to_owned(), Estimate::exact(value))]);
            judge(&case, &[vec![measured]])[0].verdict
        };
        assert_eq!(verdict(2.8e-6), Verdict::Agrees);
        assert_eq!(verdict(3.2e-6), Verdict::Known);
        assert_eq!(verdict(3.4e-6), Verdict::Disagrees);
        assert_eq!(judge(&case, &[vec![Figures::new()]])[0].verdict, Verdict::Missing);
        let outside = CASE.replace("value = 3.2e-6", "value = 4e-6");
        assert!(
            Case::read("tracer", &outside)
                .unwrap_err()
                .to_string()
                .contains("outside the interval")
        );
    }
}
