mod buckets;
mod cubic;
mod slopes;

use spade::{DelaunayTriangulation, HasPosition, Point2, Triangulation};

use super::grid::DataError;
use super::{Flow, Vec3};
use crate::pathline::{Smoothness, integrate_velocity};
use buckets::Buckets;
use cubic::{clough_tocher, hold};
use slopes::slopes;

type Point = [f64; 2];

/// A field given at scattered nodes in the plane, interpolated by Clough and Tocher's cubics on Delaunay triangles (each split in three at its
/// centroid, the slope across an edge linear along it; Clough and Tocher 1965; Farin, *Curves and Surfaces for CAGD*; memory):
/// through the data, with continuous first derivatives, exact for quadratic fields.
///
/// The gradient at a node comes from the quadratic through it that fits its neighbours and theirs best, weighted by the inverse squared
/// distance. Outside the nodes' convex hull the field holds the value at the hull's nearest point. It does not
/// change with z. Not free of divergence in general. No closed pathline.
#[derive(Debug, Clone, PartialEq)]
pub struct ScatteredField {
    nodes: Vec<Node>,
    triangles: Vec<[usize; 3]>,
    hull: Vec<[usize; 2]>,
    buckets: Buckets,
    /// Side of a triangle's third, as if all were alike.
    piece_px: f64,
}

#[derive(Debug, Clone, PartialEq)]
struct Node {
    at: Point,
    value: Vec3,
    /// By x, by y.
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

/// Where a place is: in a triangle, with the weights of its corners, or nearest to a point of the hull's edge from one node to another.
enum Place {
    Inside([usize; 3], [f64; 3]),
    Outside([usize; 2], f64),
}

impl ScatteredField {
    /// Largest number of nodes.
    pub const MOST: usize = 4_000_000;

    /// A field through `displacement_px` (px per pulse separation) at the places `at_px`.
    ///
    /// # Errors
    /// When the counts differ, there are fewer than three nodes or more than [`Self::MOST`], a number is not finite, two nodes stand at
    /// one place, or all on a line.
    pub fn new(at_px: &[Point], displacement_px: &[Vec3]) -> Result<ScatteredField, DataError> {
        let n = at_px.len();
        if !(3..=Self::MOST).contains(&n) {
            return Err(DataError::Count {
                what: "points",
                got: n,
                wanted: format!("there must be 3 to {}", Self::MOST),
            });
        }
        if displacement_px.len() != n {
            return Err(DataError::Count {
                what: "velocities",
                got: displacement_px.len(),
                wanted: format!("there are {n} points"),
            });
        }
        // Beyond these no picture reaches, and the triangulation's arithmetic stays exact.
        let usable = |x: &f64| x.is_finite() && x.abs() < 1e12;
        if let Some(index) = at_px.iter().position(|p| !p.iter().all(usable)) {
            return Err(DataError::NotFinite {
                what: "position",
                index,
            });
        }
        if let Some(index) = displacement_px
            .iter()
            .position(|v| v.iter().any(|c| !c.is_finite()))
        {
            return Err(DataError::NotFinite {
                what: "velocity",
                index,
            });
        }
        // A coordinate of 1e-40 is none the triangulation takes, and 0 for all that anybody could see.
        let at_px: Vec<Point> = at_px
            .iter()
            .map(|p| p.map(|x| if x.abs() < 1e-12 { 0.0 } else { x }))
            .collect();
        let mut order: Vec<usize> = (0..n).collect();
        let compare = |a: &Point, b: &Point| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1]));
        order.sort_by(|&a, &b| compare(&at_px[a], &at_px[b]).then(a.cmp(&b)));
        if let Some(pair) = order.windows(2).find(|pair| at_px[pair[0]] == at_px[pair[1]]) {
            return Err(DataError::SamePlace {
                first: pair[0],
                second: pair[1],
            });
        }
        // Triangulating a line would take the number of points squared to find nothing.
        let across = |p: &Point| {
            let (along, off) = (
                minus(at_px[order[n - 1]], at_px[order[0]]),
                minus(*p, at_px[order[0]]),
            );
            along[0] * off[1] - along[1] * off[0]
        };
        if at_px.iter().all(|p| across(p) == 0.0) {
            return Err(DataError::OnALine);
        }
        let vertices = at_px.iter().enumerate().map(|(index, [x, y])| Vertex {
            at: Point2::new(*x, *y),
            index,
        });
        let mesh = DelaunayTriangulation::<Vertex>::bulk_load(vertices.collect()).map_err(|_| {
            DataError::NotFinite {
                what: "position",
                index: 0,
            }
        })?;
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
        let mut neighbours = vec![Vec::new(); n];
        for edge in mesh.undirected_edges() {
            let [a, b] = edge.vertices().map(|v| v.data().index);
            neighbours[a].push(b);
            neighbours[b].push(a);
        }
        // The mesh names its edges in an order of its own; sums shall not depend on it.
        neighbours.iter_mut().for_each(|list| list.sort_unstable());
        let nodes = (0..n)
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
        })
    }

    /// The smallest rectangle around all nodes: low and high corner, px.
    pub fn bounds_px(&self) -> [Point; 2] {
        bounds(self.nodes.iter().map(|n| n.at))
    }

    fn place(&self, at: Point) -> Place {
        let candidates = self.buckets.at(at).iter().map(|&t| {
            let triangle = self.triangles[t as usize];
            (triangle, weights(triangle.map(|k| self.nodes[k].at), at))
        });
        let least = |w: &[f64; 3]| w[0].min(w[1]).min(w[2]);
        let best = candidates.max_by(|(_, a), (_, b)| least(a).total_cmp(&least(b)));
        match best {
            Some((triangle, weights)) if least(&weights) > -1e-9 => Place::Inside(triangle, weights),
            _ => self.nearest(at),
        }
    }

    /// The hull's point nearest to a place outside.
    fn nearest(&self, at: Point) -> Place {
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
        Place::Outside(edge, t)
    }

    /// Value, and its derivatives by x and y.
    fn evaluate(&self, at: Point) -> (Vec3, [Vec3; 2]) {
        match self.place(at) {
            Place::Inside(triangle, weights) => clough_tocher(triangle.map(|k| &self.nodes[k]), weights),
            Place::Outside(edge, t) => hold(edge.map(|k| &self.nodes[k]), t),
        }
    }
}

fn minus(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1]]
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

impl Flow for ScatteredField {
    fn velocity(&self, at: Vec3, _: f64) -> Vec3 {
        self.evaluate([at[0], at[1]]).0
    }
    fn gradient(&self, at: Vec3, _: f64) -> [Vec3; 3] {
        let (_, [by_x, by_y]) = self.evaluate([at[0], at[1]]);
        std::array::from_fn(|i| [by_x[i], by_y[i], 0.0])
    }
    fn path(&self, from: Vec3, t0: f64, t1: f64) -> Vec3 {
        let smoothness = Smoothness::Pieces(self.piece_px);
        integrate_velocity(|at, t| self.velocity(at, t), from, t0, t1, smoothness)
    }
}

fn bounds(points: impl Iterator<Item = Point>) -> [Point; 2] {
    points.fold([[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]], |[low, high], p| {
        [
            [low[0].min(p[0]), low[1].min(p[1])],
            [high[0].max(p[0]), high[1].max(p[1])],
        ]
    })
}

/// Barycentric coordinates of a place.
fn weights([a, b, c]: [Point; 3], at: Point) -> [f64; 3] {
    let cross = |p: Point, q: Point, r: Point| (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
    let area = cross(a, b, c);
    let (wa, wb) = (cross(at, b, c) / area, cross(a, at, c) / area);
    [wa, wb, 1.0 - wa - wb]
}
