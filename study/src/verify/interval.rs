//! Figures made of other figures, with their intervals.
//!
//! MOVER, the method of variance estimates recovery (Zou and Donner 2008, Stat. Med. 27, 1693; memory): the interval of a sum of figures comes
//! from the distances of each figure to the ends of its own interval, added in quadrature. It takes the figures for independent. The points of
//! a study share particles and noise, so their errors rise and fall together; for the differences, ratios and slopes made here that makes
//! the true interval narrower than this one, never wider.

use motefield_evaluator::statistics::Estimate;

/// A figure that is known exactly.
pub fn exact(value: f64) -> Estimate {
    Estimate {
        value,
        lo: value,
        hi: value,
    }
}

/// Σ weight × figure.
pub fn sum(terms: &[(f64, Estimate)]) -> Estimate {
    let value: f64 = terms.iter().map(|(w, e)| w * e.value).sum();
    let reach = |end: fn(&Estimate, bool) -> f64, upward: bool| -> f64 {
        let square = |(w, e): &(f64, Estimate)| (w * (end(e, (*w > 0.0) == upward) - e.value)).powi(2);
        terms
            .iter()
            .filter(|(w, _)| *w != 0.0)
            .map(square)
            .sum::<f64>()
            .sqrt()
    };
    let end = |e: &Estimate, high: bool| if high { e.hi } else { e.lo };
    Estimate {
        value,
        lo: value - reach(end, false),
        hi: value + reach(end, true),
    }
}

/// Natural logarithm of a figure's size. Nothing is known of it when the figure's interval holds zero.
pub fn ln_size(e: Estimate) -> Estimate {
    if e.lo > 0.0 || e.hi < 0.0 {
        let ends = [e.lo.abs().ln(), e.hi.abs().ln()];
        Estimate {
            value: e.value.abs().ln(),
            lo: ends[0].min(ends[1]),
            hi: ends[0].max(ends[1]),
        }
    } else {
        Estimate {
            value: e.value.abs().ln(),
            lo: f64::NEG_INFINITY,
            hi: e.lo.abs().max(e.hi.abs()).ln(),
        }
    }
}

/// Size of `a` over size of `b`, with the sign of the quotient.
pub fn ratio(a: Estimate, b: Estimate) -> Estimate {
    // Nothing at all over something.
    if a == exact(0.0) && (b.lo > 0.0 || b.hi < 0.0) {
        return a;
    }
    let sign = if a.value * b.value < 0.0 { -1.0 } else { 1.0 };
    let ln = sum(&[(1.0, ln_size(a)), (-1.0, ln_size(b))]);
    // Where `a` may be of either sign, so may the quotient.
    let [lo, hi] = match (a.lo > 0.0 || a.hi < 0.0, ln.lo.exp(), ln.hi.exp()) {
        (true, lo, hi) => [lo, hi],
        (false, _, hi) => [-hi, hi],
    };
    let ends = [sign * lo, sign * hi];
    Estimate {
        value: sign * ln.value.exp(),
        lo: ends[0].min(ends[1]),
        hi: ends[0].max(ends[1]),
    }
}

/// Slope of the straight line fitted to (x, figure) by least squares.
pub fn slope(points: &[(f64, Estimate)]) -> Estimate {
    let middle = points.iter().map(|p| p.0).sum::<f64>() / points.len() as f64;
    let spread: f64 = points.iter().map(|p| (p.0 - middle).powi(2)).sum();
    let terms: Vec<(f64, Estimate)> = points.iter().map(|(x, e)| ((x - middle) / spread, *e)).collect();
    sum(&terms)
}

/// The places among which the lowest figure may lie: all at which no other figure is lower beyond doubt. The lowest, and the first and last of
/// them.
pub fn lowest(points: &[(f64, Estimate)]) -> Estimate {
    let best = points
        .iter()
        .min_by(|a, b| a.1.value.total_cmp(&b.1.value))
        .map_or(f64::NAN, |p| p.0);
    let beaten = |e: &Estimate| {
        points
            .iter()
            .any(|(_, other)| sum(&[(1.0, *other), (-1.0, *e)]).hi < 0.0)
    };
    let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
    for (x, _) in points.iter().filter(|(_, e)| !beaten(e)) {
        lo = lo.min(*x);
        hi = hi.max(*x);
    }
    Estimate { value: best, lo, hi }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn about(value: f64, half: f64) -> Estimate {
        Estimate {
            value,
            lo: value - half,
            hi: value + half,
        }
    }

    /// By hand: half-widths 3 and 4 make 5; a difference swaps the ends of what is taken off.
    #[test]
    fn sums_by_hand() {
        let e = sum(&[(1.0, about(10.0, 3.0)), (-1.0, about(4.0, 4.0))]);
        assert_eq!([e.value, e.lo, e.hi], [6.0, 1.0, 11.0]);
        let skew = Estimate {
            value: 4.0,
            lo: 3.0,
            hi: 9.0,
        };
        let e = sum(&[(1.0, exact(10.0)), (-2.0, skew)]);
        assert_eq!([e.value, e.lo, e.hi], [2.0, -8.0, 4.0]);
    }

    #[test]
    fn ratios_keep_their_sign_and_know_when_they_know_nothing() {
        let e = ratio(exact(-6.0), exact(3.0));
        assert!((e.value + 2.0).abs() < 1e-12 && (e.lo + 2.0).abs() < 1e-12 && (e.hi + 2.0).abs() < 1e-12);
        let e = ratio(about(0.1, 0.2), about(2.0, 0.1));
        assert!(e.lo < -0.1 && e.hi > 0.15, "{e:?}");
        assert_eq!(ratio(about(1.0, 0.1), about(0.1, 0.2)).hi, f64::INFINITY);
        assert_eq!(ratio(exact(0.0), about(2.0, 0.1)), exact(0.0));
    }

    #[test]
    fn slope_of_a_line() {
        let e = slope(&[
            (0.0, about(1.0, 0.1)),
            (1.0, about(3.0, 0.1)),
            (2.0, about(5.0, 0.1)),
        ]);
        assert!((e.value - 2.0).abs() < 1e-12);
        assert!((e.hi - 2.0 - 0.1 / 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn lowest_counts_all_that_may_be() {
        let points = [
            (1.0, about(5.0, 0.1)),
            (2.0, about(3.0, 0.5)),
            (3.0, about(3.2, 0.5)),
            (4.0, about(9.0, 1.0)),
        ];
        let e = lowest(&points);
        assert_eq!([e.value, e.lo, e.hi], [2.0, 2.0, 3.0]);
    }
}
