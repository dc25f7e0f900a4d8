//! `manifest.json`: what stands in a folder of results, from what it was computed, and whether it
//! is finished.
//!
//! What decides the values (program, results version, numeric kernel, command and what was asked of
//! it, setup, seed, every file read) is the study's *identity*: only a study of the same identity
//! may be continued. How long to go on (precision, number of pairs) is no part of it, since each
//! measurement is the same however many follow.

use std::io::{self, Write};
use std::path::Path;

use motefield_files::{Content, FileSource};
use motefield_rig::setup::{Document, Setup};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

use crate::RESULTS_VERSION;
use crate::effort::Effort;

/// Name of the file.
pub const NAME: &str = "manifest.json";
/// The layout of a manifest that says nothing beyond this module's fields.
pub const SCHEMA: &str = "motefield-manifest/1";

/// How the list of the files that were written begins in the text, and nothing else: within other
/// texts no line ends.
const FILES_WRITTEN: &str = "\n  \"files_written\": [";

/// A file and the SHA-256 of its content, in hexadecimal digits.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FileHash {
    /// Its name: of a file read as the setup or the user gives it, of a file written inside the
    /// folder.
    pub path: String,
    /// The hash.
    pub sha256: String,
}

impl FileHash {
    /// Of a file with this content.
    pub fn of(path: impl Into<String>, bytes: impl Into<Vec<u8>>) -> FileHash {
        FileHash {
            path: path.into(),
            sha256: Content::new(bytes.into()).sha256,
        }
    }

    /// Of all files that a setup names.
    pub fn of_setup(setup: &Setup) -> Vec<FileHash> {
        FileHash::of_source(setup.referenced().files())
    }

    /// Of all files that a source gave so far.
    pub fn of_source(files: &dyn FileSource) -> Vec<FileHash> {
        let read = files.read_so_far();
        let one = |(path, sha256): (std::path::PathBuf, String)| FileHash {
            path: path.display().to_string(),
            sha256,
        };
        read.into_iter().map(one).collect()
    }
}

/// A setup as it took effect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EffectiveSetup {
    /// What messages call it.
    pub name: String,
    /// Its text.
    pub text: String,
    /// The parts that it includes: name and text.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<[String; 2]>,
    /// What was changed in it: keys and values.
    pub changes: Vec<[String; 2]>,
}

impl EffectiveSetup {
    /// Of a text that was read, with its changes.
    pub fn of(document: &Document) -> EffectiveSetup {
        let changes = document.changes().iter();
        EffectiveSetup {
            name: document.name().to_owned(),
            text: document.text().to_owned(),
            parts: document
                .parts()
                .iter()
                .map(|part| [part.name.to_string(), part.text.to_string()])
                .collect(),
            changes: changes
                .map(|(key, value)| [key.clone(), value.to_string()])
                .collect(),
        }
    }
}

/// How much was to be computed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AskedEffort {
    /// See [`Effort::precision`].
    pub precision: f64,
    /// See [`Effort::first_pairs`].
    pub first_pairs: usize,
    /// See [`Effort::most_pairs`].
    pub most_pairs: usize,
}

/// A manifest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Manifest {
    /// The layout's name and version.
    pub schema: String,
    /// Version of the program.
    pub version: String,
    /// See [`RESULTS_VERSION`].
    pub results_version: u32,
    /// See [`motefield_evaluator::kernel`].
    pub kernel: String,
    /// What computed the folder.
    pub command: String,
    /// What was asked of it, where it decides the values.
    pub asked: Map<String, Value>,
    /// The setup, where there is one.
    pub setup: Option<EffectiveSetup>,
    /// Seed of the study, where chance has a part.
    pub seed: Option<u64>,
    /// How much was to be computed, where there was a choice.
    pub effort: Option<AskedEffort>,
    /// Every file read.
    pub files_read: Vec<FileHash>,
    /// Whether all files are there.
    pub finished: bool,
    /// Every file written.
    pub files_written: Vec<FileHash>,
    /// Further fields of a layout that says more.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

impl Manifest {
    /// Of what `command` is about to compute by this program.
    ///
    /// # Panics
    /// When `asked` is no JSON object.
    pub fn new(command: &str, asked: Value) -> Manifest {
        let Value::Object(asked) = asked else {
            panic!("what is asked are named values");
        };
        Manifest {
            schema: SCHEMA.to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            results_version: RESULTS_VERSION,
            kernel: motefield_evaluator::kernel(),
            command: command.to_owned(),
            asked,
            setup: None,
            seed: None,
            effort: None,
            files_read: Vec::new(),
            finished: false,
            files_written: Vec::new(),
            more: Map::new(),
        }
    }

    /// The same with the setup, and the files that it names.
    pub fn with_setup(mut self, setup: &Setup) -> Manifest {
        self.setup = Some(EffectiveSetup::of(setup.document()));
        self.with_files(FileHash::of_setup(setup))
    }

    /// The same with further files that were read.
    pub fn with_files(mut self, files: impl IntoIterator<Item = FileHash>) -> Manifest {
        self.files_read.extend(files);
        self.files_read.sort();
        self.files_read.dedup();
        self
    }

    /// The same with seed and effort.
    pub fn with_effort(mut self, effort: &Effort) -> Manifest {
        self.seed = Some(effort.seed);
        self.effort = Some(AskedEffort {
            precision: effort.precision,
            first_pairs: effort.first_pairs,
            most_pairs: effort.most_pairs,
        });
        self
    }

    /// Takes the fields of a layout that says more, and its name; fields that every manifest has
    /// stay as they are.
    ///
    /// # Panics
    /// When `layout` is no JSON object.
    pub fn describe(&mut self, layout: Value) {
        let Value::Object(mut more) = layout else {
            panic!("a layout is an object");
        };
        if let Some(Value::String(schema)) = more.remove("schema") {
            self.schema = schema;
        }
        let own = json!(self);
        more.retain(|name, _| own.get(name).is_none());
        self.more = more;
    }

    /// The manifest in a directory; `None` where there is none of this program that says so much.
    pub fn read(directory: &Path) -> Option<Manifest> {
        Manifest::parse(&motefield_files::read_text(&directory.join(NAME)).ok()?)
    }

    /// Out of the text of its file; `None` if it is no manifest.
    pub fn parse(text: &str) -> Option<Manifest> {
        let manifest: Manifest = serde_json::from_str(text).ok()?;
        manifest.schema.starts_with("motefield-").then_some(manifest)
    }

    /// The text of its file.
    pub fn text(&self) -> String {
        format!("{:#}\n", json!(self))
    }

    /// Writes the text of its file with further files that were written: there may be many, of
    /// which one is in memory at a time.
    ///
    /// # Errors
    /// When it cannot be written, or the list of files not be read.
    #[allow(clippy::missing_panics_doc, reason = "every manifest lists the files")]
    pub fn write(
        &self,
        to: &mut dyn Write,
        files: impl IntoIterator<Item = io::Result<FileHash>>,
    ) -> io::Result<()> {
        let text = self.text();
        let list = text.find(FILES_WRITTEN).expect("every manifest lists the files");
        let (before, rest) = text.split_at(list + FILES_WRITTEN.len());
        let (own, after) = match rest.strip_prefix(']') {
            Some(_) => ("", rest),
            None => rest.split_at(rest.find("\n  ]").expect("a list ends")),
        };
        to.write_all(before.as_bytes())?;
        to.write_all(own.as_bytes())?;
        let mut first = own.is_empty();
        for file in files {
            let file = file?;
            let [path, sha256] = [file.path, file.sha256].map(Value::String);
            let comma = if first { "" } else { "," };
            write!(
                to,
                "{comma}\n    {{\n      \"path\": {path},\n      \"sha256\": {sha256}\n    }}"
            )?;
            first = false;
        }
        if own.is_empty() && !first {
            to.write_all(b"\n  ")?;
        }
        to.write_all(after.as_bytes())
    }

    /// Hash of all that decides the values.
    pub fn identity(&self) -> String {
        let setup = self.setup.as_ref().map(|s| (&s.text, &s.changes));
        let identity = json!([
            self.version,
            self.results_version,
            self.kernel,
            self.command,
            self.asked,
            setup,
            self.seed,
            self.files_read,
        ]);
        Content::new(identity.to_string().into_bytes()).sha256
    }

    /// What a study then and a study now differ in, a line each; none where the values are the
    /// same.
    pub fn differences(&self, now: &Manifest) -> Vec<String> {
        let mut lines = Vec::new();
        let mut differ = |what: &str, then: Value, now: Value| {
            if then != now {
                lines.push(format!("{what}: {} then, {} now", shown(&then), shown(&now)));
            }
        };
        differ("program version", json!(self.version), json!(now.version));
        differ(
            "results version",
            json!(self.results_version),
            json!(now.results_version),
        );
        differ("numeric kernel", json!(self.kernel), json!(now.kernel));
        differ("command", json!(self.command), json!(now.command));
        differ("seed", json!(self.seed), json!(now.seed));
        let names: std::collections::BTreeSet<&String> = self.asked.keys().chain(now.asked.keys()).collect();
        for name in names {
            let of = |m: &Manifest| m.asked.get(name).cloned().unwrap_or_default();
            differ(name, of(self), of(now));
        }
        lines.extend(setups(self.setup.as_ref(), now.setup.as_ref()));
        lines.extend(files(&self.files_read, &now.files_read));
        lines
    }
}

/// A value for a person: text without its quotes, nothing as a dash.
fn shown(value: &Value) -> String {
    match value {
        Value::Null => "none".to_owned(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// The first line in which the texts of two setups differ, and their changes.
fn setups(then: Option<&EffectiveSetup>, now: Option<&EffectiveSetup>) -> Vec<String> {
    let (Some(then), Some(now)) = (then, now) else {
        return match then.is_some() == now.is_some() {
            true => Vec::new(),
            false => vec!["setup: there is one in one of them only".to_owned()],
        };
    };
    let mut lines = Vec::new();
    if then.text != now.text {
        let [mut a, mut b] = [then, now].map(|setup| setup.text.lines());
        for number in 1.. {
            let (old, new) = (a.next(), b.next());
            if old != new || old.is_none() {
                let [old, new] = [old, new].map(|line| line.unwrap_or("(its end)").trim());
                lines.push(format!("setup, line {number}: `{old}` then, `{new}` now"));
                break;
            }
        }
    }
    for part in &now.parts {
        let before = then.parts.iter().find(|before| before[0] == part[0]);
        if before.is_some_and(|before| before[1] != part[1]) {
            lines.push(format!("{}: the text of this part changed", part[0]));
        }
    }
    if then.parts.len() != now.parts.len() {
        lines.push(format!(
            "parts: {} then, {} now",
            then.parts.len(),
            now.parts.len()
        ));
    }
    let words = |setup: &EffectiveSetup| match setup.changes.is_empty() {
        true => "none".to_owned(),
        false => {
            let pairs = setup
                .changes
                .iter()
                .map(|[key, value]| format!("{key} = {value}"));
            pairs.collect::<Vec<_>>().join(", ")
        }
    };
    if then.changes != now.changes {
        lines.push(format!(
            "changes of the setup: {} then, {} now",
            words(then),
            words(now)
        ));
    }
    lines
}

/// Files that changed, and those that only one of two studies read.
fn files(then: &[FileHash], now: &[FileHash]) -> Vec<String> {
    let find = |all: &[FileHash], path: &str| all.iter().find(|f| f.path == path).cloned();
    let mut lines = Vec::new();
    for old in then {
        match find(now, &old.path) {
            Some(new) if new.sha256 == old.sha256 => {}
            Some(_) => lines.push(format!("{}: its content has changed", old.path)),
            None => lines.push(format!("{}: read then, not now", old.path)),
        }
    }
    let fresh = now.iter().filter(|new| find(then, &new.path).is_none());
    lines.extend(fresh.map(|new| format!("{}: read now, not then", new.path)));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn manifest() -> Manifest {
        let text = "[flow]\nkind = \"uniform\"\nvelocity = [\"2 px\", \"0 px\"]\n";
        let setup = Setup::from_text("rig.toml", text, &[("camera.bits", "8")]).unwrap();
        Manifest::new("sweep", json!({"vary": "camera.bits=8,10"}))
            .with_setup(&setup)
            .with_effort(&Effort::default())
            .with_files([FileHash::of("mask.png", *b"old")])
    }

    /// Files that are written one by one make the text of a manifest that lists them all.
    #[test]
    fn files_one_by_one_make_the_same_text() {
        let files: Vec<FileHash> = (0..4)
            .map(|k| FileHash::of(format!("a \"{k}\"\n"), [k]))
            .collect();
        for (listed, count) in [(0, 0), (0, 1), (0, 4), (1, 1), (2, 4)] {
            let mut manifest = manifest();
            manifest
                .asked
                .insert("text".to_owned(), json!("\n  \"files_written\": ["));
            manifest.files_written = files[..listed].to_vec();
            let mut text = Vec::new();
            let further = files[listed..count].iter().cloned().map(Ok);
            manifest.write(&mut text, further).unwrap();
            manifest.files_written = files[..count].to_vec();
            assert_eq!(
                String::from_utf8(text).unwrap(),
                manifest.text(),
                "{listed} {count}"
            );
        }
    }

    #[test]
    fn a_manifest_comes_back_from_its_text() {
        let mut manifest = manifest();
        manifest.seed = Some(u64::MAX);
        manifest.more.insert("pairs".to_owned(), json!(3));
        assert_eq!(Manifest::parse(&manifest.text()).unwrap(), manifest);
        for other in ["", "{}", "{\"schema\": \"motefield-pairs/1\"}", "[1]"] {
            assert!(Manifest::parse(other).is_none(), "{other}");
        }
    }

    /// Every part of the identity changes its hash and is named; effort and progress do neither.
    #[test]
    fn whatever_decides_the_values_is_named() {
        type ManifestChange = fn(&mut Manifest);
        let changes: [(ManifestChange, &str); 9] = [
            (|m| m.version = "0.0.9".to_owned(), "program version: 0.0.9 then"),
            (|m| m.results_version = 0, "results version: 0 then"),
            (|m| m.kernel = "abacus".to_owned(), "numeric kernel: abacus then"),
            (|m| m.command = "decide".to_owned(), "command: decide then"),
            (|m| m.seed = Some(9), "seed: 9 then, 1 now"),
            (
                |m| m.asked["vary"] = json!("camera.bits=8"),
                "vary: camera.bits=8 then, camera.bits=8,10 now",
            ),
            (
                |m| m.setup.as_mut().unwrap().text = "[flow]\nkind = \"channel\"\n".to_owned(),
                "setup, line 2: `kind = \"channel\"` then, `kind = \"uniform\"` now",
            ),
            (
                |m| m.setup.as_mut().unwrap().changes.clear(),
                "changes of the setup: none then, camera.bits = 8 now",
            ),
            (
                |m| m.files_read[0].sha256 = "0".to_owned(),
                "mask.png: its content has changed",
            ),
        ];
        let now = manifest();
        for (change, words) in changes {
            let mut then = manifest();
            change(&mut then);
            let found = then.differences(&now);
            assert!(
                found.len() == 1 && found[0].starts_with(words),
                "{words}: {found:?}"
            );
            assert_ne!(then.identity(), now.identity(), "{words}");
        }
        let mut longer = manifest();
        longer.effort.as_mut().unwrap().most_pairs = 900;
        longer.finished = true;
        longer.setup.as_mut().unwrap().name = "elsewhere/rig.toml".to_owned();
        assert_eq!(longer.identity(), now.identity());
        assert!(longer.differences(&now).is_empty());
    }
}
