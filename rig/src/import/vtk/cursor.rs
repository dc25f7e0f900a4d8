//! Words, lines and blocks of numbers of a legacy VTK file, one after the other.

use super::Array;
use crate::import::FormatFault;
use crate::import::number::NumberType;

/// Reads words, lines and blocks of numbers one after the other.
pub(super) struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl<'a> Cursor<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Cursor {
            bytes,
            at: 0,
            line: 1,
        }
    }

    pub(super) fn fault(&self, message: impl Into<String>) -> FormatFault {
        FormatFault::at(self.line, message)
    }

    /// The rest of the line.
    pub(super) fn line(&mut self) -> &'a str {
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|b| *b == b'\n').unwrap_or(rest.len());
        self.at += (length + 1).min(rest.len());
        self.line += 1;
        std::str::from_utf8(&rest[..length]).unwrap_or("").trim()
    }

    pub(super) fn try_word(&mut self) -> Option<&'a str> {
        while let Some(b) = self.bytes.get(self.at).filter(|b| b.is_ascii_whitespace()) {
            self.line += usize::from(*b == b'\n');
            self.at += 1;
        }
        let rest = &self.bytes[self.at..];
        let length = rest
            .iter()
            .position(u8::is_ascii_whitespace)
            .unwrap_or(rest.len());
        self.at += length;
        // No word of the format is longer than a number; what is longer or no text is data gone
        // astray.
        std::str::from_utf8(&rest[..length.min(256)])
            .ok()
            .filter(|word| !word.is_empty())
    }

    /// The next word, which stays.
    pub(super) fn peek_word(&mut self) -> Option<&'a str> {
        let (at, line) = (self.at, self.line);
        let word = self.try_word();
        (self.at, self.line) = (at, line);
        word
    }

    pub(super) fn word(&mut self) -> Result<&'a str, FormatFault> {
        self.try_word().ok_or_else(|| {
            FormatFault::at(
                self.line,
                "ends, or holds something that is not text, where a word was due",
            )
        })
    }

    pub(super) fn expect(&mut self, wanted: &str) -> Result<(), FormatFault> {
        match self.word()? {
            word if word == wanted => Ok(()),
            word => Err(self.fault(format!("has \"{word}\" where {wanted} was due"))),
        }
    }

    pub(super) fn number<T: std::str::FromStr>(&mut self) -> Result<T, FormatFault> {
        let word = self.word()?;
        word.parse()
            .map_err(|_| self.fault(format!("has \"{word}\" where a number was due")))
    }

    /// Name and type, then `components` numbers for each of `tuples` points.
    pub(super) fn array(
        &mut self,
        components: usize,
        tuples: usize,
        binary: bool,
    ) -> Result<Array, FormatFault> {
        let name = self.word()?.to_owned();
        let kind = self.word()?;
        let numbers = self.numbers(kind, components, tuples, binary)?;
        Ok(Array {
            name,
            components,
            numbers,
        })
    }

    pub(super) fn scalars(&mut self, tuples: usize, binary: bool) -> Result<Array, FormatFault> {
        let name = self.word()?.to_owned();
        let kind = self.word()?;
        let components = match self.line() {
            "" => 1,
            count => count
                .parse()
                .map_err(|_| self.fault(format!("has \"{count}\" where the number of components was due")))?,
        };
        self.expect("LOOKUP_TABLE")?;
        self.word()?;
        let numbers = self.numbers(kind, components, tuples, binary)?;
        Ok(Array {
            name,
            components,
            numbers,
        })
    }

    pub(super) fn field(&mut self, binary: bool) -> Result<Vec<Array>, FormatFault> {
        self.word()?;
        let count: usize = self.number()?;
        let mut arrays = Vec::new();
        while arrays.len() < count {
            let name = match self.word()? {
                "METADATA" => {
                    self.pass_metadata();
                    continue;
                }
                name => name.to_owned(),
            };
            let (components, tuples) = (self.number()?, self.number()?);
            let kind = self.word()?;
            let numbers = self.numbers(kind, components, tuples, binary)?;
            arrays.push(Array {
                name,
                components,
                numbers,
            });
        }
        Ok(arrays)
    }

    pub(super) fn numbers(
        &mut self,
        kind: &str,
        components: usize,
        tuples: usize,
        binary: bool,
    ) -> Result<Vec<f64>, FormatFault> {
        let short = |cursor: &Self| {
            cursor.fault(format!(
                "claims {tuples} times {components} numbers, but the file ends before them"
            ))
        };
        let rest = self.bytes.len() - self.at;
        let count = components
            .checked_mul(tuples)
            .filter(|n| *n <= rest)
            .ok_or_else(|| short(self))?;
        if !binary {
            return (0..count).map(|_| self.number()).collect();
        }
        let real = NumberType::of_legacy(kind).ok_or_else(|| {
            self.fault(format!(
                "has numbers of the kind {kind}, of which nothing is known here"
            ))
        })?;
        self.line();
        let block = self
            .bytes
            .get(self.at..)
            .and_then(|rest| rest.get(..count.checked_mul(real.size())?))
            .ok_or_else(|| short(self))?;
        self.at += block.len();
        Ok(real.all(block, true))
    }

    /// Passes over what newer versions write about an array: all up to an empty line.
    pub(super) fn pass_metadata(&mut self) {
        self.line();
        while self.at < self.bytes.len() && !self.line().is_empty() {}
    }
}
