//! Many tries of every fault, written down: `results/reliability` runs this.

use std::fmt::Write;
use std::time::Duration;

use super::studies::STUDIES;
use super::{Tally, disk, kill, random, signals, twice};

const ABOUT: &str = "# What becomes of a study when things go wrong

Made by `results/reliability`, which runs `tests/faults/`. A try has *survived* if it ended in the
same bytes as the undisturbed run (of random setups: in a table of finite errors, or in a refusal
that names a key), said what had happened by its exit code, and left nothing half-written; else it
counts as *lost*. Every command that can be continued was disturbed at random times.

";

/// The usual number of tries, or the share of it that is asked for (`MOTEFIELD_TRIES=0.2`).
fn tries(usual: usize) -> usize {
    let asked = std::env::var("MOTEFIELD_TRIES").ok();
    let share: f64 = asked.and_then(|n| n.parse().ok()).unwrap_or(1.0);
    (share * usual as f64).ceil() as usize
}

#[test]
#[ignore = "a quarter of an hour; writes results/reliability.md"]
fn write_reliability() {
    let mut rows: Vec<(String, String, Tally)> = Vec::new();
    let mut longest = Duration::ZERO;
    for (k, (name, _)) in STUDIES.iter().enumerate() {
        let mut row = |what: &str, tally| rows.push((what.to_owned(), (*name).to_owned(), tally));
        row("killed, up to three times in a row", kill::tries(k, tries(60)));
        let (tally, wait) = signals::tries(k, tries(30));
        longest = longest.max(wait);
        row("ended by SIGHUP, Ctrl-C, SIGTERM", tally);
        row("no room on the disk", disk::tries(k, tries(30)));
        row("two processes at once", twice::tries(k, tries(20)));
    }
    let random = |what: &str, tally| (what.to_owned(), "random setups".to_owned(), tally);
    rows.push(random("planned", random::plans(1000, 1000 + tries(2000))));
    rows.push(random(
        "swept with two pairs",
        random::sweeps(1000, 1000 + tries(300)),
    ));
    rows.sort_by(|a, b| a.0.cmp(&b.0));
    let mut text = ABOUT.to_owned();
    text += "| what went wrong | with | tries | survived | lost |\n|---|---|---|---|---|\n";
    for (what, with, tally) in &rows {
        let Tally { tries, survived } = tally;
        let _ = writeln!(
            text,
            "| {what} | {with} | {tries} | {survived} | {} |",
            tally.lost()
        );
    }
    let tries: usize = rows.iter().map(|row| row.2.tries).sum();
    let lost: usize = rows.iter().map(|row| row.2.lost()).sum();
    let _ = writeln!(text, "\nTogether {tries} tries, {lost} lost.");
    let _ = writeln!(
        text,
        "Longest wait from a signal to the end: {:.1} s.",
        longest.as_secs_f64()
    );
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/results/reliability.md");
    std::fs::write(path, text).unwrap();
    assert_eq!(lost, 0);
}
