//! Interpolation of a velocity field given on a regular grid.

use super::pathline::along_continued;
use super::{Flow, Vec3};

/// Data from which no field can be interpolated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DataError {
    /// A number of points or velocities that does not fit.
    #[error("there are {got} {what}, but {wanted}")]
    Count {
        /// What was counted.
        what: &'static str,
        /// How many there are.
        got: usize,
        /// How many there must be, in words.
        wanted: String,
    },
    /// A value that is not finite.
    #[error("the {what} of point {index} (counted from 0) is not a finite number")]
    NotFinite {
        /// "position" or "velocity".
        what: &'static str,
        /// Index of the point, from 0.
        index: usize,
    },
    /// A spacing of the grid that is not above 0, px.
    #[error("the spacing {0} px of the grid must be above 0")]
    Spacing(f64),
    /// Two points at the same place.
    #[error("the points {first} and {second} (counted from 0) stand at the same place")]
    SamePlace {
        /// Index of the one, from 0.
        first: usize,
        /// Index of the other, from 0.
        second: usize,
    },
    /// Points that are all on one line.
    #[error("the points all stand on one line")]
    OnALine,
}

/// A field given on a regular grid, interpolated by Catmull–Rom cubics along each axis. It passes
/// through the data, has continuous first derivatives and is exact for quadratic fields. Outside
/// the grid it has the value at the nearest point of the grid. A field on a grid of one layer does
/// not change with z.
///
/// In general it is not free of divergence. All of it is fluid, unless [`GridField::with_bodies`]
/// says otherwise.
///
/// ```
/// use motefield_generator::flow::{Flow, GridField};
///
/// // Shear u = 0.1 y on 3 x 2 nodes, 10 px apart.
/// let nodes = (0..6).map(|k| [0.1 * 10.0 * (k / 3) as f64, 0.0, 0.0]).collect();
/// let field = GridField::new([0.0; 3], [10.0; 3], [3, 2, 1], nodes)?;
/// assert!((field.velocity([7.0, 4.0, 0.0], 0.0)[0] - 0.4).abs() < 1e-12);
/// # Ok::<(), motefield_generator::flow::DataError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct GridField {
    first_px: Vec3,
    spacing_px: Vec3,
    count: [usize; 3],
    displacement_px: Vec<Vec3>,
    /// Whether each cell between nodes is a body; none is if the list is empty.
    solid: Vec<bool>,
}

/// Four neighbouring nodes along an axis, with their weights for the value and for the slope per
/// node spacing.
struct GridLine {
    node: [usize; 4],
    value: [f64; 4],
    slope: [f64; 4],
}

impl GridField {
    /// The field with the displacements `displacement_px` at `count` nodes along x, y and z. The
    /// first node is at `first_px`, the others are `spacing_px` apart; x changes fastest, then y,
    /// then z.
    ///
    /// # Errors
    /// When the number of displacements is not that of the nodes, x or y has fewer than two nodes,
    /// a spacing is not above 0 or a number is not finite.
    pub fn new(
        first_px: Vec3,
        spacing_px: Vec3,
        count: [usize; 3],
        displacement_px: Vec<Vec3>,
    ) -> Result<GridField, DataError> {
        let [columns, rows, layers] = count;
        if columns < 2 || rows < 2 || layers < 1 {
            return Err(DataError::Count {
                what: "nodes along an axis of the grid",
                got: columns.min(rows).min(layers),
                wanted: "there must be 2 or more along x and y".to_owned(),
            });
        }
        let wanted = columns.checked_mul(rows).and_then(|n| n.checked_mul(layers));
        if wanted != Some(displacement_px.len()) {
            return Err(DataError::Count {
                what: "velocities",
                got: displacement_px.len(),
                wanted: format!("the grid has {columns} x {rows} x {layers} nodes"),
            });
        }
        if let Some(bad) = spacing_px.iter().find(|s| !(s.is_finite() && **s > 0.0)) {
            return Err(DataError::Spacing(*bad));
        }
        if first_px.iter().any(|p| !p.is_finite()) {
            return Err(DataError::NotFinite {
                what: "position",
                index: 0,
            });
        }
        check_finite(&displacement_px)?;
        Ok(GridField {
            first_px,
            spacing_px,
            count,
            displacement_px,
            solid: Vec::new(),
        })
    }

    /// The field with bodies in the cells of which `solid` is true: one entry for each cell between
    /// neighbouring nodes, x changing fastest, then y, then z; of a single layer of nodes one layer
    /// of cells.
    ///
    /// # Errors
    /// When their number is not that of the cells.
    pub fn with_bodies(self, solid: Vec<bool>) -> Result<GridField, DataError> {
        let [columns, rows, layers] = self.cells();
        if solid.len() != columns * rows * layers {
            return Err(DataError::Count {
                what: "entries of cells that are bodies",
                got: solid.len(),
                wanted: format!("the grid has {columns} x {rows} x {layers} cells"),
            });
        }
        Ok(GridField { solid, ..self })
    }

    /// Cells along x, y and z.
    fn cells(&self) -> [usize; 3] {
        self.count.map(|nodes| (nodes - 1).max(1))
    }

    /// The interpolated displacement, in bodies too.
    fn inward(&self, at: Vec3) -> Vec3 {
        let lines = [0, 1, 2].map(|axis| self.line(at, axis));
        self.combine(&lines[0].value, &lines[1].value, &lines[2].value, &lines)
    }

    /// Low and high corner of the grid in x and y, px.
    pub fn bounds_px(&self) -> [[f64; 2]; 2] {
        let high = |i: usize| self.first_px[i] + self.spacing_px[i] * (self.count[i] - 1) as f64;
        [[self.first_px[0], self.first_px[1]], [high(0), high(1)]]
    }

    /// Nodes and weights along one axis for a point.
    fn line(&self, at: Vec3, axis: usize) -> GridLine {
        let count = self.count[axis];
        if count == 1 {
            return GridLine {
                node: [0; 4],
                value: [0.0, 1.0, 0.0, 0.0],
                slope: [0.0; 4],
            };
        }
        let place = (at[axis] - self.first_px[axis]) / self.spacing_px[axis];
        let held = place.clamp(0.0, (count - 1) as f64);
        let cell = (held as usize).min(count - 2);
        let t = held - cell as f64;
        let mut value = [
            0.5 * t * (t * (2.0 - t) - 1.0),
            0.5 * (t * t * (3.0 * t - 5.0) + 2.0),
            0.5 * t * (t * (4.0 - 3.0 * t) + 1.0),
            0.5 * t * t * (t - 1.0),
        ];
        let mut slope = if place == held {
            [
                0.5 * (t * (4.0 - 3.0 * t) - 1.0),
                0.5 * t * (9.0 * t - 10.0),
                0.5 * (t * (8.0 - 9.0 * t) + 1.0),
                0.5 * t * (3.0 * t - 2.0),
            ]
        } else {
            [0.0; 4]
        };
        // Beyond an end, a node continues the quadratic through the last three nodes, or the line
        // through the last two.
        for weights in [&mut value, &mut slope] {
            let ghost: [f64; 3] = if count > 2 {
                [3.0, -3.0, 1.0]
            } else {
                [2.0, -1.0, 0.0]
            };
            if cell == 0 {
                let first = std::mem::take(&mut weights[0]);
                for k in 0..3 {
                    weights[k + 1] += first * ghost[k];
                }
            }
            if cell + 2 == count {
                let last = std::mem::take(&mut weights[3]);
                for k in 0..3 {
                    weights[2 - k] += last * ghost[k];
                }
            }
        }
        GridLine {
            // Nodes beyond the ends have weight 0 now.
            node: std::array::from_fn(|k| (cell + k).saturating_sub(1).min(count - 1)),
            value,
            slope,
        }
    }

    /// Sum of the data at the nodes of three lines, with weights along x, y and z.
    fn combine(&self, x: &[f64; 4], y: &[f64; 4], z: &[f64; 4], lines: &[GridLine; 3]) -> Vec3 {
        let mut sum = [0.0; 3];
        for (kz, wz) in z.iter().enumerate().filter(|(_, w)| **w != 0.0) {
            for (ky, wy) in y.iter().enumerate() {
                let row = (lines[2].node[kz] * self.count[1] + lines[1].node[ky]) * self.count[0];
                for (kx, wx) in x.iter().enumerate() {
                    let w = wx * wy * wz;
                    let v = &self.displacement_px[row + lines[0].node[kx]];
                    for i in 0..3 {
                        sum[i] += w * v[i];
                    }
                }
            }
        }
        sum
    }
}

impl Flow for GridField {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        match self.solid(at) {
            true => [0.0; 3],
            false => self.inward(at),
        }
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        if self.solid(at) {
            return [[0.0; 3]; 3];
        }
        let lines = [0, 1, 2].map(|axis| self.line(at, axis));
        let by: [Vec3; 3] = std::array::from_fn(|axis| {
            let weights = |i: usize| {
                if i == axis {
                    &lines[i].slope
                } else {
                    &lines[i].value
                }
            };
            self.combine(weights(0), weights(1), weights(2), &lines)
                .map(|g| g / self.spacing_px[axis])
        });
        std::array::from_fn(|i| std::array::from_fn(|j| by[j][i]))
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        if self.solid(from) {
            return from;
        }
        // A pathline along a wall may try points behind it, to which the field continues.
        along_continued(self, from, t0, t1)
    }
    fn solid(&self, at: Vec3) -> bool {
        if self.solid.is_empty() {
            return false;
        }
        let cells = self.cells();
        let [x, y, z]: [usize; 3] = std::array::from_fn(|i| {
            // What lies outside the grid belongs to the nearest cell.
            let place = ((at[i] - self.first_px[i]) / self.spacing_px[i]).floor();
            (place.max(0.0) as usize).min(cells[i] - 1)
        });
        self.solid[(z * cells[1] + y) * cells[0] + x]
    }
    fn continued(&self, at: Vec3, _: f64) -> Vec3 {
        self.inward(at)
    }
    fn piece_px(&self) -> Option<f64> {
        Some(self.spacing_px[0].min(self.spacing_px[1]))
    }
}

/// Checks that all components of all velocities are finite.
pub(super) fn check_finite(displacement_px: &[Vec3]) -> Result<(), DataError> {
    let bad = |v: &Vec3| v.iter().any(|c| !c.is_finite());
    match displacement_px.iter().position(bad) {
        Some(index) => Err(DataError::NotFinite {
            what: "velocity",
            index,
        }),
        None => Ok(()),
    }
}
