//! Correlation of many pairs of a steady flow.

use crate::support::{Frame, TestScene, camera, moments};
use motefield_evaluator::{Pass, Processing, ProcessingError, VectorStatus, correlate, correlate_ensemble};

fn dim(seed: u64) -> [Frame; 2] {
    let scene = TestScene {
        electrons: 60.0,
        gaussian_sheet: true,
        ..TestScene::new(96, 96, 0.03, 2.5)
    };
    let [a, b] = scene.frames(seed, |x, y| [[x - 1.15, y + 0.35], [x + 1.15, y - 0.35]]);
    [
        camera(500 + 2 * seed, &a, 20.0, 5.0),
        camera(501 + 2 * seed, &b, 20.0, 5.0),
    ]
}

/// One pair is an ensemble of one, bit for bit.
#[test]
fn ensemble_of_one_is_a_plain_correlation() {
    let [a, b] = dim(1);
    for deform in [true, false] {
        let processing = Processing {
            deform,
            ..Processing::default()
        };
        let alone = correlate(a.view(), b.view(), &processing).unwrap();
        assert_eq!(
            correlate_ensemble(&[[a.view(), b.view()]], &processing).unwrap(),
            alone
        );
    }
}

/// The same pair many times has the same peaks (sums of equal planes; tolerance: rounding in single
/// precision).
#[test]
fn repeated_pairs_change_nothing() {
    let [a, b] = dim(2);
    let alone = correlate(a.view(), b.view(), &Processing::default()).unwrap();
    let many = correlate_ensemble(&[[a.view(), b.view()]; 4], &Processing::default()).unwrap();
    for (v, w) in alone.vectors.iter().zip(&many.vectors) {
        assert!(
            (v.dx_px - w.dx_px).abs() < 1e-4 && (v.dy_px - w.dy_px).abs() < 1e-4,
            "{v:?} {w:?}"
        );
        assert_eq!(v.status, w.status);
    }
}

/// Particles lost in the noise of a single pair are measured from forty. Derived: the noise of the
/// summed plane falls with the square root of their number, so the error of a single pair in the
/// few vectors that are right (well above 0.1 px) falls by at least four.
#[test]
fn dim_pairs_together_show_what_one_does_not() {
    let pairs: Vec<[Frame; 2]> = (0..40).map(dim).collect();
    let views: Vec<_> = pairs.iter().map(|[a, b]| [a.view(), b.view()]).collect();
    let processing = Processing {
        passes: vec![Pass::square(32, 0.5); 3],
        ..Processing::default()
    };
    let errors = |views: &[[ndarray::ArrayView2<f32>; 2]]| {
        let field = correlate_ensemble(views, &processing).unwrap();
        field
            .vectors
            .iter()
            .map(|v| (v.dx_px - 2.3).hypot(v.dy_px + 0.7))
            .collect::<Vec<f64>>()
    };
    let lost = errors(&views[..1]).iter().filter(|error| **error > 0.5).count();
    let together = errors(&views);
    let (mean, _) = moments(&together);
    assert!(
        lost > together.len() / 4,
        "one pair alone: {lost} of {} wrong",
        together.len()
    );
    assert!(
        mean < 0.1 && together.iter().all(|error| *error < 0.3),
        "mean error {mean} px"
    );
}

/// A window that is empty in some pairs is measured from the others, and has no peak only if it is
/// empty in all.
#[test]
fn windows_may_be_empty_in_some_pairs() {
    let full = TestScene::new(64, 64, 0.05, 2.5).uniform(4, [1.4, 0.0]);
    let empty = Frame::zeros((64, 64));
    let processing = Processing {
        passes: vec![Pass::square(32, 0.0)],
        ..Processing::default()
    };
    let pairs = [[empty.view(), empty.view()], [full[0].view(), full[1].view()]];
    let field = correlate_ensemble(&pairs, &processing).unwrap();
    assert!(
        field
            .vectors
            .iter()
            .all(|v| v.status == VectorStatus::Valid && (v.dx_px - 1.4).abs() < 0.2)
    );
    let field = correlate_ensemble(&pairs[..1], &processing).unwrap();
    assert!(field.vectors.iter().all(|v| v.status == VectorStatus::NoPeak));
    assert_eq!(
        correlate_ensemble(&[], &processing),
        Err(ProcessingError::NoPairs)
    );
}
