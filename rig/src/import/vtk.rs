//! VTK's legacy format (VTK file formats, "Simple Legacy Formats"): structured points.

use super::{Data, Fault, Real, grid, node_count, vectors};

/// The vectors named `array`, or the first, of a `DATASET STRUCTURED_POINTS`.
pub(super) fn read(bytes: &[u8], array: Option<&str>) -> Result<Data, Fault> {
    let mut text = Cursor {
        bytes,
        at: 0,
        line: 1,
    };
    if !text.line().starts_with("# vtk DataFile Version") {
        return Err(Fault::at(
            1,
            "is not a legacy VTK file: it does not begin with \"# vtk DataFile Version\"",
        ));
    }
    text.line();
    let binary = match text.word()? {
        "ASCII" => false,
        "BINARY" => true,
        other => return Err(text.fault(format!("is \"{other}\", but must say ASCII or BINARY"))),
    };
    text.expect("DATASET")?;
    let kind = text.word()?;
    if kind != "STRUCTURED_POINTS" {
        return Err(text.fault(format!(
            "is a {kind}, but only STRUCTURED_POINTS (image data) can be read: resample it to image data"
        )));
    }
    let (mut count, mut first, mut spacing) = (None, [0.0; 3], [1.0; 3]);
    loop {
        match text.word()? {
            "DIMENSIONS" => count = Some([text.number()?, text.number()?, text.number()?]),
            "ORIGIN" => first = [text.number()?, text.number()?, text.number()?],
            "SPACING" | "ASPECT_RATIO" => spacing = [text.number()?, text.number()?, text.number()?],
            "CELL_DATA" => {
                return Err(
                    text.fault("has its data in the cells, but they must be at the points (POINT_DATA)")
                );
            }
            "METADATA" => text.pass_metadata(),
            "POINT_DATA" => break,
            other => return Err(text.fault(format!("has the unknown entry \"{other}\""))),
        }
    }
    let count = count.ok_or_else(|| text.fault("has no DIMENSIONS before its data"))?;
    // A number takes two bytes at least, as text.
    let nodes = node_count(count, bytes.len() / 2)?;
    let claimed: usize = text.number()?;
    if claimed != nodes {
        return Err(text.fault(format!(
            "says POINT_DATA {claimed}, but its DIMENSIONS make {nodes} points"
        )));
    }
    let mut seen = Vec::new();
    while let Some(section) = text.try_word() {
        let candidates = match section {
            "VECTORS" | "NORMALS" => vec![text.array(3, nodes, binary)?],
            "SCALARS" => vec![text.scalars(nodes, binary)?],
            "FIELD" => text.field(binary)?,
            "METADATA" => {
                text.pass_metadata();
                continue;
            }
            "CELL_DATA" => break,
            other => {
                return Err(text.fault(format!(
                    "has {other} data, of which nothing is known here: save the velocity as VECTORS only"
                )));
            }
        };
        for found in candidates {
            let fits = found.components == 3 && found.numbers.len() == 3 * nodes;
            if fits && array.is_none_or(|wanted| wanted == found.name) {
                return grid(first, spacing, count, vectors(&found.numbers));
            }
            seen.push(format!("{} ({} components)", found.name, found.components));
        }
    }
    Err(no_array(array, &seen))
}

/// The array asked for is not among those there are.
pub(super) fn no_array(wanted: Option<&str>, seen: &[String]) -> Fault {
    let wanted = wanted.map_or("array".to_owned(), |name| format!("array \"{name}\""));
    let there = if seen.is_empty() {
        "none".to_owned()
    } else {
        seen.join(", ")
    };
    Fault::new(format!(
        "has no {wanted} of 3 components at its points; there: {there}"
    ))
}

struct Array {
    name: String,
    components: usize,
    numbers: Vec<f64>,
}

/// Reads words, lines and blocks of numbers one after the other.
struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl<'a> Cursor<'a> {
    fn fault(&self, message: impl Into<String>) -> Fault {
        Fault::at(self.line, message)
    }

    /// The rest of the line.
    fn line(&mut self) -> &'a str {
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|b| *b == b'\n').unwrap_or(rest.len());
        self.at += (length + 1).min(rest.len());
        self.line += 1;
        std::str::from_utf8(&rest[..length]).unwrap_or("").trim()
    }

    fn try_word(&mut self) -> Option<&'a str> {
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

    fn word(&mut self) -> Result<&'a str, Fault> {
        self.try_word().ok_or_else(|| {
            Fault::at(
                self.line,
                "ends, or holds something that is not text, where a word was due",
            )
        })
    }

    fn expect(&mut self, wanted: &str) -> Result<(), Fault> {
        match self.word()? {
            word if word == wanted => Ok(()),
            word => Err(self.fault(format!("has \"{word}\" where {wanted} was due"))),
        }
    }

    fn number<T: std::str::FromStr>(&mut self) -> Result<T, Fault> {
        let word = self.word()?;
        word.parse()
            .map_err(|_| self.fault(format!("has \"{word}\" where a number was due")))
    }

    /// Name and type, then `components` numbers for each of `tuples` points.
    fn array(&mut self, components: usize, tuples: usize, binary: bool) -> Result<Array, Fault> {
        let name = self.word()?.to_owned();
        let kind = self.word()?;
        let numbers = self.numbers(kind, components, tuples, binary)?;
        Ok(Array {
            name,
            components,
            numbers,
        })
    }

    fn scalars(&mut self, tuples: usize, binary: bool) -> Result<Array, Fault> {
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

    fn field(&mut self, binary: bool) -> Result<Vec<Array>, Fault> {
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

    fn numbers(
        &mut self,
        kind: &str,
        components: usize,
        tuples: usize,
        binary: bool,
    ) -> Result<Vec<f64>, Fault> {
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
        let real = match kind {
            "float" => Real::F32,
            "double" => Real::F64,
            _ => {
                return Err(self.fault(format!(
                    "has numbers of the kind {kind}, but must have float or double"
                )));
            }
        };
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
    fn pass_metadata(&mut self) {
        self.line();
        while self.at < self.bytes.len() && !self.line().is_empty() {}
    }
}
