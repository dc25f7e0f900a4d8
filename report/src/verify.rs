//! The verdicts on reference figures for a reader: in words, as JSON, as a summary page and
//! as pictures.

mod count;
mod deviations;
mod json;
mod page;
pub mod picture;
mod text;

use motefield_rig::quantity::{digits, significant};
use motefield_study::verify::judge::Comparison;
use motefield_study::verify::record::CaseRecord;

pub use count::{Count, kinds};
pub use json::json;
pub use page::page;
pub use text::{lines, list};

/// Six digits, with a power of ten instead of a row of zeros.
fn legible(value: f64) -> String {
    if value == 0.0 || !value.is_finite() || (1e-4..1e7).contains(&value.abs()) {
        return digits(value);
    }
    let exponent = value.abs().log10().floor() as i32;
    format!("{}e{exponent}", digits(value / 10f64.powi(exponent)))
}

/// A figure with its interval.
pub fn shown(c: &Comparison) -> String {
    let short = |v: f64| legible(significant(v, 4));
    if c.measured.lo == c.measured.hi {
        return legible(c.measured.value);
    }
    format!(
        "{} ({} to {})",
        short(c.measured.value),
        short(c.measured.lo),
        short(c.measured.hi)
    )
}

/// The range allowed.
pub fn allowed(c: &Comparison) -> String {
    match c.allowed {
        [lo, hi] if lo.is_infinite() => format!("at most {}", legible(hi)),
        [lo, hi] if hi.is_infinite() => format!("at least {}", legible(lo)),
        [lo, hi] => match c.expected {
            Some(expected) => format!("{} ± {}", legible(expected), legible(0.5 * (hi - lo))),
            None => format!("{} to {}", legible(lo), legible(hi)),
        },
    }
}

/// The comparison that is shown for an expectation: the worst, and among several the one nearest to
/// failing.
fn nearest_to_failing(record: &CaseRecord, expectation: usize) -> Option<&Comparison> {
    let strain = |c: &Comparison| match c.allowed {
        [lo, hi] if lo.is_infinite() => c.measured.value - hi,
        [lo, hi] if hi.is_infinite() => lo - c.measured.value,
        [lo, hi] => (c.measured.value - 0.5 * (lo + hi)).abs() / (hi - lo),
    };
    record
        .comparisons
        .iter()
        .filter(|c| c.expectation == expectation)
        .max_by(|a, b| a.verdict.cmp(&b.verdict).then(strain(a).total_cmp(&strain(b))))
}

#[cfg(test)]
mod tests {
    use super::legible;

    #[test]
    fn small_numbers_can_be_read() {
        assert_eq!(legible(8.03354e-6), "8.03354e-6");
        assert_eq!(legible(-2.5e9), "-2.5e9");
        assert_eq!(legible(0.05), "0.05");
        assert_eq!(legible(0.0), "0");
    }
}
