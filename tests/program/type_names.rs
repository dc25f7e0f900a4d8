//! A type name means one thing in the whole program: a reader who meets `Channel` need not ask of
//! which crate.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

const SOURCES: [&str; 7] = [
    "src",
    "files/src",
    "generator/src",
    "evaluator/src",
    "rig/src",
    "study/src",
    "report/src",
];

/// Every Rust file in a directory and those inside.
fn rust_files(directory: &Path, all: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(directory).expect("a directory of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            rust_files(&path, all);
        } else if path.extension().is_some_and(|end| end == "rs") {
            all.push(path);
        }
    }
}

/// The type that a line defines, where it stands on its own or in a list of `named!` types: not
/// those of a trait's implementation, nor of a module of tests.
fn defined(line: &str) -> Option<&str> {
    let words = line.trim_start();
    let public = words.starts_with("pub ") || words.starts_with("pub(");
    if line.len() - words.len() > if public { 4 } else { 0 } {
        return None;
    }
    let words = match words.strip_prefix("pub(") {
        Some(rest) => rest.split_once(") ")?.1,
        None => words.strip_prefix("pub ").unwrap_or(words),
    };
    let (kind, rest) = words.split_once(' ')?;
    let end = rest.find(|c: char| !c.is_alphanumeric()).unwrap_or(rest.len());
    (["struct", "enum", "trait", "type"].contains(&kind)).then_some(&rest[..end])
}

#[test]
fn no_type_name_means_two_things() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for source in SOURCES {
        rust_files(&root.join(source), &mut files);
    }
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for file in &files {
        let text = fs::read_to_string(file).expect("a source");
        let place = file.strip_prefix(root).expect("inside").display().to_string();
        for name in text.lines().filter_map(defined) {
            places.entry(name.to_owned()).or_default().push(place.clone());
        }
    }
    // What carries the examples of a crate's README through its tests is no part of the program.
    places.remove("Readme");
    assert!(places.len() > 500, "{} types found", places.len());
    places.retain(|_, places| places.len() > 1);
    assert!(places.is_empty(), "{places:#?}");
}
