//! Linear least squares: the normal equations of a few unknowns, and of many.
//!
//! [`Normal`] has a fixed small number of unknowns and is solved by elimination; a [`LowerTriangle`]
//! has hundreds, most elements of whose matrix are zero, and [`solve_triangular`] leaves its factor.

use multiversion::multiversion;

/// Normal equations of `N` unknowns, accumulated point by point.
#[derive(Clone)]
pub(crate) struct Normal<const N: usize> {
    matrix: [[f64; N]; N],
    right: [f64; N],
}

impl<const N: usize> Normal<N> {
    pub fn new() -> Self {
        Self {
            matrix: [[0.0; N]; N],
            right: [0.0; N],
        }
    }

    /// Adds a point: the sum of the unknowns times `terms` should be `value`.
    pub fn add(&mut self, terms: [f64; N], value: f64, weight: f64) {
        for i in 0..N {
            for j in 0..N {
                self.matrix[i][j] += weight * terms[i] * terms[j];
            }
            self.right[i] += weight * terms[i] * value;
        }
    }

    /// The unknowns, by Gauss-Jordan elimination, which needs no pivoting in a positive definite
    /// matrix; `None` if the points do not determine them (a pivot below 1e-9 of the largest
    /// element).
    pub fn solve(mut self) -> Option<[f64; N]> {
        let least = 1e-9
            * self
                .matrix
                .as_flattened()
                .iter()
                .fold(0.0, |a: f64, b| a.max(b.abs()));
        for pivot in 0..N {
            let (row, right) = (self.matrix[pivot], self.right[pivot]);
            if row[pivot].is_nan() || row[pivot] <= least {
                return None;
            }
            for other in (0..N).filter(|&other| other != pivot) {
                let factor = self.matrix[other][pivot] / row[pivot];
                for (value, p) in self.matrix[other].iter_mut().zip(row) {
                    *value -= factor * p;
                }
                self.right[other] -= factor * right;
            }
        }
        Some(std::array::from_fn(|k| self.right[k] / self.matrix[k][k]))
    }
}

/// A lower triangle of `size` rows, row by row in one piece.
#[derive(Clone, Default)]
pub(crate) struct LowerTriangle {
    elements: Vec<f64>,
}

impl LowerTriangle {
    /// All zero; the memory is used again.
    pub fn clear(&mut self, size: usize) {
        self.elements.clear();
        self.elements.resize(size * (size + 1) / 2, 0.0);
    }

    /// Row `i`, of i + 1 elements.
    pub fn row(&self, i: usize) -> &[f64] {
        &self.elements[i * (i + 1) / 2..][..i + 1]
    }

    /// The same, to be changed.
    pub fn row_mut(&mut self, i: usize) -> &mut [f64] {
        &mut self.elements[i * (i + 1) / 2..][..i + 1]
    }

    /// Of a triangular factor of normal equations: that of the information on the last two unknowns
    /// when all others are unknown.
    pub fn last_two(&self, size: usize) -> [[f64; 2]; 2] {
        if size < 2 {
            return [[0.0; 2]; 2];
        }
        let (above, last) = (self.row(size - 2), self.row(size - 1));
        [[above[size - 2], 0.0], [last[size - 2], last[size - 1]]]
    }
}

/// Replaces the lower triangle of a matrix of normal equations by its triangular factor L (of L Lᵀ,
/// Cholesky's) and the right side by the unknowns. Zeros before a row's first other element stay
/// zero and cost nothing. `None` if the matrix is not positive definite.
pub(crate) fn solve_triangular(matrix: &mut LowerTriangle, unknowns: &mut [f64]) -> Option<()> {
    let leading_zeros = |row: usize| matrix.row(row).iter().take_while(|v| **v == 0.0).count();
    let first: Vec<usize> = (0..unknowns.len()).map(leading_zeros).collect();
    factorise(&mut matrix.elements, &first, unknowns).then_some(())
}

/// As [`solve_triangular`], with the number of zeros before each row's first other element; false
/// where that has no solution.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2", "aarch64+neon"))]
fn factorise(elements: &mut [f64], first: &[usize], unknowns: &mut [f64]) -> bool {
    let start = |i: usize| i * (i + 1) / 2;
    for i in 0..unknowns.len() {
        let (above, rest) = elements.split_at_mut(start(i));
        let row = &mut rest[..i + 1];
        for j in first[i]..i {
            let above = &above[start(j)..][..j + 1];
            let from = first[i].max(first[j]);
            row[j] = (row[j] - dot(&row[from..j], &above[from..j])) / above[j];
        }
        let known = &row[first[i].min(i)..i];
        let square = row[i] - dot(known, known);
        // A pivot as small as rounding leaves it counts as zero.
        if square.is_nan() || square <= 1e-12 * row[i] {
            return false;
        }
        row[i] = square.sqrt();
        unknowns[i] = (unknowns[i] - dot(&row[first[i]..i], &unknowns[first[i]..i])) / row[i];
    }
    for i in (0..unknowns.len()).rev() {
        let row = &elements[start(i)..][..i + 1];
        unknowns[i] /= row[i];
        let value = unknowns[i];
        for (unknown, l) in unknowns[first[i]..i].iter_mut().zip(&row[first[i]..i]) {
            *unknown -= l * value;
        }
    }
    true
}

/// Summed in lanes, so that the compiler can use vector registers.
#[inline(always)]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    const LANES: usize = 8;
    let ((a, rest_a), (b, rest_b)) = (a.as_chunks::<LANES>(), b.as_chunks::<LANES>());
    let mut sums = [0.0; LANES];
    for (a, b) in a.iter().zip(b) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    let rest = rest_a.iter().zip(rest_b).map(|(a, b)| a * b);
    sums.into_iter().chain(rest).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn solved(rows: &[Vec<f64>], mut right: Vec<f64>) -> Option<(LowerTriangle, Vec<f64>)> {
        let mut matrix = LowerTriangle::default();
        matrix.clear(rows.len());
        for (i, row) in rows.iter().enumerate() {
            matrix.row_mut(i).copy_from_slice(row);
        }
        solve_triangular(&mut matrix, &mut right)?;
        Some((matrix, right))
    }

    /// Closed form: A x = b for a known x, A = B Bᵀ + 1 with some elements zero. After elimination
    /// of the others the information on the last two is the inverse of the corner of A⁻¹, whose
    /// columns are solutions for unit vectors. Tolerance 1e-9: the condition of A times rounding.
    #[test]
    fn triangular_solves_and_tells_the_information_of_the_last_two() {
        const N: usize = 30;
        let b = |i: usize, j: usize| {
            if j <= i && i - j < 7 {
                ((i * 37 + j * 101) % 17) as f64 / 8.0 - 1.0
            } else {
                0.0
            }
        };
        let a =
            |i: usize, j: usize| (0..N).map(|k| b(i, k) * b(j, k)).sum::<f64>() + f64::from(u8::from(i == j));
        let rows = || {
            (0..N)
                .map(|i| (0..=i).map(|j| a(i, j)).collect())
                .collect::<Vec<Vec<f64>>>()
        };
        let x: Vec<f64> = (0..N).map(|i| (i as f64).sin()).collect();
        let right = (0..N).map(|i| (0..N).map(|j| a(i, j) * x[j]).sum()).collect();
        let (factor, unknowns) = solved(&rows(), right).unwrap();
        for (found, x) in unknowns.iter().zip(&x) {
            assert!((found - x).abs() < 1e-9, "{found} {x}");
        }
        let column = |k: usize| {
            let unit = (0..N).map(|i| f64::from(u8::from(i == k))).collect();
            solved(&rows(), unit).unwrap().1
        };
        let [p, q] = [column(N - 2), column(N - 1)].map(|c| [c[N - 2], c[N - 1]]);
        let determinant = p[0] * q[1] - p[1] * q[0];
        let [[l, _], [m, n]] = factor.last_two(N);
        for (found, expected) in [(l * l, q[1]), (l * m, -p[1]), (m * m + n * n, p[0])] {
            assert!((found - expected / determinant).abs() < 1e-9 * found.abs().max(1.0));
        }
    }

    /// A matrix that does not determine the unknowns has no solution.
    #[test]
    fn triangular_refuses_what_is_not_determined() {
        assert!(solved(&[vec![1.0], vec![1.0, 1.0]], vec![1.0, 1.0]).is_none());
        assert!(solved(&[vec![1.0], vec![0.0, 0.0]], vec![1.0, 0.0]).is_none());
        assert!(solved(&[vec![f64::NAN]], vec![1.0]).is_none());
    }
}
