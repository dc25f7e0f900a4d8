//! A measured pulse: power over time out of a table.

use std::path::Path;

use motefield_files::table::Table;

use super::super::referenced::Referenced;
use crate::quantity::{Dimension, parse_as};

/// Most rows: far more than a pulse has corners.
const MOST_ROWS: usize = 10_000;

/// Power over time of a measured pulse.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordedPulse {
    /// Time between its half powers, s.
    pub length_s: f64,
    /// Time from its first half power, over its length, and power over the largest.
    pub points: Vec<[f64; 2]>,
    /// Its energy over largest power × length.
    pub fill: f64,
}

/// Reads the table.
pub(super) fn read(path: &Path, referenced: &Referenced) -> Result<RecordedPulse, String> {
    let content = referenced.files().content(path).map_err(|e| e.to_string())?;
    let text = std::str::from_utf8(&content.bytes)
        .map_err(|_| format!("{}: is not a text file (UTF-8)", path.display()))?;
    let table = Table::parse(path, text.trim_start_matches('\u{feff}')).map_err(|e| e.to_string())?;
    of_table(&table).map_err(|message| format!("{}: {message}", path.display()))
}

fn of_table(table: &Table) -> Result<RecordedPulse, String> {
    let (times, unit_s) = time_column(&table.columns)?;
    let named_power = |name: &String| bare(name) == "power";
    let powers = table.columns.iter().position(named_power);
    let powers = powers.ok_or("has no column power: begin with a line such as time [us],power")?;
    if table.rows.len() > MOST_ROWS {
        return Err(format!(
            "has {} rows, but must have at most {MOST_ROWS}: keep only every n-th row",
            table.rows.len()
        ));
    }
    let mut points: Vec<[f64; 2]> = Vec::with_capacity(table.rows.len());
    for (k, row) in table.rows.iter().enumerate() {
        let line = k + 2;
        let number = |column: usize| {
            let cell = &row[column];
            let read = cell.parse().ok().filter(|v: &f64| v.is_finite());
            read.ok_or(format!("row {line}: \"{cell}\" is not a finite number"))
        };
        let (time_s, power) = (number(times)? * unit_s, number(powers)?);
        if power < 0.0 {
            return Err(format!(
                "row {line}: the power is below 0; subtract the offset of the signal, and cut off the noise beside the pulse"
            ));
        }
        if points.last().is_some_and(|[before, _]| *before >= time_s) {
            return Err(format!(
                "row {line}: the time is not later than that of the row before"
            ));
        }
        points.push([time_s, power]);
    }
    of_points(&points)
}

/// The column of times, and its unit in s.
fn time_column(columns: &[String]) -> Result<(usize, f64), String> {
    let missing = "has no column of times with its unit: begin with a line such as time [us],power";
    let found = columns.iter().enumerate().find(|(_, name)| bare(name) == "time");
    let (column, name) = found.ok_or(missing)?;
    let unit = name.split_once('[').and_then(|(_, rest)| rest.split_once(']'));
    let (unit, _) = unit.ok_or(missing)?;
    let unit_s = parse_as(&format!("1 {unit}"), Dimension::Time)
        .map_err(|_| format!("has times in \"{unit}\", which is no unit of time: write s, ms, us or ns"))?;
    Ok((column, unit_s))
}

/// The name of a column without its unit.
fn bare(name: &str) -> String {
    let end = name.find('[').unwrap_or(name.len());
    name[..end].trim().to_ascii_lowercase()
}

/// The pulse through points of time, s, and power.
fn of_points(points: &[[f64; 2]]) -> Result<RecordedPulse, String> {
    let largest = points
        .iter()
        .fold(0.0f64, |largest, [_, power]| largest.max(*power));
    if points.len() < 2 || largest == 0.0 {
        return Err("shows no pulse: give at least two rows, one of them with a power above 0".to_owned());
    }
    let half = 0.5 * largest;
    let reached = |points: &mut dyn Iterator<Item = [f64; 2]>| -> f64 {
        let mut before: Option<[f64; 2]> = None;
        for [time, power] in points {
            if power >= half {
                return before.map_or(time, |[t, p]| t + (time - t) * (half - p) / (power - p));
            }
            before = Some([time, power]);
        }
        f64::NAN
    };
    let start_s = reached(&mut points.iter().copied());
    let length_s = reached(&mut points.iter().rev().copied()) - start_s;
    if length_s.is_nan() || length_s <= 0.0 {
        return Err("shows no pulse: its power is above half its largest for no time".to_owned());
    }
    let energy: f64 = points
        .windows(2)
        .map(|ends| 0.5 * (ends[0][1] + ends[1][1]) * (ends[1][0] - ends[0][0]))
        .sum();
    Ok(RecordedPulse {
        length_s,
        points: points
            .iter()
            .map(|[time_s, power]| [(time_s - start_s) / length_s, power / largest])
            .collect(),
        fill: energy / (largest * length_s),
    })
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;
    use std::sync::Arc;

    use motefield_files::Memory;

    use super::*;

    fn pulse(text: &str) -> Result<RecordedPulse, String> {
        let path = PathBuf::from("pulse.csv");
        let files = Memory::new([(path.clone(), text.as_bytes().to_vec())]);
        read(&path, &Referenced::new(Arc::new(files)))
    }

    /// A triangle of base b and height 1 has the energy b/2, half its power at b/4 and 3b/4, and so
    /// the length b/2 and the fill 1 (closed forms); a rectangle begins at half power, fill 1; an
    /// exponential sampled finely has the length ln 2 · τ and the fill 1/ln 2.
    #[test]
    fn lengths_and_energies_by_closed_forms() {
        let triangle = pulse("time [ns],power\n100,0\n104,2\n108,0\n").unwrap();
        assert!((triangle.length_s - 4e-9).abs() < 1e-20 && (triangle.fill - 1.0).abs() < 1e-12);
        assert!((triangle.points[0][0] + 0.5).abs() < 1e-12 && triangle.points[1][1] == 1.0);
        let rectangle = pulse("Power,Time [us]\n3,0\n3,5\n").unwrap();
        assert!((rectangle.length_s - 5e-6).abs() < 1e-20 && rectangle.fill == 1.0);
        let times = (0..8000).map(|k| f64::from(k) * 2.5e-3);
        let rows = times.map(|t| format!("{t},{}\n", (-t).exp()));
        let decay = pulse(&format!("time [ms],power\n{}", rows.collect::<String>())).unwrap();
        // Straight lines between samples of a step h are off by up to h²/8 in time at the half
        // power, 1.1e-6 of the length, and by h²/12 in the energy.
        let ln_2 = std::f64::consts::LN_2;
        assert!((decay.length_s / (1e-3 * ln_2) - 1.0).abs() < 1.2e-6);
        assert!((decay.fill * ln_2 - 1.0).abs() < 1.8e-6);
    }

    #[test]
    fn what_is_no_pulse_is_named_with_its_row() {
        for (text, words) in [
            ("t,p\n0,1\n", "no column of times"),
            ("time,power\n0,1\n", "no column of times with its unit"),
            ("time [mm],power\n0,1\n", "\"mm\", which is no unit of time"),
            ("time [us],light\n0,1\n", "no column power"),
            ("time [us],power\n0,1\n0,1\n", "row 3: the time is not later"),
            ("time [us],power\n0,1\n1,-0.1\n", "row 3: the power is below 0"),
            (
                "time [us],power\n0,1\n1,x\n",
                "row 3: \"x\" is not a finite number",
            ),
            ("time [us],power\n0,0\n1,0\n", "shows no pulse"),
            ("time [us],power\n0,0,1\n", "not a whole table"),
        ] {
            let error = pulse(text).unwrap_err();
            assert!(error.contains(words) && error.starts_with("pulse.csv"), "{error}");
        }
    }
}
