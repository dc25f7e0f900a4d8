//! How the lines of an answer begin that a report looks for. It takes answers apart that were stored
//! earlier, as text, so what writes a line and what looks for it share the words.

/// The question, where the rig decided it.
pub const QUESTION: &str = "Question: ";

/// What to look into first.
pub const CHECK: &str = "Check ";

/// What the tolerances of stated values do.
pub const BY_TOLERANCES: &str = "By the tolerances of ";

/// What is assumed, first of all or alone.
pub const ASSUMED: &str = "Assumed";

/// What is assumed besides.
pub const ALSO_ASSUMED: &str = "Also assumed";

/// The interval of the best setting, on an indented line.
pub const AS_GOOD: &str = "not distinguishable from the best with 95 % confidence: ";

/// The rule of thumb that an answer leaves.
pub const RULE_LEFT: &str = "Rule of thumb left";

/// The error of the recorded pairs' vectors.
pub const ERROR_OF_THESE: &str = "Error of these vectors";

#[cfg(test)]
mod tests {
    use motefield_study::decide::thumb::LeftStreakRule;
    use motefield_study::decide::worth::AnswerSpread;

    use super::*;
    use crate::decide::{thumb, worth};

    /// Of the rarer lines; `tests/program/assumed.rs` meets the others in an answer of the program.
    #[test]
    fn what_is_looked_for_is_written() {
        let left = LeftStreakRule {
            value: 2.0,
            kept: None,
        };
        assert!(thumb::words(&left).starts_with(RULE_LEFT));
        let spread = AnswerSpread {
            tolerances: Vec::new(),
            best: Vec::new(),
            error_ratios: Vec::new(),
            mean_error_ratio: 1.0,
        };
        assert!(worth::spread_words(&spread)[0].starts_with(BY_TOLERANCES));
    }
}
