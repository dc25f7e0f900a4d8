//! The fields of a flow that add, one written into a setup's text or taken out of it.

use std::ops::Range;

use super::edit::{TextSection, sections};
use super::{Document, Leaf, Origin};
use crate::keys::{self, flow, lens};
use crate::setup::SetupError;
use crate::setup::flow::example;

/// The section of the fields.
pub(in crate::setup) const FLOW: &str = flow::SECTION.name;

impl Document {
    /// How many fields the text has, which may be one under `[flow]`.
    pub fn fields(&self) -> usize {
        match self.get(FLOW) {
            Some(Leaf::List(count)) => *count,
            Some(_) => 1,
            None => 0,
        }
    }

    /// The setup's own text with a field of another kind: in place of field `number`, or behind the
    /// last where that is their count. It has the keys that the kind needs, with values to begin
    /// with. Without a kind the field is taken out.
    ///
    /// # Errors
    /// When the text writes its fields in another way than as `[flow]`, `[[flow]]` or a list of
    /// tables.
    ///
    /// ```
    /// use motefield_rig::setup::Document;
    ///
    /// let text = "[flow]\nkind = \"uniform\"\nvelocity = [\"1 m/s\", \"0 m/s\"]\n";
    /// let one = Document::parse("rig.toml", text).unwrap();
    /// let two = one.with_field(1, Some("wall")).unwrap();
    /// assert!(two.starts_with("[[flow]]\nkind = \"uniform\"") && two.contains("kind = \"wall\""));
    /// let two = Document::parse("rig.toml", &two).unwrap();
    /// assert_eq!(two.fields(), 2);
    /// assert_eq!(two.with_field(1, None).unwrap(), text.replace("[flow]", "[[flow]]"));
    /// ```
    pub fn with_field(&self, number: usize, kind: Option<&str>) -> Result<String, SetupError> {
        let mut text = self.text().to_owned();
        let count = self.fields();
        let lines = kind.map(|kind| self.lines(kind));
        let done = match self.inline_field(&format!("{FLOW}[0].{}", flow::KIND.name())) {
            Some(_) => self.change_entry(&mut text, number, lines.as_deref()),
            None => change_section(&mut text, number, lines.as_deref()),
        };
        let wanted = match kind {
            Some(_) => count.max(number + 1),
            None => count.saturating_sub(1),
        };
        let changed = Document::parse(self.name(), &text)?;
        match done.is_some() && changed.fields() == wanted {
            true => Ok(text),
            false => {
                let message = "is written in a way that only a change of the text can add to: write each field under [[flow]]";
                Err(self.error(self.fault(FLOW, message)))
            }
        }
    }

    /// The lines of a field of a kind: the word, and what it needs.
    fn lines(&self, kind: &str) -> Vec<String> {
        let in_px = !self.any_below(&format!("{}.", lens::SECTION.name));
        let needed = flow::SECTION
            .keys
            .iter()
            .filter(|key| key.path != flow::KIND.path && key.instead_of.is_empty() && key.is_needed_by(kind));
        let used = needed.filter(|key| key.flows.contains(&kind));
        let kind = toml::Value::String(kind.to_owned());
        std::iter::once(format!("{} = {kind}", flow::KIND.name()))
            .chain(used.map(|key| example(key, in_px)))
            .collect()
    }

    /// Where the field of a key stands as a table in braces.
    pub(super) fn inline_field(&self, path: &str) -> Option<Range<usize>> {
        let (number, _) = keys::field_of(path)?;
        self.entry(number)
    }

    fn entry(&self, number: usize) -> Option<Range<usize>> {
        let (Origin::Text(place), Leaf::Section) = self.values.get(&format!("{FLOW}[{number}]"))? else {
            return None;
        };
        let span = place.span.clone();
        (place.source == 0 && self.text()[span.clone()].starts_with('{')).then_some(span)
    }

    /// Changes, adds or takes out a table of `flow = [{ … }, { … }]`.
    fn change_entry(&self, text: &mut String, number: usize, lines: Option<&[String]>) -> Option<()> {
        let written = lines.map(|lines| format!("{{ {} }}", lines.join(", ")));
        match (self.entry(number), written) {
            (Some(span), Some(written)) => text.replace_range(span, &written),
            (None, Some(written)) => {
                let last = self.entry(number.checked_sub(1)?)?;
                text.insert_str(last.end, &format!(", {written}"));
            }
            // With the comma before it, or of the first the one behind.
            (Some(span), None) => match (number.checked_sub(1), self.entry(number + 1)) {
                (Some(before), _) => text.replace_range(self.entry(before)?.end..span.end, ""),
                (None, Some(next)) => text.replace_range(span.start..next.start, ""),
                (None, None) => return None,
            },
            (None, None) => return None,
        }
        Some(())
    }
}

/// Changes, adds or takes out a section `[flow]` or `[[flow]]`.
fn change_section(text: &mut String, number: usize, lines: Option<&[String]>) -> Option<()> {
    if !text.is_empty() && !text.ends_with('\n') {
        text.push('\n');
    }
    let all: Vec<TextSection> = (sections(text).into_iter())
        .filter(|section| section.name == FLOW)
        .collect();
    let body = lines.map(|lines| format!("{}\n", lines.join("\n")));
    match (all.get(number), body) {
        (Some(section), Some(body)) => {
            let from = text[section.head.end..].find('\n')? + section.head.end + 1;
            text.replace_range(from..section.end, &body);
        }
        (None, Some(body)) => {
            match all.last() {
                Some(last) => text.insert_str(last.end, &format!("\n[[{FLOW}]]\n{body}")),
                None => text.push_str(&format!("\n[[{FLOW}]]\n{body}")),
            }
            // A single one becomes the first of a list.
            if let [only] = &all[..] {
                text.replace_range(only.head.clone(), &format!("[[{FLOW}]]"));
            }
        }
        (Some(section), None) => {
            let blank = text[..section.head.start].ends_with("\n\n");
            text.replace_range(section.head.start - usize::from(blank)..section.end, "");
        }
        (None, None) => return None,
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keys::{Choice, flow::FlowKind};
    use crate::setup::{EMBEDDED, Setup};

    fn document(text: &str) -> Document {
        Document::parse("rig.toml", text).unwrap()
    }

    /// Every kind can be added to a rig, which is then a setup that can be planned, and taken out
    /// again, which leaves the text as it was but for the head.
    #[test]
    fn any_kind_is_added_and_taken_out() {
        let words = FlowKind::all().into_iter().map(|(word, _)| word);
        for kind in words.filter(|kind| *kind != "imported") {
            let added = document(EMBEDDED).with_field(1, Some(kind)).unwrap();
            let setup = Setup::from_text::<&str>("rig.toml", &added, &[]);
            let setup = setup.unwrap_or_else(|e| panic!("{kind}: {e}"));
            assert_eq!(setup.flow.fields.len(), 2, "{kind}");
            let out = document(&added).with_field(1, None).unwrap();
            assert_eq!(out.replace("[[flow]]", "[flow]"), EMBEDDED, "{kind}");
        }
    }

    #[test]
    fn a_field_changes_its_kind_where_it_stands() {
        let text = "[[flow]] # stream\nkind = \"uniform\"\nvelocity = [\"1 px\", \"0 px\"]\n\n# the floor\n[[flow]]\nkind = \"wall\"\nwall_y = \"9 px\"\n[timing]\n";
        let found = document(text).with_field(0, Some("plane-strain")).unwrap();
        assert!(
            found.starts_with("[[flow]] # stream\nkind = \"plane-strain\"\n"),
            "{found}"
        );
        assert!(
            found.contains("\n\n# the floor\n[[flow]]\nkind = \"wall\""),
            "{found}"
        );
    }

    #[test]
    fn a_list_of_tables_is_changed_within_its_brackets() {
        let text = "flow = [{ kind = \"uniform\", velocity = [\"1 px\", \"0 px\"] }, { kind = \"wall\", wall_y = \"9 px\" }]\n";
        let changed = |number, kind| document(text).with_field(number, kind).unwrap();
        assert_eq!(
            changed(1, None),
            "flow = [{ kind = \"uniform\", velocity = [\"1 px\", \"0 px\"] }]\n"
        );
        assert_eq!(
            changed(0, None),
            "flow = [{ kind = \"wall\", wall_y = \"9 px\" }]\n"
        );
        assert!(changed(2, Some("turbulence")).contains("wall_y = \"9 px\" }, { kind = \"turbulence\", "));
        let key = document(text).edited("flow[1].wall_layer", "3 px").unwrap();
        assert!(
            key.contains("{ kind = \"wall\", wall_y = \"9 px\", wall_layer = \"3 px\" }]"),
            "{key}"
        );
    }

    #[test]
    fn a_key_of_one_field_stands_in_that_field() {
        let text = document(EMBEDDED).with_field(1, Some("wall")).unwrap();
        let found = document(&text).edited("flow[1].wall_layer", "3 mm").unwrap();
        let read = document(&found);
        assert!(
            read.has("flow[1].wall_layer") && !read.has("flow[0].wall_layer"),
            "{found}"
        );
        let first = document(&text).edited("flow[0].angle", "3 deg").unwrap();
        assert!(document(&first).has("flow[0].angle"), "{first}");
        // Of a single one the brackets may be left out.
        let single = document(EMBEDDED).edited("flow[0].angle", "3 deg").unwrap();
        assert!(document(&single).has("flow.angle"), "{single}");
    }

    #[test]
    fn what_cannot_be_taken_out_is_refused() {
        let one = document("flow.kind = \"uniform\"\n");
        for (number, kind) in [(1, Some("wall")), (3, None)] {
            let refused = one.with_field(number, kind).unwrap_err().to_string();
            assert!(refused.contains("[[flow]]"), "{refused}");
        }
    }
}
