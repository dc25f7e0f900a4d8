//! Medians and quantiles.

use super::dependence::MeanScatter;
use super::intervals::reduced;
use super::sorted::SortedValues;
use super::{Confidence, Estimate, GridValues, fraction};

/// The values below which the `shares` (between 0 and 1) of all values lie, each with its interval.
///
/// The share of all values below a quantile is itself known only with an interval, Wilson's with
/// the effective number of values for this share; the quantiles at its two ends are the ends here
/// (Woodruff 1952, J. Am. Stat. Assoc. 47, 635). No distribution is assumed. Where that many
/// independent values could all lie on one side of the quantile, the interval is open there.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, quantiles};
///
/// let values: Vec<f64> = (0..101).map(f64::from).collect();
/// let values = GridValues::new(101, [0, 0], [values]);
/// let [median, last] = quantiles(&values, &[0.5, 0.99], Confidence::USUAL)[..] else { panic!() };
/// assert_eq!((median.value, last.value), (50.0, 99.0));
/// assert!(median.hi.is_finite() && last.hi.is_infinite());
/// ```
pub fn quantiles(values: &GridValues, shares: &[f64], confidence: Confidence) -> Vec<Estimate> {
    let mut sorted = SortedValues::of(values);
    let n = sorted.count as f64;
    let one = |&share: &f64| {
        if sorted.count == 0 {
            return Estimate::unbounded(f64::NAN);
        }
        let value = sorted.quantile(share);
        let beyond = values.map(move |v| f64::from(u8::from(v > value)));
        let scatter = MeanScatter::of(&beyond);
        let effective = match share * (1.0 - share) / scatter.variance() {
            number if number.is_finite() => reduced(number.min(n), scatter.freedom(), confidence),
            // Nothing is known of how values depend on each other.
            _ => 1.0,
        };
        let ends = fraction(share, effective, confidence);
        let bounded = |share: f64| share.powf(effective) <= confidence.tail();
        Estimate {
            value,
            lo: if bounded(1.0 - share) {
                sorted.quantile(ends.lo)
            } else {
                f64::NEG_INFINITY
            },
            hi: if bounded(share) {
                sorted.quantile(ends.hi)
            } else {
                f64::INFINITY
            },
        }
    };
    shares.iter().map(one).collect()
}

/// The value below which a `share` (0 to 1) of the `sorted` values lies, interpolated linearly
/// between them (definition 7 of Hyndman & Fan 1996, Am. Stat. 50, 361).
///
/// # Panics
/// If there are no values.
///
/// ```
/// use motefield_evaluator::statistics::quantile;
///
/// assert_eq!(quantile(&[1.0, 2.0, 4.0], 0.75), 3.0);
/// ```
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    between(sorted.len(), share, |place| sorted[place])
}

/// The same of `count` values, each found by its place among them.
pub(super) fn between(count: usize, share: f64, mut value: impl FnMut(usize) -> f64) -> f64 {
    let place = share.clamp(0.0, 1.0) * (count - 1) as f64;
    let (below, above) = (value(place.floor() as usize), value(place.ceil() as usize));
    below + (above - below) * place.fract()
}

/// The middle one of the `values`, or the mean of the two in the middle. Leaves them sorted.
///
/// # Panics
/// If there are no values.
///
/// ```
/// use motefield_evaluator::statistics::median;
///
/// assert_eq!(median(&mut [3.0, 1.0, 2.0]), 2.0);
/// assert_eq!(median(&mut [8.0, 3.0, 1.0, 2.0]), 2.5);
/// ```
pub fn median(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    let half = values.len() / 2;
    if values.len() % 2 == 1 {
        values[half]
    } else {
        0.5 * (values[half - 1] + values[half])
    }
}

/// The middle one of many grey values, the upper of the two in the middle of an even number: a
/// value that occurs, found without sorting all. Panics if there are none.
pub(crate) fn median_high(values: &mut [f32]) -> f32 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// The highest of the values of which at most a `share` lies below it, found without sorting all; 0
/// of none.
pub(crate) fn quantile_low(mut values: Vec<f64>, share: f64) -> f64 {
    match values.len() {
        0 => 0.0,
        length => {
            let place = (share * (length - 1) as f64) as usize;
            *values.select_nth_unstable_by(place, f64::total_cmp).1
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: five values and the six of an even number.
    #[test]
    fn middles_and_places_by_hand() {
        let five = [5.0, 1.0, 4.0, 2.0, 3.0];
        assert_eq!(median(&mut five.clone()), 3.0);
        assert_eq!(median_high(&mut five.map(|v| v as f32)), 3.0);
        assert_eq!(median_high(&mut [6.0, 1.0, 4.0, 2.0, 3.0, 5.0]), 4.0);
        let low = |share| quantile_low(five.to_vec(), share);
        assert_eq!([0.0, 0.3, 0.74, 0.75, 1.0].map(low), [1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!(quantile_low(vec![], 0.5), 0.0);
        let between = |share| quantile(&[1.0, 2.0, 3.0, 4.0, 6.0], share);
        assert_eq!([-1.0, 0.125, 0.875, 2.0].map(between), [1.0, 1.5, 5.0, 6.0]);
    }
}
