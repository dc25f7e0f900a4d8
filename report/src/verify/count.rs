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

/// How many reference figures there are, and of which kinds of source, the most frequent first:
/// "12 reference figures: 8 derived, 4 from memory."
pub fn kinds<'a>(cases: impl IntoIterator<Item = &'a Case>) -> String {
    let counts = of_each_kind(cases);
    let all: usize = counts.iter().map(|(_, count)| count).sum();
    let mut present: Vec<_> = counts.into_iter().filter(|(_, count)| *count > 0).collect();
    present.sort_by_key(|(_, count)| Reverse(*count));
    let parts: Vec<String> = present
        .into_iter()
        .map(|(kind, count)| match kind {
            SourceKind::Memory => format!("{count} from memory"),
            kind => format!("{count} {}", kind.as_str()),
        })
        .collect();
    let figures = if all == 1 { "figure" } else { "figures" };
    format!("{all} reference {figures}: {}.", parts.join(", "))
}

/// Number of expectations of every kind of source.
pub(super) fn of_each_kind<'a>(cases: impl IntoIterator<Item = &'a Case>) -> [(SourceKind, usize); 5] {
    let mut counts = SourceKind::ALL.map(|kind| (kind, 0));
    for e in cases.into_iter().flat_map(|case| &case.expectations) {
        for (kind, count) in &mut counts {
            *count += usize::from(*kind == e.kind);
        }
    }
    counts
}
