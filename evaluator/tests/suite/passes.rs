//! The schedule of passes: what must hold whatever the images show, and errors for what cannot be
//! correlated.

use crate::support::{Frame, TestScene, camera};
use motefield_evaluator::{
    Correlation, Correlator, Interpolator, Normalise, Pass, PeakFit, PredictorFilter, Processing,
    ProcessingError, VectorField, VectorStatus, Weighting, correlate,
};
use ndarray::Array2;
use rand::{RngExt, SeedableRng};

fn single(side: usize, overlap: f64) -> Processing {
    Processing {
        passes: vec![Pass::square(side, overlap)],
        ..Processing::default()
    }
}

/// A noisy pair in a shear flow.
fn pair(seed: u64, size: usize) -> [Frame; 2] {
    let scene = TestScene {
        gaussian_sheet: true,
        ..TestScene::new(size, size - 16, 0.05, 2.4)
    };
    let shear = |y: f64| 1.5 + 0.02 * y;
    let [a, b] = scene.frames(seed, |x, y| {
        [[x - shear(y) / 2.0, y + 0.4], [x + shear(y) / 2.0, y - 0.4]]
    });
    [camera(seed + 1, &a, 20.0, 5.0), camera(seed + 2, &b, 20.0, 5.0)]
}

/// Every processing worth checking for properties that all of them share.
fn variants() -> Vec<Processing> {
    let default = Processing::default();
    let mut all = vec![
        default.clone(),
        single(32, 0.5),
        Processing {
            deform: false,
            ..default.clone()
        },
    ];
    all.extend(Weighting::ALL.iter().map(|&weighting| Processing {
        weighting,
        ..default.clone()
    }));
    all.extend(Interpolator::ALL.iter().map(|&interpolator| Processing {
        interpolator,
        ..default.clone()
    }));
    all.extend(PeakFit::ALL.iter().map(|&peak_fit| Processing {
        peak_fit,
        ..default.clone()
    }));
    all.extend(Normalise::ALL.iter().map(|&normalise| Processing {
        correlation: Correlation::ZeroPadded,
        normalise,
        ..default.clone()
    }));
    all.push(Processing {
        passes: vec![
            Pass {
                window: [48, 30],
                overlap: 0.4,
            },
            Pass {
                window: [31, 23],
                overlap: 0.6,
            },
        ],
        ..default
    });
    all
}

fn largest_difference(one: &VectorField, other: impl Fn(usize) -> [f64; 2]) -> f64 {
    let difference = |(n, v): (usize, &motefield_evaluator::Vector)| {
        let [dx, dy] = other(n);
        (v.dx_px - dx).abs().max((v.dy_px - dy).abs())
    };
    one.vectors.iter().enumerate().map(difference).fold(0.0, f64::max)
}

/// Derived: frame A and frame B are treated alike, except that an odd whole-pixel offset cannot be
/// split evenly. Tolerance: an outlier decided differently by rounding would differ by far more
/// than the 1e-4 px that single precision leaves.
#[test]
fn swapping_the_frames_negates_the_field() {
    let [a, b] = pair(7, 96);
    for processing in variants().into_iter().filter(|processing| processing.deform) {
        let forward = correlate(a.view(), b.view(), &processing).unwrap();
        let backward = correlate(b.view(), a.view(), &processing).unwrap();
        let worst = largest_difference(&forward, |n| {
            let v = backward.vectors[n];
            [-v.dx_px, -v.dy_px]
        });
        assert!(worst < 1e-4, "{processing:?}: {worst}");
    }
}

/// Derived: x and y are treated alike.
#[test]
fn transposing_the_frames_swaps_the_components() {
    let [a, b] = pair(8, 96);
    for processing in variants() {
        let turned = Processing {
            passes: processing
                .passes
                .iter()
                .map(|p| Pass {
                    window: [p.window[1], p.window[0]],
                    overlap: p.overlap,
                })
                .collect(),
            ..processing.clone()
        };
        let upright = correlate(a.view(), b.view(), &processing).unwrap();
        let lying = correlate(a.t(), b.t(), &turned).unwrap();
        assert_eq!([upright.columns, upright.rows], [lying.rows, lying.columns]);
        let worst = largest_difference(&upright, |n| {
            let v = lying.vectors[(n % upright.columns) * lying.columns + n / upright.columns];
            [v.dy_px, v.dx_px]
        });
        assert!(worst < 1e-4, "{processing:?}: {worst}");
    }
}

/// Derived: the autocorrelation is symmetric, so identical frames without noise give no
/// displacement. Tolerance 1e-6 px: single precision of the plane.
#[test]
fn identical_frames_give_zero() {
    let [a, _] = pair(9, 96);
    for processing in variants() {
        let field = correlate(a.view(), a.view(), &processing).unwrap();
        let worst = largest_difference(&field, |_| [0.0; 2]);
        assert!(worst < 1e-6, "{processing:?}: {worst:e}");
    }
}

/// Grey values may have any gain and offset (the weighted mean is subtracted, and peak position and
/// ratio do not depend on the scale).
#[test]
fn gain_and_offset_do_not_matter() {
    let [a, b] = pair(10, 96);
    let processing = Processing::default();
    let field = correlate(a.view(), b.view(), &processing).unwrap();
    let scaled = correlate(
        a.mapv(|v| 0.25 * v + 512.0).view(),
        b.mapv(|v| 0.5 * v + 4096.0).view(),
        &processing,
    );
    let scaled = scaled.unwrap();
    // 4096 has the spacing 5e-4 in single precision, 1e-5 of the brightest pixels here.
    let worst = largest_difference(&field, |n| [scaled.vectors[n].dx_px, scaled.vectors[n].dy_px]);
    assert!(worst < 1e-3, "{worst:e}");
}

#[test]
fn the_same_arguments_give_the_same_bits() {
    let [a, b] = pair(11, 112);
    for processing in variants() {
        let first = correlate(a.view(), b.view(), &processing).unwrap();
        let mut reused = Correlator::new(a.ncols(), a.nrows(), &processing).unwrap();
        // Another pair in between must leave no trace.
        reused.correlate(b.view(), a.view()).unwrap();
        let again = reused.correlate(a.view(), b.view()).unwrap();
        assert_eq!(first, again, "{processing:?}");
    }
}

/// Whole-pixel displacement of whole frames is found exactly by whole-pixel offset and by
/// deformation, even or odd (derived: after the first pass the windows contain the same pixels). 9
/// px is beyond the quarter of the 32 px windows.
#[test]
fn whole_pixel_displacements_are_exact_after_the_first_pass() {
    let [canvas, _] = TestScene::new(160, 160, 0.05, 2.4).uniform(3, [0.0, 0.0]);
    let cut = |x0: usize, y0: usize| Array2::from_shape_fn((112, 112), |(y, x)| canvas[[y + y0, x + x0]]);
    for shift in [[9, -4], [-7, 3], [1, -1]] {
        let at = |sign: isize, k: usize| (20 + sign * shift[k] as isize).try_into().unwrap();
        let (a, b) = (cut(20, 20), cut(at(-1, 0), at(-1, 1)));
        let processing = Processing {
            deform: false,
            ..Processing::default()
        };
        let field = correlate(a.view(), b.view(), &processing).unwrap();
        // Windows shifted beyond the border read mirrored pixels.
        let inner =
            |v: &&motefield_evaluator::Vector| [v.x_px, v.y_px].iter().all(|p| (24.0..88.0).contains(p));
        for v in field.vectors.iter().filter(inner) {
            let error = (v.dx_px - shift[0] as f64).hypot(v.dy_px - shift[1] as f64);
            assert!(error < 1e-5, "{shift:?}: {v:?}");
        }
    }
}

/// Derived: with the displacement split between the frames a vector belongs to the middle of its
/// window. In the strain dx = 6 + g (x - 80), g = 0.02, windows moved in one frame alone would be 3
/// px off and measure 0.06 px wrong; the mean error of both ways must stay below a quarter of that.
/// Particles move on straight paths, so that x - dx/2 and x + dx/2 are exact.
#[test]
fn vectors_belong_to_the_middle_of_their_windows() {
    let displacement = |x: f64| 6.0 + 0.02 * (x - 80.0);
    let scene = TestScene::new(160, 160, 0.05, 2.5);
    let [a, b] = scene
        .frames(12, |x, y| {
            [[x - displacement(x) / 2.0, y], [x + displacement(x) / 2.0, y]]
        })
        .map(|frame| frame.mapv(|v| v as f32));
    for deform in [true, false] {
        let processing = Processing {
            deform,
            ..Processing::default()
        };
        let field = correlate(a.view(), b.view(), &processing).unwrap();
        let errors: Vec<f64> = field
            .vectors
            .iter()
            .filter(|v| v.status == VectorStatus::Valid && (24.0..136.0).contains(&v.x_px))
            .map(|v| v.dx_px - displacement(v.x_px))
            .collect();
        let (mean, _) = crate::support::moments(&errors);
        assert!(mean.abs() < 0.015, "deform = {deform}: mean error {mean} px");
    }
}

/// A patch without particles: no peak there or an outlier, and the vectors around are not affected.
#[test]
fn empty_patches_are_named_and_do_not_spread() {
    let [mut a, mut b] = TestScene::new(160, 160, 0.05, 2.4).uniform(5, [2.3, 1.1]);
    for frame in [&mut a, &mut b] {
        frame
            .indexed_iter_mut()
            .filter(|((y, x), _)| *x > 96 && *y > 96)
            .for_each(|(_, v)| *v = 7.0);
    }
    let field = correlate(a.view(), b.view(), &Processing::default()).unwrap();
    let mut empty = 0;
    for v in &field.vectors {
        let [x, y] = [v.x_px, v.y_px];
        if x > 122.0 && y > 122.0 {
            assert_eq!((v.status, v.peak_ratio), (VectorStatus::NoPeak, 0.0), "{v:?}");
            empty += 1;
        } else if x < 80.0 || y < 80.0 {
            assert_eq!(v.status, VectorStatus::Valid);
            assert!((v.dx_px - 2.3).hypot(v.dy_px - 1.1) < 0.1, "{v:?}");
        }
        assert!(v.dx_px.is_finite() && v.dy_px.is_finite());
    }
    assert!(empty > 0);
}

#[test]
fn limits_give_their_status() {
    let [a, b] = TestScene::new(96, 96, 0.05, 2.4).uniform(6, [2.3, 1.1]);
    let far = Processing {
        max_displacement_px: Some(2.0),
        ..Processing::default()
    };
    let doubtful = Processing {
        min_peak_ratio: Some(1e6),
        ..Processing::default()
    };
    for (processing, status) in [
        (far, VectorStatus::OutOfRange),
        (doubtful, VectorStatus::LowPeakRatio),
    ] {
        let field = correlate(a.view(), b.view(), &processing).unwrap();
        for v in &field.vectors {
            assert!(v.status == status || v.peak_ratio == f64::INFINITY, "{v:?}");
        }
    }
}

#[test]
fn names_are_read_back() {
    fn check<
        T: std::str::FromStr<Err = ProcessingError> + std::fmt::Display + PartialEq + std::fmt::Debug + Copy,
    >(
        all: &[T],
    ) {
        for choice in all {
            assert_eq!(choice.to_string().parse::<T>(), Ok(*choice));
        }
        let message = "nonsense".parse::<T>().unwrap_err().to_string();
        assert!(
            message.contains("nonsense") && message.contains(&all[0].to_string()),
            "{message}"
        );
    }
    check(Weighting::ALL);
    check(Correlation::ALL);
    check(Normalise::ALL);
    check(PeakFit::ALL);
    check(Interpolator::ALL);
    check(PredictorFilter::ALL);
    check(VectorStatus::ALL);
    let names: Vec<&str> = VectorStatus::ALL.iter().map(|status| status.as_str()).collect();
    assert_eq!(
        names,
        ["valid", "outlier", "low-peak-ratio", "out-of-range", "no-peak"]
    );
}

/// Everything that cannot be correlated is refused with the field, the numbers and a remedy.
#[test]
fn bad_input_is_named() {
    let frame = Array2::<f32>::zeros((40, 50));
    let refused = |processing: &Processing| {
        correlate(frame.view(), frame.view(), processing)
            .expect_err("accepted")
            .to_string()
    };
    let with = |change: fn(&mut Processing)| {
        let mut processing = single(32, 0.5);
        change(&mut processing);
        refused(&processing)
    };
    for (message, parts) in [
        (with(|p| p.passes.clear()), ["passes", "at least one"]),
        (
            with(|p| p.passes[0].window = [64, 32]),
            ["passes[0].window: 64x32", "50x40"],
        ),
        (
            with(|p| p.passes.push(Pass::square(41, 0.5))),
            ["passes[1].window: 41x41", "50x40"],
        ),
        (
            with(|p| p.passes[0].window = [3, 32]),
            ["passes[0].window: 3x32", "4 px"],
        ),
        (
            with(|p| p.passes[0].window = [0, 0]),
            ["passes[0].window: 0x0", "4 px"],
        ),
        (
            with(|p| p.passes[0].overlap = 1.0),
            ["passes[0].overlap: 1", "0.75"],
        ),
        (
            with(|p| p.passes[0].overlap = -0.1),
            ["passes[0].overlap: -0.1", "0.75"],
        ),
        (
            with(|p| p.passes[0].overlap = f64::NAN),
            ["passes[0].overlap: NaN", "0.75"],
        ),
        (
            with(|p| p.normalise = Normalise::Window),
            ["normalise: window", "zero-padded"],
        ),
        (
            with(|p| p.normalise = Normalise::Covariance),
            ["normalise: covariance", "zero-padded"],
        ),
        (
            with(|p| p.outlier_threshold = 0.0),
            ["outlier_threshold: 0", "2 is usual"],
        ),
        (
            with(|p| p.outlier_epsilon_px = f64::INFINITY),
            ["outlier_epsilon_px: inf", "0.1 is usual"],
        ),
        (
            with(|p| p.min_peak_ratio = Some(0.5)),
            ["min_peak_ratio: 0.5", "1.2 is usual"],
        ),
        (
            with(|p| p.max_displacement_px = Some(f64::NAN)),
            ["max_displacement_px: NaN", "leave it out"],
        ),
    ] {
        assert!(
            parts.iter().all(|part| message.contains(part)),
            "{message}: not {parts:?}"
        );
    }

    let processing = single(32, 0.5);
    let wider = Array2::<f32>::zeros((40, 51));
    let message = correlate(frame.view(), wider.view(), &processing)
        .unwrap_err()
        .to_string();
    assert!(
        message.contains("51x40") && message.contains("50x40"),
        "{message}"
    );
    for (value, place) in [(f32::NAN, "NaN"), (f32::INFINITY, "inf")] {
        let mut broken = frame.clone();
        broken[[3, 17]] = value;
        let message = correlate(frame.view(), broken.view(), &processing)
            .unwrap_err()
            .to_string();
        assert!(
            message.contains("pixel (17, 3) of frame B") && message.contains(place),
            "{message}"
        );
    }
    let mut correlator = Correlator::new(50, 40, &processing).unwrap();
    let message = correlator
        .correlate(wider.view(), wider.view())
        .unwrap_err()
        .to_string();
    assert!(
        message.contains("51x40") && message.contains("50x40"),
        "{message}"
    );

    let field = correlator.correlate(frame.view(), frame.view()).unwrap();
    let mut from = |change: fn(&mut VectorField)| {
        let mut predictor = field.clone();
        change(&mut predictor);
        correlator
            .correlate_from(frame.view(), frame.view(), &predictor)
            .unwrap_err()
            .to_string()
    };
    assert!(from(|f| f.rows += 1).contains("predictor"));
    assert!(from(|f| f.spacing[0] = 0).contains("spacing"));
    assert!(from(|f| f.vectors[1].dx_px = f64::NAN).contains("vector 1"));
}

/// Stable over 20 passes from a predictor of white noise, ±0.5 px, over an image at rest: with the
/// default processing and, as the theory of the predictor filter (see [`PredictorFilter`]) says,
/// with every weighting once the predictor is smoothed; but not with the unsmoothed top-hat window,
/// whose response is negative for waves shorter than the window, so that they grow by up to 1.217
/// per pass (derived: 1 - min sinc). Bound: what is left after 20 passes is below a thousandth of
/// the start, well under the random error.
#[test]
fn iteration_is_stable_from_a_white_noise_predictor() {
    let [a, b] = TestScene::new(128, 128, 0.05, 2.5).uniform(5, [0.0, 0.0]);
    let run = |weighting, predictor_filter| {
        let processing = Processing {
            weighting,
            predictor_filter,
            ..single(32, 0.75)
        };
        let mut correlator = Correlator::new(128, 128, &processing).unwrap();
        let mut field = correlator.correlate(a.view(), b.view()).unwrap();
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(1);
        for v in &mut field.vectors {
            v.dx_px = rng.random::<f64>() - 0.5;
            v.dy_px = rng.random::<f64>() - 0.5;
        }
        let rms = |field: &VectorField| {
            let squares = field
                .vectors
                .iter()
                .map(|v| v.dx_px.powi(2) + v.dy_px.powi(2))
                .sum::<f64>();
            (squares / (2 * field.vectors.len()) as f64).sqrt()
        };
        let start = rms(&field);
        for _ in 0..20 {
            field = correlator.correlate_from(a.view(), b.view(), &field).unwrap();
        }
        rms(&field) / start
    };
    let default = Processing::default();
    assert!(run(default.weighting, default.predictor_filter) < 1e-3);
    for &weighting in Weighting::ALL {
        for filter in [PredictorFilter::BSpline, PredictorFilter::Regression] {
            let left = run(weighting, filter);
            assert!(left < 1e-3, "{weighting} {filter}: {left}");
        }
    }
    let grown = run(Weighting::TopHat, PredictorFilter::None);
    assert!(grown > 1.0, "top-hat without filter: {grown}");
}
