use super::*;

fn number(mean: f32, first: u32, second: u32) -> f32 {
    let mut charge = [mean];
    shoot(&mut charge, &[first], &[second], f32::MAX);
    charge[0]
}

/// P(number ≤ n) for n = 0, 1, 2 … of a number that grows with its word: the fraction of words that
/// give at most n.
fn distribution(most: usize, number: impl Fn(u32) -> f32) -> Vec<f64> {
    (0..=most)
        .map(|n| {
            let (mut low, mut high) = (0u64, 1 << 32);
            while low < high {
                let middle = (low + high) / 2;
                if number(middle as u32) <= n as f32 {
                    low = middle + 1;
                } else {
                    high = middle;
                }
            }
            low as f64 / 4_294_967_296.0
        })
        .collect()
}

/// The Poisson distribution function by its definition, summed in double precision.
fn exact(mean: f64, most: usize) -> Vec<f64> {
    let mut sum = 0.0;
    (0..=most)
        .map(|n| {
            let n = n as f64;
            sum += libm::exp(n * libm::log(mean) - mean - libm::lgamma(n + 1.0));
            sum
        })
        .collect()
}

fn largest_difference(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// Below a mean of 64 the numbers of the two words add up to the Poisson law: their distributions,
/// counted over all words and convolved, agree with the definition to 2⁻³⁰. (Each step of either is
/// off by at most one word of 2³², and so is the end of each table; a few of these add up in the
/// convolution.)
#[test]
fn exact_below_the_change_over() {
    for mean in [0.03f32, 0.124, 0.7, 3.2, 11.9, 31.7, 63.99] {
        let most = (f64::from(mean) + 9.0 * f64::from(mean).sqrt() + 10.0) as usize;
        let table = distribution(most, |word| number(mean, word, 0));
        let least = number(mean, 0, 0);
        let rest = distribution(9, |word| number(mean, 0, word) - least);
        let sum: Vec<f64> = (0..=most)
            .map(|n| {
                (0..=n.min(9))
                    .map(|k| (rest[k] - if k > 0 { rest[k - 1] } else { 0.0 }) * table[n - k])
                    .sum()
            })
            .collect();
        let worst = largest_difference(&sum, &exact(f64::from(mean), most));
        assert!(worst < 1.0 / f64::from(1 << 30), "mean {mean}: {worst:e}");
    }
}

/// From a mean of 64 on, no probability of "at most n" is off by more than 1e-4, which a picture of
/// a million pixels cannot show: it could show a Kolmogorov–Smirnov distance of 1.36e-3.
#[test]
fn close_from_the_change_over_on() {
    for mean in [64.0f32, 70.3, 100.0, 1000.0, 20_000.0] {
        let most = (f64::from(mean) + 6.0 * f64::from(mean).sqrt()) as usize;
        let got = distribution(most, |word| number(mean, word, 0));
        let worst = largest_difference(&got, &exact(f64::from(mean), most));
        assert!(worst < 1e-4, "mean {mean}: {worst:e}");
    }
}

/// Quantiles of scipy.stats.poisson 1.17.1 at 1e-6, 1e-3, 0.1, 0.5, 0.9, 0.999 and 1 − 1e-6. One
/// electron is allowed, where a distribution function passes within 1e-4 of the probability.
#[test]
fn quantiles_of_large_means() {
    let probabilities = [1e-6, 1e-3, 0.1, 0.5, 0.9, 0.999, 1.0 - 1e-6];
    for (mean, quantiles) in [
        (64.0, [30, 41, 54, 64, 74, 90, 105]),
        (100.0, [56, 71, 87, 100, 113, 132, 151]),
        (1000.0, [853, 904, 960, 1000, 1041, 1099, 1154]),
        (20_000.0, [19_331, 19_564, 19_819, 20_000, 20_181, 20_438, 20_676]),
    ] {
        for (p, quantile) in probabilities.iter().zip(quantiles) {
            let got = number(mean, (p * 4_294_967_296.0) as u32, 0);
            assert!(
                (got - quantile as f32).abs() <= 1.0,
                "mean {mean}, {p}: {got} for {quantile}"
            );
        }
    }
}

/// A pixel's number is the same among others, whatever their means and wherever it stands, and
/// where all means are large the second words do not matter.
#[test]
fn pixels_do_not_depend_on_each_other() {
    let word = |k: u32| k.wrapping_mul(0x9e37_79b9).rotate_left(7);
    // Rows below the change-over, above it and on both sides, no multiples of the lanes.
    let rows: [fn(usize) -> f32; 3] = [
        |k| 0.37 * k as f32,
        |k| 64.0 + 9.1 * k as f32,
        |k| [3.1, 64.0, 800.0, 63.99, 0.0][k % 5],
    ];
    for means in rows {
        let means: Vec<f32> = (0..53).map(means).collect();
        let words = [0, 1].map(|n| (0..53).map(|k| word(2 * k + n)).collect::<Vec<u32>>());
        let mut together = means.clone();
        shoot(&mut together, &words[0], &words[1], 900.0);
        for (k, &mean) in means.iter().enumerate() {
            let alone = number(mean, words[0][k], words[1][k]).min(900.0);
            assert_eq!(together[k], alone, "pixel {k} of mean {mean}");
            assert!(
                needs_second_word(&[mean]) || alone == number(mean, words[0][k], !words[1][k]).min(900.0)
            );
        }
    }
}

/// The cells give for every word what a search through the distribution function gives: at and
/// beside each of its steps, and at the ends of each cell.
#[test]
fn cells_agree_with_the_distribution_function() {
    for (place, below) in TABLES.below.iter().enumerate() {
        let ends = (0..1u32 << CELL_BITS).map(|k| k << (u32::BITS - CELL_BITS));
        let words = below.iter().copied().chain(ends);
        let words: Vec<u32> = words
            .flat_map(|word| [word.saturating_sub(1), word, word.saturating_add(1)])
            .collect();
        for words in words.chunks(LANES) {
            let mut sixteen = [0; LANES];
            sixteen[..words.len()].copy_from_slice(words);
            let numbers = TABLES.numbers(&[place as u32; LANES], &sixteen);
            for (word, number) in sixteen.into_iter().zip(numbers) {
                let expected = below.iter().take_while(|below| word > **below).count();
                assert_eq!(number, expected as f32, "table {place}, word {word}");
            }
        }
    }
}

/// What rounding leaves below 0 beside bright particles counts as no light, whatever the words.
#[test]
fn no_electrons_of_a_mean_below_zero() {
    for mean in [-6e-6, -1e-12, -0.0] {
        assert_eq!(number(mean, u32::MAX, u32::MAX), 0.0, "{mean}");
    }
}
