//! How fast windows and whole pairs are correlated, on one thread.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use motefield_evaluator::{Correlation, Correlator, Pass, Processing, Weighting};
use ndarray::Array2;
use rand::{RngExt, SeedableRng};

/// Spots of 3 x 3 pixels at random positions, moved by (3, 1) px: the time does not depend on how
/// they look.
fn pair(side: usize) -> [Array2<f32>; 2] {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let mut frames = [
        Array2::from_elem((side, side), 20.0),
        Array2::from_elem((side, side), 20.0),
    ];
    for _ in 0..side * side / 30 {
        let (x, y) = (rng.random_range(1..side - 4), rng.random_range(1..side - 4));
        for (frame, (dx, dy)) in frames.iter_mut().zip([(0, 0), (3, 1)]) {
            for (j, row) in [[1.0, 2.0, 1.0], [2.0, 4.0, 2.0], [1.0, 2.0, 1.0]]
                .iter()
                .enumerate()
            {
                for (i, value) in row.iter().enumerate() {
                    frame[[y + dy + j - 1, (x + dx + i - 1).min(side - 1)]] += 100.0 * value;
                }
            }
        }
    }
    frames
}

fn benches(criterion: &mut Criterion) {
    let [a, b] = pair(512);
    let mut windows = criterion.benchmark_group("windows of one pass");
    for (name, side, weighting, correlation) in [
        (
            "32 px, top-hat, circular",
            32,
            Weighting::TopHat,
            Correlation::Circular,
        ),
        (
            "32 px, gaussian, circular",
            32,
            Weighting::Gaussian,
            Correlation::Circular,
        ),
        (
            "32 px, gaussian, zero-padded",
            32,
            Weighting::Gaussian,
            Correlation::ZeroPadded,
        ),
        (
            "64 px, gaussian, circular",
            64,
            Weighting::Gaussian,
            Correlation::Circular,
        ),
    ] {
        let passes = vec![Pass::square(side, 0.75)];
        let processing = Processing {
            passes,
            weighting,
            correlation,
            ..Processing::default()
        };
        let mut correlator = Correlator::new(512, 512, &processing).unwrap();
        let number = correlator.correlate(a.view(), b.view()).unwrap().vectors.len();
        windows.throughput(Throughput::Elements(number as u64));
        windows.bench_function(name, |bench| {
            bench.iter(|| black_box(correlator.correlate(a.view(), b.view()).unwrap()))
        });
    }
    windows.finish();

    let mut pairs = criterion.benchmark_group("whole pair");
    for side in [256, 512, 1024] {
        let [a, b] = pair(side);
        let mut correlator = Correlator::new(side, side, &Processing::default()).unwrap();
        pairs.bench_function(format!("default processing, {side} x {side} px"), |bench| {
            bench.iter(|| black_box(correlator.correlate(a.view(), b.view()).unwrap()))
        });
    }
    pairs.finish();
}

criterion_group! {
    name = correlate;
    config = Criterion::default().sample_size(20);
    targets = benches
}
criterion_main!(correlate);
