//! One quantity on a grid of windows, measured on several pairs.

use std::fmt;
use std::sync::Arc;

/// The values of one quantity on a grid, measured on several pairs that are independent of one
/// another; `NaN` where there is none.
///
/// Statistics walk over the pairs in their order and need the values of one pair at a time. So few
/// values are kept in memory, and of many only how they are found: memory does not grow with the
/// number of pairs.
#[derive(Clone)]
pub struct GridValues<'a> {
    /// Grid columns.
    pub columns: usize,
    /// Lag, in grid steps along x and y, beyond which values of one pair no longer depend on each
    /// other (see [`reach`](crate::score::reach)).
    pub reach: [usize; 2],
    pairs: usize,
    places: usize,
    source: ValueSource<'a>,
}

/// Where the values come from.
#[derive(Clone)]
enum ValueSource<'a> {
    /// All of them, pair after pair.
    Held(Arc<Vec<f64>>),
    Recipe(Arc<FillPair<'a>>),
}

/// What fills in the values of the pair of a number.
type FillPair<'a> = dyn Fn(usize, &mut [f64]) + Send + Sync + 'a;

/// So many values are kept in memory, half a mebibyte; more are found anew in every walk.
pub(super) const MOST_HELD: usize = 1 << 16;

/// Sums over the values of all pairs.
pub(crate) struct Totals {
    sum: f64,
    pub(super) count: usize,
    /// Sum and number of the values at each place.
    pub(crate) at_places: Vec<(f64, f64)>,
}

impl Totals {
    /// Mean of all values; `NaN` when there is none.
    pub(super) fn mean(&self) -> f64 {
        self.sum / self.count as f64
    }
}

impl<'a> GridValues<'a> {
    /// Of values in memory: one list per pair, each row by row over the grid.
    ///
    /// # Panics
    /// When the lists are not all of one length.
    ///
    /// ```
    /// use motefield_evaluator::statistics::GridValues;
    ///
    /// let pairs = [[1.0, 2.0, 3.0, f64::NAN], [5.0, 6.0, 7.0, 8.0]];
    /// let values = GridValues::new(2, [0, 0], pairs);
    /// assert_eq!(values.count(), 7);
    /// assert_eq!(values.map(|v| 2.0 * v).pair_means(), [4.0, 13.0]);
    /// ```
    pub fn new<P: AsRef<[f64]>>(
        columns: usize,
        reach: [usize; 2],
        pairs: impl IntoIterator<Item = P>,
    ) -> GridValues<'a> {
        let (mut all, mut places, mut number) = (Vec::new(), 0, 0);
        for pair in pairs {
            let pair = pair.as_ref();
            assert!(number == 0 || pair.len() == places, "as many values in all pairs");
            all.extend_from_slice(pair);
            places = pair.len();
            number += 1;
        }
        GridValues {
            columns,
            reach,
            pairs: number,
            places,
            source: ValueSource::Held(Arc::new(all)),
        }
    }

    /// Of so many pairs and places, where `fill` finds the values of the pair of a number. Where
    /// there are too many to keep it is called for every pair again and again.
    ///
    /// ```
    /// use motefield_evaluator::statistics::GridValues;
    ///
    /// // A million pairs of two values.
    /// let values = GridValues::by_pair(2, [0, 0], [1_000_000, 2], |pair, values| {
    ///     values.copy_from_slice(&[pair as f64, -(pair as f64)]);
    /// });
    /// assert_eq!((values.pair(7), values.mean()), (vec![7.0, -7.0], 0.0));
    /// ```
    pub fn by_pair(
        columns: usize,
        reach: [usize; 2],
        [pairs, places]: [usize; 2],
        fill: impl Fn(usize, &mut [f64]) + Send + Sync + 'a,
    ) -> GridValues<'a> {
        let source = match pairs * places <= MOST_HELD {
            true => {
                let mut all = vec![f64::NAN; pairs * places];
                (0..pairs).for_each(|pair| fill(pair, &mut all[pair * places..][..places]));
                ValueSource::Held(Arc::new(all))
            }
            false => ValueSource::Recipe(Arc::new(fill)),
        };
        GridValues {
            columns,
            reach,
            pairs,
            places,
            source,
        }
    }

    /// Number of pairs.
    pub fn pairs(&self) -> usize {
        self.pairs
    }

    /// Places of the grid.
    pub fn places(&self) -> usize {
        self.places
    }

    /// The values of the pair of a number.
    ///
    /// # Panics
    /// When there are not so many.
    pub fn pair(&self, number: usize) -> Vec<f64> {
        assert!(number < self.pairs, "one of the pairs");
        let mut values = vec![f64::NAN; self.places];
        self.fill(number, &mut values);
        values
    }

    /// Fills in the values of a pair, as many as are asked for.
    fn fill(&self, pair: usize, values: &mut [f64]) {
        match &self.source {
            ValueSource::Held(all) => values.copy_from_slice(&all[pair * self.places..][..values.len()]),
            ValueSource::Recipe(fill) if values.len() == self.places => fill(pair, values),
            ValueSource::Recipe(_) => values.copy_from_slice(&self.pair(pair)[..values.len()]),
        }
    }

    /// Calls `of` with number and values of every pair, in their order.
    pub(crate) fn walk(&self, mut of: impl FnMut(usize, &[f64])) {
        match &self.source {
            ValueSource::Held(all) => {
                (0..self.pairs).for_each(|pair| of(pair, &all[pair * self.places..][..self.places]));
            }
            ValueSource::Recipe(fill) => {
                let mut values = vec![f64::NAN; self.places];
                for pair in 0..self.pairs {
                    fill(pair, &mut values);
                    of(pair, &values);
                }
            }
        }
    }

    /// Calls `of` with every value that there is, in their order.
    pub(super) fn walk_known(&self, mut of: impl FnMut(f64)) {
        self.walk(|_, pair| known(pair).for_each(&mut of));
    }

    /// How many values there are.
    pub fn count(&self) -> usize {
        let mut count = 0;
        self.walk_known(|_| count += 1);
        count
    }

    /// The first pairs alone, so many.
    pub fn first(&self, pairs: usize) -> GridValues<'a> {
        let (all, pairs) = (self.clone(), pairs.min(self.pairs));
        GridValues::by_pair(
            self.columns,
            self.reach,
            [pairs, self.places],
            move |pair, values| {
                all.fill(pair, values);
            },
        )
    }

    /// The same grid with `of` of every value; no value where there was none.
    pub fn map<'b>(&self, of: impl Fn(f64) -> f64 + Send + Sync + 'b) -> GridValues<'b>
    where
        'a: 'b,
    {
        self.map_pairs(move |pair| {
            for v in pair {
                *v = if v.is_finite() { of(*v) } else { f64::NAN };
            }
        })
    }

    /// The same grid after a change of the values of each pair, the missing ones included.
    pub fn map_pairs<'b>(&self, change: impl Fn(&mut [f64]) + Send + Sync + 'b) -> GridValues<'b>
    where
        'a: 'b,
    {
        let (all, size) = (self.clone(), [self.pairs, self.places]);
        GridValues::by_pair(self.columns, self.reach, size, move |pair, values| {
            all.fill(pair, values);
            change(values);
        })
    }

    /// The same grid with `of` of the value here and that of `other` at the same place of the same
    /// pair; no value where either has none. Pairs that only one of them has are left out.
    pub fn join<'b>(
        &self,
        other: &GridValues<'b>,
        of: impl Fn(f64, f64) -> f64 + Send + Sync + 'b,
    ) -> GridValues<'b>
    where
        'a: 'b,
    {
        let (all, others) = (self.clone(), other.clone());
        let size = [self.pairs.min(other.pairs), self.places.min(other.places)];
        GridValues::by_pair(self.columns, self.reach, size, move |pair, values| {
            let mut second = vec![f64::NAN; values.len()];
            all.fill(pair, values);
            others.fill(pair, &mut second);
            for (a, b) in values.iter_mut().zip(second) {
                *a = if a.is_finite() && b.is_finite() {
                    of(*a, b)
                } else {
                    f64::NAN
                };
            }
        })
    }

    /// Whether there is a value at each place in some pair.
    pub fn seen(&self) -> Vec<bool> {
        let places = self.totals().at_places;
        places.into_iter().map(|(_, n)| n > 0.0).collect()
    }

    /// Mean of all values; `NaN` when there is none.
    pub fn mean(&self) -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        self.walk_known(|v| {
            sum += v;
            n += 1.0;
        });
        sum / n
    }

    /// Mean of each pair's values; `NaN` for a pair that has none.
    pub fn pair_means(&self) -> Vec<f64> {
        let mut means = Vec::with_capacity(self.pairs);
        self.walk(|_, pair| {
            let (sum, n) = known(pair).fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
            means.push(sum / n);
        });
        means
    }

    /// Sums over the values of all pairs.
    pub(crate) fn totals(&self) -> Totals {
        let mut totals = Totals {
            sum: 0.0,
            count: 0,
            at_places: vec![(0.0, 0.0); self.places],
        };
        self.walk(|_, pair| {
            for (v, (sum, n)) in pair.iter().zip(&mut totals.at_places) {
                if v.is_finite() {
                    totals.sum += v;
                    totals.count += 1;
                    *sum += v;
                    *n += 1.0;
                }
            }
        });
        totals
    }
}

/// The values of a pair, without the places that have none.
fn known(pair: &[f64]) -> impl Iterator<Item = f64> {
    pair.iter().copied().filter(|v| v.is_finite())
}

impl fmt::Debug for GridValues<'_> {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.debug_struct("GridValues")
            .field("columns", &self.columns)
            .field("reach", &self.reach)
            .field("pairs", &self.pairs)
            .field("places", &self.places)
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(pairs: &[&[f64]]) -> GridValues<'static> {
        GridValues::new(2, [0, 0], pairs)
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
        let totals = all.totals();
        assert_eq!((totals.count, totals.mean()), (2, 2.0));
        assert_eq!(totals.at_places, [(4.0, 2.0), (0.0, 0.0)]);
    }

    /// Of few values and of many, which are found anew in every walk, all statistics have the same
    /// bits; and of many the function is called again instead of keeping what it found.
    #[test]
    fn many_values_are_found_again_and_tell_the_same() {
        use crate::statistics::{Confidence, local_and_random, mean, quantiles, root_mean_square};
        use std::sync::atomic::{AtomicUsize, Ordering};
        let size = [MOST_HELD / 12 + 1, 12];
        let value = |pair: usize, k: usize| match (pair * 12 + k) % 37 {
            0 => f64::NAN,
            n => ((pair * 31 + k * 17 + n) as f64 * 0.7).sin() * (1.0 + k as f64),
        };
        let calls = AtomicUsize::new(0);
        let many = GridValues::by_pair(4, [1, 0], size, |pair, values| {
            calls.fetch_add(1, Ordering::Relaxed);
            (0..12).for_each(|k| values[k] = value(pair, k));
        });
        let pairs = (0..size[0]).map(|pair| (0..12).map(|k| value(pair, k)).collect::<Vec<f64>>());
        let held = GridValues::new(4, [1, 0], pairs);
        let told = |values: &GridValues| {
            let usual = Confidence::USUAL;
            let parts = local_and_random(values, usual).unwrap();
            let squares = values.join(&values.map(|v| v.abs()), |a, b| (a * b).abs());
            let mut all = vec![mean(values, usual).0, root_mean_square(&squares, usual)];
            all.extend([parts.local, parts.random]);
            all.extend(quantiles(values, &[0.1, 0.5], usual));
            let bits = all.iter().flat_map(|e| [e.value, e.lo, e.hi].map(f64::to_bits));
            bits.collect::<Vec<u64>>()
        };
        assert_eq!(told(&many), told(&held));
        assert!(calls.load(Ordering::Relaxed) > 20 * size[0]);
    }

    /// A place counts only where both have a value, and a pair only where both have it.
    #[test]
    fn joined_where_both_are_known() {
        let joined = values(&[&[1.0, f64::NAN], &[3.0, 4.0]]).join(
            &values(&[&[10.0, 20.0], &[f64::INFINITY, 40.0], &[1.0, 1.0]]),
            |a, b| b - a,
        );
        assert_eq!(joined.pairs(), 2);
        let [first, second] = [0, 1].map(|pair| joined.pair(pair));
        assert_eq!([first[0], second[1]], [9.0, 36.0]);
        assert!(first[1].is_nan() && second[0].is_nan());
    }
}
