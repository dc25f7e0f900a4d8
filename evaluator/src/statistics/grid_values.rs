//! One quantity on a grid of windows, measured on several pairs.

/// The values of one quantity on a grid, measured on several pairs that are independent of one
/// another; `NaN` where there is none.
#[derive(Debug, Clone, PartialEq)]
pub struct GridValues {
    /// Grid columns.
    pub columns: usize,
    /// Lag, in grid steps along x and y, beyond which values of one pair no longer depend on each
    /// other (see [`reach`](crate::score::reach)).
    pub reach: [usize; 2],
    /// One list per pair, each row by row over the grid and all of one length.
    pub pairs: Vec<Vec<f64>>,
}

impl GridValues {
    /// How many values there are.
    ///
    /// ```
    /// use motefield_evaluator::statistics::GridValues;
    ///
    /// let values = GridValues {
    ///     columns: 2,
    ///     reach: [0, 0],
    ///     pairs: vec![vec![1.0, 2.0, 3.0, f64::NAN], vec![5.0, 6.0, 7.0, 8.0]],
    /// };
    /// assert_eq!(values.count(), 7);
    /// assert_eq!(values.map(|v| 2.0 * v).pair_means(), [4.0, 13.0]);
    /// ```
    pub fn count(&self) -> usize {
        self.known().count()
    }

    /// The values, without the places that have none.
    pub(super) fn known(&self) -> impl Iterator<Item = f64> {
        self.pairs.iter().flatten().copied().filter(|v| v.is_finite())
    }

    /// The same grid with `of` of every value; no value where there was none.
    pub fn map(&self, of: impl Fn(f64) -> f64) -> GridValues {
        let one = |v: &f64| if v.is_finite() { of(*v) } else { f64::NAN };
        GridValues {
            columns: self.columns,
            reach: self.reach,
            pairs: self
                .pairs
                .iter()
                .map(|pair| pair.iter().map(one).collect())
                .collect(),
        }
    }

    /// The same grid with `of` of the value here and that of `other` at the same place of the same
    /// pair; no value where either has none. Pairs that only one of them has are left out.
    pub fn join(&self, other: &GridValues, of: impl Fn(f64, f64) -> f64) -> GridValues {
        let one = |(a, b): (&f64, &f64)| {
            if a.is_finite() && b.is_finite() {
                of(*a, *b)
            } else {
                f64::NAN
            }
        };
        let pairs = self.pairs.iter().zip(&other.pairs);
        GridValues {
            columns: self.columns,
            reach: self.reach,
            pairs: pairs.map(|(a, b)| a.iter().zip(b).map(one).collect()).collect(),
        }
    }

    /// Mean of all values; `NaN` when there is none.
    pub fn mean(&self) -> f64 {
        let (sum, n) = sum_and_number(self.known());
        sum / n
    }

    /// Mean of each pair's values; `NaN` for a pair that has none.
    pub fn pair_means(&self) -> Vec<f64> {
        let known = |pair: &Vec<f64>| sum_and_number(pair.iter().copied().filter(|v| v.is_finite()));
        self.pairs.iter().map(known).map(|(sum, n)| sum / n).collect()
    }

    /// Sum and number of the values of all pairs at each position of the grid.
    pub(crate) fn position_sums(&self) -> Vec<(f64, f64)> {
        let positions = self.pairs.first().map_or(0, Vec::len);
        (0..positions)
            .map(|k| {
                let here = self.pairs.iter().map(|pair| pair[k]);
                sum_and_number(here.filter(|v| v.is_finite()))
            })
            .collect()
    }
}

fn sum_and_number(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0))
}

#[cfg(test)]
impl GridValues {
    /// Few values, for tests.
    pub(super) fn of(columns: usize, reach: [usize; 2], pairs: &[&[f64]]) -> GridValues {
        GridValues {
            columns,
            reach,
            pairs: pairs.iter().map(|pair| pair.to_vec()).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(pairs: &[&[f64]]) -> GridValues {
        GridValues::of(2, [0, 0], pairs)
    }

    /// By hand; what is missing counts nowhere.
    #[test]
    fn means_by_pair_and_by_position() {
        let nothing = f64::NAN;
        let all = values(&[&[1.0, nothing], &[3.0, nothing], &[nothing, nothing]]);
        assert_eq!((all.count(), all.mean()), (2, 2.0));
        let means = all.pair_means();
        assert_eq!(&means[..2], [1.0, 3.0]);
        assert!(means[2].is_nan());
        assert_eq!(all.position_sums(), [(4.0, 2.0), (0.0, 0.0)]);
    }

    /// A place counts only where both have a value, and a pair only where both have it.
    #[test]
    fn joined_where_both_are_known() {
        let joined = values(&[&[1.0, f64::NAN], &[3.0, 4.0]]).join(
            &values(&[&[10.0, 20.0], &[f64::INFINITY, 40.0], &[1.0, 1.0]]),
            |a, b| b - a,
        );
        assert_eq!(joined.pairs.len(), 2);
        assert_eq!([joined.pairs[0][0], joined.pairs[1][1]], [9.0, 36.0]);
        assert!(joined.pairs[0][1].is_nan() && joined.pairs[1][0].is_nan());
    }
}
