//! Clough–Tocher cubics on a triangle, in Bézier form.

use super::{Node, Vec3, Xy, dot, minus};
use crate::flow::{add, along};

/// Weighted sum of vectors.
fn blend<const N: usize>(terms: [(f64, Vec3); N]) -> Vec3 {
    terms.into_iter().fold([0.0; 3], |sum, (w, v)| along(sum, v, w))
}

impl Node {
    /// A third of the derivative along a vector.
    fn third(&self, direction: Xy) -> Vec3 {
        blend([
            (direction[0] / 3.0, self.slope[0]),
            (direction[1] / 3.0, self.slope[1]),
        ])
    }

    /// The Bézier ordinate next to this node toward a point.
    fn toward(&self, to: Xy) -> Vec3 {
        add(self.value, self.third(minus(to, self.at)))
    }
}

/// Value of the Clough–Tocher cubic, and its derivatives with respect to x and y, at the point with
/// these barycentric coordinates.
pub(super) fn clough_tocher(nodes: [&Node; 3], weights: [f64; 3]) -> (Vec3, [Vec3; 2]) {
    let centre = [0, 1].map(|i| (nodes[0].at[i] + nodes[1].at[i] + nodes[2].at[i]) / 3.0);
    // The inner ordinate beside the edge from node i + 1 to i + 2: in the middle of the edge the
    // slope across it is the mean of those at its ends.
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
    let middle = inner.iter().fold([0.0; 3], |sum, v| along(sum, *v, 1.0 / 3.0));
    // The third of the triangle in which the point is: the one opposite the corner of least weight.
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
    // By Euler's theorem the cubic is a third of the sum of its derivatives times their variables,
    // and each derivative is three times the quadratic above.
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

/// Value at the fraction `t` of an edge of the hull, which holds outside the hull too, and its
/// derivatives with respect to x and y there: it changes along the edge only.
pub(super) fn hold([a, b]: [&Node; 2], t: f64) -> (Vec3, [Vec3; 2]) {
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
