//! The answer in words, taken apart, and what to do first.

use motefield_rig::plan::{Rule, RuleId, Status};

use crate::answer::{
    ALSO_ASSUMED, AS_GOOD, ASSUMED, BY_TOLERANCES, CHECK, ERROR_OF_THESE, QUESTION, RULE_LEFT,
};

/// The answer in words, taken apart.
#[derive(Debug, Default)]
pub(super) struct Words<'a> {
    pub(super) sentence: String,
    /// What to look into first.
    pub(super) check: Option<&'a str>,
    pub(super) details: Vec<&'a str>,
    pub(super) assumed: Vec<&'a str>,
}

impl<'a> Words<'a> {
    pub(super) fn of(answer: &'a str) -> Words<'a> {
        let mut words = Words::default();
        let begins_assumed = [BY_TOLERANCES, ASSUMED, ALSO_ASSUMED];
        let lines = || answer.lines().filter(|line| !line.trim().is_empty());
        // Of a twin the estimates stand first; what they are for is the error.
        let is_answer = match lines().any(|line| line.starts_with(ERROR_OF_THESE)) {
            true => |line: &str| line.starts_with(ERROR_OF_THESE),
            false => |line: &str| !line.starts_with(QUESTION),
        };
        for line in lines() {
            if words.sentence.is_empty() && is_answer(line) {
                words.sentence = line.to_owned();
            } else if line.starts_with(CHECK) {
                words.check = Some(line);
            } else if !words.assumed.is_empty() || begins_assumed.iter().any(|b| line.starts_with(b)) {
                words.assumed.push(line);
            } else {
                words.details.push(line);
            }
        }
        let interval = words
            .details
            .iter()
            .find_map(|line| line.trim().strip_prefix(AS_GOOD));
        if let Some(interval) = interval {
            let sentence = words.sentence.trim_end_matches('.');
            words.sentence = format!("{sentence} ({AS_GOOD}{interval}).");
        }
        words
    }
}

/// What to do first: what a rule asks for, unless the study found that it does more harm than good;
/// then the assumption that matters most.
pub(super) fn steps(rules: &[Rule], words: &Words) -> Vec<String> {
    let mut steps = Vec::new();
    let leaves_thumb = words.details.iter().any(|line| line.starts_with(RULE_LEFT));
    for status in [Status::Fail, Status::Warn] {
        let asks = |rule: &&Rule| rule.status == status && !(leaves_thumb && rule.id == RuleId::Streak);
        let fixes = rules
            .iter()
            .filter(asks)
            .filter_map(|rule| Some((rule, rule.fix.as_ref()?)));
        steps.extend(fixes.map(|(rule, fix)| format!("{}: {}", rule.label, fix.words)));
    }
    steps.extend(words.check.map(str::to_owned));
    steps
}

#[cfg(test)]
mod tests {
    use motefield_rig::plan::Assessment;
    use motefield_rig::setup::{EMBEDDED, Setup};

    use super::*;

    /// A rule of thumb that the study leaves is no advice; any other rule stays one.
    #[test]
    fn a_rule_that_the_answer_leaves_is_no_advice() {
        let change = [("light.pulse_length", "2 ms"), ("sheet.out_of_plane", "0.4")];
        let setup = Setup::from_text("rig", EMBEDDED, &change).unwrap();
        let rules = Assessment::of(&setup).unwrap().rules;
        let before = steps(&rules, &Words::of("Use 2 ms.\n"));
        let answer = format!("Use 2 ms.\n{RULE_LEFT}: it is.\n");
        let after = steps(&rules, &Words::of(&answer));
        let streak = |steps: &[String]| steps.iter().filter(|s| s.contains("streak")).count();
        assert_eq!((streak(&before), streak(&after)), (1, 0), "{before:?}");
        assert_eq!(before.len(), after.len() + 1);
    }

    /// The interval joins the answer's sentence.
    #[test]
    fn the_sentence_has_its_interval() {
        let words = Words::of(
            "Question: what.\nUse 5 us.\n  not distinguishable from the best with 95 % confidence: 4 us to 6 us\nCheck x first.\nAssumed: y.\n",
        );
        assert_eq!(
            words.sentence,
            "Use 5 us (not distinguishable from the best with 95 % confidence: 4 us to 6 us)."
        );
        assert_eq!(words.check, Some("Check x first."));
        assert_eq!(words.assumed, ["Assumed: y."]);
    }

    /// What a twin's estimates are for stands first.
    #[test]
    fn the_answer_of_a_twin_is_its_error() {
        let words =
            Words::of("From 2 pairs:\n  a  1\nError of these vectors: 0.04 px\n  with less: 0.05 px\n");
        assert_eq!(words.sentence, "Error of these vectors: 0.04 px");
        assert_eq!(words.details, ["From 2 pairs:", "  a  1", "  with less: 0.05 px"]);
    }
}
