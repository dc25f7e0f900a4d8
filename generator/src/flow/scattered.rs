use spade::{DelaunayTriangulation, HasPosition, Point2, Triangulation};

use super::grid::DataError;
use super::{Flow, Vec3};
use crate::pathline::{Smoothness, integrate_velocity};

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

/// Which triangles may hold a place: lists by the cells of a regular grid over all nodes.
#[derive(Debug, Clone, PartialEq)]
struct Buckets {
    low: Point,
    cell: Point,
    count: [usize; 2],
    /// Where each cell's list begins in `triangles`, and the end.
    start: Vec<u32>,
    triangles: Vec<u32>,
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

/// Sum of vectors with weights.
fn blend<const N: usize>(terms: [(f64, Vec3); N]) -> Vec3 {
    terms
        .into_iter()
        .fold([0.0; 3], |sum, (w, v)| super::along(sum, v, w))
}

impl Node {
    /// A third of the derivative along a direction.
    fn third(&self, direction: Point) -> Vec3 {
        blend([
            (direction[0] / 3.0, self.slope[0]),
            (direction[1] / 3.0, self.slope[1]),
        ])
    }

    /// The Bézier ordinate next to this node on the way to a point.
    fn toward(&self, to: Point) -> Vec3 {
        super::add(self.value, self.third(minus(to, self.at)))
    }
}

/// The cubic of Clough and Tocher at the place with the weights given, and its derivatives by x and y, in Bézier form.
fn clough_tocher(nodes: [&Node; 3], weights: [f64; 3]) -> (Vec3, [Vec3; 2]) {
    let centre = [0, 1].map(|i| (nodes[0].at[i] + nodes[1].at[i] + nodes[2].at[i]) / 3.0);
    // The inner ordinate beside the edge from node i + 1 to i + 2: the slope across the edge there is the mean of those at its ends.
    let beside: [Vec3; 3] = std::array::from_fn(|i| {
        let (a, b) = (nodes[(i + 1) % 3], nodes[(i + 2) % 3]);
        let (edge, inward) = (minus(b.at, a.at), minus(centre, a.at));
        let normal = [-edge[1], edge[0]];
        let length2 = dot(edge, edge);
        let (share, depth) = (dot(edge, inward) / length2, dot(normal, inward) / length2);
        blend([
            (0.5 * depth, a.third(normal)),
            (0.5 * depth, b.third(normal)),
            (1.0 - share, a.toward(b.at)),
            (share, b.toward(a.at)),
        ])
    });
    let spoke = nodes.map(|n| n.toward(centre));
    let inner: [Vec3; 3] = std::array::from_fn(|i| {
        let third = 1.0 / 3.0;
        blend([
            (third, spoke[i]),
            (third, beside[(i + 1) % 3]),
            (third, beside[(i + 2) % 3]),
        ])
    });
    let middle = inner
        .iter()
        .fold([0.0; 3], |sum, v| super::along(sum, *v, 1.0 / 3.0));
    // The third of the triangle in which the place is: that away from the corner of the least weight.
    let k = (0..3)
        .min_by(|&i, &j| weights[i].total_cmp(&weights[j]))
        .expect("three corners");
    let (i, j) = ((k + 1) % 3, (k + 2) % 3);
    let (r, s, t) = (weights[i] - weights[k], weights[j] - weights[k], 3.0 * weights[k]);
    let (to_j, to_i) = (nodes[i].toward(nodes[j].at), nodes[j].toward(nodes[i].at));
    let quadratic = |rr: Vec3, ss: Vec3, tt: Vec3, rs: Vec3, rt: Vec3, st: Vec3| {
        blend([
            (r * r, rr),
            (s * s, ss),
            (t * t, tt),
            (2.0 * r * s, rs),
            (2.0 * r * t, rt),
            (2.0 * s * t, st),
        ])
    };
    let by_r = quadratic(nodes[i].value, to_i, inner[i], to_j, spoke[i], beside[k]);
    let by_s = quadratic(to_j, nodes[j].value, inner[j], to_i, beside[k], spoke[j]);
    let by_t = quadratic(spoke[i], spoke[j], middle, beside[k], inner[i], inner[j]);
    // A cubic form is a third of its derivatives times their variables; the threes cancel.
    let value = blend([(r, by_r), (s, by_s), (t, by_t)]);
    let [a, b, c] = nodes.map(|n| n.at);
    let (ab, ac) = (minus(b, a), minus(c, a));
    let area = ab[0] * ac[1] - ac[0] * ab[1];
    let corner = |m: usize| {
        let across = minus(nodes[(m + 2) % 3].at, nodes[(m + 1) % 3].at);
        [-across[1] / area, across[0] / area]
    };
    let (wi, wj, wk) = (corner(i), corner(j), corner(k));
    let slope = [0, 1].map(|d| {
        blend([
            (3.0 * (wi[d] - wk[d]), by_r),
            (3.0 * (wj[d] - wk[d]), by_s),
            (9.0 * wk[d], by_t),
        ])
    });
    (value, slope)
}

/// The value on an edge of the hull at the share `t` of it, held outside: it changes along the edge only.
fn hold([a, b]: [&Node; 2], t: f64) -> (Vec3, [Vec3; 2]) {
    let (to_b, to_a) = (a.toward(b.at), b.toward(a.at));
    let s = 1.0 - t;
    let (from, to) = (
        blend([(s * s, a.value), (2.0 * s * t, to_b), (t * t, to_a)]),
        blend([(s * s, to_b), (2.0 * s * t, to_a), (t * t, b.value)]),
    );
    let edge = minus(b.at, a.at);
    let slope = if t > 0.0 && t < 1.0 {
        edge.map(|e| {
            let per = 3.0 * e / dot(edge, edge);
            blend([(per, to), (-per, from)])
        })
    } else {
        [[0.0; 3]; 2]
    };
    (blend([(s, from), (t, to)]), slope)
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

/// From where to where along x a triangle reaches within a band of y that it meets.
fn reach(corners: [Point; 3], band: Point) -> Point {
    let mut range = [f64::INFINITY, f64::NEG_INFINITY];
    for k in 0..3 {
        let (a, edge) = (corners[k], minus(corners[(k + 1) % 3], corners[k]));
        // The share of the edge within the band.
        let [mut from, mut to] = if edge[1] == 0.0 {
            let inside = (band[0]..=band[1]).contains(&a[1]);
            if inside { [0.0, 1.0] } else { [1.0, 0.0] }
        } else {
            band.map(|y| (y - a[1]) / edge[1])
        };
        if edge[1] < 0.0 {
            (from, to) = (to, from);
        }
        let (from, to) = (from.max(0.0), to.min(1.0));
        for t in [from, to].into_iter().filter(|_| from <= to) {
            let x = a[0] + t * edge[0];
            range = [range[0].min(x), range[1].max(x)];
        }
    }
    range
}

impl Buckets {
    fn new(at: &[Point], triangles: &[[usize; 3]]) -> Buckets {
        let [low, high] = bounds(at.iter().copied());
        let side = (triangles.len() as f64).sqrt().ceil() as usize;
        let cell = [0, 1].map(|i| (high[i] - low[i]) / side as f64);
        let mut buckets = Buckets {
            low,
            cell,
            count: [side; 2],
            start: vec![0; side * side + 1],
            triangles: Vec::new(),
        };
        let mut pairs: Vec<(u32, u32)> = Vec::new();
        for (t, triangle) in triangles.iter().enumerate() {
            let corners = triangle.map(|k| at[k]);
            let [first, last] = bounds(corners.into_iter()).map(|p| buckets.index(p)[1]);
            for row in first..=last {
                // A hair more than the row, for the rounding of what is asked later.
                let edge = |k: usize| low[1] + k as f64 * cell[1];
                let band = [edge(row) - 1e-6 * cell[1], edge(row + 1) + 1e-6 * cell[1]];
                let [from, to] = reach(corners, band);
                let column = |x: f64| buckets.index([x, low[1]])[0];
                for x in column(from - 1e-6 * cell[0])..=column(to + 1e-6 * cell[0]) {
                    pairs.push(((row * side + x) as u32, t as u32));
                }
            }
        }
        pairs.sort_unstable();
        for (cell, _) in &pairs {
            buckets.start[*cell as usize + 1] += 1;
        }
        for k in 0..side * side {
            buckets.start[k + 1] += buckets.start[k];
        }
        buckets.triangles = pairs.into_iter().map(|(_, t)| t).collect();
        buckets
    }

    fn index(&self, at: Point) -> [usize; 2] {
        [0, 1].map(|i| (((at[i] - self.low[i]) / self.cell[i]) as usize).min(self.count[i] - 1))
    }

    fn at(&self, at: Point) -> &[u32] {
        let [x, y] = self.index(at);
        let cell = y * self.count[0] + x;
        &self.triangles[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}

/// Neighbours beyond which a node, the hub of a fan, does not lend its own to others: that would take their number squared.
const HUB: usize = 40;

/// Gradient at node `k`: least squares of a quadratic through it, or of a plane where the neighbours do not fix a quadratic.
fn slopes(k: usize, neighbours: &[Vec<usize>], at: &[Point], values: &[Vec3]) -> [Vec3; 2] {
    let mut around: Vec<usize> = neighbours[k]
        .iter()
        .flat_map(|&n| {
            let lent = if neighbours[n].len() > HUB {
                &[]
            } else {
                &neighbours[n][..]
            };
            lent.iter().copied().chain([n])
        })
        .filter(|&n| n != k)
        .collect();
    around.sort_unstable();
    around.dedup();
    let offset = |n: usize| [at[n][0] - at[k][0], at[n][1] - at[k][1]];
    let reach = around
        .iter()
        .map(|&n| offset(n)[0].hypot(offset(n)[1]))
        .sum::<f64>()
        / around.len() as f64;
    let fit = |terms: usize, nodes: &[usize]| {
        let mut equations = [[0.0; 8]; 5];
        for &n in nodes {
            let [x, y] = offset(n).map(|d| d / reach);
            let basis = [x, y, x * x, x * y, y * y];
            let weight = 1.0 / (x * x + y * y);
            for i in 0..terms {
                for j in 0..terms {
                    equations[i][j] += weight * basis[i] * basis[j];
                }
                for c in 0..3 {
                    equations[i][5 + c] += weight * basis[i] * (values[n][c] - values[k][c]);
                }
            }
        }
        solve(&mut equations, terms).map(|s| [s[0].map(|g| g / reach), s[1].map(|g| g / reach)])
    };
    fit(5, &around)
        .or_else(|| fit(2, &around))
        .unwrap_or([[0.0; 3]; 2])
}

/// Gauss' elimination with row pivots, right-hand sides in columns 5 to 7; nothing for equations that are nearly singular.
fn solve(equations: &mut [[f64; 8]; 5], n: usize) -> Option<[Vec3; 5]> {
    let largest = (0..n).map(|i| equations[i][i]).fold(0.0, f64::max);
    for i in 0..n {
        let pivot = (i..n).max_by(|&a, &b| equations[a][i].abs().total_cmp(&equations[b][i].abs()))?;
        equations.swap(i, pivot);
        if equations[i][i].abs().is_nan() || equations[i][i].abs() <= 1e-9 * largest {
            return None;
        }
        let head = equations[i];
        for row in &mut equations[i + 1..n] {
            let factor = row[i] / head[i];
            for (entry, above) in row.iter_mut().zip(&head).skip(i) {
                *entry -= factor * above;
            }
        }
    }
    let mut solution = [[0.0; 3]; 5];
    for i in (0..n).rev() {
        for c in 0..3 {
            let known: f64 = (i + 1..n).map(|j| equations[i][j] * solution[j][c]).sum();
            solution[i][c] = (equations[i][5 + c] - known) / equations[i][i];
        }
    }
    Some(solution)
}
