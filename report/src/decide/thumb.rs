//! The rule of thumb that an answer leaves, in words and as JSON.

use motefield_rig::quantity::{Dimension, format, short};
use motefield_study::decide::thumb::{LeftStreakRule, STREAK_RULE};
use serde_json::{Value, json};

use crate::answer::RULE_LEFT;
use crate::format::percent_more;

/// Which rule is left and what keeping it would cost.
pub fn words(left: &LeftStreakRule) -> String {
    let why = match left.kept {
        Some(kept) if kept.over_best > 1.0 => format!(
            "keeping it costs more light than the streak does harm: the longest pulse tried that keeps it, {}, has {} px, {} more",
            format(kept.pulse_s, Dimension::Time),
            short(kept.total_px),
            percent_more(kept.over_best, 1.0)
        ),
        Some(kept) => format!(
            "the longest pulse tried that keeps it, {}, has {} px, but loses too many vectors",
            format(kept.pulse_s, Dimension::Time),
            short(kept.total_px)
        ),
        None => "no pulse that keeps it gave valid vectors".to_owned(),
    };
    format!(
        "{RULE_LEFT}: the longest streak is {} of the particle image diameter, not at most {STREAK_RULE} (common practice, no source); {why}.\n",
        short(left.value)
    )
}

/// For programs; null where the rule is kept.
pub fn json(left: Option<&LeftStreakRule>) -> Value {
    left.map_or(Value::Null, |left| {
        json!({
            "name": "streak",
            "value": left.value,
            "limit": STREAK_RULE,
            "kept_pulse_s": left.kept.map(|kept| kept.pulse_s),
            "kept_total_px": left.kept.map(|kept| kept.total_px),
        })
    })
}
