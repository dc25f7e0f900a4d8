//! Local bias and random error: by hand first, then fields whose components are known.
//!
//! Searle, Casella and McCulloch 1992, Variance Components (from memory), for the balanced analysis
//! of variance.

use motefield_evaluator::statistics::{Confidence, Estimate, GridValues, local_and_random};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn normal(rng: &mut ChaCha8Rng) -> f64 {
    let (u, v): (f64, f64) = (1.0 - rng.random::<f64>(), rng.random());
    (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}

/// Values of unit variance averaged over `over` x `over` neighbours: those `over` apart share
/// nothing, like windows with that overlap.
fn noise(rng: &mut ChaCha8Rng, side: usize, over: usize) -> Vec<f64> {
    let wide = side + over - 1;
    let all: Vec<f64> = (0..wide * wide).map(|_| normal(rng)).collect();
    let at = |k: usize| {
        let (x, y) = (k % side, k / side);
        let inside = (0..over).flat_map(|j| (0..over).map(move |i| (i, j)));
        let sum: f64 = inside.map(|(i, j)| all[(y + j) * wide + x + i]).sum();
        sum / over as f64
    };
    (0..side * side).map(at).collect()
}

/// A field of errors whose components are known.
struct Case {
    side: usize,
    over: usize,
    pairs: usize,
    /// What each place repeats.
    local: fn(f64, f64) -> f64,
    /// Standard deviation from pair to pair at a place.
    scatter: fn(f64, f64) -> f64,
    /// Share of the values that are lost, at a place.
    lost: fn(f64, f64) -> f64,
}

impl Case {
    fn at(&self, k: usize) -> (f64, f64) {
        let side = self.side as f64;
        ((k % self.side) as f64 / side, (k / self.side) as f64 / side)
    }

    /// Values, and the local and random parts weighted by the numbers of values, as mean squares.
    fn draw(&self, rng: &mut ChaCha8Rng) -> (GridValues<'static>, [f64; 2]) {
        let of = |f: fn(f64, f64) -> f64, k| {
            let (x, y) = self.at(k);
            f(x, y)
        };
        let pairs: Vec<Vec<f64>> = (0..self.pairs)
            .map(|_| {
                let noise = noise(rng, self.side, self.over);
                let one = |(k, r): (usize, f64)| match rng.random::<f64>() < of(self.lost, k) {
                    true => f64::NAN,
                    false => 0.3 + of(self.local, k) + of(self.scatter, k) * r,
                };
                noise.into_iter().enumerate().map(one).collect()
            })
            .collect();
        let known = |k: usize| pairs.iter().filter(|p| p[k].is_finite()).count() as f64;
        let numbers: Vec<f64> = (0..self.side * self.side).map(known).collect();
        let all: f64 = numbers.iter().sum();
        let mean =
            |f: &dyn Fn(usize) -> f64| numbers.iter().enumerate().map(|(k, n)| n * f(k)).sum::<f64>() / all;
        let middle = mean(&|k| of(self.local, k));
        let truth = [
            mean(&|k| (of(self.local, k) - middle).powi(2)),
            mean(&|k| of(self.scatter, k).powi(2)),
        ];
        let values = GridValues::new(self.side, [self.over - 1; 2], pairs);
        (values, truth)
    }
}

const NOTHING: fn(f64, f64) -> f64 = |_, _| 0.0;
const EVEN: fn(f64, f64) -> f64 = |_, _| 1.0;
const WAVE: fn(f64, f64) -> f64 = |x, y| 0.7 * (7.0 * x).sin() * (5.0 * y).cos();
/// As in a boundary layer: large at one wall only.
const WALL: fn(f64, f64) -> f64 = |_, y| 2.0 * (-y / 0.08).exp();
const UNEVEN: fn(f64, f64) -> f64 = |_, y| 0.5 + 2.0 * y * y;

/// Fields with known components: independent and overlapping places, few and many pairs, equal and
/// unequal scatter, all vectors valid and up to 40 % lost.
fn cases() -> Vec<Case> {
    let case = |over, pairs, local, scatter, lost| Case {
        side: 24,
        over,
        pairs,
        local,
        scatter,
        lost,
    };
    vec![
        case(1, 4, WAVE, EVEN, NOTHING),
        case(2, 2, WALL, EVEN, NOTHING),
        case(2, 3, WALL, UNEVEN, NOTHING),
        case(2, 4, WAVE, UNEVEN, |x, _| 0.4 * x),
        case(2, 8, WALL, EVEN, |x, _| 0.4 * x),
        case(4, 4, WALL, EVEN, NOTHING),
        case(4, 8, WAVE, EVEN, NOTHING),
        case(2, 20, WALL, UNEVEN, |x, _| 0.4 * x),
    ]
}

/// 200 draws of every case: the mean squares are recovered without bias, to four standard errors of
/// their mean, and the 95 % intervals of both parts hold the truth in 91 to 98 % of them: 95 %
/// less and more two and a half binomial standard errors, 1.5 points each, to a whole per cent.
#[test]
fn components_are_recovered_and_their_intervals_cover() {
    for case in cases() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let (mut hits, mut deviations) = ([0; 2], [vec![], vec![]]);
        for _ in 0..200 {
            let (values, truth) = case.draw(&mut rng);
            let got = local_and_random(&values, Confidence::USUAL).unwrap();
            for (k, e) in [got.local, got.random].into_iter().enumerate() {
                let root = truth[k].sqrt();
                hits[k] += u32::from(e.lo <= root && root <= e.hi);
                deviations[k].push(e.value.powi(2) - truth[k]);
            }
        }
        for (k, part) in ["local", "random"].into_iter().enumerate() {
            let deviations = &deviations[k];
            let mean = deviations.iter().sum::<f64>() / 200.0;
            let error = (deviations.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 199.0 / 200.0).sqrt();
            let what = format!("{part}, overlap {}, {} pairs", case.over, case.pairs);
            println!("{what}: {} of 200, off by {mean:.5} ±{error:.5}", hits[k]);
            // What the mean takes off the random part is Var ē, at most over²/(24² pairs) of 1 to
            // 1.6: see the module's description.
            let of_mean = 2.0 * (case.over as f64 / 24.0).powi(2) / case.pairs as f64;
            let of_mean = if k == 1 { of_mean } else { 0.0 };
            assert!(mean.abs() < 4.0 * error + of_mean, "{what}: {mean} ±{error}");
            assert!((182..=196).contains(&hits[k]), "{what}: {} of 200", hits[k]);
        }
    }
}

/// Where nothing repeats, the interval of the local bias reaches 0 as it should: one end only can
/// miss, so it holds 0 in 97.5 % of 200 draws, less two and a half binomial standard errors.
#[test]
fn nothing_that_repeats_is_not_told_from_zero() {
    for (over, pairs) in [(1, 2), (2, 4), (4, 8)] {
        let case = Case {
            side: 24,
            over,
            pairs,
            local: NOTHING,
            scatter: EVEN,
            lost: NOTHING,
        };
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let (mut hits, mut zeros) = (0, 0);
        for _ in 0..200 {
            let values = case.draw(&mut rng).0;
            let got = local_and_random(&values, Confidence::USUAL).unwrap();
            hits += u32::from(got.local.lo == 0.0);
            zeros += u32::from(got.local.value == 0.0);
            assert!(got.local.hi >= got.local.value);
        }
        println!("overlap {over}, {pairs} pairs: {hits} hold 0, {zeros} are 0");
        assert!(hits >= 189, "overlap {over}, {pairs} pairs: {hits}");
        // The estimate is as often above as below, more often the latter as its law is skew.
        assert!(
            (80..=140).contains(&zeros),
            "overlap {over}, {pairs} pairs: {zeros}"
        );
    }
}

fn values(pairs: Vec<Vec<f64>>) -> GridValues<'static> {
    GridValues::new(pairs[0].len(), [0, 0], pairs)
}

/// By hand, a one-way analysis of variance of three places and two pairs: means 1, 3 and 5, of
/// all 3; squares between 2 (4 + 0 + 4) = 16 with 2 degrees of freedom, within 2 (1 + 4 + 1) = 12
/// with 3. So the mean squares are 8 and 4, and the variance of the mean is 4/6. As the places are
/// fixed, the local part is (16 - 2 · 4)/6 with 3 - 1 for 3 degrees of freedom (8 - 4)/2 · 2/3.
#[test]
fn a_balanced_analysis_by_hand() {
    let got = local_and_random(
        &values(vec![vec![0.0, 5.0, 4.0], vec![2.0, 1.0, 6.0]]),
        Confidence::USUAL,
    )
    .unwrap();
    let local = (8.0 - 4.0) / 2.0 * 2.0 / 3.0;
    assert!((got.local.value.powi(2) - local).abs() < 1e-12, "{got:?}");
    assert!(
        (got.random.value.powi(2) - (4.0 - 4.0 / 6.0)).abs() < 1e-12,
        "{got:?}"
    );
}

/// By hand, 3, 2 and 1 values at three places: means 2, 5 and 8, of all 4. Within: variances 1 and
/// 2, n-weighted mean (3 + 4)/5, which the third place is taken to have. Variance of the mean: the
/// known deviations about their place's mean, squared and each n/(n - 1): (3 · 1 + 2 · 2)/5 over
/// six values. Between: (3 · 4 + 2 · 1 + 16)/6, less (1 + 2 + 7/5)/6.
#[test]
fn an_unbalanced_analysis_by_hand() {
    let no = f64::NAN;
    let pairs = vec![vec![1.0, 4.0, 8.0], vec![2.0, no, no], vec![3.0, 6.0, no]];
    let got = local_and_random(&values(pairs), Confidence::USUAL).unwrap();
    let of_mean = 1.4 / 6.0;
    let local = 30.0 / 6.0 - 4.4 / 6.0 + of_mean;
    assert!((got.local.value.powi(2) - local).abs() < 1e-12, "{got:?}");
    let square = [1.0, 2.0, 3.0, 4.0, 6.0, 8.0]
        .iter()
        .map(|v: &f64| (v - 4.0).powi(2))
        .sum::<f64>()
        / 6.0;
    assert!(
        (got.random.value.powi(2) - (square - local)).abs() < 1e-12,
        "{got:?}"
    );
}

/// Only what a place shows twice can be told apart; and pairs that are all alike have no random
/// part, a single place no local one.
#[test]
fn limits() {
    let no = f64::NAN;
    assert_eq!(
        local_and_random(&values(vec![vec![1.0, 2.0]]), Confidence::USUAL),
        None
    );
    let once = values(vec![vec![1.0, no], vec![no, 2.0]]);
    assert_eq!(local_and_random(&once, Confidence::USUAL), None);
    let same = local_and_random(&values(vec![vec![1.0, 3.0]; 4]), Confidence::USUAL).unwrap();
    assert_eq!(
        (same.local, same.random),
        (Estimate::exact(1.0), Estimate::exact(0.0))
    );
    let one = values(vec![vec![1.0], vec![3.0], vec![2.0]]);
    let one = local_and_random(&one, Confidence::USUAL).unwrap();
    assert!(one.local.value < 1e-7 && (one.random.value.powi(2) - 2.0 / 3.0).abs() < 1e-12);
}

/// Mean squared, local and random part squared add up to the mean square, whatever is lost and
/// whether or not the local part is cut at zero: to rounding.
#[test]
fn squares_add_up() {
    let mut rng = ChaCha8Rng::seed_from_u64(2);
    let nothing_repeats = Case {
        side: 24,
        over: 2,
        pairs: 4,
        local: NOTHING,
        scatter: UNEVEN,
        lost: |x, _| 0.6 * x,
    };
    for case in cases().iter().chain([&nothing_repeats; 4]) {
        let values = case.draw(&mut rng).0;
        let got = local_and_random(&values, Confidence::USUAL).unwrap();
        let parts = values.mean().powi(2) + got.local.value.powi(2) + got.random.value.powi(2);
        assert!((parts / values.map(|v| v * v).mean() - 1.0).abs() < 1e-12);
    }
}

/// The mean over N pairs scatters over the places by √(L² + R²/N): as 1/√N down to the local bias.
/// The split of 16 pairs predicts what the means of 16 others do. The prediction and the scatter of
/// 576 places, 144 of them independent, are each known to some 1/√(2 · 144) = 6 %, of single pairs
/// to less; three times both is 25 %.
#[test]
fn averaging_stops_at_the_local_bias() {
    let case = Case {
        side: 24,
        over: 2,
        pairs: 32,
        local: WAVE,
        scatter: EVEN,
        lost: NOTHING,
    };
    let all = case.draw(&mut ChaCha8Rng::seed_from_u64(5)).0;
    let split = local_and_random(&all.first(16), Confidence::USUAL).unwrap();
    let scatter = |n: usize| {
        let sums: Vec<Vec<f64>> = (16..16 + n).map(|pair| all.pair(pair)).collect();
        let means: Vec<f64> = (0..24 * 24)
            .map(|k| sums.iter().map(|p| p[k]).sum::<f64>() / n as f64)
            .collect();
        let mean = means.iter().sum::<f64>() / means.len() as f64;
        (means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / means.len() as f64).sqrt()
    };
    for n in [1, 2, 4, 8, 16] {
        let expected = split.local.value.hypot(split.random.value / (n as f64).sqrt());
        let got = scatter(n);
        println!("{n}: {got:.4}, expected {expected:.4}");
        assert!((got / expected - 1.0).abs() < 0.25, "{n}: {got} for {expected}");
    }
    // The single pair is chance for the most part, the mean over all the local bias.
    assert!(split.random.value > 2.0 * split.local.value && scatter(16) < 1.7 * split.local.value);
}
