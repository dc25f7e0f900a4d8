//! Mistakes with numbers to be found: units, spacings, shifts.
//!
//! Each is searched for on a coarse grid of its numbers over a few hundred vectors, by the median
//! length of the error, which real outliers do not move; then refined by weighted least squares
//! over the vectors that are near (Gauss-Newton, with the gradient of the truth by differences).

use super::{Claim, Convention, FAR, Looked, Mistake, PlacedVectors, every, inside, scatter, square};

/// Vectors of the coarse search.
const FEW: usize = 250;
/// Steps of the search for a unit of length.
const STEPS: usize = 160;
/// Factors nearer to 1 than this are no other unit: processing may well lose, or gain, so much.
const OTHER_UNIT: f64 = 1.5;
/// Shifts smaller than this are half a pixel or one, px.
const SMALL_PX: f64 = 1.25;
/// Shifts that are tried first, px: half of usual windows.
const HALF_WINDOWS_PX: [f64; 15] = [
    2.0, 3.0, 4.0, 5.5, 7.5, 10.0, 12.0, 15.5, 20.0, 24.0, 28.0, 32.0, 40.0, 48.0, 64.0,
];

/// Some of the vectors.
fn few(claim: &Claim, looked: &Looked) -> PlacedVectors {
    let some = every(&looked.vectors, FEW);
    let of = |all: &[[f64; 2]]| some.iter().map(|&k| all[k]).collect();
    PlacedVectors {
        at: of(&claim.vectors.at),
        moved: of(&claim.vectors.moved),
    }
}

fn truth(claim: &Claim, at: &[[f64; 2]]) -> Vec<[f64; 2]> {
    inside(claim, claim.truth, at, [f64::NAN; 2])
}

/// How far displacements times a factor are from the truth: standard deviation by the median.
fn misfit(moved: &[[f64; 2]], true_px: &[[f64; 2]], factor: f64) -> f64 {
    let errors: Vec<[f64; 2]> = moved
        .iter()
        .zip(true_px)
        .map(|(m, t)| [0, 1].map(|c| factor * m[c] - t[c]))
        .collect();
    scatter(&errors).unwrap_or(f64::INFINITY)
}

/// The factor that takes displacements to the truth: the median of the ratios along the truth,
/// weighted by its square, then least squares over the vectors that are near.
fn factor(moved: &[[f64; 2]], true_px: &[[f64; 2]]) -> Option<f64> {
    let dot = |a: &[f64; 2], b: &[f64; 2]| a[0] * b[0] + a[1] * b[1];
    let mut ratios: Vec<[f64; 2]> = moved
        .iter()
        .zip(true_px)
        .map(|(m, t)| [dot(m, t) / square(t), square(t)])
        .filter(|[ratio, _]| ratio.is_finite())
        .collect();
    ratios.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let half = 0.5 * ratios.iter().map(|[_, weight]| weight).sum::<f64>();
    let mut sum = 0.0;
    let median = ratios.iter().find(|[_, weight]| {
        sum += weight;
        sum >= half
    })?[0];
    let near2 = (FAR * misfit(moved, true_px, 1.0 / median)).powi(2);
    let near = moved.iter().zip(true_px).filter(|(m, t)| {
        let error = [0, 1].map(|c| m[c] / median - t[c]);
        square(&error) <= near2
    });
    let (mt, tt) = near.fold((0.0, 0.0), |(mt, tt), (m, t)| (mt + dot(m, t), tt + square(t)));
    Some(tt / mt).filter(|f| f.is_finite() && *f > 0.0)
}

fn other_unit(factor: f64) -> bool {
    !(1.0 / OTHER_UNIT..=OTHER_UNIT).contains(&factor)
}

/// Displacements in another unit, but for the factors 2 and ½, which have names of their own.
pub(super) fn displacement_unit(claim: &Claim, looked: &Looked) -> Option<Mistake> {
    let some = few(claim, looked);
    let found = factor(&some.moved, &truth(claim, &some.at))?;
    let named = [2.0, 0.5].iter().any(|f| (found / f - 1.0).abs() < 0.05);
    (other_unit(found) && !named).then_some(Mistake::DisplacementUnit(found))
}

/// Smallest and largest position along x and y.
fn extent(at: &[[f64; 2]]) -> [[f64; 2]; 2] {
    [0, 1].map(|c| {
        let along = at.iter().map(|p| p[c]);
        [
            along.clone().fold(f64::INFINITY, f64::min),
            along.fold(f64::NEG_INFINITY, f64::max),
        ]
    })
}

/// Positions, and maybe displacements, in other units: the length of the positions' unit between
/// what fills the picture and half of it; displacements in px, in the same unit, or in their own.
pub(super) fn units(claim: &Claim, looked: &Looked) -> Option<Mistake> {
    let some = few(claim, looked);
    let [[x0, x1], [y0, y1]] = extent(&some.at);
    if x0 < -1e-9 || y0 < -1e-9 || x1 <= 0.0 || y1 <= 0.0 {
        return None;
    }
    let largest = (claim.size_px[0] as f64 / x1).min(claim.size_px[1] as f64 / y1);
    // Positions that stand in the picture and fill it are in px.
    if (0.95..OTHER_UNIT).contains(&largest) {
        return None;
    }
    let scaled = |unit: f64| -> Vec<[f64; 2]> { some.at.iter().map(|p| p.map(|v| v * unit)).collect() };
    let fit = |unit: f64| -> Option<[f64; 3]> {
        let true_px = truth(claim, &scaled(unit));
        let own = factor(&some.moved, &true_px);
        let factors = [Some(1.0), Some(unit), own].into_iter().flatten();
        factors
            .map(|f| [misfit(&some.moved, &true_px, f), unit, f])
            .min_by(|a, b| a[0].total_cmp(&b[0]))
    };
    let coarse = (0..=STEPS).map(|k| largest * 0.5f64.powf(k as f64 / STEPS as f64));
    let better = |a: [f64; 3], b: [f64; 3]| if b[0] < a[0] { b } else { a };
    let mut best = coarse.filter_map(fit).reduce(better)?;
    let mut step = 2f64.powf(1.0 / STEPS as f64);
    for _ in 0..12 {
        let around = [best[1] * step, best[1] / step].into_iter().filter_map(fit);
        best = around.fold(best, better);
        step = step.sqrt();
    }
    let [misfit, position_px, displacement_px] = best;
    (misfit.is_finite() && other_unit(position_px)).then_some(Mistake::Units {
        position_px,
        displacement_px,
    })
}

/// Numbers of rows and columns for positions: the spacing, with the grid in the middle of the
/// picture at first.
pub(super) fn index(claim: &Claim, looked: &Looked) -> Option<Mistake> {
    let some = few(claim, looked);
    let ends = extent(&claim.vectors.at);
    let whole = claim
        .vectors
        .at
        .iter()
        .flatten()
        .all(|v| v.fract() == 0.0 && *v >= 0.0);
    let steps = [0, 1].map(|c| ends[c][1] - ends[c][0]);
    let room = [0, 1].map(|c| claim.size_px[c] as f64 / steps[c].max(1.0));
    let most = room[0].min(room[1]);
    if !whole || most < OTHER_UNIT {
        return None;
    }
    let origin = |spacing: f64| {
        [0, 1].map(|c| 0.5 * (ends[c][0] + ends[c][1]) * spacing - 0.5 * (claim.size_px[c] as f64 - 1.0))
    };
    let convention = |spacing: f64| Convention {
        position_px: spacing,
        origin_px: origin(spacing),
        ..Convention::default()
    };
    let fit = |spacing: f64| -> Option<([f64; 2], f64, [f64; 2])> {
        let read = convention(spacing).read(&some, claim.size_px[1]);
        let (shift, misfit) = refine(claim, &read, [0.0; 2]);
        // A grid farther off the middle than a spacing would have another row or column.
        let near = shift.iter().all(|s| s.abs() <= spacing);
        let origin = origin(spacing);
        near.then(|| ([misfit, 0.0], spacing, [0, 1].map(|c| origin[c] - shift[c])))
    };
    let spacings = (2..=most.floor() as usize).map(|k| k as f64);
    let best = spacings
        .filter_map(fit)
        .min_by(|a, b| a.0[0].total_cmp(&b.0[0]))?;
    Some(Mistake::Index {
        spacing_px: best.1,
        origin_px: best.2,
    })
}

/// Positions off by more than a pixel.
pub(super) fn shift(claim: &Claim, looked: &Looked) -> Option<Mistake> {
    let some = few(claim, looked);
    let at_shift = |shift: [f64; 2]| {
        let at: Vec<[f64; 2]> = some.at.iter().map(|p| [0, 1].map(|c| p[c] + shift[c])).collect();
        misfit(&some.moved, &truth(claim, &at), 1.0)
    };
    let signs = [[1.0, 1.0], [-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0]];
    let tried = HALF_WINDOWS_PX
        .iter()
        .flat_map(|half| signs.map(|s| s.map(|s: f64| s * half)));
    let mut coarse: Vec<(f64, [f64; 2])> = tried.map(|shift| (at_shift(shift), shift)).collect();
    coarse.sort_by(|a, b| a.0.total_cmp(&b.0));
    let refined = coarse.iter().take(3).map(|(_, from)| refine(claim, &some, *from));
    let (best, misfit) = refined.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let beyond = best.iter().any(|s| s.abs() > SMALL_PX);
    (misfit.is_finite() && beyond).then_some(Mistake::Shift(best))
}

/// The shift near `from` that fits best, and how well.
fn refine(claim: &Claim, some: &PlacedVectors, from: [f64; 2]) -> ([f64; 2], f64) {
    let moved_by = |shift: [f64; 2]| -> Vec<[f64; 2]> {
        let at: Vec<[f64; 2]> = some.at.iter().map(|p| [0, 1].map(|c| p[c] + shift[c])).collect();
        truth(claim, &at)
    };
    let mut best = (from, misfit(&some.moved, &moved_by(from), 1.0));
    for _ in 0..6 {
        let shift = best.0;
        let (here, right, below) = (
            moved_by(shift),
            moved_by([shift[0] + 1.0, shift[1]]),
            moved_by([shift[0], shift[1] + 1.0]),
        );
        let near2 = (3.0 * best.1).powi(2);
        let (mut normal, mut sides) = ([0.0; 3], [0.0; 2]);
        for k in 0..here.len() {
            let error = [0, 1].map(|c| some.moved[k][c] - here[k][c]);
            let along = [0, 1].map(|c| right[k][c] - here[k][c]);
            let down = [0, 1].map(|c| below[k][c] - here[k][c]);
            let known = square(&along) + square(&down);
            if !(square(&error) <= near2 && known.is_finite()) {
                continue;
            }
            normal[0] += square(&along);
            normal[1] += along[0] * down[0] + along[1] * down[1];
            normal[2] += square(&down);
            sides[0] += along[0] * error[0] + along[1] * error[1];
            sides[1] += down[0] * error[0] + down[1] * error[1];
        }
        let determinant = normal[0] * normal[2] - normal[1] * normal[1];
        let step = [
            (normal[2] * sides[0] - normal[1] * sides[1]) / determinant,
            (normal[0] * sides[1] - normal[1] * sides[0]) / determinant,
        ];
        if !step.iter().all(|s| s.is_finite() && s.abs() < 64.0) {
            break;
        }
        let next = [0, 1].map(|c| shift[c] + step[c]);
        let misfit = misfit(&some.moved, &moved_by(next), 1.0);
        if misfit >= best.1 {
            break;
        }
        best = (next, misfit);
    }
    best
}
