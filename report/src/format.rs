//! Numbers as people read them. Tables for programs use [`motefield_rig::quantity::digits`].

use motefield_evaluator::statistics::Estimate;
use motefield_rig::keys::timing;
use motefield_rig::quantity::{self, Dimension, digits, short, significant};
use motefield_study::caveat::Caveat;
use motefield_study::values::Figure;

/// A time to three digits, "184 us"; what is below 1e-15 s is rounding, "0 s".
///
/// ```
/// use motefield_report::format::time;
///
/// assert_eq!(time(183.7e-6), "184 us");
/// assert_eq!(time(-5e-3), "-5 ms");
/// ```
pub fn time(seconds: f64) -> String {
    time_to(seconds, 3)
}

/// A time to so many significant digits, without zeros at its end.
pub fn time_to(seconds: f64, digits: usize) -> String {
    // What cancels to nothing is 0, not 1e-20 s.
    let rounded = match significant(seconds, digits) {
        rounded if rounded.abs() >= 1e-15 => rounded,
        _ => return "0 s".to_owned(),
    };
    let units = [
        (1.0, "s"),
        (1e-3, "ms"),
        (1e-6, "us"),
        (1e-9, "ns"),
        (1e-12, "ps"),
    ];
    let (scale, unit) = units
        .into_iter()
        .find(|(scale, _)| rounded.abs() >= 0.9999999 * scale)
        .unwrap_or(units[4]);
    let number = rounded / scale;
    let decimals = (digits as i32 - 1 - number.abs().log10().floor() as i32).max(0) as usize;
    let text = format!("{number:.decimals$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    format!("{text} {unit}")
}

/// Displacements and errors to two digits, "0.031 px".
///
/// ```
/// assert_eq!(motefield_report::format::pixels(0.0312), "0.031 px");
/// ```
pub fn pixels(value: f64) -> String {
    quantity::format(significant(value, 2), Dimension::Pixels)
}

/// A text with the signs that plain text does without: "µs", and a minus in front.
///
/// ```
/// assert_eq!(motefield_report::format::typeset("-4.75 us"), "−4.75 µs");
/// ```
pub fn typeset(text: &str) -> String {
    let text = text.replace(" us", " µs");
    match text.strip_prefix('-') {
        Some(rest) => format!("\u{2212}{rest}"),
        None => text,
    }
}

/// A sentence with the signs that print has: units, powers of ten, minus.
///
/// ```
/// use motefield_report::format::typeset_all;
///
/// assert_eq!(typeset_all("use 5 us, at -2 um: 4.4e-16 J/m2."), "use 5 µs, at −2 µm: 4.4×10⁻¹⁶ J/m².");
/// ```
pub fn typeset_all(text: &str) -> String {
    let words: Vec<String> = text.split(' ').map(typeset_word).collect();
    words.join(" ")
}

fn typeset_word(word: &str) -> String {
    let opened = word.trim_start_matches('(');
    let core = opened.trim_end_matches([',', '.', ';', ':', ')']);
    let (before, after) = (&word[..word.len() - opened.len()], &opened[core.len()..]);
    let set = match core {
        "us" | "um" | "uJ" | "uW" | "um/s" => format!("µ{}", &core[1..]),
        "J/m2" | "W/m2" | "mJ/m2" | "m2" => core.replace('2', "²"),
        _ if core.parse::<f64>().is_ok() => typeset_number(core),
        _ => core.to_owned(),
    };
    format!("{before}{set}{after}")
}

/// "−4.4×10⁻¹⁶".
fn typeset_number(number: &str) -> String {
    let number = number.replacen('-', "\u{2212}", usize::from(number.starts_with('-')));
    let Some((digits, power)) = number.split_once('e') else {
        return number;
    };
    let raised = power.chars().filter(|c| *c != '+').map(|c| match c.to_digit(10) {
        Some(digit) => ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'][digit as usize],
        None => '⁻',
    });
    format!("{digits}×10{}", raised.collect::<String>())
}

/// What people call a setting: "pulse length" for `light.pulse_length`.
pub(crate) fn named(key: &str) -> String {
    match key == timing::SEPARATION.path {
        true => "pulse separation".to_owned(),
        false => key.rsplit('.').next().unwrap_or(key).replace('_', " "),
    }
}

/// A share in per cent to three digits, "98.7 %".
///
/// ```
/// assert_eq!(motefield_report::format::percent(0.98654), "98.7 %");
/// ```
pub fn percent(share: f64) -> String {
    format!("{} %", short(100.0 * share))
}

/// A share in per cent to 0.01 %, "99.87 %".
pub fn fine_percent(share: f64) -> String {
    format!("{} %", digits((1e4 * share).round() / 1e2))
}

/// How much more a value is than another, "2.4 %".
pub fn percent_more(value: f64, than: f64) -> String {
    format!("{:.1} %", 100.0 * (value / than - 1.0))
}

/// A share with its interval, all in per cent.
pub fn in_percent(share: Estimate) -> Estimate {
    Estimate {
        value: 100.0 * share.value,
        lo: 100.0 * share.lo,
        hi: 100.0 * share.hi,
    }
}

/// The ends of an interval, "0.09 to 0.11".
pub fn ends(e: Estimate) -> String {
    format!("{} to {}", short(e.lo), short(e.hi))
}

/// An estimate with its interval, "0.1 px (0.09 to 0.11)".
///
/// ```
/// use motefield_evaluator::statistics::Estimate;
/// use motefield_report::format::interval;
///
/// let error = Estimate { value: 0.1, lo: 0.09, hi: 0.11 };
/// assert_eq!(interval(error, "px"), "0.100 px (0.0900 to 0.110)");
/// ```
pub fn interval(e: Estimate, unit: &str) -> String {
    format!("{} {unit} ({})", short(e.value), ends(e))
}

/// An estimate with half its interval, "0.1 ±0.01".
pub fn half_width(e: Estimate) -> String {
    format!("{} ±{}", short(e.value), short(0.5 * (e.hi - e.lo)))
}

/// What must be said beside a figure, in one line.
pub fn remarks(caveats: &[Caveat]) -> String {
    let all: Vec<String> = caveats.iter().map(Caveat::to_string).collect();
    all.join("; ")
}

/// What stands in place of a figure that the measurements do not tell.
pub const CANNOT_TELL: &str = "cannot tell";

/// What the three parts of the error are, below figures for the eye.
pub const PARTS: &str = "\
Bias is the mean error, local bias what a place errs in every pair (as scatter over the places), random error
what changes from pair to pair; their squares add up to the total's. Averaging pairs removes the last only.
";

/// A figure with its interval, "0.1 px (0.09 to 0.11)"; or that it cannot be told, and why.
///
/// ```
/// use motefield_evaluator::score::CannotTell;
/// use motefield_report::format::figure;
///
/// assert_eq!(figure(Err(CannotTell::OnePair), "px"), "cannot tell (one pair only)");
/// ```
pub fn figure(figure: Figure, unit: &str) -> String {
    match figure {
        Ok(e) => interval(e, unit),
        Err(reason) => format!("{CANNOT_TELL} ({reason})"),
    }
}

/// Rows of cells as lines of aligned columns, the heading first: numbers to the right, and to the
/// left a last column without a heading, which holds remarks.
///
/// ```
/// let rows = [["error", ""], ["0.1", "the best"]].map(|row| row.map(str::to_owned).to_vec());
/// assert_eq!(motefield_report::format::columns(&rows), "error\n  0.1  the best\n");
/// ```
///
/// # Panics
/// When a row has fewer cells than the first.
pub fn columns(rows: &[Vec<String>]) -> String {
    let Some(heading) = rows.first() else {
        return String::new();
    };
    let widths: Vec<usize> = (0..heading.len())
        .map(|k| rows.iter().map(|row| row[k].chars().count()).max().unwrap_or(0))
        .collect();
    let remarks = heading.last().is_some_and(String::is_empty);
    let line = |row: &Vec<String>| {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(k, (cell, width))| match remarks && k + 1 == heading.len() {
                true => cell.clone(),
                false => format!("{cell:>width$}"),
            })
            .collect();
        cells.join("  ").trim_end().to_owned() + "\n"
    };
    rows.iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Times read as quantities do elsewhere in the program.
    #[test]
    fn times_are_written_as_quantities_are() {
        for k in 0..2000 {
            let seconds = 10f64.powf(-11.9 + 0.007 * f64::from(k));
            let quantity = quantity::format(significant(seconds, 3), Dimension::Time);
            assert_eq!(time(seconds), quantity, "{seconds}");
        }
        assert_eq!(time(0.0), "0 s");
        assert_eq!(time(3e-19), "0 s");
        assert_eq!(time(f64::NAN), "0 s");
        assert_eq!(time_to(10.008e-6, 5), "10.008 us");
    }

    #[test]
    fn estimates_read_as_sentences_do() {
        let e = Estimate {
            value: 0.0312,
            lo: 0.03,
            hi: 0.034,
        };
        assert_eq!(interval(e, "px"), "0.0312 px (0.0300 to 0.0340)");
        assert_eq!(half_width(e), "0.0312 ±0.00200");
        assert_eq!(fine_percent(0.998_765), "99.88 %");
        assert_eq!(percent_more(1.05, 1.0), "5.0 %");
        assert_eq!(pixels(0.0), "0 px");
    }

    #[test]
    fn columns_stand_below_each_other() {
        let row = |cells: [&str; 3]| cells.map(str::to_owned).to_vec();
        let rows = [
            row(["key", "± x", "n"]),
            row(["1 µs", "0.1 ±2", "12"]),
            row(["long value", "3", "4"]),
        ];
        assert_eq!(
            columns(&rows),
            "       key     ± x   n\n      1 µs  0.1 ±2  12\nlong value       3   4\n"
        );
        assert_eq!(columns(&[]), "");
    }
}
