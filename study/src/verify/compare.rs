//! What moved between two versions: the tables of two suites side by side.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::record::rows;

/// Tells what differs between an earlier table and this one: verdicts that changed, figures that moved beyond the earlier interval, and
/// comparisons that only one of them has.
/// Where only cases with one of the names in `only` were run, the earlier others do not count.
pub fn moved(earlier: &str, now: &str, only: &[String]) -> String {
    type Row = BTreeMap<String, String>;
    let key = |row: &Row| {
        ["case", "expectation", "variant", "at"].map(|column| row.get(column).cloned().unwrap_or_default())
    };
    let number = |row: &Row, column: &str| row.get(column).and_then(|v| v.parse::<f64>().ok());
    let before: BTreeMap<[String; 4], Row> = rows(earlier)
        .into_iter()
        .filter(|row| {
            only.is_empty()
                || only
                    .iter()
                    .any(|part| row.get("case").is_some_and(|c| c.contains(part.as_str())))
        })
        .map(|row| (key(&row), row))
        .collect();
    let (mut verdicts, mut values, mut new) = (Vec::new(), Vec::new(), Vec::new());
    let mut seen = std::collections::BTreeSet::new();
    for row in rows(now) {
        let key = key(&row);
        let name = key
            .iter()
            .filter(|part| !part.is_empty())
            .cloned()
            .collect::<Vec<_>>()
            .join(" | ");
        seen.insert(key.clone());
        let Some(old) = before.get(&key) else {
            new.push(format!("  {name}: {} ({})", row["measured"], row["verdict"]));
            continue;
        };
        if old["verdict"] != row["verdict"] {
            verdicts.push(format!(
                "  {name}: {} → {} (measured {} → {}, allowed {} to {})",
                old["verdict"],
                row["verdict"],
                old["measured"],
                row["measured"],
                row["allowed_lo"],
                row["allowed_hi"]
            ));
        }
        if let (Some(was), Some(is), Some(lo), Some(hi)) = (
            number(old, "measured"),
            number(&row, "measured"),
            number(old, "lo"),
            number(old, "hi"),
        ) && !(lo..=hi).contains(&is)
        {
            values.push(format!(
                "  {name}: {} ({} to {}) → {}, {:+.2} %",
                old["measured"],
                old["lo"],
                old["hi"],
                row["measured"],
                100.0 * (is - was) / was.abs()
            ));
        }
    }
    let gone: Vec<String> = before
        .keys()
        .filter(|k| !seen.contains(*k))
        .map(|k| {
            format!(
                "  {}",
                k.iter()
                    .filter(|p| !p.is_empty())
                    .cloned()
                    .collect::<Vec<_>>()
                    .join(" | ")
            )
        })
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
    if text.is_empty() {
        "Nothing moved.\n".to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_moved_is_told() {
        let head = super::super::record::COLUMNS;
        let row = |name: &str, value: &str, verdict: &str| {
            format!("c,{name},formula,derived,,1 px,bias_x_px,{value},0.9,1.1,1,0.8,1.2,{verdict},\n")
        };
        let table = |rows: &[String]| format!("{head}\n{}", rows.concat());
        let before = table(&[row("\"a, b\"", "1", "agrees"), row("gone", "1", "agrees")]);
        assert_eq!(moved(&before, &before, &[]), "Nothing moved.\n");
        let now = table(&[row("\"a, b\"", "1.3", "disagrees"), row("new", "1", "agrees")]);
        let text = moved(&before, &now, &[]);
        for part in [
            "a, b | 1 px: agrees → disagrees",
            "1 (0.9 to 1.1) → 1.3, +30.00 %",
            "c | new",
            "c | gone",
        ] {
            assert!(text.contains(part), "{part} in\n{text}");
        }
    }
}
