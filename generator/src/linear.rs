//! Small systems of linear equations.

/// Solves equations by Gaussian elimination with row pivots. Each row holds the coefficients of one
/// equation, as many as there are equations, and then its right-hand sides, one or more.
///
/// Returns each unknown's solutions, one per right-hand side. An unknown whose pivot is not above
/// `least` is not determined: it is `None`, and the others are those with 0 in its place.
///
/// # Panics
/// When the rows differ in length or have fewer coefficients than there are equations.
///
/// ```
/// use motefield_generator::linear::solve;
///
/// // x + y = 3 and x - y = 1; then the same with 1 and 1 on the right.
/// let rows = vec![vec![1.0, 1.0, 3.0, 1.0], vec![1.0, -1.0, 1.0, 1.0]];
/// assert_eq!(solve(rows, 0.0), [Some(vec![2.0, 1.0]), Some(vec![1.0, 0.0])]);
/// ```
pub fn solve(mut rows: Vec<Vec<f64>>, least: f64) -> Vec<Option<Vec<f64>>> {
    let n = rows.len();
    // The row that determines each unknown.
    let mut pivots: Vec<Option<usize>> = vec![None; n];
    let mut used = 0;
    for k in 0..n {
        let largest = (used..n).max_by(|&a, &b| rows[a][k].abs().total_cmp(&rows[b][k].abs()));
        // A pivot that is no number determines nothing either.
        let Some(pivot) = largest.filter(|&row| rows[row][k].abs() > least) else {
            continue;
        };
        rows.swap(used, pivot);
        let (above, below) = rows.split_at_mut(used + 1);
        let head = &above[used];
        for row in below {
            let factor = row[k] / head[k];
            for (value, above) in row.iter_mut().zip(head).skip(k) {
                *value -= factor * above;
            }
        }
        pivots[k] = Some(used);
        used += 1;
    }
    let mut found: Vec<Option<Vec<f64>>> = vec![None; n];
    for k in (0..n).rev() {
        found[k] = pivots[k].map(|row| {
            let row = &rows[row];
            let one = |side: usize| {
                let of = |j: usize| found[j].as_ref().map_or(0.0, |solutions| solutions[side]);
                let known: f64 = (k + 1..n).map(|j| row[j] * of(j)).sum();
                (row[n + side] - known) / row[k]
            };
            (0..row.len() - n).map(one).collect()
        });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: the solution 1, 2, 3 of equations whose first coefficient is zero.
    #[test]
    fn rows_are_exchanged() {
        let rows = [
            [0.0, 2.0, 1.0, 7.0],
            [1.0, -1.0, 0.0, -1.0],
            [3.0, 0.0, -2.0, -3.0],
        ];
        let found = solve(rows.map(Vec::from).to_vec(), 0.0);
        for (found, expected) in found.into_iter().zip([1.0, 2.0, 3.0]) {
            assert!((found.unwrap()[0] - expected).abs() < 1e-12);
        }
    }

    /// An unknown that no equation holds leaves the others as they are.
    #[test]
    fn what_is_not_determined_is_left_out() {
        let rows = [[2.0, 0.0, 1.0, 5.0], [0.0, 0.0, 0.0, 0.0], [1.0, 0.0, 1.0, 3.0]];
        let found = solve(rows.map(Vec::from).to_vec(), 1e-12);
        assert_eq!(found, [Some(vec![2.0]), None, Some(vec![1.0])]);
        assert_eq!(solve(vec![vec![f64::NAN, 1.0]], 0.0), [None]);
    }
}
