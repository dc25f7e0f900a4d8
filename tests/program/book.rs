//! The book in `docs/`: its commands run as they stand, what it quotes is in `results/`, its links
//! lead somewhere and no page is left out.

use std::fmt::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::empty;

fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs")
}

/// The pages, in the order of their names.
fn pages() -> Vec<(String, String)> {
    let mut pages: Vec<_> = std::fs::read_dir(docs())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "md"))
        .map(|path| {
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            (name, std::fs::read_to_string(path).unwrap())
        })
        .collect();
    pages.sort();
    assert!(pages.len() > 10, "{}", pages.len());
    pages
}

/// The fenced blocks of a language, each with the line before its fence.
fn blocks<'a>(page: &'a str, language: &str) -> Vec<(&'a str, Vec<&'a str>)> {
    let lines: Vec<&str> = page.lines().collect();
    let fence = format!("```{language}");
    let begins = (0..lines.len()).filter(|k| lines[*k] == fence);
    let block = |begin: usize| {
        let end = begin + 1 + lines[begin + 1..].iter().position(|line| *line == "```").unwrap();
        let before = begin.checked_sub(1).map_or("", |k| lines[k]);
        (before, lines[begin + 1..end].to_vec())
    };
    begins.map(block).collect()
}

/// What stands in the round brackets of links and pictures.
fn links(page: &str) -> Vec<&str> {
    let ends = page.match_indices("](").map(|(at, _)| &page[at + 2..]);
    ends.filter_map(|rest| rest.split(')').next()).collect()
}

/// The anchors of a page: its headings in lower case, with hyphens for spaces.
fn anchors(page: &str) -> Vec<String> {
    let anchor = |title: &str| {
        let kept = title
            .chars()
            .filter(|c| c.is_alphanumeric() || " -_".contains(*c));
        kept.collect::<String>().to_lowercase().replace(' ', "-")
    };
    let headings = page.lines().filter(|line| line.starts_with('#'));
    headings
        .map(|line| anchor(line.trim_start_matches('#').trim()))
        .collect()
}

#[test]
fn every_page_is_in_the_contents_and_every_link_leads_somewhere() {
    let summary = std::fs::read_to_string(docs().join("SUMMARY.md")).unwrap();
    let listed = links(&summary);
    for (name, page) in pages() {
        assert!(name == "SUMMARY.md" || listed.contains(&name.as_str()), "{name}");
        for link in links(&page).into_iter().filter(|link| !link.contains("://")) {
            let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
            let file = docs().join(if file.is_empty() { name.as_str() } else { file });
            assert!(file.exists(), "{name}: {link}");
            let there = || anchors(&std::fs::read_to_string(&file).unwrap());
            assert!(
                anchor.is_empty() || there().contains(&anchor.to_owned()),
                "{name}: {link}"
            );
        }
    }
}

/// A quoted answer is a run of lines of the file that the remark before it names.
#[test]
fn quoted_answers_are_those_of_the_results() {
    let mut quoted = 0;
    for (name, page) in pages() {
        for (before, lines) in blocks(&page, "text") {
            let file = before
                .strip_prefix("<!-- ")
                .and_then(|rest| rest.strip_suffix(" -->"))
                .unwrap_or_else(|| panic!("{name}: no file is named before {:?}", lines[0]));
            let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
            let written = std::fs::read_to_string(&file).unwrap();
            let written: Vec<&str> = written.lines().collect();
            assert!(
                written.windows(lines.len()).any(|run| run == lines),
                "{name}: not in {}: {lines:#?}",
                file.display()
            );
            quoted += 1;
        }
    }
    assert!(quoted >= 3, "{quoted}");
}

/// Stands for the program in the commands of the book: with the least number of pairs, small
/// pictures of the first rigs, and of the reference figures some that take little time.
fn program(directory: &Path) {
    let motefield = env!("CARGO_BIN_EXE_motefield");
    let mut script = format!("#!/bin/sh\nprogram='{motefield}'\n");
    script.push_str("case \"$1 $*\" in\n");
    let small = "--set 'camera.size=[256, 192]' --set 'lens.field_width=20 mm'";
    let small = format!("--most-pairs 2 {small}");
    for (commands, more) in [
        (
            "sweep*\\ rig.toml*|decide*\\ rig.toml*|decide*\\ laser.toml*",
            small.as_str(),
        ),
        ("sweep\\ *|decide\\ *|twin\\ *", "--most-pairs 2"),
        ("verify\\ *--list*|verify\\ *--measures*", ""),
        ("verify\\ *", "--case bright-uniform"),
        ("*", ""),
    ] {
        let _ = writeln!(script, "  {commands}) exec \"$program\" \"$@\" {more} ;;");
    }
    script.push_str("esac\n");
    // A program of somebody else, which measures as this one does.
    let other = format!("#!/bin/sh\nexec '{motefield}' correlate \"$1\" \"$2\" --out \"$3\"\n");
    for (name, text) in [("motefield", script), ("your-program", other)] {
        let file = directory.join(name);
        std::fs::write(&file, text).unwrap();
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o755)).unwrap();
    }
}

/// Runs all commands of a page, in their order, in one directory.
fn run(name: &str) {
    let directory = empty(&format!("book-{name}"));
    let programs = empty(&format!("book-{name}-programs"));
    program(&programs);
    let page = std::fs::read_to_string(docs().join(format!("{name}.md"))).unwrap();
    let commands: Vec<String> = blocks(&page, "sh")
        .iter()
        .map(|(_, lines)| lines.join("\n"))
        .collect();
    assert!(!commands.is_empty(), "{name} has no commands");
    for command in commands {
        let path = format!("{}:{}", programs.display(), std::env::var("PATH").unwrap());
        let done = Command::new("sh")
            .args(["-e", "-c", &command])
            .env("PATH", path)
            .current_dir(&directory)
            .output()
            .unwrap();
        // No setting within the limit, with so few pairs, is an answer too.
        let answered = matches!(done.status.code(), Some(0 | 1));
        assert!(answered, "{command}\n{}", String::from_utf8_lossy(&done.stderr));
    }
}

/// Every page that has commands is run by one of the tests below.
#[test]
fn all_pages_with_commands_are_run() {
    let with: Vec<String> = pages()
        .into_iter()
        .filter(|(_, page)| !blocks(page, "sh").is_empty())
        .map(|(name, _)| name.trim_end_matches(".md").to_owned())
        .collect();
    assert_eq!(with, RUN);
}

const RUN: [&str; 5] = [
    "first-answer",
    "light-and-timing",
    "own-vectors",
    "twin",
    "validate",
];

#[test]
fn the_first_answer_runs() {
    run("first-answer");
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn light_and_timing_runs() {
    run("light-and-timing");
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn own_vectors_runs() {
    run("own-vectors");
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn the_twin_runs() {
    run("twin");
}

#[test]
#[ignore = "slow: .ci/run takes it"]
fn validation_runs() {
    run("validate");
}
