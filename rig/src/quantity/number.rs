//! Plain numbers for the eye and for tables.

/// Three significant digits, or all before the point.
pub fn short(value: f64) -> String {
    // Rounded first: 9.999 is 10.0, not 10.00.
    match significant(value.abs(), 3) {
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
    significant(value, 6).to_string()
}

/// The value to so many significant digits.
pub fn significant(value: f64, digits: usize) -> f64 {
    format!("{value:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(value)
}

/// The value to three significant digits, `round`ed up or down; the slack keeps one that has no
/// more.
pub fn to_three_digits(value: f64, round: fn(f64) -> f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let exponent = value.abs().log10().floor() as i32 - 2;
    // Digits first, then the exponent, so that 180e-6 is what "180e-6" is read as.
    let digits = value / 10f64.powi(exponent);
    let near = digits.round();
    let digits = match (digits - near).abs() < 1e-9 * digits.abs() {
        true => near,
        false => round(digits),
    };
    format!("{digits}e{exponent}").parse().unwrap_or(value)
}
