//! The intervals that every figure is given with.

use motefield_evaluator::statistics::{Confidence, chi_interval, combine, fraction, student};
use toml::Value;

use super::{Arguments, Figures, Measure, Request, exactly};

/// Student's factor, the interval of a standard deviation, Wilson's interval.
pub const INTERVALS: Measure = Measure {
    name: "intervals",
    about: "Student's two-sided factor and the ends of a unit standard deviation's interval (chi-squared) for some degrees of freedom; Wilson's interval of a fraction among a number of trials",
    arguments: &["confidence", "freedom", "fraction", "trials"],
    figures: &[
        "student_factor",
        "deviation_lo",
        "deviation_hi",
        "fraction_lo",
        "fraction_hi",
    ],
    pictures: false,
    statistical: false,
    run: intervals,
};

fn confidence(arguments: &Arguments) -> Result<Confidence, String> {
    let level = arguments.number("confidence")?;
    Confidence::new(level).ok_or_else(|| format!("confidence = {level} is not between 0 and 1"))
}

fn intervals(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let confidence = confidence(a)?;
    let freedom = a.number("freedom")?;
    let deviation = chi_interval(1.0, freedom, confidence);
    let fraction = fraction(a.number("fraction")?, a.number("trials")?, confidence);
    Ok(exactly([
        ("student_factor", student(freedom, confidence)),
        ("deviation_lo", deviation.lo),
        ("deviation_hi", deviation.hi),
        ("fraction_lo", fraction.lo),
        ("fraction_hi", fraction.hi),
    ]))
}

/// Combined and expanded uncertainty.
pub const COMBINED: Measure = Measure {
    name: "combined uncertainty",
    about: "combined standard uncertainty, effective degrees of freedom and expanded uncertainty of independent contributions (lists of equal length; infinite freedom is written inf)",
    arguments: &["uncertainties", "freedoms", "confidence"],
    figures: &["combined", "freedom", "coverage_factor", "expanded"],
    pictures: false,
    statistical: false,
    run: combined,
};

fn combined(request: &Request) -> Result<Figures, String> {
    let a = &request.arguments;
    let [uncertainties, freedoms] = [list(a, "uncertainties")?, list(a, "freedoms")?];
    if uncertainties.len() != freedoms.len() {
        return Err("there must be as many degrees of freedom as uncertainties".into());
    }
    let contributions: Vec<(f64, f64)> = uncertainties.into_iter().zip(freedoms).collect();
    let combined = combine(&contributions);
    let confidence = confidence(a)?;
    Ok(exactly([
        ("combined", combined.standard),
        ("freedom", combined.freedom),
        ("coverage_factor", combined.coverage_factor(confidence)),
        ("expanded", combined.expanded(confidence)),
    ]))
}

fn list(arguments: &Arguments, name: &str) -> Result<Vec<f64>, String> {
    let values = arguments.0.get(name).and_then(Value::as_array);
    values
        .ok_or_else(|| format!("lacks the argument {name}, a list of numbers"))?
        .iter()
        .map(|v| match v {
            Value::Float(v) => Ok(*v),
            Value::Integer(v) => Ok(*v as f64),
            other => Err(format!("{name}: {other} is not a number")),
        })
        .collect()
}
