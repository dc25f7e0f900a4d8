//! Interpolation of a velocity field given at scattered points.

mod buckets;
mod cover;
mod cubic;
mod slopes;

use spade::{DelaunayTriangulation, HasPosition, Point2, Triangulation};

use super::grid::{DataError, check_finite};
use super::pathline::along_continued;
use super::{Flow, Vec3};
use buckets::Buckets;
use cover::Cover;
use cubic::{clough_tocher, hold};
use slopes::slopes;

type Xy = [f64; 2];

/// A field given at scattered nodes in the plane, interpolated by Clough–Tocher cubics on Delaunay
/// triangles: each triangle is split in three at its centroid, and the slope across an edge is
/// linear along it (Clough and Tocher 1965; Farin, *Curves and Surfaces for CAGD*). It passes
/// through the data, has continuous first derivatives and is exact for quadratic fields.
///
/// The gradient at a node is that of the quadratic through it that fits its neighbours and theirs
/// best, weighted by the inverse squared distance. Outside the convex hull of the nodes the field
/// has the value at the nearest point of the hull. It does not change with z. In general it is not
/// free of divergence.
///
/// What lies between the nodes is fluid, unless [`ScatteredField::covered_by`] says where there is
/// any; the rest inside the hull is a body then.
///
/// ```
/// use motefield_generator::flow::{Flow, ScatteredField};
///
/// let nodes = [[0.0, 0.0], [40.0, 0.0], [0.0, 40.0], [45.0, 38.0]];
/// let shear = nodes.map(|[_, y]| [0.1 * y, 0.0, 0.0]);
/// let field = ScatteredField::new(&nodes, &shear)?;
/// assert!((field.velocity([12.0, 20.0, 0.0], 0.0)[0] - 2.0).abs() < 1e-9);
/// # Ok::<(), motefield_generator::flow::DataError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct ScatteredField {
    nodes: Vec<Node>,
    triangles: Vec<[usize; 3]>,
    hull: Vec<[usize; 2]>,
    buckets: Buckets,
    /// Typical side of a third of a triangle, px.
    piece_px: f64,
    /// Where there is fluid; everywhere if nothing is told.
    cover: Option<Cover>,
}

#[derive(Debug, Clone, PartialEq)]
struct Node {
    at: Xy,
    value: Vec3,
    /// Derivatives with respect to x and to y.
    slope: [Vec3; 2],
}

struct Vertex {
    at: Point2<f64>,
    index: usize,
}

impl HasPosition for Vertex {
    type Scalar = f64;
    fn position(&self) -> Point2<f64> {
        self.at
    }
}

/// Where a point is: in a triangle, with its barycentric coordinates; or outside the hull, nearest
/// to the point at a fraction of the edge from one node to another.
enum Located {
    Inside([usize; 3], [f64; 3]),
    Outside([usize; 2], f64),
}

impl ScatteredField {
    /// Largest number of nodes.
    pub const MOST: usize = 4_000_000;

    /// The field with the displacements `displacement_px` at the nodes `at_px`, (x, y) in px.
    ///
    /// # Errors
    /// When the numbers of nodes and displacements differ, there are fewer than three nodes or more
    /// than [`Self::MOST`], a number is not finite or a position 10¹² px or more from 0, two nodes
    /// are at the same place, or all are on one line.
    pub fn new(at_px: &[Xy], displacement_px: &[Vec3]) -> Result<ScatteredField, DataError> {
        check(at_px, displacement_px)?;
        // The triangulation refuses tiny numbers other than 0; on the scale of a pixel they are 0.
        let at_px: Vec<Xy> = at_px
            .iter()
            .map(|p| p.map(|x| if x.abs() < 1e-12 { 0.0 } else { x }))
            .collect();
        check_places(&at_px)?;
        let mesh = triangulate(&at_px)?;
        let triangles: Vec<[usize; 3]> = mesh
            .inner_faces()
            .map(|face| face.vertices().map(|v| v.data().index))
            .collect();
        if triangles.is_empty() {
            return Err(DataError::OnALine);
        }
        let hull = mesh
            .convex_hull()
            .map(|edge| [edge.from().data().index, edge.to().data().index])
            .collect();
        let neighbours = neighbours(&mesh, at_px.len());
        let nodes = (0..at_px.len())
            .map(|k| Node {
                at: at_px[k],
                value: displacement_px[k],
                slope: slopes(k, &neighbours, &at_px, displacement_px),
            })
            .collect();
        let buckets = Buckets::new(&at_px, &triangles);
        let piece_px = libm::sqrt(buckets.cell[0] * buckets.cell[1] / 3.0);
        Ok(ScatteredField {
            piece_px,
            nodes,
            triangles,
            hull,
            buckets,
            cover: None,
        })
    }

    /// The field with fluid only in the `triangles`, at least one, whose corners are numbers of
    /// `nodes_px`: inside the hull of the field's own nodes all else is a body, as the hole of a
    /// mesh is. The nodes need not be the field's own.
    ///
    /// # Panics
    /// If there are no triangles, or one has a corner that is no node.
    ///
    /// ```
    /// use motefield_generator::flow::{Flow, ScatteredField};
    ///
    /// // A square of which only the lower half is fluid.
    /// let nodes = [[0.0, 0.0], [9.0, 0.0], [0.0, 9.0], [9.0, 9.0]];
    /// let field = ScatteredField::new(&nodes, &[[1.0, 0.0, 0.0]; 4])?;
    /// let field = field.covered_by(&nodes, &[[1, 2, 3]]);
    /// assert!(field.solid([2.0, 2.0, 0.0]) && !field.solid([8.0, 8.0, 0.0]));
    /// # Ok::<(), motefield_generator::flow::DataError>(())
    /// ```
    pub fn covered_by(self, nodes_px: &[Xy], triangles: &[[usize; 3]]) -> ScatteredField {
        assert!(!triangles.is_empty(), "at least one triangle");
        ScatteredField {
            cover: Some(Cover::new(nodes_px, triangles)),
            ..self
        }
    }

    /// The Delaunay triangles of the field's own nodes, by their numbers.
    pub fn triangles(&self) -> &[[usize; 3]] {
        &self.triangles
    }

    /// Low and high corner of the smallest rectangle around all nodes, px.
    pub fn bounds_px(&self) -> [Xy; 2] {
        bounds(self.nodes.iter().map(|n| n.at))
    }

    /// Where a point is among the triangles.
    fn place(&self, at: Xy) -> Located {
        let candidates = self.buckets.at(at).iter().map(|&t| {
            let triangle = self.triangles[t as usize];
            (triangle, weights(triangle.map(|k| self.nodes[k].at), at))
        });
        let least = |w: &[f64; 3]| w[0].min(w[1]).min(w[2]);
        let best = candidates.max_by(|(_, a), (_, b)| least(a).total_cmp(&least(b)));
        match best {
            Some((triangle, weights)) if least(&weights) > -1e-9 => Located::Inside(triangle, weights),
            _ => self.nearest(at),
        }
    }

    /// The point of the hull nearest to a point outside.
    fn nearest(&self, at: Xy) -> Located {
        let project = |&[a, b]: &[usize; 2]| {
            let (edge, off) = (
                minus(self.nodes[b].at, self.nodes[a].at),
                minus(at, self.nodes[a].at),
            );
            let t = (dot(off, edge) / dot(edge, edge)).clamp(0.0, 1.0);
            let rest = [off[0] - t * edge[0], off[1] - t * edge[1]];
            (dot(rest, rest), [a, b], t)
        };
        let nearest = self.hull.iter().map(project).min_by(|p, q| p.0.total_cmp(&q.0));
        let (_, edge, t) = nearest.expect("a triangulation has a hull");
        Located::Outside(edge, t)
    }

    /// Value and its derivatives with respect to x and y.
    fn evaluate(&self, at: Xy) -> (Vec3, [Vec3; 2]) {
        match self.place(at) {
            Located::Inside(triangle, weights) => clough_tocher(triangle.map(|k| &self.nodes[k]), weights),
            Located::Outside(edge, t) => hold(edge.map(|k| &self.nodes[k]), t),
        }
    }
}

/// Checks the counts and that all numbers are usable.
fn check(at_px: &[Xy], displacement_px: &[Vec3]) -> Result<(), DataError> {
    let n = at_px.len();
    if !(3..=ScatteredField::MOST).contains(&n) {
        return Err(DataError::Count {
            what: "points",
            got: n,
            wanted: format!("there must be 3 to {}", ScatteredField::MOST),
        });
    }
    if displacement_px.len() != n {
        return Err(DataError::Count {
            what: "velocities",
            got: displacement_px.len(),
            wanted: format!("there are {n} points"),
        });
    }
    // No picture reaches farther, and up to there the arithmetic of the triangulation is exact.
    let usable = |x: &f64| x.is_finite() && x.abs() < 1e12;
    if let Some(index) = at_px.iter().position(|p| !p.iter().all(usable)) {
        return Err(DataError::NotFinite {
            what: "position",
            index,
        });
    }
    check_finite(displacement_px)
}

/// Checks that no two points are at the same place, and that not all are on one line.
fn check_places(at_px: &[Xy]) -> Result<(), DataError> {
    let n = at_px.len();
    let mut order: Vec<usize> = (0..n).collect();
    let compare = |a: &Xy, b: &Xy| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1]));
    order.sort_by(|&a, &b| compare(&at_px[a], &at_px[b]).then(a.cmp(&b)));
    if let Some(pair) = order.windows(2).find(|pair| at_px[pair[0]] == at_px[pair[1]]) {
        return Err(DataError::SamePlace {
            first: pair[0],
            second: pair[1],
        });
    }
    // Triangulating points on a line would take time proportional to the square of their number.
    let across = |p: &Xy| {
        let (along, off) = (
            minus(at_px[order[n - 1]], at_px[order[0]]),
            minus(*p, at_px[order[0]]),
        );
        along[0] * off[1] - along[1] * off[0]
    };
    if at_px.iter().all(|p| across(p) == 0.0) {
        return Err(DataError::OnALine);
    }
    Ok(())
}

fn triangulate(at_px: &[Xy]) -> Result<DelaunayTriangulation<Vertex>, DataError> {
    let vertices = at_px.iter().enumerate().map(|(index, [x, y])| Vertex {
        at: Point2::new(*x, *y),
        index,
    });
    DelaunayTriangulation::bulk_load(vertices.collect()).map_err(|_| DataError::NotFinite {
        what: "position",
        index: 0,
    })
}

/// The nodes that share an edge with each of `count` nodes, in ascending order: the order of the
/// mesh's edges is its own, and sums over neighbours shall not depend on it.
fn neighbours(mesh: &DelaunayTriangulation<Vertex>, count: usize) -> Vec<Vec<usize>> {
    let mut neighbours = vec![Vec::new(); count];
    for edge in mesh.undirected_edges() {
        let [a, b] = edge.vertices().map(|v| v.data().index);
        neighbours[a].push(b);
        neighbours[b].push(a);
    }
    neighbours.iter_mut().for_each(|list| list.sort_unstable());
    neighbours
}

fn minus(a: Xy, b: Xy) -> Xy {
    [a[0] - b[0], a[1] - b[1]]
}

fn dot(a: Xy, b: Xy) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

impl Flow for ScatteredField {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        match self.solid(at) {
            true => [0.0; 3],
            false => self.evaluate([at[0], at[1]]).0,
        }
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        if self.solid(at) {
            return [[0.0; 3]; 3];
        }
        let (_, [by_x, by_y]) = self.evaluate([at[0], at[1]]);
        std::array::from_fn(|i| [by_x[i], by_y[i], 0.0])
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        if self.solid(from) {
            return from;
        }
        // A pathline along a wall may try points behind it, to which the field continues.
        along_continued(self, from, t0, t1)
    }
    fn solid(&self, at: Vec3) -> bool {
        let at = [at[0], at[1]];
        let bare = |cover: &Cover| !cover.holds(at) && matches!(self.place(at), Located::Inside(..));
        self.cover.as_ref().is_some_and(bare)
    }
    fn continued(&self, at: Vec3, _: f64) -> Vec3 {
        self.evaluate([at[0], at[1]]).0
    }
    fn piece_px(&self) -> Option<f64> {
        Some(self.piece_px)
    }
}

fn bounds(points: impl Iterator<Item = Xy>) -> [Xy; 2] {
    points.fold([[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]], |[low, high], p| {
        [
            [low[0].min(p[0]), low[1].min(p[1])],
            [high[0].max(p[0]), high[1].max(p[1])],
        ]
    })
}

/// Barycentric coordinates of a point.
fn weights([a, b, c]: [Xy; 3], at: Xy) -> [f64; 3] {
    let cross = |p: Xy, q: Xy, r: Xy| (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
    let area = cross(a, b, c);
    let (wa, wb) = (cross(at, b, c) / area, cross(a, at, c) / area);
    [wa, wb, 1.0 - wa - wb]
}
