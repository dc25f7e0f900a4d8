//! The chance of a mean vector as far from zero as one measured.

/// P-value of Hotelling's T² for the mean `[x, y]` with the covariance `[xx, xy, yy]`, known with
/// `freedom` degrees of freedom ν: (1 + T²/ν)^(-(ν - 1)/2), for many exp(-T²/2). `NaN` for ν ≤ 1,
/// and where mean or covariance is not known (`NaN`), as of too few vectors.
pub(crate) fn p_value([x, y]: [f64; 2], [xx, xy, yy]: [f64; 3], freedom: f64) -> f64 {
    if [x, y, xx, xy, yy].iter().any(|v| v.is_nan()) {
        return f64::NAN;
    }
    if x == 0.0 && y == 0.0 {
        return 1.0;
    }
    // Rounding and the lag window may leave a correlation beyond one.
    let limit = 0.999 * (xx * yy).sqrt();
    let xy = xy.clamp(-limit, limit);
    let squared = (yy * x * x - 2.0 * xy * x * y + xx * y * y) / (xx * yy - xy * xy);
    match freedom > 1.0 {
        true => (1.0 + squared / freedom).powf(-0.5 * (freedom - 1.0)),
        false => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::p_value;

    /// Closed form: without correlation T² = x²/xx + y²/yy; for many degrees of freedom Rayleigh's
    /// exp(-T²/2); turning the axes changes nothing.
    #[test]
    fn closed_forms() {
        assert_eq!(p_value([0.0, 0.0], [1.0, 0.0, 1.0], 5.0), 1.0);
        assert!((p_value([2.0, 3.0], [4.0, 0.0, 9.0], 5.0) - 1.4f64.powi(-2)).abs() < 1e-12);
        assert!((p_value([2.0, 3.0], [4.0, 0.0, 9.0], 1e9) - f64::exp(-1.0)).abs() < 1e-6);
        // Variances 4 and 1 along the diagonals: 2.5 along the axes, covariance 1.5.
        let turned = p_value([2f64.sqrt(), 2f64.sqrt()], [2.5, 1.5, 2.5], 7.0);
        assert!((turned - p_value([2.0, 0.0], [4.0, 0.0, 1.0], 7.0)).abs() < 1e-12);
        assert!(p_value([1.0, 0.0], [1.0, 0.0, 1.0], 1.0).is_nan());
    }

    /// Of what is not known nothing follows, whatever else is known.
    #[test]
    fn the_unknown_stays_unknown() {
        let nothing = f64::NAN;
        for place in 0..5 {
            let mut known = [1.0, 2.0, 4.0, 0.5, 9.0];
            known[place] = nothing;
            let [x, y, xx, xy, yy] = known;
            assert!(p_value([x, y], [xx, xy, yy], 5.0).is_nan(), "{known:?}");
        }
        assert!(p_value([0.0, 0.0], [nothing; 3], nothing).is_nan());
    }
}
