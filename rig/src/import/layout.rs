//! Whether the points of a table stand on a regular grid.

use super::{Data, FormatFault, Layout, Positions, grid};

/// A point of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TableRow {
    pub line: usize,
    pub at: [f64; 3],
    pub velocity: [f64; 3],
}

/// How far a point may stand from its place on a grid, over the spacing: printed coordinates are
/// rounded.
const SLACK: f64 = 0.01;

/// An axis of a grid.
struct GridAxis {
    first: f64,
    spacing: f64,
    count: usize,
}

/// As a grid where the points stand on one, else as scattered nodes; or as the one asked for.
pub(super) fn arrange(rows: &[TableRow], layout: Option<Layout>) -> Result<Data, FormatFault> {
    if layout != Some(Layout::Scattered) {
        match on_grid(rows) {
            Ok(data) => return data,
            Err(why) if layout == Some(Layout::Grid) => {
                return Err(FormatFault::new(format!("is not a regular grid: {why}")));
            }
            Err(_) => {}
        }
    }
    if let Some(row) = rows.iter().find(|row| row.at[2] != rows[0].at[2]) {
        return Err(FormatFault::at(
            row.line,
            "has another z than the points before: scattered points must all stand in one plane, and a grid in depth be regular",
        ));
    }
    Ok(Data {
        positions: Positions::Nodes(rows.iter().map(|row| [row.at[0], row.at[1]]).collect()),
        velocity: rows.iter().map(|row| row.velocity).collect(),
        lines: rows.iter().map(|row| row.line).collect(),
    })
}

/// The grid, or why the points make none; an inner error is one of the data themselves.
fn on_grid(rows: &[TableRow]) -> Result<Result<Data, FormatFault>, String> {
    let axes = [axis(rows, 0)?, axis(rows, 1)?, axis(rows, 2)?];
    let count = axes.each_ref().map(|axis| axis.count);
    let nodes = count.iter().try_fold(1usize, |n, c| n.checked_mul(*c));
    if nodes != Some(rows.len()) {
        let [x, y, z] = count;
        return Err(format!(
            "there are {} points, but {x} x {y} x {z} different x, y and z",
            rows.len()
        ));
    }
    let mut velocity = vec![None; rows.len()];
    for row in rows {
        let index: [usize; 3] = std::array::from_fn(|i| {
            ((row.at[i] - axes[i].first) / axes[i].spacing).round().max(0.0) as usize
        });
        let node = (index[2] * count[1] + index[1]) * count[0] + index[0];
        match velocity.get_mut(node) {
            Some(free @ None) => *free = Some(row.velocity),
            _ => return Err(format!("line {} stands at a place that is taken", row.line)),
        }
    }
    // As many points as nodes and none twice: every node has its own.
    let velocity = velocity.into_iter().flatten().collect();
    let first = axes.each_ref().map(|axis| axis.first);
    let spacing = axes.each_ref().map(|axis| axis.spacing);
    Ok(grid(first, spacing, count, velocity))
}

fn axis(rows: &[TableRow], i: usize) -> Result<GridAxis, String> {
    let mut places: Vec<f64> = rows.iter().map(|row| row.at[i]).collect();
    places.sort_by(f64::total_cmp);
    let (first, last) = (places[0], places[places.len() - 1]);
    let widest = places.windows(2).map(|p| p[1] - p[0]).fold(0.0, f64::max);
    let count = 1 + places.windows(2).filter(|p| p[1] - p[0] > 0.5 * widest).count();
    if first == last {
        return Ok(GridAxis {
            first,
            spacing: 1.0,
            count: 1,
        });
    }
    let spacing = (last - first) / (count - 1) as f64;
    let off = |place: &&f64| {
        let steps = (**place - first) / spacing;
        (steps - steps.round()).abs() > SLACK
    };
    match places.iter().find(off) {
        Some(place) => Err(format!(
            "{} = {place} is off the regular spacing {spacing}",
            ["x", "y", "z"][i]
        )),
        None => Ok(GridAxis {
            first,
            spacing,
            count,
        }),
    }
}

/// First place and spacing of places that rise evenly; any spacing of a single one.
pub(super) fn even(places: &[f64]) -> Option<[f64; 2]> {
    let (first, last) = (*places.first()?, *places.last()?);
    if places.len() == 1 {
        return Some([first, 1.0]);
    }
    let spacing = (last - first) / (places.len() - 1) as f64;
    let on = |(k, place): (usize, &f64)| ((place - first) / spacing - k as f64).abs() <= SLACK;
    (spacing > 0.0 && places.iter().enumerate().all(on)).then_some([first, spacing])
}
