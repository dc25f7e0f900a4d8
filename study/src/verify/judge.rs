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
    /// The interval lies inside the range allowed, or meets it and is no wider.
    Agrees,
    /// The interval is too wide to say: more pairs are needed.
    CannotTell,
    /// The whole interval lies outside the range allowed.
    Disagrees,
}

impl Verdict {
    /// In words.
    pub fn as_str(self) -> &'static str {
        match self {
            Verdict::Agrees => "agrees",
            Verdict::CannotTell => "cannot tell",
            Verdict::Disagrees => "disagrees",
        }
    }

    /// The verdict on a figure that should lie in the range `allowed`; either of its ends may be
    /// infinite.
    ///
    /// With both ends finite a figure agrees when its interval meets the range and is no wider, so
    /// that a fault of twice the range is seen. With one end infinite the range has no width to
    /// compare with, and the whole interval must lie inside.
    pub fn of(figure: Estimate, allowed: [f64; 2]) -> Verdict {
        let [low, high] = allowed;
        if figure.value.is_nan() || figure.lo.is_nan() || figure.hi.is_nan() {
            Verdict::CannotTell
        } else if figure.hi < low || figure.lo > high {
            Verdict::Disagrees
        } else if figure.lo >= low && figure.hi <= high
            || figure.hi - figure.lo <= high - low && (high - low).is_finite()
        {
            Verdict::Agrees
        } else {
            Verdict::CannotTell
        }
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

/// What is expected at a place of a curve, and the range allowed.
type Allowed<'a> = dyn Fn(f64, &Variant) -> (Option<f64>, [f64; 2]) + 'a;

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
                for &place in &e.places {
                    let (expected, allowed) =
                        allowed(self.case.places[place].x, &self.case.variants[variant]);
                    let at = self.case.places[place].text.clone();
                    all.push(self.comparison(variant, at, self.figure(variant, place), expected, allowed));
                }
            }
            all
        };
        match &e.check {
            Check::Equals(formula, tolerance) => each(&|x, variant| {
                let expected = value(formula, x, variant);
                let t = tolerance.of(expected);
                (Some(expected), [expected - t, expected + t])
            }),
            Check::AtMost(formula) => each(&|x, variant| {
                let bound = value(formula, x, variant);
                (Some(bound), [f64::NEG_INFINITY, bound])
            }),
            Check::AtLeast(formula) => each(&|x, variant| {
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
            verdict: Verdict::of(measured, allowed),
        }
    }
}

/// The value of a formula; reading the case checked that it has one.
fn value(formula: &Formula, x: f64, variant: &Variant) -> f64 {
    formula.at(x, &variant.constants).unwrap_or(f64::NAN)
}
