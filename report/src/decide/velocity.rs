//! The uncertainty of the velocity and what many pairs give, in words and as JSON.

use motefield_rig::quantity::{Dimension, format};
use motefield_study::decide::velocity::{COVERAGE_FACTOR, VelocityBudget};
use serde_json::{Value, json};

use crate::format::percent;

/// Numbers of pairs told.
const PAIRS: [usize; 3] = [10, 100, 1000];
/// Fluctuation of a component over the mean speed that is told: that of many wakes and channels
/// (common practice, no source).
const FLUCTUATION: f64 = 0.1;

/// Share of the variance below which a cause is told by its name alone.
const LEAST_SHARE: f64 = 1e-4;

fn speed(m_s: f64) -> String {
    format(m_s, Dimension::Speed)
}

/// The budget, the largest cause first, and averages; `limit_m_s` is the largest error allowed, if
/// one is.
pub fn words(budget: &VelocityBudget, limit_m_s: Option<f64>) -> String {
    let combined = budget.combined_m_s();
    let mut lines = vec![format!(
        "Velocity of one vector: standard uncertainty {} = {} of the mean speed, expanded (k = {COVERAGE_FACTOR}) {} (budget after the GUM):",
        speed(combined),
        percent(combined / budget.mean_m_s),
        speed(COVERAGE_FACTOR * combined)
    )];
    let mut causes = budget.causes.clone();
    causes.sort_by(|a, b| b.1.total_cmp(&a.1));
    let cause = |(cause, u): &(_, f64)| -> String {
        let cause: &motefield_study::decide::velocity::UncertaintyCause = cause;
        format!(
            "  {:<36}{:>12}   {:>6}",
            cause.words(),
            speed(*u),
            percent(budget.share(*u))
        )
    };
    let counts = |(_, u): &&(_, f64)| budget.share(*u) >= LEAST_SHARE;
    lines.extend(causes.iter().filter(counts).map(cause));
    let little: Vec<&str> = (causes.iter().filter(|c| !counts(c)))
        .map(|(cause, _)| cause.words())
        .collect();
    if !little.is_empty() {
        lines.push(format!(
            "  less than {} each: {}",
            percent(LEAST_SHARE),
            little.join(", ")
        ));
    }
    if !budget.unknown.is_empty() {
        let names: Vec<&str> = budget.unknown.iter().map(|cause| cause.words()).collect();
        lines.push(format!(
            "  not in it, as the setup does not say enough: {} (a tolerance is stated as in \"2.4 ms +- 1 %\")",
            names.join(", ")
        ));
    }
    lines.push(format!(
        "Averages over N independent pairs, standard uncertainties, if each component fluctuates by {} of the mean speed:",
        percent(FLUCTUATION)
    ));
    lines.extend(PAIRS.map(|n| {
        let of = budget.averages(n, FLUCTUATION);
        format!(
            "  N = {n:<5} mean velocity {}, rms fluctuation {} of it, Reynolds shear stress {} of the squared fluctuation",
            speed(of.mean_m_s),
            percent(of.rms),
            percent(of.stress)
        )
    }));
    if let Some(limit) = limit_m_s {
        lines.push(match budget.pairs_for(limit) {
            Some(1) => format!("  one pair of a steady flow keeps {}", speed(limit)),
            Some(pairs) => format!(
                "  the mean of {pairs} pairs of a steady flow keeps {}",
                speed(limit)
            ),
            None => format!(
                "  no number of pairs keeps {} with all causes counted: {} is systematic",
                speed(limit),
                speed(budget.systematic_m_s())
            ),
        });
    }
    lines.into_iter().map(|line| line + "\n").collect()
}

/// For programs; null without a scale.
pub fn json(budget: Option<&VelocityBudget>, limit_m_s: Option<f64>) -> Value {
    let Some(budget) = budget else { return Value::Null };
    let causes = budget
        .causes
        .iter()
        .map(|(cause, u)| json!({ "name": cause.as_str(), "standard_m_s": u, "share": budget.share(*u) }));
    let averages = PAIRS.map(|n| {
        let of = budget.averages(n, FLUCTUATION);
        json!({ "pairs": n, "mean_m_s": of.mean_m_s, "rms_relative": of.rms, "stress_relative": of.stress })
    });
    json!({
        "causes": causes.collect::<Value>(),
        "unknown": budget.unknown.iter().map(|cause| cause.as_str()).collect::<Value>(),
        "mean_speed_m_s": budget.mean_m_s,
        "combined_m_s": budget.combined_m_s(),
        "coverage_factor": COVERAGE_FACTOR,
        "expanded_m_s": COVERAGE_FACTOR * budget.combined_m_s(),
        "systematic_m_s": budget.systematic_m_s(),
        "fluctuation_of_averages": FLUCTUATION,
        "averages": averages.to_vec(),
        "pairs_for_limit": limit_m_s.and_then(|limit| budget.pairs_for(limit)),
    })
}
