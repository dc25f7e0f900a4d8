//! Tables of points with a line of column names.

use motefield_files::table::Separator;

use super::layout::{TableRow, arrange};
use super::{Data, FormatFault, Layout};

const NAMES: [&str; 6] = ["x", "y", "z", "u", "v", "w"];
/// What separates, the likelier first.
const MARKS: [char; 3] = [',', ';', '\t'];

/// Separated by commas, semicolons, tabs or blanks, whichever comes first in this order in the line
/// of names. Empty lines and those that begin with # are passed over, but the names may stand
/// behind a #.
pub(super) fn read(bytes: &[u8], layout: Option<Layout>) -> Result<Data, FormatFault> {
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        FormatFault::at(line, "is not a text (UTF-8)")
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(k, line)| (k + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty());
    let names_missing = || "has no line of column names: begin with one such as x,y,u,v";
    let (mut line, mut names) = lines.next().ok_or_else(|| FormatFault::new(names_missing()))?;
    while columns(names).is_none() && names.starts_with('#') {
        (line, names) = lines.next().ok_or_else(|| FormatFault::new(names_missing()))?;
    }
    let separator = Separator::of(names, MARKS);
    let columns = columns(names).ok_or_else(|| {
        FormatFault::at(
            line,
            format!("\"{names}\" does not name the columns x, y, u and v (and z, w where there are any): begin with a line such as x,y,u,v"),
        )
    })?;
    let rows = lines
        .filter(|(_, text)| !text.starts_with('#'))
        .map(|(line, text)| row(line, text, separator, &columns))
        .collect::<Result<Vec<_>, _>>()?;
    if rows.is_empty() {
        return Err(FormatFault::new("has column names, but no points below them"));
    }
    arrange(&rows, layout)
}

/// Which column holds which of [`NAMES`]; nothing where x, y, u or v is missing.
fn columns(names: &str) -> Option<[Option<usize>; 6]> {
    let separator = Separator::of(names, MARKS);
    let found: Vec<String> = separator
        .split(names.trim_start_matches('#').trim_start())
        .iter()
        .map(|name| {
            // "x [mm]" and "u (m/s)" name x and u; the setup says the units.
            let name = name.trim_matches('"');
            let end = name.find(['[', '(', ' ']).unwrap_or(name.len());
            name[..end].to_ascii_lowercase()
        })
        .collect();
    let columns = NAMES.map(|wanted| found.iter().position(|name| name == wanted));
    let [x, y, _, u, v, _] = columns;
    (x.is_some() && y.is_some() && u.is_some() && v.is_some()).then_some(columns)
}

fn row(
    line: usize,
    text: &str,
    separator: Separator,
    columns: &[Option<usize>; 6],
) -> Result<TableRow, FormatFault> {
    let entries = separator.split(text);
    let mut values = [0.0; 6];
    for ((value, name), column) in values.iter_mut().zip(NAMES).zip(columns) {
        let Some(column) = column else { continue };
        let entry = entries.get(*column).ok_or_else(|| {
            FormatFault::at(
                line,
                format!(
                    "has {} entries, but {name} is column {}",
                    entries.len(),
                    column + 1
                ),
            )
        })?;
        *value = entry
            .parse()
            .ok()
            // A velocity that is not known is NaN; the places come first among the names.
            .filter(|v: &f64| v.is_finite() || (v.is_nan() && NAMES[3..].contains(&name)))
            .ok_or_else(|| {
                let hint = if entry.contains(',') {
                    "; write decimals with a point"
                } else {
                    ""
                };
                FormatFault::at(
                    line,
                    format!("{name} is \"{entry}\", which is not a finite number{hint}"),
                )
            })?;
    }
    let [x, y, z, u, v, w] = values;
    Ok(TableRow {
        line,
        at: [x, y, z],
        velocity: [u, v, w],
    })
}
