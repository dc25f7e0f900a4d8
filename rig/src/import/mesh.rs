//! A mesh of plane cells as triangles, on the points that they use.

use std::collections::HashMap;

use super::{Data, FormatFault, Positions};

/// How far the points of a plane may stand off it, over their extent.
const OFF_PLANE: f64 = 1e-6;

/// The corners of a cell of a VTK type in turn, from the numbers of its points; `None` for cells
/// without area, which hold no fluid.
fn corners(kind: usize, points: &[usize]) -> Result<Option<Vec<usize>>, FormatFault> {
    // By its number in VTK's file formats, and in which order its points go round.
    let (least, order): (usize, &[usize]) = match kind {
        0..=4 | 21 => return Ok(None),
        5 => (3, &[0, 1, 2]),
        7 => (3, &[]),
        8 => (4, &[0, 1, 3, 2]),
        9 => (4, &[0, 1, 2, 3]),
        22 => (6, &[0, 3, 1, 4, 2, 5]),
        23 | 28 => (8, &[0, 4, 1, 5, 2, 6, 3, 7]),
        10..=14 | 24..=27 | 29..=33 => {
            return Err(FormatFault::new(
                "holds cells of a volume: cut the plane of the light sheet out of it first, and save that",
            ));
        }
        other => {
            return Err(FormatFault::new(format!(
                "holds cells of the type {other}, of which nothing is known here: save triangles or quadrilaterals"
            )));
        }
    };
    if points.len() < least {
        return Err(FormatFault::new(format!(
            "holds a cell of the type {kind} with {} points, but it has {least}",
            points.len()
        )));
    }
    Ok(Some(match order {
        [] => points.to_vec(),
        order => order.iter().map(|&k| points[k]).collect(),
    }))
}

/// Cells as files of both formats give them.
pub(super) struct Cells {
    /// Type of each.
    pub kinds: Vec<usize>,
    /// Where the points of each end in `points`.
    pub ends: Vec<usize>,
    /// Numbers of the points, one cell after the other.
    pub points: Vec<usize>,
}

impl Cells {
    /// Whole numbers of at least 0 out of those of a file.
    ///
    /// # Errors
    /// When one is not.
    pub fn whole(numbers: &[f64]) -> Result<Vec<usize>, FormatFault> {
        let one = |v: &f64| {
            (*v >= 0.0 && v.fract() == 0.0 && *v < 9e15)
                .then_some(*v as usize)
                .ok_or_else(|| {
                    FormatFault::new(format!(
                        "has the number {v} in its cells, but must have whole ones"
                    ))
                })
        };
        numbers.iter().map(one).collect()
    }

    /// The triangles of all cells that have an area.
    fn triangles(&self) -> Result<Vec<[usize; 3]>, FormatFault> {
        let cut =
            || FormatFault::new("has cells that do not fit together: their numbers of points are wrong");
        if self.kinds.len() != self.ends.len() {
            return Err(cut());
        }
        let (mut triangles, mut start) = (Vec::new(), 0);
        for (&kind, &end) in self.kinds.iter().zip(&self.ends) {
            let points = self.points.get(start..end).ok_or_else(cut)?;
            start = end;
            if kind == 6 {
                triangles.extend(points.windows(3).map(|p| [p[0], p[1], p[2]]));
            } else if let Some(round) = corners(kind, points)? {
                triangles.extend(round.windows(2).skip(1).map(|p| [round[0], p[0], p[1]]));
            }
        }
        Ok(triangles)
    }
}

/// The field with the velocities at the points of a mesh, (x, y, z) one after another. Points at
/// one place are one, and those that no cell uses are left out.
pub(super) fn mesh(points: &[f64], cells: &Cells, velocity: &[[f64; 3]]) -> Result<Data, FormatFault> {
    let points: Vec<[f64; 3]> = super::vectors(points);
    let mut triangles = cells.triangles()?;
    if let Some(bad) = triangles
        .iter()
        .flatten()
        .find(|&&k| k >= points.len() || k >= velocity.len())
    {
        return Err(FormatFault::new(format!(
            "has a cell at point {bad}, but there are {} points",
            points.len().min(velocity.len())
        )));
    }
    let (mut number_of, mut used): (HashMap<[u64; 2], usize>, Vec<usize>) = (HashMap::new(), Vec::new());
    for corner in triangles.iter_mut().flatten() {
        // Adding zero makes 0 of -0.
        let [x, y, _] = points[*corner].map(|v| v + 0.0);
        let number = number_of.entry([x.to_bits(), y.to_bits()]).or_insert_with(|| {
            used.push(*corner);
            used.len() - 1
        });
        *corner = *number;
    }
    plane(&points, &used)?;
    let nodes: Vec<[f64; 2]> = used.iter().map(|&k| [points[k][0], points[k][1]]).collect();
    triangles.retain(|t| {
        let [a, b, c] = t.map(|k| nodes[k]);
        (b[0] - a[0]) * (c[1] - a[1]) != (b[1] - a[1]) * (c[0] - a[0])
    });
    if triangles.is_empty() {
        return Err(FormatFault::new("has no cells with an area along x and y"));
    }
    Ok(Data {
        velocity: used.iter().map(|&k| velocity[k]).collect(),
        positions: Positions::Mesh { nodes, triangles },
        lines: Vec::new(),
    })
}

/// Checks that the points used are finite and stand in one plane.
fn plane(points: &[[f64; 3]], used: &[usize]) -> Result<(), FormatFault> {
    let mut span = [[f64::INFINITY, f64::NEG_INFINITY]; 3];
    for &k in used {
        for (axis, v) in span.iter_mut().zip(points[k]) {
            if !v.is_finite() {
                return Err(FormatFault::new(format!(
                    "has a position that is not a finite number at point {k}"
                )));
            }
            *axis = [axis[0].min(v), axis[1].max(v)];
        }
    }
    let extent = span.map(|[low, high]| high - low);
    if extent[2] > OFF_PLANE * extent[0].max(extent[1]) {
        return Err(FormatFault::new(
            "has points at more than one z: cut the plane of the light sheet out of it first, and save that",
        ));
    }
    Ok(())
}
