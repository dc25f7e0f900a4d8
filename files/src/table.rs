//! Tables with a line of column names, as CSV (RFC 4180, with a line feed at the end of a line).

use std::path::Path;

use crate::FileError;

/// A table: every row has as many cells as there are columns.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Table {
    /// Names of the columns.
    pub columns: Vec<String>,
    /// Rows of cells.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// A table without rows.
    pub fn new<N: Into<String>>(columns: impl IntoIterator<Item = N>) -> Table {
        Table {
            columns: columns.into_iter().map(Into::into).collect(),
            rows: Vec::new(),
        }
    }

    /// As the text of a CSV file.
    ///
    /// # Panics
    /// When a row has another number of cells than there are columns.
    pub fn csv(&self) -> String {
        let mut writer = csv::WriterBuilder::new()
            .terminator(csv::Terminator::Any(b'\n'))
            .from_writer(Vec::new());
        for line in std::iter::once(&self.columns).chain(&self.rows) {
            writer.write_record(line).expect("rows as long as the heading");
        }
        let bytes = writer.into_inner().expect("writing to memory");
        String::from_utf8(bytes).expect("cells are text")
    }

    /// Out of the text of a CSV file; `path` is what it is called in messages.
    ///
    /// # Errors
    /// When a row has another number of cells than the first: names the line.
    pub fn parse(path: &Path, text: &str) -> Result<Table, FileError> {
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let bad = |e: csv::Error| FileError::unusable(path, format!("is not a whole table: {e}"));
        let cells = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect();
        let columns = cells(reader.headers().map_err(bad)?);
        let rows = reader
            .records()
            .map(|row| row.map(|row| cells(&row)).map_err(bad));
        Ok(Table {
            columns,
            rows: rows.collect::<Result<_, _>>()?,
        })
    }

    /// Place of the column of that name.
    pub fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column == name)
    }
}

/// What stands between the cells of a line of a table that another program wrote.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Separator {
    /// One character.
    Mark(char),
    /// Any number of blanks.
    Blanks,
}

impl Separator {
    /// The first of some marks that is in the line; blanks where none is.
    pub fn of(line: &str, marks: [char; 3]) -> Separator {
        let mark = marks.into_iter().find(|mark| line.contains(*mark));
        mark.map_or(Separator::Blanks, Separator::Mark)
    }

    /// The cells of a line, without blanks around them.
    pub fn split(self, line: &str) -> Vec<&str> {
        match self {
            Separator::Mark(mark) => line.split(mark).map(str::trim).collect(),
            Separator::Blanks => line.split_whitespace().collect(),
        }
    }
}
