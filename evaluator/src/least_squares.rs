//! Small linear least-squares problems.

/// Normal equations of `N` unknowns, summed point by point.
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

    /// Adds a point where the unknowns have the factors `terms` and their sum should be `value`.
    pub fn add(&mut self, terms: [f64; N], value: f64, weight: f64) {
        for i in 0..N {
            for j in 0..N {
                self.matrix[i][j] += weight * terms[i] * terms[j];
            }
            self.right[i] += weight * terms[i] * value;
        }
    }

    /// The unknowns, by Gauss-Jordan elimination, which needs no pivoting in a positive definite matrix; `None` if the points
    /// do not determine them (a pivot below 1e-9 of the largest element).
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
