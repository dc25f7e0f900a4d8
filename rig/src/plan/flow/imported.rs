//! An imported field, put where it belongs in the picture.

use std::sync::Arc;

use motefield_generator::flow::{DataError, Flow, GridField};

use super::{Picture, body};
use crate::import::{self, Data, Positions};
use crate::keys;
use crate::setup::{Imported, SetupError, Stands};

/// Smallest share of the picture that the points must span: a field that covers less stands in the
/// wrong place or unit.
const LEAST_COVER: f64 = 0.5;

pub(super) fn field(picture: &Picture, field: &Imported) -> Result<Arc<dyn Flow>, SetupError> {
    let unusable = |why: String| picture.error(keys::flow::FILE, format!("cannot be used: {why}"));
    let data = picture
        .scale
        .setup
        .referenced()
        .field(&field.path, field.format, field.layout, field.array.as_deref())
        .map_err(|e| unusable(e.to_string()))?;
    let length_key = if field.format == import::Format::Npy {
        keys::flow::SPACING
    } else {
        keys::flow::LENGTH_UNIT
    };
    let px = picture.scale.extent(field.length, length_key)?;
    let motion_px = picture.scale.motion(field.velocity, keys::flow::VELOCITY_UNIT)?;
    // With y up in the file, rows and vertical velocities are mirrored.
    let up = if field.y_up { -1.0 } else { 1.0 };
    let displacement = |v: &[f64; 3]| [motion_px * v[0], up * motion_px * v[1], motion_px * v[2]];
    let origin = |low: [f64; 2], high: [f64; 2]| match field.stands {
        Stands::Pixels => Ok([0.0; 2]),
        Stands::Middle(centre) => {
            let place = picture.place(centre)?;
            Ok([0, 1].map(|i| place[i] - 0.5 * (low[i] + high[i])))
        }
    };
    match &data.positions {
        Positions::Grid {
            first,
            spacing,
            count,
        } => {
            let span = |i: usize| px * spacing[i] * (count[i] - 1) as f64;
            let mut low = [px * first[0], up * px * first[1]];
            if field.y_up {
                low[1] -= span(1);
            }
            let origin = origin(low, [low[0] + span(0), low[1] + span(1)])?;
            let depth = if count[2] > 1 && matches!(field.stands, Stands::Middle(_)) {
                -0.5 * span(2)
            } else {
                px * first[2]
            };
            let first_px = [low[0] + origin[0], low[1] + origin[1], depth];
            let values = rows(&data, *count, field.y_up).map(displacement).collect();
            let (values, solid) = body::in_cells(values, *count, field.body).map_err(unusable)?;
            let grid = GridField::new(first_px, spacing.map(|s| px * s), *count, values)
                .and_then(|grid| match solid {
                    Some(solid) => grid.with_bodies(solid),
                    None => Ok(grid),
                })
                .map_err(|e| unusable(e.to_string()))?;
            covers(picture, grid.bounds_px())?;
            Ok(Arc::new(grid))
        }
        Positions::Nodes(nodes) | Positions::Mesh { nodes, .. } => {
            let mut at: Vec<[f64; 2]> = nodes.iter().map(|[x, y]| [px * x, up * px * y]).collect();
            let corner =
                |i: usize, pick: fn(f64, f64) -> f64| at.iter().map(|p| p[i]).reduce(pick).unwrap_or(0.0);
            let origin = origin(
                [corner(0, f64::min), corner(1, f64::min)],
                [corner(0, f64::max), corner(1, f64::max)],
            )?;
            for p in &mut at {
                *p = [p[0] + origin[0], p[1] + origin[1]];
            }
            let values: Vec<_> = data.velocity.iter().map(displacement).collect();
            let mesh = match &data.positions {
                Positions::Mesh { triangles, .. } => Some(&triangles[..]),
                _ => None,
            };
            let scattered = body::between_nodes(&at, &values, mesh, field.body)
                .map_err(|e| unusable(scattered_fault(field, &data, e)))?;
            covers(picture, scattered.bounds_px())?;
            Ok(Arc::new(scattered))
        }
    }
}

/// What is wrong with scattered points, by their names in the file.
fn scattered_fault(field: &Imported, data: &Data, error: body::NodesFault) -> String {
    let path = field.path.display();
    let error = match error {
        body::NodesFault::Data(error) => error,
        body::NodesFault::Gaps(why) => return format!("{path}: {why}"),
    };
    match error {
        DataError::SamePlace { first, second } => format!(
            "{path}: {} and {} give two velocities at the same place: keep one",
            data.name(first),
            data.name(second)
        ),
        other => format!("{path}: {other}"),
    }
}

/// The velocities of a grid, its rows from the smallest y in the picture on.
fn rows(data: &Data, count: [usize; 3], y_up: bool) -> impl Iterator<Item = &[f64; 3]> {
    let [columns, rows, layers] = count;
    (0..layers * rows).flat_map(move |k| {
        let row = if y_up {
            k / rows * rows + rows - 1 - k % rows
        } else {
            k
        };
        &data.velocity[row * columns..(row + 1) * columns]
    })
}

fn covers(picture: &Picture, [low, high]: [[f64; 2]; 2]) -> Result<(), SetupError> {
    let share = |i: usize| {
        let size = picture.size[i] as f64;
        ((high[i].min(size - 0.5) - low[i].max(-0.5)) / size).max(0.0)
    };
    let cover = share(0) * share(1);
    if cover >= LEAST_COVER {
        return Ok(());
    }
    Err(picture.error(keys::flow::FILE, format!(
        "holds points from ({:.1}, {:.1}) px to ({:.1}, {:.1}) px, {:.0} % of the picture of {} x {} px: check flow.length_unit (or spacing), flow.length_scale, flow.align, flow.centre and flow.y_axis",
        low[0], low[1], high[0], high[1], 100.0 * cover, picture.size[0], picture.size[1]
    )))
}
