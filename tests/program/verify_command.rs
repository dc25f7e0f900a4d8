//! What `verify` promises: a study that was stopped goes on, bad cases say what is wrong and where,
//! kinds select figures.

use motefield_report::verify::kinds;
use motefield_study::verify::EMBEDDED;
use motefield_study::verify::suite::read;

use super::{empty, motefield};

const CASE: &str = r#"
title = "A small case"
topic = "test"
[source]
citation = "none"
kind = "common-practice"
differs = "nothing"
[setup.image]
size = [96, 96]
particle_diameter = "2.5 px"
seeding_density = "0.05 ppp"
electrons = "1000 e"
[setup.camera]
ideal = true
[setup.flow]
kind = "uniform"
displacement = ["1 px", "0 px"]
[setup.processing]
passes = [{ window = 32, overlap = 0 }]
[sweep]
key = "flow.displacement[0]"
values = ["1 px", "2 px"]
[pairs]
quick = 3
full = 5
[[expect]]
name = "small"
quantity = "random_x_px"
at_most = LIMIT
reason = "none"
"#;

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A full run that was stopped ends in the same bytes; another version's table is compared; a
/// figure that is missed ends in exit code 1.
#[test]
fn full_runs_go_on_and_end_in_the_same_bytes() {
    let directory = empty("reference_full");
    std::fs::create_dir(directory.join("cases")).unwrap();
    for name in ["one", "two"] {
        std::fs::write(
            directory.join(format!("cases/{name}.toml")),
            CASE.replace("LIMIT", "5"),
        )
        .unwrap();
    }
    let run = |out: &str, more: &[&str]| {
        let mut arguments = vec!["verify", "--from", "cases", "--full", "--out", out];
        arguments.extend(more);
        motefield(&directory, &arguments)
    };
    let whole = run("whole", &[]);
    assert!(whole.status.success(), "{}", text(&whole.stderr));
    // As after a stop: one case is finished, the other is not; and the first is not measured again.
    std::fs::create_dir_all(directory.join("stopped/cases")).unwrap();
    std::fs::copy(
        directory.join("whole/cases/one.json"),
        directory.join("stopped/cases/one.json"),
    )
    .unwrap();
    assert!(run("stopped", &["--threads", "1"]).status.success());
    for file in ["table.csv", "README.md", "one.svg", "two.svg", "cases/two.json"] {
        let [a, b] = ["whole", "stopped"].map(|d| std::fs::read(directory.join(d).join(file)).unwrap());
        assert!(a == b, "{file}");
    }
    let same = run("again", &["--against", "whole"]);
    assert!(
        text(&same.stdout).contains("Nothing moved."),
        "{}",
        text(&same.stdout)
    );
    std::fs::write(directory.join("cases/two.toml"), CASE.replace("LIMIT", "1e-9")).unwrap();
    let moved = run("moved", &["--against", "whole"]);
    assert_eq!(moved.status.code(), Some(1));
    assert!(
        text(&moved.stdout).contains("agrees → disagrees"),
        "{}",
        text(&moved.stdout)
    );
}

#[test]
fn bad_cases_say_what_and_where() {
    let directory = empty("reference_bad");
    std::fs::create_dir(directory.join("cases")).unwrap();
    for (wrong, instead, part) in [
        ("random_x_px", "random_z_px", "is not a figure of measure"),
        ("at_most = LIMIT", "at_most = \"q*x\"", "[constants]"),
        ("reason = \"none\"", "reason = \"\"", "reason is empty"),
        ("at_most = LIMIT", "equals = 1", "lacks its tolerance"),
        (
            "at_most = LIMIT",
            "at = \"7 px\"\nat_most = 1",
            "not among the values swept",
        ),
        (
            "diameter = \"2.5 px\"",
            "diametre = \"2.5 px\"",
            "particle_diametre",
        ),
        ("quick = 3", "quick = 0", "[pairs]"),
        ("title", "tilte", "tilte"),
    ] {
        let case = CASE.replace(wrong, instead).replace("LIMIT", "5");
        std::fs::write(directory.join("cases/bad.toml"), case).unwrap();
        let out = motefield(&directory, &["verify", "--from", "cases"]);
        let message = text(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{instead}: {message}");
        assert!(
            message.contains("case bad") && message.contains(part),
            "{instead}: {message}"
        );
    }
    for (arguments, part) in [
        (&["verify", "--case", "nosuch"][..], "--list shows them"),
        (
            &["verify", "--kind", "hearsay"][..],
            "transcribed, derived, memory",
        ),
        (
            &["verify", "--case", "vertical", "--kind", "memory"][..],
            "--list shows them",
        ),
        (&["verify", "--from", "nowhere"][..], "nowhere"),
        (&["verify", "--against", "nowhere"][..], "nowhere"),
    ] {
        let out = motefield(&directory, arguments);
        assert_eq!(out.status.code(), Some(2));
        assert!(text(&out.stderr).contains(part), "{}", text(&out.stderr));
    }
}

#[test]
fn lists_and_json() {
    let directory = empty("reference_list");
    let list = motefield(&directory, &["verify", "--list"]);
    assert!(list.status.success() && text(&list.stdout).contains("window-bias"));
    let json = motefield(&directory, &["verify", "--case", "tracer", "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(value["schema"], "motefield-verify/1");
    assert_eq!(value["results_version"], motefield_study::RESULTS_VERSION);
    assert!(value["kinds"]["derived"].as_u64() > Some(0));
    assert_eq!(value["cases"][0]["expectations"][0]["verdict"], "agrees");
}

/// Kinds that are asked for select figures; the confidence stays that of the whole suite.
#[test]
fn kinds_select_figures() {
    let directory = empty("reference_kinds");
    let run = |more: &[&str]| -> serde_json::Value {
        let mut arguments = vec!["verify", "--case", "mie", "--case", "tracer-stokes", "--json"];
        arguments.extend(more);
        let out = motefield(&directory, &arguments);
        assert!(out.status.success(), "{}", text(&out.stderr));
        serde_json::from_slice(&out.stdout).unwrap()
    };
    let figures = |value: &serde_json::Value| -> Vec<(String, String, serde_json::Value)> {
        let cases = value["cases"].as_array().unwrap();
        let of_case = |case: &serde_json::Value| -> Vec<_> {
            let all = case["expectations"].as_array().unwrap();
            let name = case["case"].as_str().unwrap();
            all.iter()
                .map(|e| (name.to_owned(), e["kind"].as_str().unwrap().to_owned(), e.clone()))
                .collect()
        };
        cases.iter().flat_map(of_case).collect()
    };
    let all = run(&[]);
    for kinds in [&["derived"][..], &["transcribed", "memory"]] {
        let options: Vec<&str> = kinds.iter().flat_map(|kind| ["--kind", *kind]).collect();
        let some = run(&options);
        let mut expected = figures(&all);
        expected.retain(|(_, kind, _)| kinds.contains(&kind.as_str()));
        assert!(!expected.is_empty() && expected.len() < figures(&all).len());
        assert_eq!(figures(&some), expected, "{kinds:?}");
        assert_eq!(some["confidence"], all["confidence"]);
        let counted: u64 = some["kinds"]
            .as_object()
            .unwrap()
            .values()
            .filter_map(|v| v.as_u64())
            .sum();
        assert_eq!(counted, expected.len() as u64);
    }
    let shown = motefield(
        &directory,
        &["verify", "--case", "mie-efficiencies", "--kind", "derived"],
    );
    let shown = text(&shown.stdout);
    assert!(shown.contains("from the series [value, derived]"), "{shown}");
    assert!(
        shown.contains("\n1 reference figure: 1 derived. All are arithmetic"),
        "{shown}"
    );
    assert!(
        !shown.contains("memory") && !shown.contains("transcribed"),
        "{shown}"
    );
    assert!(
        shown.ends_with("without a picture. 1 agree, 0 disagree.\n"),
        "{shown}"
    );
}

/// The README and the page of results say how many figures of each kind there are.
#[test]
fn pages_count_the_kinds_of_the_cases() {
    let counted = kinds(&read(EMBEDDED.iter().copied()).unwrap());
    for page in ["README.md", "results/reference/README.md"] {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(page);
        let words = std::fs::read_to_string(path).unwrap();
        let words: Vec<&str> = words.split_whitespace().collect();
        assert!(
            words.join(" ").contains(&counted),
            "{page} does not say: {counted}"
        );
    }
}
