//! What holds for all sources of the program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use motefield_rig::keys;

/// Crates that other programs can use.
const LIBRARIES: [&str; 6] = [
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

/// Each file in these directories, with its place in the repository.
fn sources(directories: &[&str]) -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for directory in directories {
        rust_files(&root.join(directory), &mut files);
    }
    let read = |file: PathBuf| {
        let place = file.strip_prefix(root).expect("inside").display().to_string();
        (place, fs::read_to_string(&file).expect("a source"))
    };
    files.into_iter().map(read).collect()
}

/// A reader who meets `Channel` need not ask of which crate.
#[test]
fn no_type_name_means_two_things() {
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let all = [&LIBRARIES[..], &["src", "page/wasm/src"]].concat();
    for (place, text) in sources(&all) {
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

/// A page or a notebook shows what the libraries say: its readers have no command line.
#[test]
fn no_library_speaks_of_a_command_line() {
    let is_command = |word: &str| {
        let name = word.trim_matches(|c: char| !c.is_alphanumeric() && c != '-');
        name.strip_prefix("--").is_some_and(|option| {
            option.len() > 1 && option.chars().all(|c| c.is_ascii_lowercase() || c == '-')
        })
    };
    let mut said = Vec::new();
    for (place, text) in sources(&LIBRARIES) {
        // Comments are for those who work on the program, and styles have names with two dashes.
        for line in text
            .lines()
            .map(str::trim_start)
            .filter(|line| !line.starts_with("//"))
        {
            let styled = line.contains("var(--") || line.contains(":root");
            let spoken = line.contains("`motefield ") || line.split_whitespace().any(is_command);
            if spoken && !styled {
                said.push(format!("{place}: {line}"));
            }
        }
    }
    assert!(said.is_empty(), "{said:#?}");
}

/// What is counted, and for each of what: rates that could be told as "pairs a second".
const COUNTED: [&str; 22] = [
    "%",
    "bits",
    "bytes",
    "cells",
    "e",
    "electrons",
    "frames",
    "mg",
    "once",
    "one",
    "operations",
    "pairs",
    "particles",
    "photons",
    "pixels",
    "px",
    "steps",
    "tracer",
    "two",
    "vectors",
    "windows",
    "words",
];
const FOR_EACH: [&str; 24] = [
    "axis",
    "core",
    "cycle",
    "electron",
    "frame",
    "line",
    "litre",
    "metre",
    "millimetre",
    "pair",
    "particle",
    "pass",
    "pixel",
    "place",
    "point",
    "px",
    "rig",
    "second",
    "sentence",
    "side",
    "step",
    "unit",
    "vector",
    "window",
];

/// A rate is "pairs per second" wherever a user or a developer reads it.
#[test]
fn rates_are_per() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut texts = sources(&[&LIBRARIES[..], &["src"]].concat());
    let docs = fs::read_dir(root.join("docs")).expect("the folder of the book");
    let pages = docs
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|end| end == "md"))
        .chain([root.join("README.md"), root.join("DEVELOPERS.md")]);
    for page in pages {
        let text = fs::read_to_string(&page).expect("a page");
        texts.push((page.display().to_string(), text));
    }
    let mut said = Vec::new();
    for (place, text) in texts {
        // A sentence of a comment may go on in its next line.
        let words: Vec<&str> = text
            .split_whitespace()
            .filter(|word| !word.starts_with("//"))
            .collect();
        for three in words.windows(3) {
            // What ends a clause counts nothing: "by 8 px, a pixel's width".
            let what = three[0].trim_start_matches(|c: char| !c.is_alphanumeric() && c != '%');
            let each = three[2].trim_end_matches(|c: char| !c.is_alphanumeric());
            let (what, each) = (what.to_lowercase(), each.to_lowercase());
            let article = ["a", "an"].contains(&three[1]);
            if article && COUNTED.contains(&what.as_str()) && FOR_EACH.contains(&each.as_str()) {
                said.push(format!("{place}: {}", three.join(" ")));
            }
        }
    }
    assert!(said.is_empty(), "{said:#?}");
}

/// Every text between quotation marks before the tests of a file, with a space for what an escape
/// or a number writes into it.
fn texts(source: &str) -> Vec<String> {
    let source = source.split("#[cfg(test)]\nmod tests {").next().unwrap_or(source);
    let mut all = Vec::new();
    let mut rest = source;
    while let Some(at) = rest.find(['"', '/', '\'']) {
        let (before, found) = (&rest[..at], &rest[at..]);
        if found.starts_with("//") {
            rest = found.split_once('\n').map_or("", |(_, rest)| rest);
        } else if found.starts_with("'\"'") || found.starts_with("'/'") || found.starts_with("'\\") {
            rest = &found[3..];
        } else if !found.starts_with('"') {
            rest = &found[1..];
        } else if let Some(end) = raw_end(before) {
            let (text, after) = found[1..].split_once(&end).expect("the end of a text");
            all.push(text.to_owned());
            rest = after;
        } else {
            let mut text = String::new();
            let mut characters = found[1..].char_indices();
            let mut end = found.len();
            while let Some((k, c)) = characters.next() {
                match c {
                    '\\' => {
                        text.push(' ');
                        characters.next();
                    }
                    '"' => {
                        end = k + 2;
                        break;
                    }
                    _ => text.push(c),
                }
            }
            all.push(text);
            rest = &found[end..];
        }
    }
    all
}

/// What ends a text that has no escapes, `r"` or `r#"`, where what stands before begins one.
fn raw_end(before: &str) -> Option<String> {
    let plain = before.trim_end_matches('#');
    let is_raw = plain.ends_with('r') && !plain[..plain.len() - 1].ends_with(char::is_alphanumeric);
    is_raw.then(|| format!("\"{}", "#".repeat(before.len() - plain.len())))
}

/// A message that names a key names one that a setup may have.
#[test]
fn keys_in_messages_are_keys() {
    let of_word = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || "_.[]".contains(c);
    let names_key = |word: &&str| {
        let section = keys::SECTIONS.iter().find_map(|s| word.strip_prefix(s.name));
        let is_file = Path::new(word)
            .extension()
            .is_some_and(|end| FILES.iter().any(|e| end == *e));
        !is_file && section.is_some_and(|rest| rest.starts_with(['.', '[']) && rest.contains('.'))
    };
    let all = [&LIBRARIES[..], &["src", "page/wasm/src"]].concat();
    let (mut named, mut wrong) = (0, Vec::new());
    for (place, source) in sources(&all) {
        if place.contains("tests") {
            continue;
        }
        for text in texts(&source) {
            let words = text
                .split(|c| !of_word(c))
                .map(|word| word.trim_matches(['.', '[']));
            for word in words.filter(names_key) {
                named += 1;
                if keys::find(word).is_none() {
                    wrong.push(format!("{place}: {word}"));
                }
            }
        }
    }
    assert!(named > 300, "{named} keys named");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Ends of the names of files that are named like keys: `flow.csv`.
const FILES: [&str; 4] = ["csv", "svg", "toml", "txt"];
