//! Preparation of frames: against its formulas in closed form, and for its purpose.

use std::sync::Arc;

use crate::support::{Frame, TestScene, moments};
use motefield_evaluator::prepare::{Background, Preparation, Statistic};
use motefield_evaluator::{Processing, ProcessingError, VectorStatus, correlate, correlate_ensemble};
use ndarray::{Array2, array};

fn frame(value: impl Fn(f64, f64) -> f64) -> Frame {
    Array2::from_shape_fn((40, 50), |(y, x)| value(x as f64, y as f64) as f32)
}

/// The frame after its preparation.
fn prepared(preparation: &Preparation, frame: &Frame) -> Result<Frame, ProcessingError> {
    let pairs = preparation.apply(&[[frame.view(), frame.view()]])?;
    let [a, b] = pairs.expect("something to do").remove(0);
    assert_eq!(a, b);
    Ok(a)
}

#[test]
fn backgrounds_by_hand() {
    let frames = [
        array![[1.0f32, 5.0], [3.0, 8.0]],
        array![[2.0, 4.0], [9.0, 8.0]],
        array![[6.0, 6.0], [0.0, 8.0]],
    ];
    let views = || frames.iter().map(|f| f.view());
    assert_eq!(
        Statistic::Minimum.of(views()).unwrap(),
        array![[1.0, 4.0], [0.0, 8.0]]
    );
    assert_eq!(
        Statistic::Mean.of(views()).unwrap(),
        array![[3.0, 5.0], [4.0, 8.0]]
    );
    let subtracting = |background| Preparation {
        background,
        ..Preparation::default()
    };
    let given = subtracting(Background::Given([(); 2].map(|()| Arc::new(frames[0].clone()))));
    assert_eq!(
        prepared(&given, &frames[1]).unwrap(),
        array![[1.0, -1.0], [6.0, 0.0]]
    );
    // Made from the frames that are measured together, separately for each pulse.
    let [first, second, third] = frames.each_ref().map(|f| f.view());
    let made = subtracting(Background::Made(Statistic::Minimum));
    let pairs = made.apply(&[[first, second], [second, third]]).unwrap().unwrap();
    assert_eq!(pairs[0][0], array![[0.0, 1.0], [0.0, 0.0]]);
    assert_eq!(pairs[0][1], array![[0.0, 0.0], [9.0, 0.0]]);
    assert_eq!(pairs[1][0], array![[1.0, 0.0], [6.0, 0.0]]);
    assert_eq!(made.apply(&[[first, second]]), Err(ProcessingError::LoneFrame));
}

/// Derived: of 99 pixels of 10 and one of 1010 the median is 10, the mean 20, the variance 0.01 ·
/// 0.99 · 1000² and the standard deviation 99.4987.
#[test]
fn bright_spots_are_capped() {
    let spot = Array2::from_shape_fn((10, 10), |at| if at == (4, 7) { 1010.0f32 } else { 10.0 });
    let cap = Preparation {
        intensity_cap: Some(2.0),
        ..Preparation::default()
    };
    let capped = prepared(&cap, &spot).unwrap();
    assert!(
        (capped[[4, 7]] - (10.0 + 2.0 * 99.4987)).abs() < 1e-3,
        "{}",
        capped[[4, 7]]
    );
    assert_eq!(capped[[0, 0]], 10.0);
}

/// Derived: the mean over a square of odd side is the middle value of a plane a + bx + cy; a wave
/// cos(2πfx) keeps the fraction 1 - D, with D Dirichlet's kernel sin(πfn)/(n sin πf) of the n
/// pixels.
#[test]
fn high_pass_removes_planes_and_keeps_waves() {
    let high_pass = Preparation {
        high_pass_px: Some(9),
        ..Preparation::default()
    };
    let plane = prepared(&high_pass, &frame(|x, y| 3.0 + 0.5 * x - 0.25 * y)).unwrap();
    let f = 0.23;
    let phase = std::f64::consts::PI * f;
    let wave = |x: f64| (2.0 * phase * x).cos();
    let passed = prepared(&high_pass, &frame(|x, _| wave(x))).unwrap();
    let share = 1.0 - (9.0 * phase).sin() / (9.0 * phase.sin());
    for y in 4..36 {
        for x in 4..46 {
            assert!(plane[[y, x]].abs() < 1e-5, "{}", plane[[y, x]]);
            assert!((f64::from(passed[[y, x]]) - share * wave(x as f64)).abs() < 1e-5);
        }
    }
}

/// Derived: gain and offset that vary slowly drop out; in a chequerboard of ±A on C every value
/// becomes ±1 except for the odd one out of n² pixels: mean ±A/n², variance A²(1 - 1/n⁴), so ±(1 -
/// 1/n²)/sqrt(1 - 1/n⁴).
#[test]
fn local_normalisation_brings_everything_to_one_contrast() {
    let sign = |x: f64, y: f64| if (x + y) % 2.0 == 0.0 { 1.0 } else { -1.0 };
    let gain = |x: f64| if x < 25.0 { 3.0 } else { 400.0 };
    let chequered = frame(|x, y| 50.0 + gain(x) * sign(x, y));
    let preparation = Preparation {
        local_normalisation_px: Some(5),
        ..Preparation::default()
    };
    let normalised = prepared(&preparation, &chequered).unwrap();
    let n2 = 25.0f64;
    let expected = (1.0 - 1.0 / n2) / (1.0 - 1.0 / (n2 * n2)).sqrt();
    for (y, x) in [(10, 10), (10, 11), (20, 40), (35, 41)] {
        let value = f64::from(normalised[[y, x]]);
        assert!(
            (value - expected * sign(x as f64, y as f64)).abs() < 1e-5,
            "{value} at {x}, {y}"
        );
    }
    let uniform = prepared(&preparation, &frame(|_, _| 1234.5)).unwrap();
    assert!(uniform.iter().all(|&v| v == 0.0));
}

#[test]
fn masked_pixels_count_nowhere() {
    let masked = |x: f64, y: f64| x > 30.0 && y > 10.0;
    let mask = Array2::from_shape_fn((40, 50), |(y, x)| masked(x as f64, y as f64));
    let scene = |glare: f64| {
        frame(|x, y| {
            if masked(x, y) {
                glare
            } else {
                (x * 7.0 + y * y) % 13.0
            }
        })
    };
    let preparation = Preparation {
        intensity_cap: Some(1.0),
        high_pass_px: Some(7),
        local_normalisation_px: Some(11),
        mask: Some(Arc::new(mask.clone())),
        background: Background::None,
    };
    let dark = prepared(&preparation, &scene(0.0)).unwrap();
    let bright = prepared(&preparation, &scene(1e5)).unwrap();
    assert_eq!(dark, bright);
    let level = dark[[39, 49]];
    assert!(dark.indexed_iter().all(|(at, &v)| !mask[at] || v == level));
}

#[test]
fn wrong_settings_are_named() {
    let frame = frame(|x, _| x);
    let other = Array2::zeros((3, 4));
    for (preparation, part) in [
        (
            Preparation {
                intensity_cap: Some(0.0),
                ..Preparation::default()
            },
            "intensity_cap: 0",
        ),
        (
            Preparation {
                high_pass_px: Some(8),
                ..Preparation::default()
            },
            "high_pass_px: 8",
        ),
        (
            Preparation {
                local_normalisation_px: Some(0),
                ..Preparation::default()
            },
            "local_normalisation_px: 0",
        ),
        (
            Preparation {
                background: Background::Given([(); 2].map(|()| Arc::new(other.clone()))),
                ..Preparation::default()
            },
            "the background is 4x3 px",
        ),
        (
            Preparation {
                mask: Some(Arc::new(other.mapv(|v: f32| v > 0.0))),
                ..Preparation::default()
            },
            "the mask is 4x3 px",
        ),
    ] {
        let message = prepared(&preparation, &frame).unwrap_err().to_string();
        assert!(message.contains(part), "{message}");
    }
    assert!(
        Statistic::Mean
            .of([])
            .unwrap_err()
            .to_string()
            .contains("no frame")
    );
    assert!(Statistic::Minimum.of([frame.view(), other.view()]).is_err());
}

/// Purpose: a bright fixed image (scratches that do not move) pulls displacements to zero; without
/// the background of ten frames it does not. Common practice, no source for the numbers: the error
/// falls to less than a tenth.
#[test]
fn background_frees_the_particles_from_a_fixed_pattern() {
    let [pattern, _] = TestScene {
        electrons: 4000.0,
        ..TestScene::new(128, 128, 0.04, 3.0)
    }
    .uniform(99, [0.0, 0.0]);
    let pairs: Vec<[Frame; 2]> = (0..5)
        .map(|seed| {
            TestScene::new(128, 128, 0.03, 2.5)
                .uniform(seed, [2.4, 0.7])
                .map(|frame| frame + &pattern)
        })
        .collect();
    let background =
        [0, 1].map(|k| Arc::new(Statistic::Minimum.of(pairs.iter().map(|p| p[k].view())).unwrap()));
    let processing = Processing {
        preparation: Preparation {
            background: Background::Given(background),
            ..Preparation::default()
        },
        ..Processing::default()
    };
    let error = |processing: &Processing| {
        let [a, b] = &pairs[0];
        let field = correlate(a.view(), b.view(), processing).unwrap();
        let errors: Vec<f64> = field
            .vectors
            .iter()
            .map(|v| (v.dx_px - 2.4).hypot(v.dy_px - 0.7))
            .collect();
        (
            moments(&errors).0,
            field
                .vectors
                .iter()
                .filter(|v| v.status == VectorStatus::Valid)
                .count(),
        )
    };
    let (raw, _) = error(&Processing::default());
    let (clean, valid) = error(&processing);
    assert!(
        raw > 1.0 && clean < 0.1 && valid > 60,
        "{raw} px raw, {clean} px prepared, {valid} valid"
    );
    // Made from the pairs that are measured together the background is the same.
    let views: Vec<_> = pairs.iter().map(|[a, b]| [a.view(), b.view()]).collect();
    let mut made = processing.clone();
    made.preparation.background = Background::Made(Statistic::Minimum);
    assert_eq!(
        correlate_ensemble(&views, &made).unwrap(),
        correlate_ensemble(&views, &processing).unwrap()
    );
}
