//! The reference figures in quick depth: that they agree, that each of them can fail, that false
//! alarms are rare.

use std::collections::BTreeSet;
use std::sync::OnceLock;
use std::sync::atomic::AtomicBool;

use motefield_evaluator::statistics::{Confidence, Estimate, GridValues, mean, ratio, root_mean_square};
use motefield_generator::Seed;
use motefield_report::verify::lines;
use motefield_study::run::{Chain, Silent};
use motefield_study::verify::EMBEDDED;
use motefield_study::verify::case::Case;
use motefield_study::verify::case::expectation::{Check, Expectation};
use motefield_study::verify::judge::{Comparison, Verdict, judge};
use motefield_study::verify::measure::Figures;
use motefield_study::verify::record::CaseRecord;
use motefield_study::verify::suite::{Depth, Runner, confidence, read};

/// The cases that are wanted, measured.
fn measured(wanted: impl Fn(&Case) -> bool) -> Vec<(Case, CaseRecord)> {
    let cases = read(EMBEDDED.iter().copied()).unwrap();
    let runner = Runner {
        chain: Chain::default(),
        depth: Depth::Quick,
        seed: 1,
        confidence: confidence(&cases),
        progress: &Silent,
        stop: &AtomicBool::new(false),
    };
    let run = |case: Case| {
        let record = runner.run(&case).unwrap().unwrap();
        (case, record)
    };
    cases.into_iter().filter(wanted).map(run).collect()
}

/// All cases, measured once for all tests.
fn suite() -> &'static [(Case, CaseRecord)] {
    static SUITE: OnceLock<Vec<(Case, CaseRecord)>> = OnceLock::new();
    SUITE.get_or_init(|| measured(|_| true))
}

/// That no figure of a case disagrees, unless the case says so.
fn agrees(case: &Case, record: &CaseRecord) {
    for (k, e) in case.expectations.iter().enumerate() {
        // What is said to disagree must not begin to agree unnoticed.
        let as_known = |c: &Comparison| match &e.known_disagreement {
            Some(known) => (known.interval[0]..=known.interval[1]).contains(&c.measured.value),
            None => true,
        };
        let of_figure = || record.comparisons.iter().filter(|c| c.expectation == k);
        let bad =
            record.verdict(k).fails() || record.verdict(k) == Verdict::Agrees && !of_figure().any(as_known);
        assert!(!bad, "{}\n{}", e.name, lines(case, record));
    }
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn no_figure_disagrees_unless_its_case_says_so() {
    suite().iter().for_each(|(case, record)| agrees(case, record));
}

/// Cases with pictures that take a third of a second or less.
const QUICK: &[&str] = &[
    "background-removal",
    "bright-uniform",
    "crosstalk",
    "deformation-gain",
    "emva-camera",
    "emva-datasheets",
    "emva-transfer",
    "error-at-rest",
    "fixed-pattern",
    "in-plane",
    "midway",
    "offset-gain",
    "out-of-plane-error",
    "planted-outliers",
    "quarter-rule",
    "response-cutoff",
    "seeding-number",
    "streak-peak",
    "unequal-pulses",
    "valid-detection-noise",
    "vertical",
];

/// Figures without a picture, and of every stage of the way from the light to the vector a few.
#[test]
fn figures_that_are_quickly_measured_agree() {
    let quick = measured(|case| !case.measure.statistical || QUICK.contains(&case.name.as_str()));
    assert!(quick.len() > 40, "{}", quick.len());
    quick.iter().for_each(|(case, record)| agrees(case, record));
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn there_are_enough_figures_of_every_check() {
    let words: Vec<&str> = suite()
        .iter()
        .flat_map(|(c, _)| c.expectations.iter().map(|e| e.word()))
        .collect();
    assert!(words.len() >= 30);
    for word in ["value", "formula", "bound", "ordering", "optimum", "slope"] {
        assert!(words.contains(&word), "no {word}");
    }
}

/// Every expectation fails for some simple change of what was measured: a factor, an offset, a
/// sign, a rise or fall along the sweep or from curve to curve.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn every_figure_can_fail() {
    type Change = fn(f64, f64, f64) -> f64;
    let changes: [Change; 9] = [
        |v, _, _| 3.0 * v,
        |v, _, _| v / 3.0,
        |v, _, _| -v,
        |v, _, _| v + 10.0,
        |v, _, _| v - 10.0,
        |v, _, place| v.abs().max(1e-3) * 9f64.powf(place),
        |v, _, place| v.abs().max(1e-3) * 9f64.powf(-place),
        |v, curve, _| v.abs().max(1e-3) * 9f64.powf(curve),
        |v, curve, _| v.abs().max(1e-3) * 9f64.powf(-curve),
    ];
    for (case, record) in suite() {
        for (k, e) in case.expectations.iter().enumerate() {
            let fails = changes.iter().any(|change| {
                let mut figures: Vec<Vec<Figures>> = record.figures.clone();
                for (curve, places) in figures.iter_mut().enumerate() {
                    for (place, all) in places.iter_mut().enumerate() {
                        if let Some(figure) = all.get_mut(&e.quantity) {
                            *figure = Estimate::exact(change(figure.value, curve as f64, place as f64));
                        }
                    }
                }
                judge(case, &figures)
                    .iter()
                    .any(|c| c.expectation == k && c.verdict == Verdict::Disagrees)
            });
            assert!(fails, "{}: {} cannot fail", case.name, e.name);
        }
    }
}

const DEFORMING: &str = "a bound or an order of deforming passes; their size is held by other cases";
const LOST: &str = "few vectors are lost: a share of some per cent is not known to 15 % of itself";
const REQUIRED: &str = "what is required is as wide";

/// Figures, each a quantity of a case, that some change of a seventh or of sign leaves inside their
/// ranges, and why.
const BLUNT: &[(&str, &str, &str)] = &[
    (
        "decision",
        "best_pulse_s",
        "the optimum is flat: pulse lengths a third apart cannot be told from it at this depth",
    ),
    (
        "efficiency",
        "random_x_px",
        "held as an order of the refinements; its size is held by the cases of noise",
    ),
    (
        "background-removal",
        "bias_x_px",
        "how far spots hold the displacement back depends on their places",
    ),
    ("brightness-against-blur", "random_x_px", DEFORMING),
    ("efficiency", "efficiency_x", DEFORMING),
    (
        "interpolators-deforming",
        "total_x_px",
        "half a hundredth of a pixel with the longest splines: 15 % of it are less than chance",
    ),
    ("midway", "total_x_px", DEFORMING),
    ("streak-equal-power", "random_x_px", DEFORMING),
    (
        "equal-power-optimum",
        "bias_x_px",
        "a hundredth of a pixel: 15 % of it are less than five standard errors",
    ),
    (
        "interpolator-bias",
        "bias_px",
        "half a thousandth of a pixel with the longest spline: less than chance",
    ),
    (
        "offset-gain",
        "random_x_px",
        "with the offset, windows at the border reach out of the picture: a ratio alone is known",
    ),
    (
        "out-of-plane-error",
        "total_x_px",
        "an order of magnitude is published",
    ),
    ("quarter-rule", "outliers", LOST),
    ("valid-detection-gradient", "outliers", LOST),
    ("valid-detection-noise", "outliers", LOST),
    ("valid-detection-noise", "fast_outliers", LOST),
    ("small-images", "total_x_px", "bounds by counting, no value"),
    (
        "small-images",
        "bias_x_px",
        "the parabola's chance error of the second order, 0.03 px",
    ),
    (
        "tracer-light-averaged",
        "perpendicular_m2_sr",
        "two digits are given",
    ),
    ("uncertainty-correlation-statistics", "ratio", REQUIRED),
    ("uncertainty-loss-gradient", "ratio", REQUIRED),
    ("uncertainty-loss-gradient", "coverage_1", REQUIRED),
    ("uncertainty-loss-gradient", "coverage_2", REQUIRED),
    (
        "uncertainty-peak-ratio",
        "ratio",
        "known to over-predict, not how far",
    ),
];

/// What becomes of a figure; without a value it is missing.
type Mutation<'a> = &'a dyn Fn(Estimate) -> Option<Estimate>;

/// Whether an expectation finds a change of a quantity along a curve: another verdict than before,
/// with which a full verification ends in exit code 1 or 4.
fn finds(case: &Case, record: &CaseRecord, curve: usize, quantity: &str, mutation: Mutation) -> bool {
    let mut figures = record.figures.clone();
    for place in &mut figures[curve] {
        match place.get(quantity).copied().and_then(mutation) {
            Some(changed) => place.insert(quantity.to_owned(), changed),
            None => place.remove(quantity),
        };
    }
    let after = judge(case, &figures);
    let mut pairs = record.comparisons.iter().zip(&after);
    pairs.any(|(before, after)| after.verdict >= Verdict::Borderline && after.verdict > before.verdict)
}

/// The half width of the narrowest range about an expected zero, where zero is all that is expected
/// of a quantity along a curve.
fn tolerance_of_zero(case: &Case, record: &CaseRecord, curve: usize, quantity: &str) -> Option<f64> {
    let values = record.comparisons.iter().filter(|c| {
        let e = &case.expectations[c.expectation];
        e.quantity == quantity
            && c.variant == case.variants[curve].name
            && c.expected.is_some()
            && c.allowed.iter().all(|end| end.is_finite())
    });
    let ranges: Vec<(f64, f64)> = values
        .map(|c| (c.expected.unwrap_or(f64::NAN), c.allowed[1]))
        .collect();
    let zero = !ranges.is_empty()
        && ranges
            .iter()
            .all(|(expected, high)| expected.abs() < 1e-6 * (high - expected));
    zero.then(|| ranges.iter().map(|(_, high)| *high).fold(f64::INFINITY, f64::min))
}

/// One of a list of them.
type OwnedMutation = Box<dyn Fn(Estimate) -> Option<Estimate>>;

/// Every measured figure is changed in turn: times 0.85 and 1.15, of the other sign, not a number,
/// missing. An expectation of its own case finds 95 % of these changes; where the rest are, BLUNT
/// says why. A figure that should be zero no factor changes: it is moved to 1.15 times its
/// tolerance on either side.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn changed_figures_are_found() {
    let times = |factor: f64| {
        move |e: Estimate| {
            let [one, two] = [factor * e.lo, factor * e.hi];
            let (lo, hi) = (one.min(two), one.max(two));
            let value = factor * e.value;
            Some(Estimate { value, lo, hi })
        }
    };
    let moved = |to: f64| {
        move |e: Estimate| {
            let half = 0.5 * (e.hi - e.lo);
            Some(Estimate {
                value: to,
                lo: to - half,
                hi: to + half,
            })
        }
    };
    let (mut changes, mut unfound) = (0, Vec::new());
    for (case, record) in suite() {
        for curve in 0..case.variants.len() {
            let holds = |e: &&Expectation| match &e.check {
                Check::Variants(order, _) => order.contains(&curve),
                _ => e.variants.contains(&curve),
            };
            let own = case.expectations.iter().filter(holds);
            let quantities: BTreeSet<&str> = own.map(|e| e.quantity.as_str()).collect();
            for quantity in quantities {
                let mut all: Vec<(&str, OwnedMutation)> = vec![
                    ("not a number", Box::new(|_| Some(Estimate::unbounded(f64::NAN)))),
                    ("missing", Box::new(|_| None)),
                ];
                match tolerance_of_zero(case, record, curve, quantity) {
                    Some(tolerance) => {
                        all.push(("above zero", Box::new(moved(1.15 * tolerance))));
                        all.push(("below zero", Box::new(moved(-1.15 * tolerance))));
                    }
                    None => {
                        all.push(("times 0.85", Box::new(times(0.85))));
                        all.push(("times 1.15", Box::new(times(1.15))));
                        all.push(("of the other sign", Box::new(times(-1.0))));
                    }
                }
                changes += all.len();
                for (change, mutation) in &all {
                    if !finds(case, record, curve, quantity, mutation) {
                        unfound.push((&case.name, &case.variants[curve].name, quantity, *change));
                    }
                }
            }
        }
    }
    let known = |case: &str, quantity: &str| BLUNT.iter().any(|(c, q, _)| *c == case && *q == quantity);
    let new: Vec<_> = unfound.iter().filter(|u| !known(u.0, u.2)).collect();
    assert!(
        new.is_empty(),
        "{} of {changes} are not found, among them: {new:#?}",
        unfound.len()
    );
    for (case, quantity, _) in BLUNT {
        let needed = unfound.iter().any(|u| u.0 == case && u.2 == *quantity);
        assert!(needed, "{case}, {quantity}: every change is found");
    }
    assert!(20 * unfound.len() <= changes, "{} of {changes}", unfound.len());
}

/// Simulated suites of a correct program, every truth at the very edge of its tolerance: means,
/// standard deviations, and ratios of figures that share half their noise, with windows that depend
/// on their neighbours. False alarms must stay below 1 in 100 suites: of 3000, 30 and three
/// standard deviations of a Poisson number.
#[test]
#[ignore = "slow: .ci/run takes it"]
fn false_alarms_are_rare() {
    const SUITES: u64 = 3000;
    const STATEMENTS: usize = 24;
    let sure = Confidence::new(1.0 - 0.01 / STATEMENTS as f64).unwrap();
    let mut alarms = 0;
    for suite in 0..SUITES {
        let seed = Seed {
            study: 5,
            point: 0,
            realisation: suite,
        };
        let mut numbers = seed.draws(0);
        let mut normal = || numbers.normal();
        let alarm = (0..STATEMENTS / 3)
            .map(|_| {
                // Two figures of 8 pairs of 8 x 8 windows; neighbours along a row share half of the
                // root of their variance.
                let mut common = Vec::new();
                let mut values = || -> Vec<Vec<f64>> {
                    (0..8usize)
                        .map(|pair| {
                            if common.len() <= pair {
                                common.push((0..72).map(|_| normal()).collect::<Vec<f64>>());
                            }
                            let own: Vec<f64> = (0..72).map(|_| normal()).collect();
                            let mixed: Vec<f64> = own
                                .iter()
                                .zip(&common[pair])
                                .map(|(o, c)| (o + c) / 2f64.sqrt())
                                .collect();
                            (0..64)
                                .map(|k| k + k / 8)
                                .map(|k| (mixed[k] + mixed[k + 1]) / 2f64.sqrt())
                                .collect()
                        })
                        .collect()
                };
                let [one, two] = [values(), values()];
                let of = |values: &[Vec<f64>]| GridValues::new(8, [1, 0], values.to_vec());
                let squares = |values: &[Vec<f64>]| {
                    of(&values
                        .iter()
                        .map(|s| s.iter().map(|v| v * v).collect())
                        .collect::<Vec<_>>())
                };
                let [a, b] = [&one, &two].map(|v| root_mean_square(&squares(v), sure));
                let figures: [(Estimate, [f64; 2]); 3] = [
                    (mean(&of(&one), sure).0, [0.0, 0.1]),
                    (a, [0.9, 1.0]),
                    (ratio(a, b), [1.0, 1.1]),
                ];
                figures
                    .iter()
                    .any(|(figure, allowed)| Verdict::of(*figure, *allowed) == Verdict::Disagrees)
            })
            .fold(false, |a, b| a | b);
        alarms += u64::from(alarm);
    }
    assert!(alarms as f64 <= 30.0 + 3.0 * 30f64.sqrt(), "{alarms} of {SUITES}");
}
