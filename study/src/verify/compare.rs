//! What moved between two versions: the tables of two suites side by side.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use motefield_files::table::Table;

use super::suite::Selection;
use crate::StudyError;

/// Columns that tell one comparison from another.
const KEY: [&str; 4] = ["case", "expectation", "variant", "at"];
/// Columns that are compared or shown.
const SHOWN: [&str; 7] = [
    "kind",
    "measured",
    "lo",
    "hi",
    "allowed_lo",
    "allowed_hi",
    "verdict",
];

/// What differs between an earlier table and this one, in words: verdicts that changed, figures
/// that left the earlier interval, and comparisons that only one of the tables has. Comparisons of
/// the earlier table that were not selected now do not count as missing.
///
/// # Errors
/// When a table lacks a column: names it.
pub fn moved(earlier: &Table, now: &Table, selection: &Selection) -> Result<String, StudyError> {
    let before: BTreeMap<[&str; 4], ComparedLine> = rows(earlier)?.map(|row| (row.key, row)).collect();
    let (mut verdicts, mut values, mut new) = (Vec::new(), Vec::new(), Vec::new());
    let mut seen = BTreeSet::new();
    for row in rows(now)? {
        seen.insert(row.key);
        let Some(old) = before.get(&row.key) else {
            new.push(format!("  {}: {} ({})", row.name(), row.measured, row.verdict));
            continue;
        };
        if old.verdict != row.verdict {
            verdicts.push(format!(
                "  {}: {} → {} (measured {} → {}, allowed {} to {})",
                row.name(),
                old.verdict,
                row.verdict,
                old.measured,
                row.measured,
                row.allowed[0],
                row.allowed[1]
            ));
        }
        values.extend(old.left_by(&row));
    }
    let gone = before
        .values()
        .filter(|old| !seen.contains(&old.key) && selection.has(old.key[0], old.kind))
        .map(|old| format!("  {}", old.name()))
        .collect();
    let mut text = String::new();
    for (head, lines) in [
        ("Verdicts that changed", verdicts),
        ("Figures that left the earlier interval", values),
        ("Only in this version", new),
        ("Only in the earlier version", gone),
    ] {
        if !lines.is_empty() {
            let _ = writeln!(text, "{head}:\n{}", lines.join("\n"));
        }
    }
    Ok(match text.is_empty() {
        true => "Nothing moved.\n".to_owned(),
        false => text,
    })
}

/// A comparison as its table gives it.
struct ComparedLine<'a> {
    key: [&'a str; 4],
    kind: &'a str,
    measured: &'a str,
    interval: [&'a str; 2],
    allowed: [&'a str; 2],
    verdict: &'a str,
}

/// The rows of a table.
fn rows(table: &Table) -> Result<impl Iterator<Item = ComparedLine<'_>>, StudyError> {
    let find = |name: &&str| {
        table
            .column(name)
            .ok_or_else(|| StudyError::request(format!("the table to compare with has no column \"{name}\"")))
    };
    let key: Vec<usize> = KEY.iter().map(find).collect::<Result<_, _>>()?;
    let shown: Vec<usize> = SHOWN.iter().map(find).collect::<Result<_, _>>()?;
    Ok(table.rows.iter().map(move |row| {
        let [kind, measured, lo, hi, allowed_lo, allowed_hi, verdict] =
            std::array::from_fn(|k| row[shown[k]].trim());
        ComparedLine {
            key: std::array::from_fn(|k| row[key[k]].trim()),
            kind,
            measured,
            interval: [lo, hi],
            allowed: [allowed_lo, allowed_hi],
            verdict,
        }
    }))
}

impl ComparedLine<'_> {
    /// The parts of its key that are not empty.
    fn name(&self) -> String {
        let parts: Vec<&str> = self.key.into_iter().filter(|part| !part.is_empty()).collect();
        parts.join(" | ")
    }

    /// The line for a figure that left this row's interval; none if it did not.
    fn left_by(&self, now: &ComparedLine) -> Option<String> {
        let number = |text: &str| text.parse::<f64>().ok();
        let [was, is] = [number(self.measured)?, number(now.measured)?];
        let [lo, hi] = [number(self.interval[0])?, number(self.interval[1])?];
        (!(lo..=hi).contains(&is)).then(|| {
            format!(
                "  {}: {} ({} to {}) → {}, {:+.2} %",
                now.name(),
                self.measured,
                self.interval[0],
                self.interval[1],
                now.measured,
                100.0 * (is - was) / was.abs()
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::super::case::SourceKind;
    use super::*;

    fn table(rows: &[String]) -> Table {
        let head = super::super::record::COLUMNS.join(",");
        Table::parse(Path::new("table.csv"), &format!("{head}\n{}", rows.concat())).unwrap()
    }

    fn row(name: &str, value: &str, verdict: &str) -> String {
        format!("c,{name},formula,derived,,1 px,bias_x_px,{value},0.9,1.1,1,0.8,1.2,{verdict},\n")
    }

    #[test]
    fn what_moved_is_told() {
        let all = Selection::default();
        let before = table(&[row("\"a, b\"", "1", "agrees"), row("gone", "1", "agrees")]);
        assert_eq!(moved(&before, &before, &all).unwrap(), "Nothing moved.\n");
        let now = table(&[row("\"a, b\"", "1.3", "disagrees"), row("new", "1", "agrees")]);
        let text = moved(&before, &now, &all).unwrap();
        for part in [
            "a, b | 1 px: agrees → disagrees",
            "1 (0.9 to 1.1) → 1.3, +30.00 %",
            "c | new",
            "c | gone",
        ] {
            assert!(text.contains(part), "{part} in\n{text}");
        }
    }

    #[test]
    fn what_was_not_selected_is_not_missing() {
        let before = table(&[row("a", "1", "agrees")]);
        let others = [
            Selection {
                names: vec!["d".to_owned()],
                ..Selection::default()
            },
            Selection {
                kinds: vec![SourceKind::Memory],
                ..Selection::default()
            },
        ];
        for selection in others {
            assert_eq!(
                moved(&before, &table(&[]), &selection).unwrap(),
                "Nothing moved.\n"
            );
        }
    }

    #[test]
    fn a_missing_column_is_named() {
        let short = Table::new(["case", "expectation"]);
        let error = moved(&short, &table(&[]), &Selection::default()).unwrap_err();
        assert!(error.to_string().contains("\"variant\""), "{error}");
    }
}
