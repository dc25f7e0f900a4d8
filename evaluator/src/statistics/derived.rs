//! Sums, ratios and slopes of figures that have intervals of their own.
//!
//! MOVER, the method of variance estimates recovery (Zou and Donner 2008, Stat. Med. 27, 1693; from
//! memory): the interval of a sum of figures comes from the distances of each figure to the ends of
//! its own interval, added in quadrature. The figures are treated as independent. The points of a
//! study share particles and noise, so their errors rise and fall together; for the differences,
//! ratios and slopes formed here the true interval is then narrower than this one, never wider.

use super::Estimate;

/// Σ weight × figure over the (weight, figure) `terms`.
///
/// ```
/// use motefield_evaluator::statistics::{Estimate, weighted_sum};
///
/// // Half-widths 3 and 4 make 5.
/// let (a, b) = (Estimate::symmetric(10.0, 3.0), Estimate::symmetric(4.0, 4.0));
/// assert_eq!(weighted_sum(&[(1.0, a), (-1.0, b)]), Estimate::symmetric(6.0, 5.0));
/// ```
pub fn weighted_sum(terms: &[(f64, Estimate)]) -> Estimate {
    let value: f64 = terms.iter().map(|(w, e)| w * e.value).sum();
    let distance = |upward: bool| -> f64 {
        let square = |(w, e): &(f64, Estimate)| {
            let end = if (*w > 0.0) == upward { e.hi } else { e.lo };
            (w * (end - e.value)).powi(2)
        };
        terms
            .iter()
            .filter(|(w, _)| *w != 0.0)
            .map(square)
            .sum::<f64>()
            .sqrt()
    };
    Estimate {
        value,
        lo: value - distance(false),
        hi: value + distance(true),
    }
}

/// Natural logarithm of a figure's magnitude; open below when the figure's interval contains zero.
///
/// ```
/// use motefield_evaluator::statistics::{Estimate, ln_magnitude};
///
/// assert_eq!(ln_magnitude(Estimate::exact(-1.0)).value, 0.0);
/// assert_eq!(ln_magnitude(Estimate::symmetric(0.1, 0.2)).lo, f64::NEG_INFINITY);
/// ```
pub fn ln_magnitude(e: Estimate) -> Estimate {
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

/// `a` over `b`, the interval by the difference of the logarithms of their magnitudes.
///
/// ```
/// use motefield_evaluator::statistics::{Estimate, ratio};
///
/// let gain = ratio(Estimate { value: 4.0, lo: 2.0, hi: 8.0 }, Estimate::exact(-2.0));
/// assert!((gain.value + 2.0).abs() < 1e-12);
/// assert!((gain.lo + 4.0).abs() < 1e-12 && (gain.hi + 1.0).abs() < 1e-12);
/// ```
pub fn ratio(a: Estimate, b: Estimate) -> Estimate {
    // Exactly zero over something that is not zero.
    if a == Estimate::exact(0.0) && (b.lo > 0.0 || b.hi < 0.0) {
        return a;
    }
    let sign = if a.value * b.value < 0.0 { -1.0 } else { 1.0 };
    let ln = weighted_sum(&[(1.0, ln_magnitude(a)), (-1.0, ln_magnitude(b))]);
    // Where `a` may be of either sign, so may the ratio.
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

/// Slope of the straight line fitted to the (x, figure) `points` by least squares.
///
/// ```
/// use motefield_evaluator::statistics::{Estimate, slope};
///
/// let points = [(0.0, Estimate::exact(1.0)), (1.0, Estimate::exact(3.0))];
/// assert_eq!(slope(&points), Estimate::exact(2.0));
/// ```
pub fn slope(points: &[(f64, Estimate)]) -> Estimate {
    let middle = points.iter().map(|p| p.0).sum::<f64>() / points.len() as f64;
    let spread: f64 = points.iter().map(|p| (p.0 - middle).powi(2)).sum();
    let terms: Vec<(f64, Estimate)> = points.iter().map(|(x, e)| ((x - middle) / spread, *e)).collect();
    weighted_sum(&terms)
}

/// The x at which the lowest of the (x, figure) `points` lies. The interval spans all points that
/// may be the lowest: those below which no other lies with its whole interval of the difference.
///
/// ```
/// use motefield_evaluator::statistics::{Estimate, lowest};
///
/// let figures = [5.0, 3.0, 3.1, 9.0].map(|value| Estimate::symmetric(value, 0.5));
/// let points: Vec<_> = [1.0, 2.0, 3.0, 4.0].into_iter().zip(figures).collect();
/// assert_eq!(lowest(&points), Estimate { value: 2.0, lo: 2.0, hi: 3.0 });
/// ```
pub fn lowest(points: &[(f64, Estimate)]) -> Estimate {
    let best = points
        .iter()
        .min_by(|a, b| a.1.value.total_cmp(&b.1.value))
        .map_or(f64::NAN, |p| p.0);
    let beaten = |e: &Estimate| {
        points
            .iter()
            .any(|(_, other)| weighted_sum(&[(1.0, *other), (-1.0, *e)]).hi < 0.0)
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

    /// By hand: half-widths 3 and 4 make 5; a difference swaps the ends of what is taken off.
    #[test]
    fn sums_by_hand() {
        let e = weighted_sum(&[
            (1.0, Estimate::symmetric(10.0, 3.0)),
            (-1.0, Estimate::symmetric(4.0, 4.0)),
        ]);
        assert_eq!([e.value, e.lo, e.hi], [6.0, 1.0, 11.0]);
        let skew = Estimate {
            value: 4.0,
            lo: 3.0,
            hi: 9.0,
        };
        let e = weighted_sum(&[(1.0, Estimate::exact(10.0)), (-2.0, skew)]);
        assert_eq!([e.value, e.lo, e.hi], [2.0, -8.0, 4.0]);
    }

    #[test]
    fn ratios_keep_their_sign_and_know_when_they_know_nothing() {
        let e = ratio(Estimate::exact(-6.0), Estimate::exact(3.0));
        assert!((e.value + 2.0).abs() < 1e-12 && (e.lo + 2.0).abs() < 1e-12 && (e.hi + 2.0).abs() < 1e-12);
        let e = ratio(Estimate::symmetric(0.1, 0.2), Estimate::symmetric(2.0, 0.1));
        assert!(e.lo < -0.1 && e.hi > 0.15, "{e:?}");
        assert_eq!(
            ratio(Estimate::symmetric(1.0, 0.1), Estimate::symmetric(0.1, 0.2)).hi,
            f64::INFINITY
        );
        assert_eq!(
            ratio(Estimate::exact(0.0), Estimate::symmetric(2.0, 0.1)),
            Estimate::exact(0.0)
        );
    }

    #[test]
    fn slope_of_a_line() {
        let e = slope(&[
            (0.0, Estimate::symmetric(1.0, 0.1)),
            (1.0, Estimate::symmetric(3.0, 0.1)),
            (2.0, Estimate::symmetric(5.0, 0.1)),
        ]);
        assert!((e.value - 2.0).abs() < 1e-12);
        assert!((e.hi - 2.0 - 0.1 / 2f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn lowest_counts_all_that_may_be() {
        let points = [
            (1.0, Estimate::symmetric(5.0, 0.1)),
            (2.0, Estimate::symmetric(3.0, 0.5)),
            (3.0, Estimate::symmetric(3.2, 0.5)),
            (4.0, Estimate::symmetric(9.0, 1.0)),
        ];
        let e = lowest(&points);
        assert_eq!([e.value, e.lo, e.hi], [2.0, 2.0, 3.0]);
    }
}
