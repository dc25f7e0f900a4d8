//! Why a setup cannot be used: every fault with its line, the line itself, and the remedy.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};

/// One fault of a setup.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Bytes of the text at which it shows; none where the text says nothing about it.
    pub span: Option<Range<usize>>,
    /// Which key, what is wrong, and what to write instead.
    pub message: String,
}

/// A setup that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupError {
    /// What the setup is called.
    pub name: Arc<str>,
    /// Its text.
    pub text: Arc<str>,
    /// Everything that is wrong, in the order of the text; at least one.
    pub faults: Vec<Fault>,
}

impl SetupError {
    /// Line of a fault, counted from 1.
    pub fn line(&self, fault: &Fault) -> Option<usize> {
        let at = fault.span.as_ref()?.start.min(self.text.len());
        Some(1 + self.text.as_bytes()[..at].iter().filter(|b| **b == b'\n').count())
    }

    /// The line on which a fault shows, with the faulty value underlined.
    fn snippet(&self, fault: &Fault, line: Option<usize>) -> Option<String> {
        let span = fault.span.clone()?;
        let first = self.text[..span.start].rfind('\n').map_or(0, |at| at + 1);
        // A value of several lines is shown by its first.
        let end = self.text[first..]
            .find('\n')
            .map_or(self.text.len(), |at| first + at);
        let within = (span.start - first)..(span.end.min(end).max(span.start) - first);
        let source = Snippet::source(&self.text[first..end])
            .line_start(line?)
            .annotation(AnnotationKind::Primary.span(within));
        let report = Group::with_level(Level::ERROR).element(source);
        Some(Renderer::plain().render(&[report]))
    }
}

impl std::error::Error for SetupError {}

impl fmt::Display for SetupError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // Where lines end is looked up for all faults at once: counting anew for each would take the
        // square of the text's length.
        let ends: Vec<usize> = self.text.match_indices('\n').map(|(at, _)| at).collect();
        for (k, fault) in self.faults.iter().enumerate() {
            let before = |span: &Range<usize>| ends.partition_point(|end| *end < span.start);
            let line = fault.span.as_ref().map(|span| 1 + before(span));
            if k > 0 {
                f.write_str("\n")?;
            }
            match line {
                Some(line) => write!(f, "{}, line {line}: {}", self.name, fault.message)?,
                None => write!(f, "{}: {}", self.name, fault.message)?,
            }
            if let Some(snippet) = self.snippet(fault, line) {
                write!(f, "\n{snippet}")?;
            }
        }
        Ok(())
    }
}
