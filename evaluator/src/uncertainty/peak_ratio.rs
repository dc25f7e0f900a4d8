//! Uncertainty by the ratio of the highest to the second-highest peak (Charonko & Vlachos 2013,
//! Meas. Sci. Technol. 24, 065301; form and constants from memory).
//!
//! The authors fitted a curve to the errors of rendered pairs, for the half-width of the interval
//! that contains 95 % of the errors:
//!
//! u₉₅² = (M exp(-½ ((Q - N)/s)²))² + (A Q⁻ᴮ)² + C²
//!
//! with Q the ratio; the first term is for false peaks (Q near 1), the second falls as the peak
//! stands out, the third is the least error. The standard uncertainty is u₉₅/1.96. The constants
//! were fitted to another correlation (phase-filtered, in single passes) than any offered here:
//! expect the order of magnitude and the trend, no more. It gives one figure per vector, which is
//! used for both components.

const M_PX: f64 = 13.1;
const N: f64 = 1.0;
const S: f64 = 0.317;
const A_PX: f64 = 0.226;
const B: f64 = 1.0;
const C_PX: f64 = 0.08;

/// Standard deviations of the normal law on either side that contain 95 %.
const FACTOR: f64 = 1.959_964;

/// Standard uncertainty of a component, px, at a peak ratio of at least 1; `NaN` below 1, where
/// there is no peak.
pub(super) fn of(ratio: f64) -> f64 {
    if ratio.is_nan() || ratio < 1.0 {
        return f64::NAN;
    }
    let false_peak = M_PX * (-0.5 * ((ratio - N) / S).powi(2)).exp();
    let trend = A_PX * ratio.powf(-B);
    (false_peak.powi(2) + trend.powi(2) + C_PX.powi(2)).sqrt() / FACTOR
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computed by hand from the formula: at Q = 1 the 13.1 px of false peaks, with 0.226 and 0.08
    /// px in quadrature; at Q = 2.26 the trend alone, 0.1 px, with 0.08 px (the 13.1 exp(-7.899) =
    /// 0.00486 px of false peaks hardly matter); without a second peak 0.08 px.
    #[test]
    fn values_by_hand() {
        for (ratio, u95) in [(1.0, 13.102_193), (2.26, 0.128_155), (f64::INFINITY, 0.08)] {
            let found = of(ratio) * 1.959_964;
            assert!((found / u95 - 1.0).abs() < 1e-4, "at {ratio}: {found}, not {u95}");
        }
        assert!(of(0.0).is_nan());
    }
}
