//! What of large pictures was measured.

use motefield_study::run::{MeasuredTiles, Point};
use serde_json::{Value, json};

use crate::format::percent;

/// On how many tiles the points were measured, each way of it once, and how many points on whole
/// pictures.
fn ways<'a>(points: impl IntoIterator<Item = &'a Point>) -> (Vec<&'a MeasuredTiles>, usize) {
    let (mut ways, mut whole): (Vec<&MeasuredTiles>, usize) = (Vec::new(), 0);
    for point in points {
        let Some(tiles) = &point.tiles else {
            whole += 1;
            continue;
        };
        let same =
            |way: &&MeasuredTiles| (way.size_px, way.tiles.len()) == (tiles.size_px, tiles.tiles.len());
        if !ways.iter().any(same) {
            ways.push(tiles);
        }
    }
    (ways, whole)
}

/// A line for a person; empty where whole pictures were measured. `remedy` says how to have all
/// of the picture measured, where that can be had.
pub fn words<'a>(points: impl IntoIterator<Item = &'a Point>, remedy: Option<&str>) -> String {
    let (ways, whole) = ways(points);
    if ways.is_empty() {
        return String::new();
    }
    let one = |way: &&MeasuredTiles| {
        let [width, height] = way.size_px;
        let number = way.tiles.len();
        let share = percent(way.share);
        format!("{number} tiles of {width} x {height} px, {share} of the picture")
    };
    let ways: Vec<String> = ways.iter().map(one).collect();
    let rest = match whole {
        0 => String::new(),
        n => format!(" ({n} settings, whose windows are too large for tiles, on the whole picture)"),
    };
    let remedy = remedy.map_or(String::new(), |remedy| format!("; {remedy}"));
    format!(
        "Measured on {}{rest}, the same in every pair. The intervals hold what the rest of the picture may add{remedy}.\n",
        ways.join(" or ")
    )
}

/// As JSON: each way, with the share of the picture; `None` where whole pictures were
/// measured.
pub fn json<'a>(points: impl IntoIterator<Item = &'a Point>) -> Option<Value> {
    let (ways, whole) = ways(points);
    let one = |way: &&MeasuredTiles| {
        json!({
            "tiles": way.tiles.len(),
            "strata": way.tiles.strata(),
            "size_px": way.size_px,
            "share_of_picture": way.share,
        })
    };
    let ways: Vec<Value> = ways.iter().map(one).collect();
    (!ways.is_empty()).then(|| json!({ "ways": ways, "points_on_whole_pictures": whole }))
}
