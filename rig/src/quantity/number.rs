//! Plain numbers for the eye and for tables.

/// Three significant digits, or all before the point.
pub fn short(value: f64) -> String {
    // Rounded first: 9.999 is 10.0, not 10.00.
    let rounded: f64 = format!("{:.2e}", value.abs()).parse().unwrap_or(0.0);
    match rounded {
        m if m == 0.0 || !m.is_finite() => format!("{value}"),
        m if !(1e-4..1e6).contains(&m) => format!("{value:.2e}"),
        m => format!("{value:.*}", (2 - m.log10().floor() as i32).max(0) as usize),
    }
}

/// Six significant digits; enough for any figure with an interval.
pub fn digits(value: f64) -> String {
    if !value.is_finite() {
        return if value.is_nan() {
            "nan".to_owned()
        } else {
            format!("{value}")
        };
    }
    format!("{value:.5e}")
        .parse::<f64>()
        .map_or_else(|_| value.to_string(), |v| v.to_string())
}

/// The value to so many significant digits.
pub fn significant(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(value)
}
