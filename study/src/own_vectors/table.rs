//! Vectors as delimited text.

use std::path::Path;

use motefield_evaluator::conventions::PlacedVectors;
use motefield_files::table::Separator;

use super::{Columns, FIELDS, TableReading, whole};
use crate::StudyError;

/// Names that columns of each of [`FIELDS`] have, beside a unit in their names.
const NAMES: [&[&str]; 5] = [
    &["x", "x_px", "xpos", "x_position"],
    &["y", "y_px", "ypos", "y_position"],
    &["dx", "dx_px", "u", "vx", "u_px"],
    &["dy", "dy_px", "v", "vy", "v_px"],
    &["status", "flag"],
];
/// How a missing number is written, beside nothing and NaN.
const MISSING: [&str; 6] = ["", "-", "na", "n/a", "null", "none"];
/// Beginnings of lines that hold remarks.
const REMARKS: [&str; 3] = ["#", "%", "//"];

/// What separates cells, the likelier first: a comma beside a semicolon or tab is a decimal's.
const MARKS: [char; 3] = [';', '\t', ','];

/// The cells of a line, without quotation marks around them.
fn cells(separator: Separator, line: &str) -> Vec<&str> {
    let cells = separator.split(line).into_iter();
    cells.map(|cell| cell.trim_matches('"')).collect()
}

/// Names of columns; a unit in brackets belongs to the name before it, also between blanks.
fn names(separator: Separator, line: &str) -> Vec<&str> {
    let mut names = cells(separator, line);
    if separator == Separator::Blanks {
        names.retain(|name| !name.starts_with(['[', '(']));
    }
    names
}

/// A number, `NaN` where it is missing; `None` where the cell is no number.
fn number(separator: Separator, cell: &str) -> Option<f64> {
    if MISSING.contains(&cell.to_ascii_lowercase().as_str()) {
        return Some(f64::NAN);
    }
    match separator {
        Separator::Mark(',') => cell.parse().ok(),
        _ => cell.replace(',', ".").parse().ok(),
    }
}

/// Reads the table. The first line that is no remark may name the columns, also behind a mark of a
/// remark; without names, four columns are x, y, dx and dy.
pub(super) fn read(path: &Path, bytes: &[u8], reading: &TableReading) -> Result<PlacedVectors, StudyError> {
    let bad =
        |line: usize, why: String| StudyError::request(format!("{}, line {line}: {why}", path.display()));
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        bad(
            line,
            "is not a text (UTF-8), and the file is none of NPY, NPZ and VTK".to_owned(),
        )
    })?;
    let lines = text.trim_start_matches('\u{feff}').lines().enumerate();
    let all: Vec<(usize, &str)> = lines
        .map(|(k, line)| (k + 1, line.trim_matches([' ', '\r'])))
        .filter(|(_, line)| !line.trim().is_empty())
        .collect();
    let remark = |line: &str| REMARKS.iter().any(|mark| line.starts_with(mark));
    let first = all.iter().position(|(_, line)| !remark(line));
    let Some(first) = first else {
        return Err(bad(1, "there is no vector in this file".to_owned()));
    };
    let separator = Separator::of(all[first].1, MARKS);
    let before = first.checked_sub(1).map(|before| all[before].1);
    let Head { named, names, count } = Head::of(separator, all[first].1, before);
    let places = places(&reading.columns, &names, count).map_err(|why| bad(all[first].0, why))?;
    let rows = &all[first + usize::from(named)..];
    let mut vectors = PlacedVectors::default();
    for (line, text) in rows.iter().filter(|(_, line)| !remark(line)) {
        let cells = cells(separator, text);
        let cell = |field: usize, place: usize| {
            cells.get(place).copied().ok_or_else(|| {
                bad(
                    *line,
                    format!(
                        "has {} entries, but {} is column {}",
                        cells.len(),
                        FIELDS[field],
                        place + 1
                    ),
                )
            })
        };
        let mut values = [0.0; 4];
        for (field, value) in values.iter_mut().enumerate() {
            let text = cell(field, places[field].expect("found above"))?;
            *value = number(separator, text).ok_or_else(|| {
                bad(
                    *line,
                    format!("{} is \"{text}\", which is not a number", FIELDS[field]),
                )
            })?;
        }
        let [x, y, dx, dy] = values;
        if !(x.is_finite() && y.is_finite()) {
            return Err(bad(
                *line,
                "a position is missing: leave the line out, or give it with an empty displacement".to_owned(),
            ));
        }
        let valid = match places[4] {
            None => true,
            Some(place) => good(reading, cell(4, place)?),
        };
        vectors.at.push([x, y]);
        vectors
            .moved
            .push(if valid { whole([dx, dy]) } else { [f64::NAN; 2] });
    }
    Ok(vectors)
}

/// What the first line that is no remark says of the columns.
struct Head<'a> {
    /// Whether it holds their names, not numbers.
    named: bool,
    names: Vec<&'a str>,
    /// How many columns there are.
    count: usize,
}

impl<'a> Head<'a> {
    /// Of the first line and the remark before it.
    fn of(separator: Separator, first: &'a str, remark: Option<&'a str>) -> Head<'a> {
        let cells = cells(separator, first);
        let numbers = (cells.iter())
            .filter(|cell| number(separator, cell).is_some())
            .count();
        // A line of names has few numbers in it; a vector has at least x, y, dx, dy.
        let named = numbers < cells.len().min(4) && !cells.iter().any(|c| c.parse::<f64>().is_ok());
        let names = match (named, remark) {
            (true, _) => names(separator, first),
            (false, Some(remark)) => {
                let text = REMARKS
                    .iter()
                    .fold(remark, |text, mark| text.trim_start_matches(mark));
                names(separator, text.trim())
            }
            (false, None) => Vec::new(),
        };
        let count = if named { names.len() } else { cells.len() };
        Head { named, names, count }
    }
}

/// Whether the entry of the flag's column marks a valid vector.
fn good(reading: &TableReading, entry: &str) -> bool {
    let same = |good: &String| {
        good == entry || matches!((good.parse::<f64>(), entry.parse::<f64>()), (Ok(a), Ok(b)) if a == b)
    };
    match reading.good.is_empty() {
        true => entry == "valid",
        false => reading.good.iter().any(same),
    }
}

/// Where each field stands: as stated, else as named, else in their order where there are four.
fn places(stated: &Columns, names: &[&str], count: usize) -> Result<[Option<usize>; 5], String> {
    let bare = |name: &str| {
        let end = name.find(['[', '(', ' ']).unwrap_or(name.len());
        name[..end].to_ascii_lowercase()
    };
    let bare_names: Vec<String> = names.iter().map(|name| bare(name)).collect();
    let mut found = [None; 5];
    for (field, place) in found.iter_mut().enumerate() {
        let column = stated.0[field].as_deref();
        *place = match column {
            None => bare_names
                .iter()
                .position(|name| NAMES[field].contains(&name.as_str())),
            Some(column) => {
                let number = column
                    .parse()
                    .ok()
                    .filter(|n| (1..=count).contains(n))
                    .map(|n: usize| n - 1);
                let name = || {
                    names
                        .iter()
                        .position(|name| *name == column || bare(name) == column.to_ascii_lowercase())
                };
                Some(number.or_else(name).ok_or_else(|| {
                    format!(
                        "there is no column {column} for {}; there are {count}: {}",
                        FIELDS[field],
                        names.join(", ")
                    )
                })?)
            }
        };
    }
    // A flag of any kind is believed only where it is stated, but for this program's own.
    if stated.0[4].is_none() && found[4].is_some_and(|k| bare_names[k] != "status") {
        found[4] = None;
    }
    if found[..4].iter().all(Option::is_some) {
        return Ok(found);
    }
    if count == 4 && found[..4].iter().all(Option::is_none) {
        return Ok([Some(0), Some(1), Some(2), Some(3), None]);
    }
    let missing: Vec<&str> = (0..4)
        .filter(|k| found[*k].is_none())
        .map(|k| FIELDS[k])
        .collect();
    Err(format!(
        "it is not known which of the {count} columns {} {}: state it as in x=1,y=2,dx=3,dy=4",
        if missing.len() == 1 { "is" } else { "are" },
        missing.join(", ")
    ))
}
