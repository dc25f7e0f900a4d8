//! What the shell is told of the program, and how long lines are printed.

use super::{empty, motefield};

const COMMANDS: [&str; 13] = [
    "start",
    "plan",
    "render",
    "correlate",
    "score",
    "sweep",
    "decide",
    "twin",
    "page",
    "report",
    "completions",
    "man",
    "verify",
];

/// The script is one that bash takes, and completes a command and an option.
#[test]
fn bash_completes_commands_and_options() {
    let directory = empty("completions");
    let done = motefield(&directory, &["completions", "bash"]);
    assert!(done.status.success());
    std::fs::write(directory.join("script"), &done.stdout).unwrap();
    let completed = |line: &str| {
        let words: Vec<&str> = line.split(' ').collect();
        let program = format!(
            "source ./script; COMP_WORDS=({line}); COMP_CWORD={}; _motefield motefield '{}' '{}'; echo \"${{COMPREPLY[@]}}\"",
            words.len() - 1,
            words[words.len() - 1],
            words[words.len() - 2],
        );
        let done = std::process::Command::new("bash")
            .args(["-c", &program])
            .current_dir(&directory)
            .output()
            .expect("bash starts");
        String::from_utf8(done.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(completed("motefield deci"), "decide");
    assert_eq!(completed("motefield decide --lim"), "--limit");
    for shell in ["zsh", "fish", "powershell", "elvish"] {
        let done = motefield(&directory, &["completions", shell]);
        let script = String::from_utf8(done.stdout).unwrap();
        assert!(COMMANDS.iter().all(|c| script.contains(c)), "{shell}");
    }
    assert_eq!(
        motefield(&directory, &["completions", "dash"]).status.code(),
        Some(2)
    );
}

/// A page a command, each with the parts that man(7) asks for; nothing is overwritten unasked.
#[test]
fn every_command_has_its_manual_page() {
    let directory = empty("man");
    assert!(motefield(&directory, &["man", "pages"]).status.success());
    let page = |name: &str| std::fs::read_to_string(directory.join("pages").join(name)).unwrap();
    assert!(page("motefield.1").contains(".TH motefield 1"));
    for command in COMMANDS {
        let text = page(&format!("motefield-{command}.1"));
        for part in [".TH", ".SH NAME", ".SH SYNOPSIS", ".SH OPTIONS"] {
            assert!(text.contains(part), "{command}: {part}");
        }
        assert!(text.contains(&format!("motefield\\-{command}")), "{command}");
    }
    assert_eq!(
        std::fs::read_dir(directory.join("pages")).unwrap().count(),
        COMMANDS.len() + 1
    );
    std::fs::write(directory.join("pages/motefield.1"), "mine").unwrap();
    let refused = motefield(&directory, &["man", "pages"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("--force"));
    assert_eq!(page("motefield.1"), "mine");
}

/// Sentences are printed on lines that a terminal shows; the file keeps one line per sentence.
#[test]
fn long_sentences_are_broken_in_print_only() {
    let directory = empty("wrapped");
    let size = ["--set", "camera.size[0]=128", "--set", "camera.size[1]=128"];
    let begin = ["decide", "--most-pairs", "2", "--no-worth", "--out", "d"];
    let done = motefield(&directory, &[&begin[..], &size].concat());
    assert!(done.status.code().unwrap() < 2);
    let printed = String::from_utf8(done.stdout).unwrap();
    let kept = std::fs::read_to_string(directory.join("d/answer.txt")).unwrap();
    assert!(
        printed.lines().all(|line| line.chars().count() <= 100),
        "{printed}"
    );
    assert!(kept.lines().any(|line| line.chars().count() > 100), "{kept}");
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    assert!(words(&printed).starts_with(&words(&kept)));
}
