//! Linear least squares: the normal equations of a few unknowns, and of many.
//!
//! [`Normal`] has a fixed small number of unknowns and is solved by elimination; a
//! [`BlockTriangle`] has hundreds, most elements of whose matrix are zero.

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

    /// Adds the sums over many points: M of the unknowns have terms there, numbers `of`, which are
    /// those of the sums times `factors`.
    pub fn add_sums<const M: usize>(&mut self, of: [usize; M], factors: [f64; M], sums: &Sums<M>) {
        for i in 0..M {
            for j in 0..M {
                self.matrix[of[i]][of[j]] += factors[i] * factors[j] * sums.matrix[i][j];
            }
            self.right[of[i]] += factors[i] * sums.right[i];
        }
    }

    /// Adds the equations of others, times a weight.
    pub fn add_weighted(&mut self, others: &Self, weight: f64) {
        for i in 0..N {
            for j in 0..N {
                self.matrix[i][j] += weight * others.matrix[i][j];
            }
            self.right[i] += weight * others.right[i];
        }
    }

    /// The right side of the equations.
    pub fn right(&self) -> [f64; N] {
        self.right
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

/// Weighted sums over points: of the products of the terms of unknowns, and of these terms times
/// the value that the point should have.
pub(crate) struct Sums<const N: usize> {
    pub matrix: [[f64; N]; N],
    pub right: [f64; N],
}

/// Unknowns that are eliminated together, one per lane.
pub(crate) const BLOCK: usize = 4;

/// The lower triangle of the symmetric matrix of many normal equations, in blocks of [`BLOCK`] rows
/// and columns, and after [`BlockTriangle::factorise`] its triangular factor L (of L Lᵀ,
/// Cholesky's). Blocks before the first of a row are zero, stay so and cost nothing.
#[derive(Clone, Default)]
pub(crate) struct BlockTriangle {
    /// First block of each row of blocks.
    first: Vec<usize>,
    /// Where the columns of each row of blocks begin.
    start: Vec<usize>,
    /// The columns of each row of blocks from its first block on, up to and with the diagonal.
    columns: Vec<[f64; BLOCK]>,
}

impl BlockTriangle {
    /// All zero, with the first block of each row of blocks; the memory is used again.
    pub fn clear(&mut self, first: &[usize]) {
        self.first.clear();
        self.first.extend(first);
        self.start.clear();
        let mut length = 0;
        for (row, first) in first.iter().enumerate() {
            self.start.push(length);
            length += BLOCK * (row + 1 - first);
        }
        self.columns.clear();
        self.columns.resize(length, [0.0; BLOCK]);
    }

    /// The columns of a block, which must not lie before the first of its row.
    #[inline(always)]
    pub fn block(&mut self, row: usize, column: usize) -> &mut [[f64; BLOCK]] {
        let at = self.start[row] + BLOCK * (column - self.first[row]);
        &mut self.columns[at..at + BLOCK]
    }

    /// Replaces the matrix by its factor; false if it is not positive definite.
    pub fn factorise(&mut self) -> bool {
        factorise(&self.first, &self.start, &mut self.columns)
    }

    /// With the factor in place, replaces the right side by the unknowns.
    pub fn solve(&self, unknowns: &mut [[f64; BLOCK]]) {
        solve(&self.first, &self.start, &self.columns, unknowns);
    }

    /// Of the factor: that of the information on the last two unknowns when all others are unknown.
    pub fn last_two(&self) -> [[f64; 2]; 2] {
        match self.columns.as_slice() {
            [.., above, last] => [[above[BLOCK - 2], 0.0], [above[BLOCK - 1], last[BLOCK - 1]]],
            _ => [[0.0; 2]; 2],
        }
    }
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn factorise(first: &[usize], start: &[usize], columns: &mut [[f64; BLOCK]]) -> bool {
    for row in 0..first.len() {
        let (above, rest) = columns.split_at_mut(start[row]);
        let panel = &mut rest[..BLOCK * (row + 1 - first[row])];
        for column in first[row]..=row {
            let (known, rest) = panel.split_at_mut(BLOCK * (column - first[row]));
            let block: &mut [[f64; BLOCK]; BLOCK] = &mut rest.as_chunks_mut::<BLOCK>().0[0];
            if column == row {
                let before = *block;
                subtract_products(block, known, known);
                if !factorise_block(block, &before) {
                    return false;
                }
                continue;
            }
            let other = &above[start[column]..][..BLOCK * (column + 1 - first[column])];
            let (other, diagonal) = other.split_at(other.len() - BLOCK);
            let from = first[row].max(first[column]);
            subtract_products(
                block,
                &known[BLOCK * (from - first[row])..],
                &other[BLOCK * (from - first[column])..],
            );
            for c in 0..BLOCK {
                let mut column = block[c];
                for (known, of_diagonal) in block[..c].iter().zip(diagonal) {
                    for (value, known) in column.iter_mut().zip(known) {
                        *value -= known * of_diagonal[c];
                    }
                }
                block[c] = column.map(|value| value / diagonal[c][c]);
            }
        }
    }
    true
}

/// Subtracts from the columns of a block the products of the columns of its row and of the row of
/// the block on the diagonal, both of the same length.
#[inline(always)]
fn subtract_products(block: &mut [[f64; BLOCK]; BLOCK], of_row: &[[f64; BLOCK]], of_column: &[[f64; BLOCK]]) {
    // Even and odd columns apart, so that one sum need not wait for the other.
    let mut sums = [[[0.0; BLOCK]; BLOCK]; 2];
    let (rows, columns) = (of_row.as_chunks::<2>().0, of_column.as_chunks::<2>().0);
    for (p, q) in rows.iter().zip(columns) {
        for half in 0..2 {
            for c in 0..BLOCK {
                for r in 0..BLOCK {
                    sums[half][c][r] += p[half][r] * q[half][c];
                }
            }
        }
    }
    for c in 0..BLOCK {
        for r in 0..BLOCK {
            block[c][r] -= sums[0][c][r] + sums[1][c][r];
        }
    }
}

/// The factor of a block on the diagonal, of which `before` are the values in the matrix.
#[inline(always)]
fn factorise_block(block: &mut [[f64; BLOCK]; BLOCK], before: &[[f64; BLOCK]; BLOCK]) -> bool {
    for c in 0..BLOCK {
        for k in 0..c {
            for r in c..BLOCK {
                block[c][r] -= block[k][r] * block[k][c];
            }
        }
        let square = block[c][c];
        // A pivot as small as rounding leaves it counts as zero.
        if square.is_nan() || square <= 1e-12 * before[c][c] {
            return false;
        }
        let pivot = square.sqrt();
        block[c][..c].fill(0.0);
        block[c][c..].iter_mut().for_each(|value| *value /= pivot);
    }
    true
}

#[multiversion(targets("x86_64+avx2", "aarch64+neon"))]
fn solve(first: &[usize], start: &[usize], columns: &[[f64; BLOCK]], unknowns: &mut [[f64; BLOCK]]) {
    let panel = |row: usize| {
        let panel = &columns[start[row]..][..BLOCK * (row + 1 - first[row])];
        panel.split_at(panel.len() - BLOCK)
    };
    for row in 0..first.len() {
        let (known, diagonal) = panel(row);
        let (before, rest) = unknowns.split_at_mut(row);
        let value = &mut rest[0];
        for (column, x) in known.iter().zip(before[first[row]..].as_flattened()) {
            for r in 0..BLOCK {
                value[r] -= column[r] * x;
            }
        }
        for c in 0..BLOCK {
            value[c] /= diagonal[c][c];
            for r in c + 1..BLOCK {
                value[r] -= diagonal[c][r] * value[c];
            }
        }
    }
    for row in (0..first.len()).rev() {
        let (known, diagonal) = panel(row);
        let (before, rest) = unknowns.split_at_mut(row);
        let value = &mut rest[0];
        for c in (0..BLOCK).rev() {
            for r in c + 1..BLOCK {
                value[c] -= diagonal[c][r] * value[r];
            }
            value[c] /= diagonal[c][c];
        }
        for (column, x) in known.iter().zip(before[first[row]..].as_flattened_mut()) {
            *x -=
                (column[0] * value[0] + column[1] * value[1]) + (column[2] * value[2] + column[3] * value[3]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn solved(rows: &[Vec<f64>], right: Vec<f64>) -> Option<(BlockTriangle, Vec<f64>)> {
        let blocks = rows.len() / BLOCK;
        let first: Vec<usize> = (0..blocks)
            .map(|i| {
                let zeros = |row: &Vec<f64>| row.iter().take_while(|v| **v == 0.0).count();
                let rows = &rows[BLOCK * i..][..BLOCK];
                rows.iter().map(zeros).min().unwrap() / BLOCK
            })
            .collect();
        let mut matrix = BlockTriangle::default();
        matrix.clear(&first);
        for (i, row) in rows.iter().enumerate() {
            for (j, value) in row.iter().enumerate().skip(BLOCK * first[i / BLOCK]) {
                matrix.block(i / BLOCK, j / BLOCK)[j % BLOCK][i % BLOCK] = *value;
            }
        }
        let mut unknowns = right.as_chunks().0.to_vec();
        if !matrix.factorise() {
            return None;
        }
        matrix.solve(&mut unknowns);
        Some((matrix, unknowns.as_flattened().to_vec()))
    }

    /// Closed form: A x = b for a known x, A = B Bᵀ + 1 with some elements zero. After elimination
    /// of the others the information on the last two is the inverse of the corner of A⁻¹, whose
    /// columns are solutions for unit vectors. Tolerance 1e-9: the condition of A times rounding.
    #[test]
    fn triangular_solves_and_tells_the_information_of_the_last_two() {
        const N: usize = 32;
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
        let [[l, _], [m, n]] = factor.last_two();
        for (found, expected) in [(l * l, q[1]), (l * m, -p[1]), (m * m + n * n, p[0])] {
            assert!((found - expected / determinant).abs() < 1e-9 * found.abs().max(1.0));
        }
    }

    /// A matrix that does not determine the unknowns has no solution.
    #[test]
    fn triangular_refuses_what_is_not_determined() {
        let rows = |last: [f64; 4]| vec![vec![1.0], vec![0.0, 1.0], vec![0.0, 0.0, 1.0], last.to_vec()];
        assert!(solved(&rows([0.0, 0.0, 0.0, 1.0]), vec![1.0; 4]).is_some());
        assert!(solved(&rows([0.0, 0.0, 1.0, 1.0]), vec![1.0; 4]).is_none());
        assert!(solved(&rows([0.0; 4]), vec![1.0; 4]).is_none());
        assert!(solved(&rows([0.0, 0.0, 0.0, f64::NAN]), vec![1.0; 4]).is_none());
    }
}
