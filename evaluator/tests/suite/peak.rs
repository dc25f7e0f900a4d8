//! Peak search and sub-pixel fits on planes with known maxima.

use motefield_evaluator::correlation::{Peak, Plane, find_peaks};
use motefield_evaluator::{LowValues, PeakFit};
use proptest::prelude::*;

/// exp of a quadratic form with its maximum of `height` at `centre`.
fn gaussian(centre: [f64; 2], form: [f64; 3], height: f64) -> Plane {
    Plane::from_fn([32, 32], |i, j| {
        let (x, y) = (i as f64 - centre[0], j as f64 - centre[1]);
        (height * (-(form[0] * x * x + form[1] * x * y + form[2] * y * y)).exp()) as f32
    })
}

fn locate(fit: PeakFit, plane: &Plane) -> [f64; 2] {
    fit.locate(LowValues::Least, plane, find_peaks(plane)[0].expect("a peak"))
}

proptest! {
    /// Derived: three samples of a Gaussian along an axis determine its maximum, for any width; on
    /// a rotated ellipse the sections do not, and the two-dimensional fits are needed. Tolerance:
    /// values rounded to single precision (6e-8) in logarithms whose second difference is at least
    /// 0.2.
    #[test]
    fn gaussian_fits_are_exact(
        x in -5.5..5.5f64, y in -5.5..5.5f64, a in 0.1..0.6f64, c in 0.1..0.6f64, tilt in -0.8..0.8f64, height in 1e-3..1e6f64
    ) {
        let upright = gaussian([x, y], [a, 0.0, c], height);
        let tilted = gaussian([x, y], [a, tilt * (a * c).sqrt(), c], height);
        for (fit, plane) in [
            (PeakFit::Gaussian3, &upright),
            (PeakFit::Gaussian2d, &upright),
            (PeakFit::Gaussian2d5, &upright),
            (PeakFit::Gaussian2d, &tilted),
            (PeakFit::Gaussian2d5, &tilted),
        ] {
            let found = locate(fit, plane);
            prop_assert!((found[0] - x).abs() < 5e-6 && (found[1] - y).abs() < 5e-6, "{fit}: {found:?}, not {x} {y}");
        }
    }

    /// Derived: three samples of a parabola determine its vertex.
    #[test]
    fn parabola_is_exact(x in -0.49..0.49f64, y in -0.49..0.49f64, a in 0.1..0.2f64) {
        let plane = Plane::from_fn([8, 8], |i, j| {
            (10.0 - a * (i as f64 - x).powi(2) - 0.3 * (j as f64 - y).powi(2)) as f32
        });
        let found = locate(PeakFit::Parabola3, &plane);
        prop_assert!((found[0] - x).abs() < 1e-5 && (found[1] - y).abs() < 1e-5, "{found:?}, not {x} {y}");
    }

    /// The definition, lag by lag, on planes where many are as high as their neighbours or as
    /// others far away, or lie on the slope of a higher one: the first of them counts, row by row.
    #[test]
    fn peaks_are_those_of_the_definition(
        values in prop::collection::vec(-1..4i8, 43 * 43),
        side in prop::sample::select(vec![2usize, 5, 12, 17, 18, 32, 33, 40]),
        slope in 0..4i8,
    ) {
        let plane = Plane::from_fn([side, side], |i, j| {
            let value = f32::from(values[((j + 21) * 43 + i + 21) as usize]);
            value + f32::from(slope) * (40 - i.abs() - j.abs()) as f32
        });
        let limit = plane.limit()[0] as isize;
        let lags = || (-limit..=limit).flat_map(|y| (-limit..=limit).map(move |x| [x, y]));
        let is_peak = |[x, y]: [isize; 2]| {
            let around = (-1..=1).flat_map(|j| (-1..=1).map(move |i| (x + i, y + j)));
            plane.at(x, y) > 0.0 && around.into_iter().all(|(i, j)| plane.at(i, j) <= plane.at(x, y))
        };
        let highest = |admitted: &dyn Fn([isize; 2]) -> bool| {
            lags().filter(|&lag| is_peak(lag) && admitted(lag)).fold(None, |best: Option<Peak>, lag| {
                let height = plane.at(lag[0], lag[1]);
                match best {
                    Some(best) if best.height >= height => Some(best),
                    _ => Some(Peak { lag, height }),
                }
            })
        };
        let first = highest(&|_| true);
        let second = first.and_then(|f| highest(&|lag| (0..2).any(|k| (lag[k] - f.lag[k]).abs() > 2)));
        prop_assert_eq!(find_peaks(&plane), [first, second]);
    }

    /// Whatever the values, a fit is finite and within 1 px of the peak.
    #[test]
    fn fits_are_finite_on_any_values(values in prop::collection::vec(-1.0..1.0f32, 49), zeros in 0usize..49) {
        let plane = Plane::from_fn([8, 8], |i, j| {
            let n = ((j + 5) * 11 + i + 5) as usize % 49;
            if n < zeros { 0.0 } else { values[n] }
        });
        for peak in find_peaks(&plane).into_iter().flatten() {
            for (&fit, &low) in PeakFit::ALL.iter().flat_map(|fit| LowValues::ALL.iter().map(move |low| (fit, low))) {
                let found = fit.locate(low, &plane, peak);
                for k in 0..2 {
                    prop_assert!((found[k] - peak.lag[k] as f64).abs() <= 1.0, "{fit} {found:?}");
                }
            }
        }
    }
}

/// Derived: the centroid of three samples of a Gaussian of variance 1 at 0.25: (c₊ - c₋) / (c₋ + c₀
/// + c₊).
#[test]
fn centroid_is_the_ratio_of_moments() {
    let plane = gaussian([0.25, 0.0], [0.5, 0.0, 0.5], 1.0);
    let [left, centre, right] = [-1.25f64, -0.25, 0.75].map(|x| (-0.5 * x * x).exp());
    let found = locate(PeakFit::Centroid3, &plane);
    assert!((found[0] - (right - left) / (left + centre + right)).abs() < 1e-6);
    assert!(found[1].abs() < 1e-6);
}

#[test]
fn second_peak_lies_outside_the_first_ones_neighbourhood() {
    let first = gaussian([3.2, -1.0], [0.4, 0.0, 0.4], 2.0);
    let second = gaussian([-7.0, 6.3], [0.4, 0.0, 0.4], 1.0);
    // A bump on the flank of the first peak, higher than the second peak and 2 px away, does not
    // count as second peak.
    let plane = Plane::from_fn([32, 32], |i, j| {
        first.at(i, j) + second.at(i, j) + if (i, j) == (3, 1) { 1.2 } else { 0.0 }
    });
    let [one, two] = find_peaks(&plane);
    assert_eq!(one.map(|p| p.lag), Some([3, -1]));
    assert_eq!(two.map(|p| p.lag), Some([-7, 6]));
}

#[test]
fn search_stays_within_half_the_window() {
    let plane = Plane::from_fn([32, 32], |i, j| match (i, j) {
        (16, 0) => 5.0, // outside: (32 - 1) / 2 = 15
        (15, 3) => 1.0,
        _ => 0.0,
    });
    let [one, two] = find_peaks(&plane);
    assert_eq!(
        one,
        Some(Peak {
            lag: [15, 3],
            height: 1.0
        })
    );
    assert_eq!(two, None);
}

#[test]
fn nothing_above_zero_is_no_peak() {
    assert_eq!(find_peaks(&Plane::new([16, 16])), [None, None]);
    assert_eq!(
        find_peaks(&Plane::from_fn([16, 16], |i, j| -1.0 - (i * i + j * j) as f32)),
        [None, None]
    );
}

/// Derived: neighbours of 0 and 0.5 beside a peak of 1, and a least value of -0.5 elsewhere. The
/// parabola's vertex is 0.5 (r - l)/(2 c - l - r) off; the Gaussian's the same with the logarithms
/// of the values after the remedy.
#[test]
fn values_without_a_logarithm_are_treated_as_named() {
    let plane = Plane::from_fn([16, 16], |i, j| match (i, j) {
        (0, 0) => 1.0,
        (1, 0) => 0.5,
        (0, -1) => 0.25,
        (-5, 3) => -0.5,
        _ => 0.0,
    });
    let peak = find_peaks(&plane)[0].expect("a peak");
    let vertex = |[l, c, r]: [f64; 3]| 0.5 * (r - l) / (2.0 * c - l - r);
    let log = |c: [f64; 3]| vertex(c.map(f64::ln));
    for fit in [PeakFit::Gaussian3, PeakFit::Gaussian2d] {
        for (low, x, y) in [
            (LowValues::Least, log([0.5, 1.5, 1.0]), log([0.75, 1.5, 0.5])),
            (
                LowValues::Hundredth,
                log([0.01, 1.0, 0.5]),
                log([0.25, 1.0, 0.01]),
            ),
            (
                LowValues::Parabola,
                vertex([0.0, 1.0, 0.5]),
                vertex([0.25, 1.0, 0.0]),
            ),
        ] {
            let found = fit.locate(low, &plane, peak);
            let near = (found[0] - x).abs() < 1e-12 && (found[1] - y).abs() < 1e-12;
            assert!(near, "{fit} {low}: {found:?}, not {x} {y}");
        }
    }
    // Where the neighbour is itself the least value, nothing is left of it but the hundredth.
    let bare = Plane::from_fn([16, 16], |i, j| {
        f32::from(u8::from((i, j) == (0, 0) || (i, j) == (1, 0)))
    });
    let found = PeakFit::Gaussian3.locate(LowValues::Least, &bare, find_peaks(&bare)[0].expect("a peak"));
    assert!((found[0] - log([0.01, 1.0, 1.0])).abs() < 1e-12, "{found:?}");
}
