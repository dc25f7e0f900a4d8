//! Gradients at scattered nodes, estimated from the nodes around.

use super::{Vec3, Xy};

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

/// Solves `n` linear equations by Gaussian elimination with row pivots. The right-hand sides are in
/// columns 5 to 7. `None` for equations that are nearly singular.
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
