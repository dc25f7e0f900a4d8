//! How many reference figures there are of each verdict and of each kind of source.

use std::cmp::Reverse;
use std::fmt::Write;

use motefield_study::verify::case::{Case, SourceKind};
use motefield_study::verify::judge::Verdict;
use motefield_study::verify::record::CaseRecord;

/// How many figures there are of each verdict.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Count {
    /// As expected.
    pub agree: usize,
    /// More pairs are needed to tell.
    pub cannot_tell: usize,
    /// Outside the range allowed by less than their intervals.
    pub borderline: usize,
    /// Not as expected, and not known before.
    pub disagree: usize,
    /// Not as expected, as the case says.
    pub known: usize,
    /// Without a value.
    pub missing: usize,
}

impl Count {
    /// Over the expectations of all cases.
    pub fn of(results: &[(&Case, &CaseRecord)]) -> Count {
        let mut count = Count::default();
        for (case, record) in results {
            for k in 0..case.expectations.len() {
                let counted = match record.verdict(k) {
                    Verdict::Agrees => &mut count.agree,
                    Verdict::Known => &mut count.known,
                    Verdict::CannotTell => &mut count.cannot_tell,
                    Verdict::Borderline => &mut count.borderline,
                    Verdict::Disagrees => &mut count.disagree,
                    Verdict::Missing => &mut count.missing,
                };
                *counted += 1;
            }
        }
        count
    }

    /// How many fail at any depth.
    pub fn fail(&self) -> usize {
        self.disagree + self.missing
    }

    /// How many more pairs must decide.
    pub fn open(&self) -> usize {
        self.borderline + self.cannot_tell
    }

    /// In a sentence.
    pub fn sentence(&self) -> String {
        let mut text = format!("{} agree, {} disagree", self.agree, self.disagree);
        if self.missing > 0 {
            let _ = write!(text, ", {} are missing", self.missing);
        }
        if self.borderline > 0 {
            let _ = write!(
                text,
                ", {} are borderline (outside by less than their intervals)",
                self.borderline
            );
        }
        if self.known > 0 {
            let _ = write!(text, ", {} disagree as their cases say", self.known);
        }
        if self.cannot_tell > 0 {
            let _ = write!(
                text,
                ", {} cannot be told (more pairs are needed)",
                self.cannot_tell
            );
        }
        text + "."
    }
}

/// How many reference figures there are, and of which kinds of source, the most frequent first;
/// requirements of the project's own, which refer to nothing, and figures that are computed without
/// a picture are counted apart: "12 reference figures: 8 derived, 4 from memory; and 1 requirement
/// of our own. Of these 13, 5 are arithmetic on formulas, without a picture."
pub fn kinds<'a>(cases: impl IntoIterator<Item = &'a Case> + Clone) -> String {
    let (own, mut present): (Vec<_>, Vec<_>) = of_each_kind(cases.clone())
        .into_iter()
        .filter(|(_, count)| *count > 0)
        .partition(|(kind, _)| *kind == SourceKind::OwnRequirement);
    present.sort_by_key(|(_, count)| Reverse(*count));
    let [all, own] = [&present, &own].map(|c| c.iter().map(|(_, count)| count).sum::<usize>());
    let parts: Vec<String> = present
        .into_iter()
        .map(|(kind, count)| match kind {
            SourceKind::Memory => format!("{count} from memory"),
            kind => format!("{count} {}", kind.as_str()),
        })
        .collect();
    let several = |count: usize, one: &str| format!("{count} {one}{}", if count == 1 { "" } else { "s" });
    let mut text = several(all, "reference figure");
    if all > 0 {
        let _ = write!(text, ": {}", parts.join(", "));
    }
    if own > 0 {
        let _ = write!(text, "; and {} of our own", several(own, "requirement"));
    }
    let computed: usize = cases
        .into_iter()
        .filter(|case| case.measure.is_arithmetic())
        .map(|case| case.expectations.len())
        .sum();
    match (computed, all + own) {
        (0, _) => text + ".",
        (computed, all) if computed == all => text + ". All are arithmetic on formulas, without a picture.",
        (computed, all) => {
            format!("{text}. Of these {all}, {computed} are arithmetic on formulas, without a picture.")
        }
    }
}

/// Number of expectations of every kind of source.
pub(super) fn of_each_kind<'a>(cases: impl IntoIterator<Item = &'a Case>) -> [(SourceKind, usize); 6] {
    let mut counts = SourceKind::ALL.map(|kind| (kind, 0));
    for e in cases.into_iter().flat_map(|case| &case.expectations) {
        for (kind, count) in &mut counts {
            *count += usize::from(*kind == e.kind);
        }
    }
    counts
}
