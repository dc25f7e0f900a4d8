//! What the program prints: results on standard output, messages on standard error.
//!
//! A result that cannot be written is a failure (exit code 3). A reader that went away, as `head`
//! does, has what it wanted: the rest is dropped. Messages that cannot be written are lost, and the
//! result counts.

use std::io::{self, ErrorKind, Write};
use std::sync::atomic::{AtomicBool, Ordering};

use serde_json::Value;

use crate::exit::{Exit, Failure};

/// Whether the reader of standard output went away.
static UNREAD: AtomicBool = AtomicBool::new(false);

/// Whether nobody reads standard output any more.
pub fn is_unread() -> bool {
    UNREAD.load(Ordering::Relaxed)
}

/// Writes to standard output.
pub fn print(text: &str) -> Result<(), Failure> {
    if is_unread() {
        return Ok(());
    }
    let mut out = io::stdout().lock();
    judge(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// What the outcome of writing to standard output means.
pub fn judge(written: io::Result<()>) -> Result<(), Failure> {
    match written {
        Err(e) if e.kind() == ErrorKind::BrokenPipe => {
            UNREAD.store(true, Ordering::Relaxed);
            Ok(())
        }
        Err(e) => Err(Failure {
            exit: Exit::System,
            message: format!("cannot write to standard output: {e}"),
        }),
        Ok(()) => Ok(()),
    }
}

/// Columns of printed sentences.
const COLUMNS: usize = 100;

/// Writes sentences to standard output, those that are long on several lines. Files keep one line
/// per sentence, for programs that read them.
pub fn print_words(text: &str) -> Result<(), Failure> {
    print(&wrapped(text))
}

/// Lines of at most [`COLUMNS`], as far as their words allow; what follows the first is indented
/// beyond it, or stands below its last column where it has columns. A number keeps its unit.
fn wrapped(text: &str) -> String {
    let mut out = String::new();
    for line in text.split_inclusive('\n') {
        // What is to be copied into a shell stays on one line.
        let copied = line.trim_start().starts_with("--set ");
        if line.trim_end().chars().count() <= COLUMNS || copied || is_row(line) {
            out.push_str(line);
            continue;
        }
        let line = line.trim_end();
        let begin = line.len() - line.trim_start().len();
        // Columns stand at least two spaces apart.
        let column = line[begin..].rfind("  ").map(|at| begin + at + 2);
        let indent = column.filter(|at| *at < COLUMNS / 2).unwrap_or(begin + 2);
        let (head, words) = line.split_at(column.filter(|at| *at < COLUMNS / 2).unwrap_or(begin));
        out.push_str(head);
        let mut at = head.chars().count();
        for (k, word) in phrases(words).into_iter().enumerate() {
            let length = word.chars().count();
            if k > 0 && at + 1 + length > COLUMNS {
                out.push('\n');
                out.push_str(&" ".repeat(indent));
                at = indent;
            } else if k > 0 {
                out.push(' ');
                at += 1;
            }
            out.push_str(word);
            at += length;
        }
        out.push('\n');
    }
    out
}

/// Whether a line is the row of a table: three gaps of two spaces or more, which breaking would
/// close.
fn is_row(line: &str) -> bool {
    let gaps = line.trim().split("  ").filter(|cell| !cell.is_empty()).count();
    gaps > 3
}

/// What stays on one line: words, and numbers with the word after them.
fn phrases(words: &str) -> Vec<&str> {
    let mut all = Vec::new();
    let mut begin = 0;
    for (at, _) in words.match_indices(' ') {
        let before = &words[begin..at];
        if before.ends_with(|c: char| c.is_ascii_digit()) && before.len() < COLUMNS / 4 {
            continue;
        }
        all.extend((!before.is_empty()).then_some(before));
        begin = at + 1;
    }
    all.push(&words[begin..]);
    all
}

pub fn print_json(value: &Value) -> Result<(), Failure> {
    print(&format!("{value:#}\n"))
}

/// Writes a message to standard error, on lines of its own.
pub fn say(text: &str) {
    let _ = io::stderr().lock().write_all(format!("{text}\n").as_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_lines_stay_and_long_ones_are_broken_between_words() {
        let short = "Use 5 us.\n  at most 3 px\n\n";
        assert_eq!(wrapped(short), short);
        let long = format!("  {}\nnext\n", "abcd efgh; ".repeat(40).trim_end());
        let broken = wrapped(&long);
        let lines: Vec<&str> = broken.lines().collect();
        assert!(
            lines.iter().all(|line| line.chars().count() <= COLUMNS),
            "{broken}"
        );
        assert!(lines[0].starts_with("  abcd") && lines[1].starts_with("    "));
        assert_eq!(lines.last(), Some(&"next"));
        let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(words(&broken), words(&long));
    }

    #[test]
    fn numbers_keep_their_unit_and_columns_stay() {
        let line = format!("  N = 10    {} 12 mm/s of it", "x".repeat(85));
        let broken = wrapped(&line);
        let next = broken.lines().nth(1).unwrap();
        assert_eq!(next, format!("{}12 mm/s of it", " ".repeat(12)));
    }

    #[test]
    fn rows_of_tables_are_not_broken() {
        let row = format!("  32  gaussian  0.4 %  {}  0.1 px\n", "x".repeat(90));
        assert_eq!(wrapped(&row), row);
    }

    /// A word of any length, letters of several bytes, and nothing at all.
    #[test]
    fn whatever_is_printed_is_printed_whole() {
        for text in ["", "\n", &"é".repeat(300), &" ".repeat(300), &"µ 1 ".repeat(99)] {
            let all = |t: &str| t.split_whitespace().collect::<String>();
            assert_eq!(all(&wrapped(text)), all(text));
        }
    }
}
