//! Gradients at scattered nodes, estimated from the nodes around.

use super::{Vec3, Xy};
use crate::linear::solve;

/// A node with more neighbours than this, the hub of a fan of triangles, is not used to reach
/// neighbours of neighbours: that would take time proportional to the square of their number.
const HUB: usize = 40;

/// Derivatives with respect to x and y at node `k`, by a least-squares fit of a quadratic through
/// it, or of a plane where the neighbours do not determine a quadratic.
pub(super) fn slopes(k: usize, neighbours: &[Vec<usize>], at: &[Xy], values: &[Vec3]) -> [Vec3; 2] {
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
        let mut equations = vec![vec![0.0; terms + 3]; terms];
        for &n in nodes {
            let [x, y] = offset(n).map(|d| d / reach);
            let basis = [x, y, x * x, x * y, y * y];
            let weight = 1.0 / (x * x + y * y);
            for (row, own) in equations.iter_mut().zip(basis) {
                for (entry, other) in row[..terms].iter_mut().zip(basis) {
                    *entry += weight * own * other;
                }
                for c in 0..3 {
                    row[terms + c] += weight * own * (values[n][c] - values[k][c]);
                }
            }
        }
        let largest = (0..terms).map(|i| equations[i][i]).fold(0.0, f64::max);
        let found: Option<Vec<_>> = solve(equations, 1e-9 * largest).into_iter().collect();
        found.map(|found| [0, 1].map(|axis| [0, 1, 2].map(|c| found[axis][c] / reach)))
    };
    fit(5, &around)
        .or_else(|| fit(2, &around))
        .unwrap_or([[0.0; 3]; 2])
}
