//! Fields interpolated from data: they pass through the data, are exact and converge as the methods
//! promise, and bad data are refused.

use motefield_generator::flow::{DataError, Flow, GridField, ScatteredField, Vec3};
use proptest::prelude::*;

/// A quadratic field and its gradient.
fn quadratic([x, y, z]: Vec3) -> (Vec3, [Vec3; 3]) {
    let value = [
        1.0 + 0.1 * x - 0.2 * y + 0.01 * x * x - 0.02 * x * y + 0.005 * y * y,
        -2.0 + 0.3 * y + 0.015 * y * y + 0.4 * z,
        0.5 - 0.01 * x * y + 0.1 * z * z,
    ];
    let gradient = [
        [0.1 + 0.02 * x - 0.02 * y, -0.2 - 0.02 * x + 0.01 * y, 0.0],
        [0.0, 0.3 + 0.03 * y, 0.4],
        [-0.01 * y, -0.01 * x, 0.2 * z],
    ];
    (value, gradient)
}

fn grid_of(f: impl Fn(Vec3) -> Vec3, first: Vec3, spacing: Vec3, count: [usize; 3]) -> GridField {
    let nodes = (0..count.iter().product()).map(|k: usize| {
        let index = [k % count[0], k / count[0] % count[1], k / count[0] / count[1]];
        f([0, 1, 2].map(|i| first[i] + spacing[i] * index[i] as f64))
    });
    GridField::new(first, spacing, count, nodes.collect()).unwrap()
}

/// Scattered nodes: Halton's sequence in the square from −50 to 50, and its corners, so that the
/// square is the hull.
fn scattered_of(f: impl Fn(Vec3) -> Vec3, count: u32) -> ScatteredField {
    let halton = |mut k: u32, base: u32| {
        let (mut value, mut place) = (0.0, 1.0 / f64::from(base));
        while k > 0 {
            value += place * f64::from(k % base);
            (k, place) = (k / base, place / f64::from(base));
        }
        value
    };
    let mut at: Vec<[f64; 2]> = (1..=count)
        .map(|k| [100.0 * halton(k, 2) - 50.0, 100.0 * halton(k, 3) - 50.0])
        .collect();
    at.extend([[-50.0, -50.0], [50.0, -50.0], [-50.0, 50.0], [50.0, 50.0]]);
    let values: Vec<Vec3> = at.iter().map(|[x, y]| f([*x, *y, 0.0])).collect();
    ScatteredField::new(&at, &values).unwrap()
}

proptest! {
    /// Cubics by central differences reproduce quadratics exactly, up to the last node, but for the
    /// rounding of numbers up to 100.
    #[test]
    fn quadratic_fields_are_exact(x in -49.9..49.9f64, y in -49.9..49.9f64, z in -3.9..3.9f64) {
        let grid = grid_of(|at| quadratic(at).0, [-50.0, -50.0, -4.0], [10.0, 12.5, 2.0], [11, 9, 5]);
        let (value, gradient) = quadratic([x, y, z]);
        let (got, slope) = (grid.velocity([x, y, z], 0.3), grid.gradient([x, y, z], 0.3));
        for i in 0..3 {
            prop_assert!((got[i] - value[i]).abs() < 1e-11);
            for j in 0..3 {
                prop_assert!((slope[i][j] - gradient[i][j]).abs() < 1e-11);
            }
        }
    }

    /// The scattered field does so too, its slopes being fitted by quadratics; the equations of the
    /// fit lose about six digits.
    #[test]
    fn quadratic_fields_are_exact_on_scattered_nodes(x in -49.9..49.9f64, y in -49.9..49.9f64) {
        thread_local!(static FIELD: ScatteredField = scattered_of(|at| quadratic(at).0, 300));
        let (value, gradient) = quadratic([x, y, 0.0]);
        let (got, slope) = FIELD.with(|f| (f.velocity([x, y, 9.0], 0.3), f.gradient([x, y, 9.0], 0.3)));
        for i in 0..3 {
            prop_assert!((got[i] - value[i]).abs() < 1e-9, "{got:?} {value:?}");
            for j in 0..2 {
                prop_assert!((slope[i][j] - gradient[i][j]).abs() < 1e-9, "{slope:?} {gradient:?}");
            }
        }
    }
}

/// Halfway between two nodes the cubic is (9 (b + c) − (a + d))/16 (Catmull and Rom 1974; Keys
/// 1981).
#[test]
fn grid_is_catmull_and_roms() {
    let values = [3.0, -1.0, 4.0, 1.0, 5.0, -9.0];
    let grid = grid_of(
        |[x, _, _]| [values[x as usize], 0.0, 0.0],
        [0.0; 3],
        [1.0; 3],
        [6, 2, 1],
    );
    for k in 1..4 {
        let expected = (9.0 * (values[k] + values[k + 1]) - values[k - 1] - values[k + 2]) / 16.0;
        let got = grid.velocity([k as f64 + 0.5, 0.7, 0.0], 0.0)[0];
        assert!((got - expected).abs() < 1e-14, "{got} {expected}");
        // The slope at a node is the central difference.
        let slope = grid.gradient([k as f64, 0.7, 0.0], 0.0)[0][0];
        assert!((slope - 0.5 * (values[k + 1] - values[k - 1])).abs() < 1e-14);
    }
}

/// Both fields pass through their data and keep the last value outside.
#[test]
fn data_are_kept_and_held() {
    let f = |[x, y, _]: Vec3| [(0.1 * x).sin(), (0.07 * y).cos(), 0.01 * x * y];
    let grid = grid_of(f, [-50.0, -50.0, 0.0], [10.0, 10.0, 1.0], [11, 11, 1]);
    let scattered = scattered_of(f, 200);
    for flow in [&grid as &dyn Flow, &scattered] {
        for [x, y] in [[-50.0, -50.0], [50.0, -50.0], [-50.0, 50.0], [50.0, 50.0]] {
            let (node, outside) = (f([x, y, 0.0]), [1.7 * x, 1.2 * y, 5.0]);
            for (got, expected) in flow.velocity(outside, 0.0).iter().zip(node) {
                assert!((got - expected).abs() < 1e-12);
            }
            assert_eq!(flow.gradient(outside, 0.0), [[0.0; 3]; 3]);
        }
        // Beside an edge: the value on the edge, which changes only along it.
        let (edge, outside) = (
            flow.velocity([50.0 - 1e-9, 12.0, 0.0], 0.0),
            flow.velocity([80.0, 12.0, 0.0], 0.0),
        );
        for (a, b) in edge.iter().zip(outside) {
            assert!((a - b).abs() < 1e-8, "{edge:?} {outside:?}");
        }
    }
}

/// Halving the distance between nodes divides the error of a smooth field by 8, since the methods
/// are exact for quadratics; by at least 5 in one step of refinement of a coarse set.
#[test]
fn errors_fall_with_the_third_power() {
    let f = |[x, y, _]: Vec3| [(0.08 * x).sin() * (0.05 * y).cos(), (0.06 * (x + y)).cos(), 0.0];
    let error = |flow: &dyn Flow| {
        (0..2000)
            .map(|k| {
                let at = [
                    (k * 37 % 1000) as f64 * 0.08 - 40.0,
                    (k * 91 % 1009) as f64 * 0.079 - 40.0,
                    0.0,
                ];
                let (got, expected) = (flow.velocity(at, 0.0), f(at));
                (got[0] - expected[0]).powi(2) + (got[1] - expected[1]).powi(2)
            })
            .sum::<f64>()
            .sqrt()
    };
    let grid = |n: usize| grid_of(f, [-50.0, -50.0, 0.0], [100.0 / (n - 1) as f64; 3], [n, n, 1]);
    let (coarse, fine) = (error(&grid(11)), error(&grid(21)));
    assert!(coarse / fine > 5.0, "{coarse} {fine}");
    let (coarse, fine) = (error(&scattered_of(f, 400)), error(&scattered_of(f, 1600)));
    assert!(coarse / fine > 5.0, "{coarse} {fine}");
}

/// The same nodes make the same field, to the bit.
#[test]
fn scattered_fields_are_repeatable() {
    let f = |[x, y, _]: Vec3| [(0.1 * x).sin(), (0.1 * y).cos(), 0.0];
    // On a grid every square has two possible diagonals.
    let nodes: Vec<[f64; 2]> = (0..400).map(|k| [f64::from(k % 20), f64::from(k / 20)]).collect();
    let values: Vec<Vec3> = nodes.iter().map(|[x, y]| f([*x, *y, 0.0])).collect();
    let (a, b) = (
        ScatteredField::new(&nodes, &values).unwrap(),
        ScatteredField::new(&nodes, &values).unwrap(),
    );
    assert_eq!(a, b);
    assert_eq!(
        scattered_of(f, 500).velocity([3.0, 4.0, 0.0], 0.0),
        scattered_of(f, 500).velocity([3.0, 4.0, 0.0], 0.0)
    );
}

#[test]
fn bad_data_are_refused() {
    let grid = |first, spacing, count, nodes: usize, value: f64| {
        GridField::new(first, spacing, count, vec![[value; 3]; nodes])
    };
    assert!(grid([0.0; 3], [1.0; 3], [2, 2, 1], 4, 1.0).is_ok());
    assert!(matches!(
        grid([0.0; 3], [1.0; 3], [1, 4, 1], 4, 1.0),
        Err(DataError::Count { .. })
    ));
    assert!(matches!(
        grid([0.0; 3], [1.0; 3], [2, 2, 1], 5, 1.0),
        Err(DataError::Count { .. })
    ));
    assert!(matches!(
        grid([0.0; 3], [1.0; 3], [usize::MAX, 2, 1], 4, 1.0),
        Err(DataError::Count { .. })
    ));
    assert!(matches!(
        grid([0.0; 3], [1.0, 0.0, 1.0], [2, 2, 1], 4, 1.0),
        Err(DataError::Spacing(_))
    ));
    assert!(matches!(
        grid([f64::NAN; 3], [1.0; 3], [2, 2, 1], 4, 1.0),
        Err(DataError::NotFinite { .. })
    ));
    assert!(matches!(
        grid([0.0; 3], [1.0; 3], [2, 2, 1], 4, f64::INFINITY),
        Err(DataError::NotFinite { .. })
    ));
    let scattered = |at: &[[f64; 2]]| ScatteredField::new(at, &vec![[1.0; 3]; at.len()]);
    assert!(scattered(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]).is_ok());
    assert!(matches!(
        scattered(&[[0.0, 0.0], [1.0, 0.0]]),
        Err(DataError::Count { .. })
    ));
    assert!(matches!(
        scattered(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [7.0, 7.0]]),
        Err(DataError::OnALine)
    ));
    assert!(matches!(
        scattered(&[[0.0, 0.0], [1.0, f64::NAN], [2.0, 2.0]]),
        Err(DataError::NotFinite { index: 1, .. })
    ));
    assert!(matches!(
        scattered(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 0.0]]),
        Err(DataError::SamePlace { first: 1, second: 3 })
    ));
    assert!(ScatteredField::new(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], &[[0.0; 3]; 2]).is_err());
}
