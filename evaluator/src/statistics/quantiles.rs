//! Quantiles of values that depend on their neighbours.

use super::{Confidence, Estimate, GridValues, fraction, lessened, variance_of_mean};

/// The values below which the `shares` (between 0 and 1) of all values lie, each with its interval.
///
/// Which share of all values lies below the quantile is itself known with an interval only, Wilson's with the effective number of
/// values for this share; the quantiles at its two ends are the ends here (Woodruff 1952, J. Am. Stat. Assoc. 47, 635). No
/// distribution is assumed. Where that many independent values could all lie to one side of the quantile, the interval has no end there.
pub fn quantiles(values: &GridValues, shares: &[f64], confidence: Confidence) -> Vec<Estimate> {
    let mut sorted: Vec<f64> = values
        .pairs
        .iter()
        .flat_map(|pair| pair.iter().copied())
        .filter(|v| v.is_finite())
        .collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let n = sorted.len() as f64;
    let one = |&share: &f64| {
        if sorted.is_empty() {
            return Estimate::unknown(f64::NEG_INFINITY, f64::INFINITY);
        }
        let value = quantile(&sorted, share);
        let beyond = values.map(|v| f64::from(u8::from(v > value)));
        let effective = match share * (1.0 - share) / variance_of_mean(&beyond) {
            number if number.is_finite() => lessened(number.min(n), &beyond, confidence),
            // Nothing is known of how values depend on each other.
            _ => 1.0,
        };
        let ends = fraction(share, effective, confidence);
        let bounded = |share: f64| share.powf(effective) <= confidence.tail();
        Estimate {
            value,
            lo: if bounded(1.0 - share) {
                quantile(&sorted, ends.lo)
            } else {
                f64::NEG_INFINITY
            },
            hi: if bounded(share) {
                quantile(&sorted, ends.hi)
            } else {
                f64::INFINITY
            },
        }
    };
    shares.iter().map(one).collect()
}

/// Linear interpolation between sorted values (definition 7 of Hyndman & Fan 1996, Am. Stat. 50, 361).
pub(super) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share.clamp(0.0, 1.0) * (sorted.len() - 1) as f64;
    let (below, above) = (sorted[place.floor() as usize], sorted[place.ceil() as usize]);
    below + (above - below) * place.fract()
}
