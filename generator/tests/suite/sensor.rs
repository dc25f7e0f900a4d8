//! Differences between pixels, dark current and crosstalk against closed forms of the linear model
//! of EMVA 1288 (release 4.0 Linear) and of the binomial law. The moments of the model itself are
//! tested in `pair.rs`.

use motefield_generator::{Seed, Sensor};
use ndarray::Array2;

const SIZE: (usize, usize) = (400, 500);

fn quiet() -> Sensor {
    Sensor {
        bits: 16,
        gain_dn_per_e: 2.0,
        full_well_e: 30_000.0,
        dark_noise_e: 0.0,
        black_level_dn: 1000.0,
        ..Sensor::default()
    }
}

fn read(sensor: &Sensor, light_e: f32, realisation: u64, frame: u32) -> Array2<f32> {
    let mut image = Array2::from_elem(SIZE, light_e);
    let seed = Seed {
        study: 3,
        point: 0,
        realisation,
    };
    sensor.read(&mut image, seed, frame);
    image
}

fn moments<'a>(values: impl Iterator<Item = &'a f32> + Clone) -> [f64; 2] {
    let n = values.clone().count() as f64;
    let mean = values.clone().map(|v| f64::from(*v)).sum::<f64>() / n;
    let variance = values.map(|v| (f64::from(*v) - mean).powi(2)).sum::<f64>() / n;
    [mean, variance]
}

/// Dark current counts by the exposure of each frame: K μ_dark on the mean, K² μ_dark on the
/// variance besides 1/12. Tolerance: four standard errors of 200 000 pixels.
#[test]
fn dark_current_counts_by_exposure() {
    let sensor = Sensor {
        dark_current_e: [9.0, 100.0],
        ..quiet()
    };
    for (frame, dark) in [(0, 9.0), (1, 100.0)] {
        let [mean, variance] = moments(read(&sensor, 0.0, 0, frame).iter());
        let n = (SIZE.0 * SIZE.1) as f64;
        let expected = 4.0 * dark + 1.0 / 12.0;
        assert!(
            (mean - 1000.0 - 2.0 * dark).abs() < 4.0 * (expected / n).sqrt(),
            "{mean}"
        );
        assert!(
            (variance / expected - 1.0).abs() < 4.0 * (2.1 / n).sqrt(),
            "{variance}"
        );
    }
}

/// DSNU and PRNU are the spatial standard deviations of the mean over many frames: K DSNU in the
/// dark, K μ PRNU in the light, after subtracting what is left of the temporal noise of 50 frames,
/// as in EMVA 1288. Tolerance: four standard errors of a variance over 200 000 pixels.
#[test]
fn non_uniformity_is_what_it_says() {
    let n = (SIZE.0 * SIZE.1) as f64;
    let tolerance = 4.0 * (2.0 / n).sqrt();
    let frames = 50u32;
    let spatial = |sensor: &Sensor, light: f32| {
        let mut sum = Array2::<f32>::zeros(SIZE);
        let mut temporal = 0.0;
        for k in 0..frames {
            let image = read(sensor, light, k.into(), k % 2);
            temporal = 4.0 * f64::from(light) + 1.0 / 12.0;
            sum += &image;
        }
        let [mean, variance] = moments(sum.iter());
        let count = f64::from(frames);
        [mean / count, variance / (count * count) - temporal / count]
    };
    let sensor = Sensor {
        dsnu_e: 12.0,
        ..quiet()
    };
    let [mean, variance] = spatial(&sensor, 0.0);
    assert!((mean - 1000.0).abs() < 4.0 * 24.0 / n.sqrt(), "{mean}");
    assert!(
        (variance / (24.0 * 24.0) - 1.0).abs() < tolerance,
        "DSNU² {variance}"
    );
    let sensor = Sensor {
        prnu: 0.02,
        ..quiet()
    };
    let [_, variance] = spatial(&sensor, 10_000.0);
    let expected: f64 = 400.0 * 400.0;
    // The temporal noise that is left, 4e4/50, is known as well as its own variance over the
    // pixels.
    assert!(
        (variance / expected - 1.0).abs() < 1.1 * tolerance,
        "PRNU² {variance}"
    );
}

/// Hot and dead pixels belong to the study: the same for every pair and frame, others for another
/// study.
#[test]
fn the_camera_stays_the_same() {
    let sensor = Sensor {
        dsnu_e: 12.0,
        hot_pixels: 0.01,
        dead_pixels: 0.02,
        ..quiet()
    };
    let first = read(&sensor, 0.0, 0, 0);
    let hot = |image: &Array2<f32>| image.mapv(|v| v > 20_000.0);
    assert_eq!(hot(&first), hot(&read(&sensor, 0.0, 7, 1)));
    let mut other = Array2::zeros(SIZE);
    sensor.read(
        &mut other,
        Seed {
            study: 4,
            ..Seed::default()
        },
        0,
    );
    assert_ne!(hot(&first), hot(&other));
    // The numbers are within four standard deviations of the binomial law, and dead pixels show the
    // black level.
    let n = (SIZE.0 * SIZE.1) as f64;
    let share = |image: Array2<bool>| image.iter().filter(|b| **b).count() as f64 / n;
    let near = |got: f64, p: f64| (got - p).abs() < 4.0 * (p * (1.0 - p) / n).sqrt();
    assert!(near(share(hot(&first)), 0.01));
    assert!(near(
        share(read(&sensor, 5000.0, 0, 0).mapv(|v| v == 1000.0)),
        0.02
    ));
}

/// Crosstalk c: each neighbour of a single lit pixel gets c/4 of its light and the pixel keeps 1 −
/// c. Even light stays even, in the corners too. Means over 200 readings, to four standard errors.
#[test]
fn crosstalk_goes_to_the_four_neighbours() {
    let sensor = Sensor {
        crosstalk: 0.2,
        ..quiet()
    };
    let count = 200u32;
    let mut sum = Array2::<f64>::zeros((5, 5));
    for k in 0..count {
        let mut image = Array2::zeros((5, 5));
        image[[2, 2]] = 1000.0;
        sensor.read(
            &mut image,
            Seed {
                realisation: k.into(),
                ..Seed::default()
            },
            0,
        );
        sum += &image.mapv(|v| (f64::from(v) - 1000.0) / 2.0 / f64::from(count));
    }
    for ((y, x), mean) in sum.indexed_iter() {
        let expected: f64 = match x.abs_diff(2) + y.abs_diff(2) {
            0 => 800.0,
            1 => 50.0,
            _ => 0.0,
        };
        assert!(
            (mean - expected).abs() <= 4.0 * ((expected + 0.03) / f64::from(count)).sqrt(),
            "({x}, {y}) {mean}"
        );
    }
    let [mean, _] = moments(read(&sensor, 500.0, 0, 0).iter());
    assert!(
        (mean - 2000.0).abs() < 4.0 * (2000.0 / (SIZE.0 * SIZE.1) as f64).sqrt(),
        "{mean}"
    );
}

/// Pinned: the noise of one reading and the differences between pixels.
#[test]
fn the_fixed_pattern_is_pinned() {
    let sensor = Sensor {
        dark_current_e: [3.0, 5.0],
        dark_noise_e: 4.0,
        dsnu_e: 6.0,
        prnu: 0.01,
        hot_pixels: 0.001,
        dead_pixels: 0.001,
        crosstalk: 0.05,
        ..quiet()
    };
    let image = read(&sensor, 300.0, 1, 1);
    let hash = image.iter().fold(0xcbf2_9ce4_8422_2325u64, |h, v| {
        (h ^ u64::from(v.to_bits())).wrapping_mul(0x100_0000_01b3)
    });
    assert_eq!(hash, 11_988_404_196_707_391_013, "FNV-1a of the pixels' bits");
}

/// Of n electrons n (1 - nu n/n_full) are read: light at half the full well with nu = 10 % reads 5
/// % low, less the bend of its own scatter, nu n/n_full^2 of it (the mean of n squared exceeds that
/// of n by n). The slope of the response divides the noise: 1 - 2 nu n/n_full. Means to four
/// standard errors, variances to 2 % of 200,000 pixels (their own scatter is 0.3 %).
#[test]
fn response_bends() {
    let bent = Sensor {
        nonlinearity: 0.1,
        ..quiet()
    };
    let (n, full) = (15_000.0, bent.full_well_e);
    let [mean, variance] = moments(read(&bent, n as f32, 0, 0).iter());
    let electrons = (mean - 1000.0) / 2.0;
    let expected = n - 0.1 / full * (n * n + n);
    let slope = 1.0 - 0.2 * n / full;
    let error = slope * (n / 200_000.0f64).sqrt();
    assert!(
        (electrons - expected).abs() < 4.0 * error,
        "{electrons} {expected}"
    );
    let expected = 4.0 * slope * slope * n + 1.0 / 12.0;
    assert!((variance / expected - 1.0).abs() < 0.02, "{variance} {expected}");
}
