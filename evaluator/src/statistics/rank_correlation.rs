//! Spearman's rank correlation.

use super::{Confidence, Estimate, GridValues, jackknife, student};

/// Spearman's rank correlation of the values of `a` and `b` at the same places, -1 to 1; equal
/// values share their mean rank. `NaN` if all values of one are equal; the interval is -1 to 1 with
/// fewer than three pairs.
///
/// The interval is Student's about Fisher's transform artanh ρ, with its jackknife variance over
/// whole pairs (Tukey 1958; Efron & Stein 1981, Ann. Stat. 9, 586): vectors of one pair may depend
/// on each other in any way; pairs must be independent and alike. A bootstrap over pairs would give
/// the same at the cost of two thousand rankings instead of one per pair. All values are ranked in
/// memory, some 60 bytes each.
///
/// ```
/// use motefield_evaluator::statistics::{Confidence, GridValues, rank_correlation};
///
/// let values = |pair: [f64; 4]| GridValues::new(4, [0, 0], [pair]);
/// let (a, b) = (values([1.0, 2.0, 3.0, 4.0]), values([1.0, 2.0, 9.0, 4.0]));
/// assert!((rank_correlation(&a, &b, Confidence::USUAL).value - 0.8).abs() < 1e-12);
/// ```
pub fn rank_correlation(a: &GridValues, b: &GridValues, confidence: Confidence) -> Estimate {
    let mut items: Vec<(f64, f64, u32)> = Vec::new();
    let mut number = 0;
    a.join(b, |a, _| a).walk(|pair, values| {
        let others = b.pair(pair);
        let both = values.iter().zip(&others).filter(|(a, _)| a.is_finite());
        items.extend(both.map(|(a, b)| (*a, *b, number)));
        number += 1;
    });
    let mut ranking = Ranking::new(&items);
    let pairs = a.pairs();
    let mut times = vec![1; pairs];
    let value = ranking.correlation(&times);
    let without: Vec<f64> = (0..pairs)
        .map(|left_out| {
            times.fill(1);
            times[left_out] = 0;
            ranking.correlation(&times).atanh()
        })
        .collect();
    let variance = jackknife::variance(&without);
    if pairs < 3 || !variance.is_finite() {
        return Estimate {
            value,
            lo: -1.0,
            hi: 1.0,
        };
    }
    let half = student(pairs as f64 - 1.0, confidence) * variance.sqrt();
    Estimate {
        value,
        lo: (value.atanh() - half).tanh(),
        hi: (value.atanh() + half).tanh(),
    }
}

/// Two sets of values in rising order, sorted once: a sample of the pairs only counts each pair's
/// values more or less often.
struct Ranking {
    a: RankOrder,
    b: RankOrder,
    /// For each of b's values, the place of the a that belongs to it.
    partners: Vec<u32>,
}

impl Ranking {
    /// From values of a and b and the pair they come from.
    fn new(items: &[(f64, f64, u32)]) -> Ranking {
        let sorted = |of: fn(&(f64, f64, u32)) -> f64| {
            let mut order: Vec<u32> = (0..items.len() as u32).collect();
            order.sort_by(|&i, &j| of(&items[i as usize]).total_cmp(&of(&items[j as usize])));
            order
        };
        let (by_a, by_b) = (sorted(|item| item.0), sorted(|item| item.1));
        let mut places = vec![0; items.len()];
        for (&item, place) in by_a.iter().zip(0..) {
            places[item as usize] = place;
        }
        let item = |i: &u32| items[*i as usize];
        Ranking {
            a: RankOrder::new(by_a.iter().map(item).map(|(a, _, pair)| (a, pair))),
            b: RankOrder::new(by_b.iter().map(item).map(|(_, b, pair)| (b, pair))),
            partners: by_b.iter().map(|&i| places[i as usize]).collect(),
        }
    }

    /// The rank correlation when the values of a pair count `times` as often: the correlation of
    /// the ranks (Spearman 1904, Am. J. Psychol. 15, 72).
    fn correlation(&mut self, times: &[u32]) -> f64 {
        let n = self.a.rank(times);
        self.b.rank(times);
        let middle = 0.5 * (n + 1.0);
        let (mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0);
        for ((b, partner), pair) in self.b.ranks.iter().zip(&self.partners).zip(&self.b.pairs) {
            let weight = f64::from(times[*pair as usize]);
            let (a, b) = (self.a.ranks[*partner as usize] - middle, b - middle);
            aa += weight * a * a;
            bb += weight * b * b;
            ab += weight * a * b;
        }
        ab / (aa * bb).sqrt()
    }
}

/// Values in rising order: the pair of each, where the equal ones end, and their ranks.
struct RankOrder {
    pairs: Vec<u32>,
    ends: Vec<usize>,
    ranks: Vec<f64>,
}

impl RankOrder {
    fn new(sorted: impl Iterator<Item = (f64, u32)>) -> RankOrder {
        let (values, pairs): (Vec<f64>, Vec<u32>) = sorted.unzip();
        RankOrder {
            pairs,
            ends: (1..=values.len())
                .filter(|&k| k == values.len() || values[k] != values[k - 1])
                .collect(),
            ranks: vec![0.0; values.len()],
        }
    }

    /// Ranks the values, those of a pair counted `times` as often; returns how many values that
    /// makes.
    fn rank(&mut self, times: &[u32]) -> f64 {
        let (mut before, mut start) = (0.0, 0);
        for &end in &self.ends {
            let equal: u32 = self.pairs[start..end]
                .iter()
                .map(|&pair| times[pair as usize])
                .sum();
            let equal = f64::from(equal);
            self.ranks[start..end].fill(before + 0.5 * (equal + 1.0));
            before += equal;
            start = end;
        }
        before
    }
}

#[cfg(test)]
mod tests {
    use super::Ranking;

    /// Derived: `scipy.stats.spearmanr` 1.17.1 of these values with their ties, and of them with
    /// those of the first pair twice and those of the second not at all.
    #[test]
    fn ties_and_repeats_match_scipy() {
        let a = [
            0.05, 0.1, 0.09, 0.04, 0.04, 0.04, 0.07, 0.05, 0.07, 0.02, 0.11, 0.05, 0.07, 0.05, 0.04, 0.06,
            0.08, 0.05, 0.05, 0.07, 0.03, 0.02, 0.06, 0.04,
        ];
        let b = [
            0.1, 0.08, 0.04, 0.05, 0.06, 0.0, 0.06, 0.01, 0.05, 0.01, 0.08, 0.02, 0.04, 0.05, 0.01, 0.05,
            0.03, 0.01, 0.05, 0.09, 0.02, 0.02, 0.1, 0.01,
        ];
        let items: Vec<(f64, f64, u32)> = (0..24).map(|k| (a[k], b[k], k as u32 / 8)).collect();
        let mut ranking = Ranking::new(&items);
        for (times, expected) in [([1, 1, 1], 0.5431486865683974), ([2, 0, 1], 0.41672934703518416)] {
            let got = ranking.correlation(&times);
            assert!((got - expected).abs() < 1e-12, "{times:?}: {got}");
        }
    }
}
