//! The report beside a study's results: the question and the command, from what was asked.

use motefield_report::handout::{Handout, html};
use motefield_rig::plan::Assessment;
use motefield_rig::setup::Setup;
use motefield_study::manifest::Manifest;
use motefield_study::verify::EMBEDDED;
use motefield_study::verify::suite::Depth;
use serde_json::Value as Json;

/// The answer as it is printed, beside the results.
pub const ANSWER: &str = "answer.txt";

/// The report of a study as HTML; `setup` is that with the best setting, for the plan.
pub fn page(
    manifest: &Manifest,
    setup: Option<&Setup>,
    answer: &str,
    files: &[(String, Vec<u8>)],
) -> Vec<u8> {
    written(html, manifest, setup, answer, files).into_bytes()
}

/// The report of a study in the format of `writer`.
pub fn written(
    writer: fn(&Handout) -> String,
    manifest: &Manifest,
    setup: Option<&Setup>,
    answer: &str,
    files: &[(String, Vec<u8>)],
) -> String {
    let files: Vec<(String, Vec<u8>)> = files
        .iter()
        .filter(|(name, _)| is_shown(manifest, name))
        .cloned()
        .collect();
    let assessment = setup.and_then(|setup| Assessment::of(setup).ok());
    writer(&Handout {
        question: &question(manifest),
        answer,
        assessment: assessment.as_ref(),
        manifest,
        command: &command(manifest),
        files: &files,
    })
}

/// Whether a file of a study is part of its report. A decision's enlarged cuts (SVG) hold its PNG
/// pictures, and the flow of a twin is read by programs only.
pub fn is_shown(manifest: &Manifest, name: &str) -> bool {
    let twin = manifest.command == "twin";
    match name.rsplit_once('.') {
        Some((_, "svg")) => true,
        Some((_, "csv")) => !twin,
        Some((_, "png")) => twin,
        _ => false,
    }
}

fn asked<'a>(manifest: &'a Manifest, name: &str) -> &'a str {
    manifest
        .asked
        .get(name)
        .and_then(Json::as_str)
        .unwrap_or_default()
}

/// What was asked, in a sentence.
fn question(manifest: &Manifest) -> String {
    let of = manifest
        .setup
        .as_ref()
        .map_or("a rig", |setup| setup.name.as_str());
    let choices = manifest.asked.get("for").and_then(Json::as_array);
    match (manifest.command.as_str(), asked(manifest, "free"), choices) {
        ("sweep", ..) => format!(
            "How does the error of {of} depend on {}?",
            asked(manifest, "vary")
        ),
        ("verify", ..) => "Does this version agree with the reference figures?".to_owned(),
        ("twin", ..) => "Which scene looks like the recording, and what error does it have?".to_owned(),
        (_, "", Some(choices)) if !choices.is_empty() => format!("Which setting suits {of} best?"),
        (_, "", _) => format!("When and how long should the light of {of} be on?"),
        (_, free, _) => format!("Which {} suit {of} best?", free.replace(',', " and ")),
    }
}

/// The command that computes a study again.
fn command(manifest: &Manifest) -> String {
    let mut words = vec!["motefield".to_owned(), manifest.command.clone()];
    match manifest.command.as_str() {
        "verify" => words.extend(verified(manifest)),
        "twin" => words.extend(recorded(manifest)),
        _ => words.extend(studied(manifest)),
    }
    words.join(" ")
}

fn seed(manifest: &Manifest) -> Vec<String> {
    let seed = manifest.seed.map(|seed| seed.to_string());
    seed.map_or(Vec::new(), |seed| vec!["--seed".to_owned(), seed])
}

/// Arguments of `verify`.
fn verified(manifest: &Manifest) -> Vec<String> {
    let named = |name: &str| {
        manifest
            .asked
            .get(name)
            .and_then(Json::as_array)
            .into_iter()
            .flatten()
    };
    let mut words = Vec::new();
    if asked(manifest, "depth") == Depth::Full.as_str() {
        words.push("--full".to_owned());
    }
    // All cases are what is asked without naming any.
    if named("cases").count() != EMBEDDED.len() {
        let cases = named("cases").filter_map(Json::as_str);
        words.extend(cases.flat_map(|case| ["--case".to_owned(), quoted(case)]));
    }
    let kinds = named("kinds").filter_map(Json::as_str);
    words.extend(kinds.flat_map(|kind| ["--kind".to_owned(), quoted(kind)]));
    words.extend(seed(manifest));
    words
}

/// Arguments of `twin`.
fn recorded(manifest: &Manifest) -> Vec<String> {
    let setup = manifest.setup.as_ref().map(|setup| setup.name.as_str());
    let mut words = Vec::new();
    for file in &manifest.files_read {
        words.extend((Some(file.path.as_str()) == setup).then(|| "--setup".to_owned()));
        words.push(quoted(&file.path));
    }
    for [key, value] in manifest.setup.iter().flat_map(|setup| &setup.changes) {
        words.extend(["--set".to_owned(), quoted(&format!("{key}={value}"))]);
    }
    for name in ["most_recorded", "most_pairs", "seed"] {
        let value = manifest.asked.get(name).map(Json::to_string);
        words.extend(
            value
                .into_iter()
                .flat_map(|v| [format!("--{}", name.replace('_', "-")), v]),
        );
    }
    words
}

/// Arguments of `decide` and `sweep`.
fn studied(manifest: &Manifest) -> Vec<String> {
    let mut words = Vec::new();
    if let Some(setup) = &manifest.setup {
        let a_file = manifest.files_read.iter().any(|file| file.path == setup.name);
        words.extend(a_file.then(|| quoted(&setup.name)));
        for [key, value] in &setup.changes {
            words.extend(["--set".to_owned(), quoted(&format!("{key}={value}"))]);
        }
    }
    if let Some(values) = manifest.asked.get("values").and_then(Json::as_array) {
        let values: Vec<&str> = values.iter().filter_map(Json::as_str).collect();
        let vary = format!("{}={}", asked(manifest, "vary"), values.join(","));
        words.extend(["--vary".to_owned(), quoted(&vary)]);
    }
    for (name, value) in &manifest.asked {
        match (name.as_str(), value) {
            ("vary" | "values" | "precision" | "most_pairs", _) => {}
            ("worth", Json::Bool(false)) => words.push("--no-worth".to_owned()),
            ("bound", Json::Bool(true)) => words.push("--bound".to_owned()),
            ("uncertainty", Json::Array(all)) => {
                let all: Vec<&str> = all.iter().filter_map(Json::as_str).collect();
                words.extend((!all.is_empty()).then(|| format!("--uncertainty={}", all.join(","))));
            }
            (_, Json::Array(all)) => {
                let each = all.iter().filter_map(Json::as_str);
                words.extend(each.flat_map(|one| [format!("--{name}"), quoted(one)]));
            }
            (_, Json::String(text)) => words.extend([format!("--{name}"), quoted(text)]),
            (_, Json::Number(number)) => words.extend([format!("--{name}"), number.to_string()]),
            _ => {}
        }
    }
    words.extend(seed(manifest));
    if let Some(effort) = &manifest.effort {
        words.extend(["--precision".to_owned(), effort.precision.to_string()]);
        words.extend(["--most-pairs".to_owned(), effort.most_pairs.to_string()]);
    }
    words
}

/// A word as a POSIX shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "._-+=/,:%".contains(c);
    match !word.is_empty() && word.chars().all(plain) {
        true => word.to_owned(),
        false => format!("'{}'", word.replace('\'', "'\\''")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// POSIX.1-2017, Shell Command Language, 2.2.2: nothing is special between single quotes, which
    /// cannot hold one.
    #[test]
    fn words_are_quoted_for_the_shell() {
        assert_eq!(quoted("light.power=5"), "light.power=5");
        assert_eq!(quoted("light.power=5 W"), "'light.power=5 W'");
        assert_eq!(quoted("it's $x"), "'it'\\''s $x'");
        assert_eq!(quoted(""), "''");
    }
}
