//! Figures of a score, by hand; and of samples that hardly have any.

use motefield_evaluator::score::{
    CannotTell, ErrorSample, Errors, Truths, VectorTruth, amplitude_ratio, dynamic_range, fractions,
    peak_locking,
};
use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::uncertainty::reliability;
use motefield_evaluator::{Vector, VectorStatus};
use proptest::prelude::*;

fn vector(dx_px: f64, dy_px: f64, status: VectorStatus) -> Vector {
    Vector {
        x_px: 0.0,
        y_px: 0.0,
        dx_px,
        dy_px,
        peak_ratio: 2.0,
        status,
    }
}

/// Derived by hand. A correct vector counts as detected although rejected; a wrong one that passed
/// does not, nor does one without a peak whose predictor happens to be right.
#[test]
fn detection_is_not_the_absence_of_outliers() {
    let truth = VectorTruth {
        point_px: vec![[3.0, -1.0]; 6],
        window_px: vec![[3.0, -1.0]; 6],
    };
    let vectors = [
        vector(3.1, -1.0, VectorStatus::Valid),
        vector(3.0, -1.9, VectorStatus::Valid),
        vector(3.1, -1.0, VectorStatus::Outlier),
        vector(3.8, -0.2, VectorStatus::Valid),
        vector(3.0, -1.0, VectorStatus::NoPeak),
        vector(-7.0, 4.0, VectorStatus::LowPeakRatio),
    ];
    let errors = Errors::of(&vectors, &truth);
    assert_eq!(errors.detected, [true, true, true, false, false, false]);
    let kept: Vec<bool> = errors.point_px.iter().map(|e| e[0].is_finite()).collect();
    assert_eq!(kept, [true, true, false, false, false, false]);
    let pairs = [errors.clone(), errors];
    let sample = ErrorSample {
        columns: 3,
        reach: [0, 0],
        pairs: &pairs,
        truths: Truths::Repeat,
        part: None,
        confidence: Confidence::USUAL,
    };
    let score = sample.score();
    assert_eq!(sample.total_error(), score.total_error());
    assert_eq!(
        (score.outliers.value, score.valid_detection.value),
        (4.0 / 6.0, 0.5)
    );
    // Two of six vectors are kept, 0.1 and 0.9 px off: mean square (2 · 0.41 + 4 · 1)/6.
    assert!((score.total_with_outliers_px() - (4.82f64 / 6.0).sqrt()).abs() < 1e-12);
    assert!(score.valid_detection.lo > 0.0 && score.valid_detection.hi < 1.0);
    // Lengths 0.1 and 0.9, twice: the median lies halfway, and no more than the outlier limit is
    // possible.
    let [median, _, _, last] = sample.percentiles();
    assert!((median.value - 0.5).abs() < 1e-12, "{median:?}");
    assert_eq!((last.hi, median.lo), (1.0, 0.0));
}

/// Without any valid vector every one counts as an outlier, at the limit.
#[test]
fn nothing_valid_is_off_by_the_limit() {
    let truth = VectorTruth {
        point_px: vec![[0.0; 2]; 4],
        window_px: vec![[0.0; 2]; 4],
    };
    let errors = [Errors::of(&[vector(0.0, 0.0, VectorStatus::NoPeak); 4], &truth)];
    let sample = ErrorSample {
        columns: 2,
        reach: [0, 0],
        pairs: &errors,
        truths: Truths::Repeat,
        part: None,
        confidence: Confidence::USUAL,
    };
    assert_eq!(sample.score().total_with_outliers_px(), 1.0);
}

/// The function sees the errors of the pair and the number of the vector, and only the part that
/// counts has values.
#[test]
fn values_stand_at_the_vectors_that_count() {
    let none = Errors {
        point_px: vec![[f64::NAN; 2]; 4],
        window_px: vec![[f64::NAN; 2]; 4],
        detected: vec![false; 4],
    };
    let found = Errors {
        detected: vec![true; 4],
        ..none.clone()
    };
    let sample = ErrorSample {
        columns: 2,
        reach: [1, 1],
        pairs: &[none, found],
        truths: Truths::Repeat,
        part: Some(&[true, false, false, true]),
        confidence: Confidence::USUAL,
    };
    let values = sample.values(|errors, k| f64::from(u8::from(errors.detected[k])) * 10.0 + k as f64);
    assert_eq!((values.columns, values.reach, values.count()), (2, [1, 1], 4));
    assert_eq!(values.pair_means(), [1.5, 11.5]);
}

/// One to three pairs on a grid of 4 x 3 windows of which hardly any gives a vector, and of which
/// some may lie where there is no truth.
fn sparse() -> impl Strategy<Value = (Vec<Errors>, VectorTruth)> {
    let kept = prop::collection::vec(prop::sample::select(vec![false, false, false, true]), 36);
    let known = prop::collection::vec(prop::sample::select(vec![false, true, true]), 12);
    (1usize..=3, kept, known, -0.5..0.5f64).prop_map(|(pairs, kept, known, step)| {
        let point_px: Vec<[f64; 2]> = (0..12)
            .map(|k| match known[k] {
                true => [2.0 + step * k as f64, 0.25 * k as f64],
                false => [f64::NAN; 2],
            })
            .collect();
        let truth = VectorTruth {
            point_px: point_px.clone(),
            window_px: point_px,
        };
        let errors = |pair: usize| {
            let vectors: Vec<Vector> = (0..12)
                .map(|k| {
                    let status = match kept[12 * pair + k] {
                        true => VectorStatus::Valid,
                        false => VectorStatus::Outlier,
                    };
                    vector(2.1 + step * k as f64, 0.25 * k as f64, status)
                })
                .collect();
            Errors::of(&vectors, &truth)
        };
        ((0..pairs).map(errors).collect(), truth)
    })
}

proptest! {
    /// However few vectors there are, each figure is there; what is not known is `NaN` with an
    /// interval that contains anything, and what is known lies in its interval.
    #[test]
    fn hardly_a_vector_is_no_reason_to_give_up((pairs, truth) in sparse()) {
        let seen: Vec<bool> = truth.point_px.iter().map(|t| t[0].is_finite()).collect();
        let sample = ErrorSample {
            columns: 4,
            reach: [1, 1],
            pairs: &pairs,
            truths: Truths::Repeat,
            part: Some(&seen),
            confidence: Confidence::USUAL,
        };
        let score = sample.score();
        let mut all = vec![score.total_px, score.outliers, score.valid_detection];
        for part in score.point.iter().chain(&score.window) {
            all.extend([part.bias_px, part.random_px, part.total_px]);
            all.extend(part.local_px.ok());
        }
        all.extend(sample.percentiles());
        for component in 0..2 {
            let locking = peak_locking(&sample, &truth, component);
            all.push(locking.degree);
            prop_assert!(!(locking.p_value < 0.0 || locking.p_value > 1.0), "{locking:?}");
            all.push(amplitude_ratio(&sample, &truth, component));
            all.extend(fractions(&sample, &truth, component, 4).iter().map(|class| class.measured));
            let errors = sample.values(move |errors, k| errors.point_px[k][component]);
            let found = reliability(&errors.map(|_| 0.1), &errors, 3, Confidence::USUAL);
            all.extend([found.coverage[0], found.coverage[1], found.ratio, found.rank_correlation]);
        }
        all.push(dynamic_range(5.0, 128.0, score.point[0].random_px).velocity);
        for figure in all {
            let inside = figure.lo <= figure.value && figure.value <= figure.hi;
            prop_assert!(figure.value.is_nan() || inside, "{figure:?} of {pairs:?}");
        }
    }
}

/// Errors of pairs along x, and none along y, all vectors valid.
fn along_x(pairs: &[&[f64]]) -> Vec<Errors> {
    let one = |pair: &&[f64]| {
        let point_px: Vec<[f64; 2]> = pair.iter().map(|e| [*e, 0.0]).collect();
        Errors {
            detected: vec![true; pair.len()],
            window_px: point_px.clone(),
            point_px,
        }
    };
    pairs.iter().map(one).collect()
}

/// By hand: what repeats at fixed places, 0.1 and 0.3 px, is bias 0.2 px and local bias 0.1 px;
/// ±0.05 px from pair to pair at each place, independently, have the variance 2 · 0.05² at either
/// place, and the mean of all, 0.2 px, that over the four values. So the random part is
/// 0.005 - 0.005/4, the local one 0.1² - 0.005/2 + 0.005/4, and all squares add up to the total's.
#[test]
fn three_parts_of_repeated_pairs() {
    let errors = along_x(&[&[0.15, 0.25], &[0.05, 0.35]]);
    let mut sample = ErrorSample {
        columns: 2,
        reach: [0, 0],
        pairs: &errors,
        truths: Truths::Repeat,
        part: None,
        confidence: Confidence::USUAL,
    };
    let x = sample.score().point[0];
    let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} is not {b}: {x:?}");
    near(x.bias_px.value, 0.2);
    near(x.local_px.unwrap().value.powi(2), 0.01 - 0.00125);
    near(x.random_px.value.powi(2), 0.00375);
    near(
        x.bias_px.value.powi(2) + x.local_px.unwrap().value.powi(2) + x.random_px.value.powi(2),
        x.total_px.value.powi(2),
    );
    // The same pairs of flows that differ tell only what both parts make together.
    sample.truths = Truths::Differ;
    let x = sample.score().point[0];
    assert_eq!(x.local_px, Err(CannotTell::FlowDiffers));
    assert!((x.random_px.value.powi(2) - 0.0125).abs() < 1e-12 && x.random_px.lo == 0.0);
}

/// One pair, or none of whose places is seen twice, cannot tell what repeats: the random part holds
/// both, and may be nothing but local bias.
#[test]
fn one_pair_cannot_tell_what_repeats() {
    let nothing = f64::NAN;
    for (pairs, reason) in [
        (along_x(&[&[0.1, 0.3, 0.2, 0.6]]), CannotTell::OnePair),
        (
            along_x(&[&[0.1, 0.3, nothing, nothing], &[nothing, nothing, 0.2, 0.6]]),
            CannotTell::NothingRepeats,
        ),
    ] {
        let sample = ErrorSample {
            columns: 4,
            reach: [0, 0],
            pairs: &pairs,
            truths: Truths::Repeat,
            part: None,
            confidence: Confidence::USUAL,
        };
        let x = sample.score().point[0];
        assert_eq!(x.local_px, Err(reason));
        assert!(
            (x.random_px.value - 0.035f64.sqrt()).abs() < 1e-12 && x.random_px.lo == 0.0,
            "{x:?}"
        );
        let parts = x.bias_px.value.powi(2) + x.random_px.value.powi(2);
        assert!((parts - x.total_px.value.powi(2)).abs() < 1e-12);
    }
}
