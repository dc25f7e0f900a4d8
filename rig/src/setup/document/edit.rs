//! A value written into the text of a setup, all else left as it is: comments, order, spaces.

use std::ops::Range;

use super::{Document, FLOW, Leaf, Origin, Value};
use crate::keys;
use crate::setup::SetupError;

impl Document {
    /// The setup's own text with `value`, as a person gives it, under `path`: in place of the value
    /// that stands there, or on a line of its own in its section.
    ///
    /// # Errors
    /// When the text that comes out is no setup text.
    ///
    /// ```
    /// use motefield_rig::setup::Document;
    ///
    /// let text = "[light] # blue\npower = \"2 W\" # measured\n";
    /// let document = Document::parse("rig.toml", text).unwrap();
    /// let text = document.edited("light.power", "3 W").unwrap();
    /// assert_eq!(text, "[light] # blue\npower = \"3 W\" # measured\n");
    /// ```
    pub fn edited(&self, path: &str, value: &str) -> Result<String, SetupError> {
        let mut text = self.text().to_owned();
        let written = toml_of(&Value::parse(value));
        let given = self.as_given(path);
        match self.values.get(&given) {
            Some((Origin::Text(place), leaf)) if place.source == 0 && *leaf != Leaf::Section => {
                text.replace_range(place.span.clone(), &written);
            }
            _ => self.insert(&mut text, &given, &written),
        }
        Document::parse(self.name(), &text)?;
        Ok(text)
    }
}

impl Document {
    /// Puts a line at the end of its section, which is added where there is none; of an inline
    /// table an entry.
    fn insert(&self, text: &mut String, path: &str, written: &str) {
        let (section, name) = path.split_once('.').unwrap_or(("", path));
        let line = format!("{name} = {written}\n");
        let (section, number) = match keys::field_of(path) {
            Some((k, _)) => (FLOW, k),
            None => (section, 0),
        };
        if let Some(inline) = self.inline_field(path) {
            let inside = text[inline.clone()].trim_end_matches('}').trim_end();
            let comma = if inside.ends_with(['{', ',']) { "" } else { "," };
            let at = inline.start + inside.len();
            text.replace_range(at..inline.end, &format!("{comma} {} }}", line.trim_end()));
            return;
        }
        if !text.is_empty() && !text.ends_with('\n') {
            text.push('\n');
        }
        match sections(text)
            .into_iter()
            .filter(|one| one.name == section)
            .nth(number)
        {
            Some(section) => text.insert_str(section.end, &line),
            None => text.push_str(&format!("\n[{section}]\n{line}")),
        }
    }
}

/// A section of a text, or a table of a list.
pub(super) struct TextSection {
    pub name: String,
    /// Its head: `[light]`, `[[flow]]`.
    pub head: Range<usize>,
    /// Where its last line ends that is neither empty nor a comment.
    pub end: usize,
}

/// The sections of a text in their order.
pub(super) fn sections(text: &str) -> Vec<TextSection> {
    let mut all: Vec<TextSection> = Vec::new();
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let end = at + line.len();
        let said = line.trim_start();
        if let Some((name, head)) = head(said) {
            let start = end - said.len();
            all.push(TextSection {
                name: name.to_owned(),
                head: start..start + head,
                end,
            });
        } else if let Some(last) = all
            .last_mut()
            .filter(|_| !said.is_empty() && !said.starts_with('#'))
        {
            last.end = end;
        }
        at = end;
    }
    all
}

/// The name in a line that heads a section or a table of a list, and the length of the head.
fn head(line: &str) -> Option<(&str, usize)> {
    let brackets = if line.starts_with("[[") { 2 } else { 1 };
    let rest = line.get(brackets..).filter(|_| line.starts_with('['))?;
    let (name, after) = rest.split_once(']')?;
    let after = if brackets == 2 {
        after.strip_prefix(']')?
    } else {
        after
    };
    let ends = after.trim().is_empty() || after.trim_start().starts_with('#');
    let is_name = name.chars().all(|c| c.is_alphanumeric() || "._- \"".contains(c));
    (ends && is_name).then(|| (name.trim(), line.len() - after.len()))
}

/// A value as TOML writes it.
fn toml_of(value: &Value) -> String {
    match value {
        Value::Number(_) | Value::Switch(_) => value.to_string(),
        Value::Text(text) => quoted(text),
        Value::Quantity(quantity) => quoted(&quantity.exact()),
        Value::List(entries) => {
            let entries: Vec<String> = entries.iter().map(toml_of).collect();
            format!("[{}]", entries.join(", "))
        }
        Value::Table(entries) => {
            let entry = |(key, value): &(String, Value)| format!("{} = {}", name_of(key), toml_of(value));
            let entries: Vec<String> = entries.iter().map(entry).collect();
            format!("{{ {} }}", entries.join(", "))
        }
    }
}

/// A key as TOML writes it.
fn name_of(key: &str) -> String {
    let bare = |c: char| c.is_ascii_alphanumeric() || "_-".contains(c);
    match !key.is_empty() && key.chars().all(bare) {
        true => key.to_owned(),
        false => quoted(key),
    }
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edited(text: &str, path: &str, value: &str) -> String {
        Document::parse("rig.toml", text)
            .unwrap()
            .edited(path, value)
            .unwrap()
    }

    #[test]
    fn a_value_stands_in_its_section() {
        let text = "[light]\npower = \"2 W\"\n\n# the sheet\n[sheet]\nthickness = \"1 mm\"";
        let more = edited(text, "light.pulse_length", "20 us");
        assert_eq!(
            more,
            "[light]\npower = \"2 W\"\npulse_length = \"20 us\"\n\n# the sheet\n[sheet]\nthickness = \"1 mm\"\n"
        );
        assert_eq!(
            edited(text, "sheet.height", "5 cm"),
            format!("{text}\nheight = \"5 cm\"\n")
        );
        assert_eq!(
            edited(text, "camera.bits", "10"),
            format!("{text}\n\n[camera]\nbits = 10\n")
        );
    }

    /// A line that stands in a list is no head, and the comment above a section is its own.
    #[test]
    fn a_list_over_lines_is_no_section() {
        let text = "[processing]\npasses = [\n  { window = 64 },\n  { window = 32 },\n]\n# time\n[timing]\n";
        let found = edited(text, "processing.deform", "false");
        assert_eq!(found, text.replace("]\n# time", "]\ndeform = false\n# time"));
    }

    #[test]
    fn entries_of_lists_and_hostile_texts_are_written_as_values() {
        let text = "[processing]\npasses = [{ window = 64, overlap = 0.5 }]\n";
        assert_eq!(
            edited(text, "processing.passes[0].window", "32"),
            text.replace("64", "32")
        );
        assert_eq!(
            edited(text, "processing.passes", "[{ window = 32, overlap = 0.75 }]"),
            text.replace("window = 64, overlap = 0.5", "overlap = 0.75, window = 32")
        );
        let hostile = "\"\"\"]\n[flow]\nkind = \"x";
        let found = edited("[light]\nsource = \"led\"\n", "light.source", hostile);
        let read = Document::parse("rig.toml", &found).unwrap();
        assert!(!read.has("flow.kind"), "{found}");
    }
}
