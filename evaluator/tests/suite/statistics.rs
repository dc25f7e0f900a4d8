//! Intervals: published factors first, then coverage on fields whose dependence is known.
//!
//! Reference values: `reference/statistics_optics_fluids.json`, computed with scipy.stats
//! (chi-squared, Student, Wilson).

use motefield_evaluator::statistics::{
    Confidence, GridValues, chi_interval, combine, fraction, mean, quantiles, root_mean_square, share,
    student, variance_of_mean,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

fn reference() -> Value {
    serde_json::from_str(include_str!("reference/statistics_optics_fluids.json")).unwrap()
}

/// Relative 1e-6: far below what two digits of an interval can show, above statrs's 5e-11 in its
/// error function.
const TOLERANCE: f64 = 1e-6;

#[test]
fn chi_factors_match_scipy() {
    for row in reference()["rms_ci_factors"].as_array().unwrap() {
        let confidence = Confidence::new(row["p"].as_f64().unwrap()).unwrap();
        let got = chi_interval(1.0, row["nu"].as_f64().unwrap(), confidence);
        assert!(
            (got.lo / row["factor_lo"].as_f64().unwrap() - 1.0).abs() < TOLERANCE,
            "{row}"
        );
        assert!(
            (got.hi / row["factor_hi"].as_f64().unwrap() - 1.0).abs() < TOLERANCE,
            "{row}"
        );
    }
}

#[test]
fn wilson_matches_scipy() {
    for row in reference()["coverage_ci_95"].as_array().unwrap() {
        let n = row["n"].as_f64().unwrap();
        let got = fraction(row["k"].as_f64().unwrap() / n, n, Confidence::USUAL);
        assert!(
            (got.lo - row["wilson"][0].as_f64().unwrap()).abs() < TOLERANCE,
            "{row}"
        );
        assert!(
            (got.hi - row["wilson"][1].as_f64().unwrap()).abs() < TOLERANCE,
            "{row}"
        );
    }
}

/// Nothing lost, of any number, leaves 0 possible exactly, and everything lost leaves 1.
#[test]
fn fractions_reach_their_ends() {
    for n in [1.0, 3.7, 10.0, 812.3, 1e6] {
        assert_eq!(fraction(0.0, n, Confidence::USUAL).lo, 0.0);
        assert_eq!(fraction(1.0, n, Confidence::USUAL).hi, 1.0);
    }
}

#[test]
fn student_matches_scipy() {
    for (freedom, factor) in reference()["t_k_95"].as_object().unwrap() {
        assert!(
            (student(freedom.parse().unwrap(), Confidence::USUAL) / factor.as_f64().unwrap() - 1.0).abs()
                < TOLERANCE,
            "{freedom}"
        );
    }
}

/// Derived: scipy 1.17.1 (`stats.t.ppf(1 - 5e-5, n)`, `stats.chi2.ppf`, `stats.binomtest(k,
/// n).proportion_ci(0.9999, "wilson")`).
#[test]
fn rare_confidence_matches_scipy() {
    let rare = Confidence::new(0.9999).unwrap();
    for (freedom, factor) in [
        (2.0, 99.99249984375004),
        (9.0, 6.593682583944882),
        (1e6, 3.8906075818030925),
    ] {
        let got = student(freedom, rare);
        // The normal law stands in for more than 1e5 degrees of freedom: 4e-6 off here.
        assert!((got / factor - 1.0).abs() < 1e-5, "{freedom}: {got}");
    }
    for (freedom, lo, hi) in [
        (9.0, 0.5039975547902629, 4.003830842446088),
        (99.0, 0.7784175026784977, 1.3617575207882089),
    ] {
        let got = chi_interval(1.0, freedom, rare);
        assert!(
            (got.lo - lo).abs() < TOLERANCE && (got.hi - hi).abs() < TOLERANCE,
            "{got:?}"
        );
    }
    for (k, n, lo, hi) in [
        (95.0, 100.0, 0.7921248463041932, 0.9895546348209006),
        (0.0, 30.0, 0.0, 0.3353524620511138),
        (6827.0, 10000.0, 0.664327653633215, 0.7005200870963826),
    ] {
        let got = fraction(k / n, n, rare);
        assert!(
            (got.lo - lo).abs() < TOLERANCE && (got.hi - hi).abs() < TOLERANCE,
            "{got:?}"
        );
    }
    assert_eq!([0.0, 1.0, f64::NAN].map(Confidence::new), [None; 3]);
}

/// Normal numbers by Box and Muller, averaged over `over` × `over` neighbours: values `over` apart
/// share nothing, like windows with that overlap. A pattern that is the same in all pairs is added.
fn field(rng: &mut ChaCha8Rng, side: usize, over: usize, pattern: f64) -> Vec<f64> {
    let wide = side + over - 1;
    let noise: Vec<f64> = (0..wide * wide)
        .map(|_| {
            let (u, v): (f64, f64) = (1.0 - rng.random::<f64>(), rng.random());
            (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
        })
        .collect();
    (0..side * side)
        .map(|k| {
            let (x, y) = (k % side, k / side);
            let sum: f64 = (0..over)
                .flat_map(|j| (0..over).map(move |i| (i, j)))
                .map(|(i, j)| noise[(y + j) * wide + x + i])
                .sum();
            sum / over as f64 + pattern * (0.3 * x as f64).sin()
        })
        .collect()
}

/// 95 % intervals of the mean and of the standard deviation of a dependent field contain the truth
/// in 95 % of 600 studies: three binomial standard errors are 2.7 points; the intervals are
/// asymptotic, for which two points are allowed below. If the dependence were ignored (for `over` =
/// 4) coverage would be near 40 %.
#[test]
fn intervals_cover_under_dependence() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for (over, pairs) in [(1, 4), (2, 4), (4, 3), (4, 8)] {
        let (mut hit_mean, mut hit_sd, mut naive) = (0, 0, 0);
        let studies = 600;
        for _ in 0..studies {
            let values: Vec<Vec<f64>> = (0..pairs).map(|_| field(&mut rng, 24, over, 0.0)).collect();
            let values = GridValues::new(24, [over - 1; 2], values);
            let (m, effective) = mean(&values, Confidence::USUAL);
            hit_mean += u32::from(m.lo <= 0.0 && 0.0 <= m.hi);
            assert!(effective <= values.count() as f64);
            let squares = values.map(|v| v * v);
            let sd = root_mean_square(&squares, Confidence::USUAL);
            hit_sd += u32::from(sd.lo <= 1.0 && 1.0 <= sd.hi);
            naive += u32::from(m.value.abs() < 1.96 / (values.count() as f64).sqrt());
        }
        for (what, hits) in [("mean", hit_mean), ("standard deviation", hit_sd)] {
            let coverage = f64::from(hits) / f64::from(studies);
            assert!(
                coverage > 0.95 - 0.027 - 0.02,
                "{what}, overlap {over}, {pairs} pairs: {coverage}"
            );
            assert!(
                coverage < 0.95 + 0.027 + 0.02,
                "{what}, overlap {over}, {pairs} pairs: {coverage}"
            );
        }
        if over == 4 {
            assert!(
                f64::from(naive) / f64::from(studies) < 0.6,
                "the dependence must matter for the test to mean anything"
            );
        }
    }
}

/// Few windows with much overlap, where the variance of the mean is itself poorly known: 99.9 %
/// intervals miss 3 times in 3000 studies by chance, and 12 times once in a thousand if, as
/// asymptotic ones may, they miss half as often again. If that variance were treated as known, they
/// would miss 15 and 36 times.
#[test]
fn rare_misses_are_rare() {
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let rare = Confidence::new(0.999).unwrap();
    let mut misses = [0; 2];
    for _ in 0..3000 {
        let values = GridValues::new(13, [3; 2], (0..4).map(|_| field(&mut rng, 13, 4, 0.0)));
        let (m, sd) = (
            mean(&values, rare).0,
            root_mean_square(&values.map(|v| v * v), rare),
        );
        misses[0] += u32::from(!(m.lo <= 0.0 && 0.0 <= m.hi));
        misses[1] += u32::from(!(sd.lo <= 1.0 && 1.0 <= sd.hi));
    }
    println!("{misses:?}");
    assert!(misses.iter().all(|m| *m < 12), "{misses:?}");
}

/// Fraction of a dependent field above one standard deviation: the 95 % interval contains 15.87 %
/// in 95 % of 600 studies, three binomial standard errors are 2.7 points; and for zeros alone it is
/// Wilson's with the number given.
#[test]
fn shares_cover_under_dependence() {
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let hits = (0..600).filter(|_| {
        let values = GridValues::new(16, [3; 2], (0..4).map(|_| field(&mut rng, 16, 4, 0.0)));
        let above = values.map(|v| f64::from(u8::from(v > 1.0)));
        let got = share(&above, 1.0, Confidence::USUAL);
        got.lo <= 0.158655 && 0.158655 <= got.hi
    });
    let coverage = hits.count() as f64 / 600.0;
    println!("{coverage}");
    assert!((coverage - 0.95).abs() < 0.027, "{coverage}");
    let none = GridValues::new(4, [0, 0], vec![vec![0.0; 16]]);
    assert_eq!(
        share(&none, 30.0, Confidence::USUAL),
        fraction(0.0, 30.0, Confidence::USUAL)
    );
}

/// The variance of the mean is that of a moving average: σ²·over²/N up to the fraction at the
/// border, whatever pattern repeats from pair to pair (derived). Averaged over 200 studies; 5 % is
/// four standard errors.
#[test]
fn fixed_pattern_is_not_chance() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let (side, over, pairs) = (32, 2, 6);
    let studies = 200;
    let average: f64 = (0..studies)
        .map(|_| {
            let values: Vec<Vec<f64>> = (0..pairs).map(|_| field(&mut rng, side, over, 3.0)).collect();
            variance_of_mean(&GridValues::new(side, [over - 1; 2], values)) / f64::from(studies)
        })
        .sum();
    // Sum over lags of the overlap (1 - |lag|/over), times the fraction of pairs of positions that
    // the border leaves.
    let line: f64 = (1..over)
        .map(|l| 2.0 * (1.0 - l as f64 / over as f64) * (1.0 - l as f64 / side as f64))
        .sum::<f64>()
        + 1.0;
    let theory = line * line / (pairs * side * side) as f64;
    assert!((average / theory - 1.0).abs() < 0.05, "{average} for {theory}");
}

#[test]
fn nothing_is_known_of_nothing() {
    let values = GridValues::new(2, [0, 0], vec![vec![f64::NAN; 4]]);
    let (m, _) = mean(&values, Confidence::USUAL);
    assert!(m.value.is_nan() && m.lo == f64::NEG_INFINITY && m.hi == f64::INFINITY);
    assert_eq!(root_mean_square(&values, Confidence::USUAL).hi, f64::INFINITY);
    let same = GridValues::new(2, [0, 0], vec![vec![0.0; 4]; 2]);
    assert_eq!(root_mean_square(&same, Confidence::USUAL).hi, 0.0);
}

/// Derived: `numpy.quantile(abs(x), [.5, .9, .95, .99])` of the sample of 20; with few values the
/// upper ends are open.
#[test]
fn quantiles_match_numpy() {
    let x: Vec<f64> = serde_json::from_value(reference()["sample20"]["x"].clone()).unwrap();
    let values = GridValues::new(20, [0, 0], vec![x]);
    let got = quantiles(&values.map(f64::abs), &[0.5, 0.9, 0.95, 0.99], Confidence::USUAL);
    for (got, expected) in got.iter().zip([0.115, 0.261, 0.272, 0.3024]) {
        assert!((got.value - expected).abs() < 1e-12, "{got:?}");
        assert!(got.lo <= got.value && got.value <= got.hi);
    }
    // All 20 below the 90th percentile: 0.9^20 = 12 %, more than the 2.5 % that an end may leave
    // out. Below the median: 1e-6.
    assert_eq!(
        [0, 1, 2, 3].map(|k| got[k].hi.is_finite()),
        [true, false, false, false]
    );
}

/// Quantiles of the length |v| of a dependent field: 95 % intervals contain those of the normal law
/// in 95 % of 600 studies. Three binomial standard errors are 2.7 points; two points more are
/// allowed below, as for the mean, and one above for the last, beyond which a study has some six
/// independent values.
#[test]
fn quantile_intervals_cover_under_dependence() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let shares = [0.5, 0.9, 0.95, 0.99];
    // scipy.stats.norm.ppf((1 + share) / 2)
    let truth = [
        0.6744897501960817,
        1.6448536269514722,
        1.959963984540054,
        2.5758293035489004,
    ];
    let mut hits = [0; 4];
    let studies = 600;
    for _ in 0..studies {
        let values = GridValues::new(24, [1; 2], (0..4).map(|_| field(&mut rng, 24, 2, 0.0)));
        for (k, got) in quantiles(&values.map(f64::abs), &shares, Confidence::USUAL)
            .iter()
            .enumerate()
        {
            hits[k] += u32::from(got.lo <= truth[k] && truth[k] <= got.hi);
        }
    }
    for (hits, share) in hits.iter().zip(shares) {
        let coverage = f64::from(*hits) / f64::from(studies);
        println!("{share}: {coverage}");
        assert!(
            (0.95 - 0.047..=0.95 + 0.037).contains(&coverage),
            "{share}: {coverage}"
        );
    }
}

/// Published: JCGM 100, annex H.1 (end gauge; inputs and the unrounded results from a reference
/// implementation of the GUM; the printed ones, 32 nm, 16 degrees of freedom, 93 nm, from memory).
/// Contributions in nm, with their degrees of freedom.
#[test]
fn end_gauge_of_the_gum() {
    let end_gauge = [
        (25.0, 18.0),
        (5.8, 24.0),
        (3.9, 5.0),
        (6.7, 8.0),
        // Difference of expansion, rectangular to 1e-6: 50 mm times 0.1 K.
        (50_000_623.0 * 0.1 * 1e-6 / 3f64.sqrt(), 50.0),
        // Difference of temperature, rectangular to 0.05 K: 50 mm times 11.5e-6.
        (50_000_623.0 * 11.5e-6 * 0.05 / 3f64.sqrt(), 2.0),
    ];
    let found = combine(&end_gauge);
    let near = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 2e-5, "{a} is not {b}");
    // Seven digits are given; the nominal length is used for the measured one, a difference of
    // 4e-6.
    near(found.standard, 31.663_879_11);
    near(found.freedom, 16.751_855_74);
    let p99 = Confidence::new(0.99).unwrap();
    // Student's factor of 16, a table's value; 31.66 x 2.921 = 92.5, which the GUM rounds from its
    // rounded 32 nm to 93 nm.
    assert!((found.coverage_factor(p99) - 2.921).abs() < 5e-4);
    assert!((found.expanded(p99) - 92.48).abs() < 0.01);
}

/// Derived: with all contributions known exactly Student's law is the normal one; n equal ones of ν
/// each have n ν degrees of freedom.
#[test]
fn freedom_of_equal_contributions_adds() {
    let exact = combine(&[(3.0, f64::INFINITY), (4.0, f64::INFINITY)]);
    assert_eq!((exact.standard, exact.freedom), (5.0, f64::INFINITY));
    assert!((exact.coverage_factor(Confidence::USUAL) - 1.959_964).abs() < 1e-6);
    let equal = combine(&[(2.0, 7.0); 3]);
    assert!((equal.freedom - 21.0).abs() < 1e-12);
}
