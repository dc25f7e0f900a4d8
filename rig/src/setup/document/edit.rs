//! A value written into the text of a setup, all else left as it is: comments, order, spaces.

use super::{Document, Leaf, Origin, Value};
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
            _ => insert(&mut text, path, &written),
        }
        Document::parse(self.name(), &text)?;
        Ok(text)
    }
}

/// Puts a line at the end of its section, which is added where there is none.
fn insert(text: &mut String, path: &str, written: &str) {
    let (section, name) = path.split_once('.').unwrap_or(("", path));
    let line = format!("{name} = {written}\n");
    let is_head = |line: &str| {
        let inside = line
            .trim_start()
            .strip_prefix('[')
            .and_then(|rest| rest.split_once(']'));
        inside.map(|(name, _)| name.trim().to_owned())
    };
    let (mut at, mut found, mut last) = (0, false, 0);
    for one in text.split_inclusive('\n') {
        match is_head(one) {
            Some(name) if name == section => found = true,
            Some(name) if found && !name.is_empty() => break,
            _ => {}
        }
        at += one.len();
        let empty = one.trim().is_empty() || one.trim_start().starts_with('#');
        if found && !empty {
            last = at;
        }
    }
    if !text.is_empty() && !text.ends_with('\n') {
        last += usize::from(found && last == text.len());
        text.push('\n');
    }
    match found {
        true => text.insert_str(last, &line),
        false => text.push_str(&format!("\n[{section}]\n{line}")),
    }
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

    #[test]
    fn entries_of_lists_and_hostile_texts_are_written_as_values() {
        let text = "[processing]\npasses = [{ window = 64, overlap = 0.5 }]\n";
        assert_eq!(
            edited(text, "processing.passes[0].window", "32"),
            text.replace("64", "32")
        );
        let hostile = "\"\"\"]\n[flow]\nkind = \"x";
        let found = edited("[light]\nsource = \"led\"\n", "light.source", hostile);
        let read = Document::parse("rig.toml", &found).unwrap();
        assert!(!read.has("flow.kind"), "{found}");
    }
}
