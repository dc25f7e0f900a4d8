//! Values by their place in rising order, without all of them in memory.

use std::ops::Range;

use super::GridValues;
use super::grid_values::MOST_HELD;
use super::quantiles::between;

/// Classes into which a range of values is divided in one walk over all.
const CLASSES: usize = 1 << 12;

/// The values of a grid in rising order. A stretch of them is in memory at a time, all of few.
pub(super) struct SortedValues<'v, 'a> {
    values: &'v GridValues<'a>,
    /// How many there are.
    pub(super) count: usize,
    /// Which places the stretch holds. Where all values there are equal one stands for them.
    places: Range<usize>,
    stretch: Vec<f64>,
}

impl<'v, 'a> SortedValues<'v, 'a> {
    pub(super) fn of(values: &'v GridValues<'a>) -> SortedValues<'v, 'a> {
        SortedValues {
            values,
            count: values.count(),
            places: 0..0,
            stretch: Vec::new(),
        }
    }

    /// The value below which a share lies, see [`quantile`](super::quantile).
    pub(super) fn quantile(&mut self, share: f64) -> f64 {
        between(self.count, share, |place| self.at(place))
    }

    fn at(&mut self, place: usize) -> f64 {
        if !self.places.contains(&place) {
            self.look_about(place);
        }
        self.stretch[(place - self.places.start).min(self.stretch.len() - 1)]
    }

    /// Finds the stretch about a place: the range of all values is narrowed to classes about the
    /// place until few enough are left.
    fn look_about(&mut self, place: usize) {
        let [mut low, mut high] = [0, u64::MAX];
        self.places = 0..self.count;
        while self.places.len() > MOST_HELD && low < high {
            let width = (high - low) / CLASSES as u64 + 1;
            let mut counts = vec![0; CLASSES];
            self.walk(low..=high, |key, _| counts[((key - low) / width) as usize] += 1);
            let (mut first, mut start) = (0, self.places.start);
            while start + counts[first] <= place {
                start += counts[first];
                first += 1;
            }
            let (mut last, mut end) = (first, start + counts[first]);
            // Those beside it that fit in as well spare other walks.
            while last + 1 < CLASSES && end + counts[last + 1] - start <= MOST_HELD / 2 {
                last += 1;
                end += counts[last];
            }
            while first > 0 && end + counts[first - 1] - start <= MOST_HELD {
                first -= 1;
                start -= counts[first];
            }
            self.places = start..end;
            high = high.min((low + last as u64 * width).saturating_add(width - 1));
            low += first as u64 * width;
        }
        let mut stretch = Vec::new();
        self.walk(low..=high, |_, v| {
            if low < high || stretch.is_empty() {
                stretch.push(v);
            }
        });
        stretch.sort_unstable_by(f64::total_cmp);
        self.stretch = stretch;
    }

    /// Calls `of` with the values whose keys are in the range.
    fn walk(&self, keys: std::ops::RangeInclusive<u64>, mut of: impl FnMut(u64, f64)) {
        self.values.walk_known(|v| {
            let key = key(v);
            if keys.contains(&key) {
                of(key, v);
            }
        });
    }
}

/// A whole number that rises with the value, as [`f64::total_cmp`] orders.
fn key(v: f64) -> u64 {
    let bits = v.to_bits();
    match v.is_sign_negative() {
        true => !bits,
        false => bits | 1 << 63,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every place of more values than are kept, some of them equal, has the value that it has
    /// where all are sorted.
    #[test]
    fn of_many_values_each_has_its_place() {
        for (scale, shift) in [(1.0, 0.0), (1e-3, 7.0), (0.0, 1.5)] {
            let value = move |k: usize| scale * ((k * 7919 % 100_003) as f64 - 40_000.0) + shift;
            let pairs = 2 * MOST_HELD / 100 + 1;
            let values = GridValues::by_pair(10, [0, 0], [pairs, 100], move |pair, values| {
                for (k, v) in values.iter_mut().enumerate() {
                    // A run of equal values longer than what is kept is narrowed to itself.
                    let number = pair * 100 + k;
                    *v = if k == 99 { f64::NAN } else { value(number / 2 * 2) };
                }
            });
            let mut all: Vec<f64> = (0..pairs).flat_map(|pair| values.pair(pair)).collect();
            all.retain(|v| v.is_finite());
            all.sort_unstable_by(f64::total_cmp);
            let mut sorted = SortedValues::of(&values);
            assert_eq!(sorted.count, all.len());
            for place in (0..all.len()).step_by(4999).chain([all.len() - 1]) {
                assert_eq!(sorted.at(place), all[place], "{place}");
                assert!(sorted.stretch.len() <= MOST_HELD);
            }
        }
    }
}
