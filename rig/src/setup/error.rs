//! Why a setup cannot be used: every fault with its line, the line itself, and the remedy.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

/// A file of a setup: the setup itself, or a part that it includes.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceText {
    /// What it is called.
    pub name: Arc<str>,
    /// Its text.
    pub text: Arc<str>,
}

/// A place in the text of a setup or of one of its parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Which of the texts: 0 is the setup itself, then come its parts.
    pub source: usize,
    /// Bytes of that text.
    pub span: Range<usize>,
}

/// One fault of a setup.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Where it shows; none where no text says anything about it.
    pub place: Option<Place>,
    /// Which key, what is wrong, and what to write instead.
    pub message: String,
}

/// A setup that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupError {
    /// The setup itself, then the parts that it includes; at least one.
    pub sources: Vec<SourceText>,
    /// Everything that is wrong, in the order of the texts; at least one.
    pub faults: Vec<Fault>,
}

impl SetupError {
    /// With the faults of another error about the same setup, none of them twice, in the order of
    /// the texts.
    fn and(mut self, other: SetupError) -> SetupError {
        for fault in other.faults {
            if !self.faults.contains(&fault) {
                self.faults.push(fault);
            }
        }
        self.sort();
        self
    }

    /// Puts the faults in the order of the texts, those that show nowhere last.
    pub(super) fn sort(&mut self) {
        let order = |place: &Place| (place.source, place.span.start);
        self.faults
            .sort_by_key(|fault| fault.place.as_ref().map_or((usize::MAX, 0), order));
    }

    /// The text in which a fault shows; the setup itself where none does.
    pub fn source_of(&self, fault: &Fault) -> &SourceText {
        let place = fault.place.as_ref().map_or(0, |place| place.source);
        &self.sources[place]
    }

    /// Line of a fault, counted from 1.
    pub fn line(&self, fault: &Fault) -> Option<usize> {
        let text = self.source_of(fault).text.as_bytes();
        let at = fault.place.as_ref()?.span.start.min(text.len());
        Some(1 + text[..at].iter().filter(|b| **b == b'\n').count())
    }

    /// The line on which a fault shows, with the faulty value underlined.
    fn snippet(&self, fault: &Fault, line: Option<usize>) -> Option<String> {
        let span = fault.place.as_ref()?.span.clone();
        let text = &*self.source_of(fault).text;
        let first = text[..span.start].rfind('\n').map_or(0, |at| at + 1);
        // A value of several lines is shown by its first.
        let end = text[first..].find('\n').map_or(text.len(), |at| first + at);
        let within = (span.start - first)..(span.end.min(end).max(span.start) - first);
        let source = Snippet::source(&text[first..end])
            .line_start(line?)
            .annotation(AnnotationKind::Primary.span(within));
        let report = Group::with_level(Level::ERROR).element(source);
        Some(Renderer::plain().render(&[report]))
    }
}

impl std::error::Error for SetupError {}

/// Faults of steps that do not need each other, so that all are told at the same time.
#[derive(Debug, Default)]
pub(crate) struct Faults(Option<SetupError>);

impl Faults {
    /// What a step gives. Where it fails its error is kept, and the default stands in for the rest
    /// to be looked at.
    pub fn or_default<T: Default>(&mut self, step: Result<T, SetupError>) -> T {
        step.unwrap_or_else(|error| {
            self.add(error);
            T::default()
        })
    }

    /// Keeps an error.
    pub fn add(&mut self, error: SetupError) {
        self.0 = Some(std::mem::take(self).with(error));
    }

    /// All that were kept, and one more.
    pub fn with(self, error: SetupError) -> SetupError {
        match self.0 {
            Some(before) => before.and(error),
            None => error,
        }
    }

    /// Ends the steps.
    ///
    /// # Errors
    /// All that were kept, as one.
    pub fn none(self) -> Result<(), SetupError> {
        self.0.map_or(Ok(()), Err)
    }
}

impl fmt::Display for SetupError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Where lines end is looked up for all faults at once: counting anew for each would take
        // the square of the text's length.
        let ends: Vec<Vec<usize>> = self
            .sources
            .iter()
            .map(|source| source.text.match_indices('\n').map(|(at, _)| at).collect())
            .collect();
        for (k, fault) in self.faults.iter().enumerate() {
            let before = |place: &Place| ends[place.source].partition_point(|end| *end < place.span.start);
            let line = fault.place.as_ref().map(|place| 1 + before(place));
            if k > 0 {
                f.write_str("\n")?;
            }
            let name = &self.source_of(fault).name;
            match line {
                Some(line) => write!(f, "{name}, line {line}: {}", fault.message)?,
                None => write!(f, "{name}: {}", fault.message)?,
            }
            if let Some(snippet) = self.snippet(fault, line) {
                write!(f, "\n{snippet}")?;
            }
        }
        Ok(())
    }
}
