//! What a report is made of, in the order of reading; every format writes the same.

/// The whole report.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Printed {
    /// What was asked.
    pub question: String,
    /// The answer in a sentence.
    pub answer: String,
    pub blocks: Vec<Block>,
}

/// A part of it.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Block {
    Heading(String),
    Paragraph(String),
    /// In small print.
    Note(String),
    /// Of the dangers of light.
    Caution(String),
    /// What to do, in order.
    Steps(Vec<String>),
    List(Vec<Item>),
    Drawing {
        svg: String,
        caption: Option<String>,
    },
    Picture {
        png: Vec<u8>,
        caption: String,
    },
    Table {
        /// Empty for a table that needs no headings.
        head: Vec<String>,
        rows: Vec<Vec<Cell>>,
    },
    /// Text as it stands.
    Verbatim(String),
}

/// A point of a list.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Item {
    pub text: String,
    /// It belongs to the one above.
    pub deeper: bool,
}

/// A cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cell {
    pub text: String,
    pub kind: CellKind,
}

/// How a cell is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CellKind {
    Words,
    /// On one line.
    Value,
    /// In small print.
    Remark,
    /// As it stands.
    Verbatim,
}

impl CellKind {
    pub fn of(self, text: impl Into<String>) -> Cell {
        Cell {
            text: text.into(),
            kind: self,
        }
    }
}
