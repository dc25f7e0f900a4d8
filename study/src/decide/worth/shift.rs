//! Where the error is smallest, from three settings along one axis, and by how far a change of the
//! rig moves that place.
//!
//! About its smallest value the logarithm of the mean squared error y is a parabola over the
//! coordinate x of the axis (Lagrange): with d_k = 1/∏(x_k − x_j) and s = Σ x_k its vertex is at
//! x* = Σ y_k d_k (s − x_k) / (2 Σ y_k d_k), and ∂x*/∂y_k = d_k (s − x_k − 2x*) / (2 Σ y_k d_k).
//! Both setups see the same particles, so the influences of the squared errors of all six
//! settings are added place by place before their mean is judged (delta method): what scatters
//! alike cancels.

use motefield_evaluator::statistics::{Confidence, Estimate, GridValues, mean};

/// Three coordinates along an axis, rising, with the squared errors there.
#[derive(Debug, Clone)]
pub(super) struct Three<'a> {
    pub at: [f64; 3],
    pub squares: [GridValues<'a>; 3],
}

impl<'a> Three<'a> {
    /// Of `grids` of squared errors, those at these places.
    pub fn of(at: [f64; 3], grids: &[GridValues<'a>], places: [usize; 3]) -> Three<'a> {
        Three {
            at,
            squares: places.map(|k| grids[k].clone()),
        }
    }
}

/// The smallest error along an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CurveVertex {
    pub at: f64,
    /// Change of `at` with the logarithm of each mean square; zero where the end stands for it.
    slopes: [f64; 3],
    /// Whether it is the end of what is looked at: a smaller error lies beyond.
    pub end: bool,
}

/// The vertex of the parabola through three points, not farther outside them than half their
/// extent; the lower end of that where the parabola has no smallest value there.
pub(super) fn vertex(at: [f64; 3], y: [f64; 3]) -> CurveVertex {
    let sum: f64 = at.iter().sum();
    let d = [0, 1, 2].map(|k: usize| {
        let others = (0..3).filter(|j| *j != k);
        1.0 / others.map(|j| at[k] - at[j]).product::<f64>()
    });
    let curvature: f64 = (0..3).map(|k| y[k] * d[k]).sum();
    let beyond = 0.5 * (at[2] - at[0]);
    let [low, high] = [at[0] - beyond, at[2] + beyond];
    let place = (0..3).map(|k| y[k] * d[k] * (sum - at[k])).sum::<f64>() / (2.0 * curvature);
    if curvature > 0.0 && (low..=high).contains(&place) {
        return CurveVertex {
            at: place,
            slopes: [0, 1, 2].map(|k| d[k] * (sum - at[k] - 2.0 * place) / (2.0 * curvature)),
            end: false,
        };
    }
    // A straight line, a parabola that opens downward, or one whose vertex lies far outside.
    let falls = match curvature > 0.0 {
        true => place > high,
        false => y[2] < y[0],
    };
    CurveVertex {
        at: if falls { high } else { low },
        slopes: [0.0; 3],
        end: true,
    }
}

/// By how far the smallest error moves along the axis from one setup to another, and where both
/// have it; `None` where too few places have a vector in all six.
pub(super) fn shift(from: &Three, to: &Three) -> Option<(Estimate, [CurveVertex; 2])> {
    let grids: Vec<&GridValues> = from.squares.iter().chain(&to.squares).collect();
    let all = grids[1..]
        .iter()
        .fold(grids[0].clone(), |so_far, grid| so_far.join(grid, |a, _| a));
    let common: Vec<GridValues> = grids.iter().map(|grid| grid.join(&all, |e, _| e)).collect();
    let means: Vec<f64> = common.iter().map(GridValues::mean).collect();
    if !means.iter().all(|m| m.is_finite() && *m > 0.0) {
        return None;
    }
    let y = |first: usize| [0, 1, 2].map(|k| means[first + k].ln());
    let vertices = [vertex(from.at, y(0)), vertex(to.at, y(3))];
    let slopes = [-1.0, 1.0].into_iter().zip(&vertices);
    let weights: Vec<f64> = slopes.flat_map(|(sign, v)| v.slopes.map(|s| sign * s)).collect();
    let influence = (0..6)
        .map(|k| {
            let (weight, mean) = (weights[k], means[k]);
            common[k].map(move |e| weight * e / mean)
        })
        .reduce(|sum, grid| sum.join(&grid, |a, b| a + b))?;
    let (spread, _) = mean(&influence, Confidence::USUAL);
    let moved = vertices[1].at - vertices[0].at;
    Some((
        Estimate::symmetric(moved, 0.5 * (spread.hi - spread.lo)),
        vertices,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// Closed form: a parabola's vertex, wherever the three points stand.
    #[test]
    fn the_vertex_of_a_parabola_is_found() {
        for (at, place) in [
            ([0.0, 1.0, 3.0], 1.3),
            ([-2.0, -1.5, 4.0], -3.0),
            ([0.0, 0.1, 0.2], 0.05),
        ] {
            let y = at.map(|x: f64| 2.0 + 0.7 * (x - place).powi(2));
            let found = vertex(at, y);
            assert!((found.at - place).abs() < 1e-9 && !found.end, "{found:?}");
        }
    }

    /// The slopes of the vertex are those of small steps.
    #[test]
    fn the_slopes_of_the_vertex_are_its_derivatives() {
        let (at, y) = ([0.0, 1.0, 2.5], [1.0, 0.4, 1.1]);
        let found = vertex(at, y);
        for k in 0..3 {
            let step = |by: f64| {
                let mut moved = y;
                moved[k] += by;
                vertex(at, moved).at
            };
            let slope = (step(1e-6) - step(-1e-6)) / 2e-6;
            assert!((slope - found.slopes[k]).abs() < 1e-6, "{slope} {found:?}");
        }
    }

    /// An error that falls all the way has its smallest value at the end, and is called so.
    #[test]
    fn without_a_smallest_value_the_end_stands() {
        let at = [0.0, 1.0, 2.0];
        let end = |y| {
            let found = vertex(at, y);
            assert!(found.end);
            found.at
        };
        assert_eq!(end([3.0, 2.0, 1.0]), 3.0);
        assert_eq!(end([1.0, 2.0, 3.0]), -1.0);
        // Opens downward, and is lower on the left.
        assert_eq!(end([1.0, 3.0, 2.0]), -1.0);
        // The vertex lies at 5.
        assert_eq!(end([0.0, 1.0, 2.0].map(|x: f64| (x - 5.0).powi(2))), 3.0);
    }

    fn errors(at: [f64; 3], place: f64, random: &mut ChaCha8Rng, common: &[f64]) -> [GridValues<'static>; 3] {
        let grid = |x: f64| {
            let scale = (0.3 * (x - place).powi(2)).exp();
            let mut value = |c: &f64| scale * (c + 0.05 * random.random::<f64>());
            GridValues::new(12, [0, 0], [common.iter().map(&mut value).collect::<Vec<f64>>()])
        };
        at.map(grid)
    }

    /// By simulation: the interval of the shift holds the true one in 95 % of cases, within what
    /// 400 of them scatter (three standard errors are 3.3 %), and most of the scatter of the
    /// squared errors, which both setups share, cancels.
    #[test]
    fn the_interval_of_a_shift_covers() {
        let at = [-1.0, 0.1, 1.2];
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let (mut held, mut width, runs) = (0, 0.0, 400);
        for _ in 0..runs {
            let common: Vec<f64> = (0..144).map(|_| -random.random::<f64>().ln()).collect();
            let from = errors(at, 0.0, &mut random, &common);
            let to = errors(at, -0.4, &mut random, &common);
            let three = |squares| Three { at, squares };
            let (moved, _) = shift(&three(from), &three(to)).unwrap();
            held += usize::from(moved.lo <= -0.4 && -0.4 <= moved.hi);
            width += moved.hi - moved.lo;
        }
        let share = f64::from(held as u32) / f64::from(runs);
        assert!((0.917..=0.983).contains(&share), "{share}");
        // 144 independent exponential values scatter by 8 %, which alone would move a vertex.
        assert!(width / f64::from(runs) < 0.02, "{width}");
    }
}
