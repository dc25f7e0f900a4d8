//! Parts of a setup in files of their own: `include = ["parts/camera.toml"]` at the top of a setup.
//!
//! A name that begins with `usual:` means a part that the program brings along.
//!
//! A part is written as a setup is, with the sections that it is about. What the setup itself says
//! under a key, or under one that stands in its place, overrides the part. Parts include nothing.

use std::collections::BTreeMap;
use std::path::Path;

use motefield_files::FileSource;

use super::{Document, FLOW, Leaf, Origin, usual};
use crate::keys::{self, Key};
use crate::setup::error::{Fault, Place, SetupError, SourceText};

/// The key at the top of a setup.
pub(crate) const INCLUDE: &str = "include";
/// Most parts of a setup.
pub(crate) const MOST_PARTS: usize = 100;
/// What must stand under the key.
const MUST: &str =
    "must be a list of the names of files in quotes, such as include = [\"parts/camera.toml\"]";

impl Document {
    /// The document with the values of the parts that it includes; their bytes come from `files`.
    ///
    /// # Errors
    /// When a part cannot be read, is not TOML or includes another, or when two parts say the same.
    pub(in crate::setup) fn with_parts(&self, files: &dyn FileSource) -> Result<Document, SetupError> {
        let mut document = self.clone();
        let Some((_, leaf)) = self.values.get(INCLUDE) else {
            return Ok(document);
        };
        let Leaf::List(count @ 0..=MOST_PARTS) = leaf else {
            return Err(self.error(self.fault(INCLUDE, MUST)));
        };
        document.remove(INCLUDE);
        let mut given = BTreeMap::new();
        let mut faults = Vec::new();
        for k in 0..*count {
            let entry = format!("{INCLUDE}[{k}]");
            let Some(Leaf::Text(name)) = self.get(&entry) else {
                return Err(self.error(self.fault(&entry, MUST)));
            };
            let part = match name.strip_prefix(usual::PREFIX) {
                Some(usual) => self.usual_part(&entry, usual.trim())?,
                None => {
                    let path = self.folder(&entry).unwrap_or(Path::new("")).join(name);
                    self.part(&entry, &path, files)?
                }
            };
            document.take(&part, self, &mut given, &mut faults);
        }
        match faults.is_empty() {
            true => Ok(document),
            false => Err(document.errors(faults)),
        }
    }

    /// A part that the program brings along.
    fn usual_part(&self, entry: &str, name: &str) -> Result<Document, SetupError> {
        match usual::text(name) {
            Some(text) => Document::parse(&format!("{}{name}", usual::PREFIX), text),
            None => {
                let meant = match usual::nearest(name) {
                    Some(near) => format!("; did you mean {}{near}?", usual::PREFIX),
                    None => format!(": {}", usual::names().collect::<Vec<_>>().join(", ")),
                };
                let message = format!(
                    "is {}{name}, which is none of the usual parts{meant}",
                    usual::PREFIX
                );
                Err(self.error(self.fault(entry, message)))
            }
        }
    }

    /// Reads a part.
    fn part(&self, entry: &str, path: &Path, files: &dyn FileSource) -> Result<Document, SetupError> {
        let unreadable = |why: &dyn std::fmt::Display| {
            let message = format!("cannot be included: {why}");
            self.error(self.fault(entry, message))
        };
        let content = files.content(path).map_err(|e| unreadable(&e))?;
        let text = std::str::from_utf8(&content.bytes)
            .map_err(|_| unreadable(&format!("{}: is not a text file (UTF-8)", path.display())))?;
        let part = Document::parse(&path.display().to_string(), text)?;
        match part.has(INCLUDE) {
            true => Err(part.error(part.fault(
                INCLUDE,
                "stands in a part, and parts include nothing: name the file in the setup itself",
            ))),
            false => Ok(part),
        }
    }

    /// Takes what a part says and `own` does not. `given` holds the number of the part
    /// that gave a key, by the key in whose place that one stands.
    fn take(
        &mut self,
        part: &Document,
        own: &Document,
        given: &mut BTreeMap<String, usize>,
        faults: &mut Vec<Fault>,
    ) {
        let source = self.sources.len();
        self.sources.push(SourceText {
            name: part.name().into(),
            text: part.text().into(),
        });
        for (path, (origin, leaf)) in &part.values {
            let Origin::Text(place) = origin else { continue };
            let place = Place {
                source,
                span: place.span.clone(),
            };
            let whole = keys::whole(path);
            if overridden(own, whole) || own.has(path) || other_flow(own, part, path) {
                continue;
            }
            if whole.contains('.') && whole == path {
                let meaning = meaning(whole).to_owned();
                if let Some(earlier) = given.get(&meaning).filter(|earlier| **earlier != source) {
                    let other = &self.sources[*earlier].name;
                    let message = format!(
                        "{path} stands in {other} too, or one in its place: leave one out, or say in the setup itself which counts"
                    );
                    faults.push(Fault {
                        place: Some(place),
                        message,
                    });
                    continue;
                }
                given.insert(meaning, source);
            }
            if let Some(tolerance) = part.tolerances.get(path) {
                self.tolerances.insert(path.clone(), tolerance.clone());
            }
            let new = (Origin::Text(place), leaf.clone());
            self.values.entry(path.clone()).or_insert(new);
        }
    }
}

fn key(path: &str) -> Option<&'static Key> {
    keys::all().find(|key| key.names().any(|name| name == path))
}

/// The key whose meaning a path has: of keys of which only one may be given, the first.
fn meaning(path: &str) -> &str {
    match key(path) {
        Some(key) if !key.instead_of.is_empty() => key.instead_of,
        Some(key) => key.path,
        None => path,
    }
}

/// Whether a path is one of a flow that the setup itself has in full: of several fields that add,
/// in either, none can be told to be another's.
fn other_flow(own: &Document, part: &Document, path: &str) -> bool {
    let listed = |document: &Document| matches!(document.get(FLOW), Some(Leaf::List(_)));
    let rest = path.strip_prefix(FLOW);
    let of_flow = rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']));
    of_flow && own.has(FLOW) && (listed(own) || listed(part))
}

/// Whether the setup itself gives a key of that meaning.
fn overridden(own: &Document, path: &str) -> bool {
    if !path.contains('.') {
        return false;
    }
    let wanted = meaning(path);
    let same = |key: &&Key| key.path == wanted || key.instead_of == wanted;
    own.has(path)
        || keys::all()
            .filter(same)
            .flat_map(Key::names)
            .any(|name| own.has(name))
}

#[cfg(test)]
mod tests;
