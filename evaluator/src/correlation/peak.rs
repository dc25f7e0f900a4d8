//! The correlation peaks and their positions between the pixels.

use multiversion::multiversion;

use super::plane::Plane;
use crate::least_squares::Normal;
use crate::named::named;

named! {
    /// How the position of a peak is interpolated between the pixels of the correlation plane.
    ///
    /// Where a fit on 3 x 3 or 5 x 5 points needs the logarithm of a value that is not positive, or
    /// its equations have no maximum within 1 px, the Gaussian through three points along each axis
    /// is used, and where that needs such a logarithm [`LowValues`] says what is done; so the
    /// result is always finite and within 1 px of the highest pixel.
    pub enum PeakFit {
        /// Gaussian through three points along each axis (Willert & Gharib 1991).
        Gaussian3 = "gaussian3",
        /// Parabola through three points along each axis.
        Parabola3 = "parabola3",
        /// Centroid of three points along each axis; biased toward whole pixels, offered for
        /// comparison.
        Centroid3 = "centroid3",
        /// Elliptic Gaussian of any orientation by least squares on the logarithms of 3 x 3 points.
        Gaussian2d = "gaussian2d",
        /// The same on 5 x 5 points, each weighted by the square of its value: the logarithm of a
        /// value c with the noise s has the noise s/c.
        Gaussian2d5 = "gaussian2d5",
    }
}

named! {
    /// What the Gaussian through three points does where a value beside the peak is not positive
    /// and has no logarithm: often where particle images are smaller than 1 px, as a peak then lies
    /// on one or two lags and what is beside them is chance about zero.
    ///
    /// Chosen by experiment on rendered pairs, one plain pass with a top-hat window of 32 px and
    /// 0.03 particles per pixel. At 0.5 px of particle image diameter the largest bias (peak
    /// locking) is 0.03 px with `Least`, 0.04 px with `Hundredth` and 0.11 px with `Parabola`, and
    /// the total error 0.07, 0.07 and 0.12 px at a displacement of 3.25 px; from 1.5 px on the
    /// three agree.
    pub enum LowValues {
        /// The least value of the plane is subtracted from all three; what is then below a
        /// hundredth of the peak is raised to that.
        Least = "least",
        /// Values below a hundredth of the peak are raised to that.
        Hundredth = "hundredth",
        /// The parabola through the values themselves.
        Parabola = "parabola",
    }
}

/// Share of the peak to which a value beside it is raised before its logarithm is taken: it tells a
/// peak of a single lag (its neighbours would be zero but for chance) from one of two.
const LEAST_SHARE: f64 = 0.01;

/// A local maximum of the correlation plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Displacement along x and y of the highest pixel, px.
    pub lag: [isize; 2],
    /// The value there, in the unit of the plane.
    pub height: f32,
}

/// Peaks closer than this along both axes, px, count as one.
const NEIGHBOURHOOD_PX: isize = 2;

/// The highest peak, and the highest one outside its neighbourhood (more than 2 px away along x or
/// y).
///
/// A peak is a pixel inside the search range, above zero and not below any of its 8 neighbours.
///
/// ```
/// use motefield_evaluator::correlation::{Plane, find_peaks};
///
/// // Two peaks in the plane of a window of 16 x 16 px.
/// let plane = Plane::from_fn([16, 16], |i, j| match (i, j) {
///     (2, 1) => 5.0,
///     (-4, 0) => 3.0,
///     _ => 0.0,
/// });
/// let [first, second] = find_peaks(&plane).map(|peak| peak.unwrap().lag);
/// assert_eq!((first, second), ([2, 1], [-4, 0]));
/// ```
pub fn find_peaks(plane: &Plane) -> [Option<Peak>; 2] {
    let [limit_x, limit_y] = plane.limit().map(|l| l as isize);
    let mut greatest = Vec::with_capacity(2 * limit_y as usize + 1);
    greatest_of_rows(plane, &mut greatest);
    let first = highest(plane, &mut greatest.clone(), |_| true);
    let second = first.and_then(|first| {
        let [x, y] = first.lag;
        // What the rows about the first peak hold beside it.
        let left = (x - NEIGHBOURHOOD_PX + limit_x).max(0) as usize;
        let right = (x + NEIGHBOURHOOD_PX + 1 + limit_x).min(2 * limit_x + 1) as usize;
        for lag_y in (y - NEIGHBOURHOOD_PX).max(-limit_y)..=(y + NEIGHBOURHOOD_PX).min(limit_y) {
            let row = plane.search_row(lag_y);
            greatest[(lag_y + limit_y) as usize] = maximum(&row[..left]).max(maximum(&row[right..]));
        }
        highest(plane, &mut greatest, |lag| {
            (0..2).any(|k| (lag[k] - first.lag[k]).abs() > NEIGHBOURHOOD_PX)
        })
    });
    [first, second]
}

/// The highest admitted peak, the first of them row by row if several are as high. `greatest` has
/// the greatest admitted value of each row; it is used up.
fn highest(plane: &Plane, greatest: &mut [f32], admitted: impl Fn([isize; 2]) -> bool) -> Option<Peak> {
    let [limit_x, limit_y] = plane.limit().map(|l| l as isize);
    let mut best: Option<Peak> = None;
    let mut height = 0.0;
    // The row of the greatest value first: it mostly holds the peak, and the others then nothing
    // higher.
    while let Some(row) = first_greatest(greatest).filter(|&row| greatest[row] >= height) {
        let top = std::mem::replace(&mut greatest[row], f32::NEG_INFINITY);
        let lag_y = row as isize - limit_y;
        let values = plane.search_row(lag_y);
        let lag = |column: usize| [column as isize - limit_x, lag_y];
        let is_peak = |column: usize| admitted(lag(column)) && is_local_maximum(plane, lag(column));
        // If its greatest value is a peak, the row has no higher one.
        let searched = match values.iter().position(|&value| value == top) {
            Some(column) if is_peak(column) => column..column + 1,
            _ => 0..values.len(),
        };
        for column in searched {
            let value = values[column];
            let precedes = |best: Peak| lag_y < best.lag[1];
            let higher = value > height || value == height && best.is_some_and(precedes);
            if higher && is_peak(column) {
                height = value;
                best = Some(Peak {
                    lag: lag(column),
                    height,
                });
            }
        }
    }
    best
}

/// Index of the greatest value above 0, the first if several are as great.
fn first_greatest(values: &[f32]) -> Option<usize> {
    let greatest = maximum(values);
    (greatest > 0.0).then(|| values.iter().position(|&v| v == greatest))?
}

/// The greatest value of each row of the search range, added to a list.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn greatest_of_rows(plane: &Plane, greatest: &mut Vec<f32>) {
    let limit = plane.limit()[1] as isize;
    for lag_y in -limit..=limit {
        greatest.push(maximum(plane.search_row(lag_y)));
    }
}

/// Greatest value, found in lanes so that the compiler can use vector registers.
#[inline(always)]
fn maximum(values: &[f32]) -> f32 {
    const LANES: usize = 8;
    let greater = |a: f32, b: f32| if a > b { a } else { b };
    let Some((_, last)) = values.split_last_chunk::<LANES>() else {
        return values
            .iter()
            .fold(f32::NEG_INFINITY, |greatest, &value| greater(value, greatest));
    };
    // The last values, some of which the chunks hold as well.
    let mut greatest = *last;
    for chunk in values.as_chunks::<LANES>().0 {
        for (greatest, &value) in greatest.iter_mut().zip(chunk) {
            *greatest = greater(value, *greatest);
        }
    }
    let [a, b, c, d, e, f, g, h] = greatest;
    greater(
        greater(greater(a, e), greater(c, g)),
        greater(greater(b, f), greater(d, h)),
    )
}

fn is_local_maximum(plane: &Plane, [x, y]: [isize; 2]) -> bool {
    let centre = plane.at(x, y);
    (-1..=1).all(|j| (-1..=1).all(|i| plane.at(x + i, y + j) <= centre))
}

impl PeakFit {
    /// Displacement of `peak` along x and y, px, to a fraction of a pixel.
    ///
    /// # Panics
    /// If the peak is not inside the search range of the plane.
    ///
    /// ```
    /// use motefield_evaluator::{LowValues, PeakFit};
    /// use motefield_evaluator::correlation::{Plane, find_peaks};
    ///
    /// let gaussian = |i: isize, j: isize| {
    ///     (-((i as f32 - 2.3).powi(2) + (j as f32 + 1.1).powi(2)) / 2.0).exp()
    /// };
    /// let plane = Plane::from_fn([16, 16], gaussian);
    /// let peak = find_peaks(&plane)[0].unwrap();
    /// let [dx, dy] = PeakFit::Gaussian3.locate(LowValues::Least, &plane, peak);
    /// assert!((dx - 2.3).abs() < 1e-5 && (dy + 1.1).abs() < 1e-5);
    /// ```
    pub fn locate(self, low: LowValues, plane: &Plane, peak: Peak) -> [f64; 2] {
        let [x, y] = peak.lag;
        let value = |i: isize, j: isize| f64::from(plane.at(x + i, y + j));
        let points = [
            [value(-1, 0), value(0, 0), value(1, 0)],
            [value(0, -1), value(0, 0), value(0, 1)],
        ];
        let gaussian = || points.map(|c| low.gaussian3(c, plane));
        let offset = match self {
            PeakFit::Gaussian3 => gaussian(),
            PeakFit::Parabola3 => points.map(parabola3),
            PeakFit::Centroid3 => points.map(centroid3),
            PeakFit::Gaussian2d => gaussian2d(&value).unwrap_or_else(gaussian),
            PeakFit::Gaussian2d5 => gaussian2d5(&value).unwrap_or_else(gaussian),
        };
        [x as f64 + offset[0], y as f64 + offset[1]]
    }
}

impl LowValues {
    /// Maximum of the Gaussian through (-1, c0), (0, c1), (1, c2), the values of a `plane` about
    /// its peak c1.
    fn gaussian3(self, c: [f64; 3], plane: &Plane) -> f64 {
        let raised = |c: [f64; 3]| gaussian3(c.map(|v| v.max(LEAST_SHARE * c[1])));
        match self {
            _ if c.iter().all(|&v| v > 0.0) => gaussian3(c),
            LowValues::Least => {
                let least = f64::from(plane.values().iter().copied().fold(f32::INFINITY, f32::min));
                raised(c.map(|v| v - least))
            }
            LowValues::Hundredth => raised(c),
            LowValues::Parabola => parabola3(c),
        }
    }
}

/// Maximum of the Gaussian through (-1, c0), (0, c1), (1, c2), or of the parabola where a value is
/// not positive; the middle one is the largest.
pub(crate) fn gaussian3(c: [f64; 3]) -> f64 {
    if c.iter().all(|&v| v > 0.0) {
        parabola3(c.map(f64::ln))
    } else {
        parabola3(c)
    }
}

/// Maximum of the parabola through (-1, c0), (0, c1), (1, c2): within ±0.5, as the middle value is
/// the largest.
fn parabola3([left, centre, right]: [f64; 3]) -> f64 {
    let curvature = left - 2.0 * centre + right;
    if curvature < 0.0 {
        (0.5 * (left - right) / curvature).clamp(-0.5, 0.5)
    } else {
        0.0
    }
}

fn centroid3(c: [f64; 3]) -> f64 {
    let [left, centre, right] = c.map(|v| v.max(0.0));
    let sum = left + centre + right;
    if sum > 0.0 { (right - left) / sum } else { 0.0 }
}

/// Maximum of a + b x + c y + d xy + e x² + f y², if there is one within 1 px.
fn vertex([b, c, d, e, f]: [f64; 5]) -> Option<[f64; 2]> {
    let determinant = 4.0 * e * f - d * d;
    let vertex = [
        (d * c - 2.0 * f * b) / determinant,
        (d * b - 2.0 * e * c) / determinant,
    ];
    (e < 0.0 && determinant > 0.0 && vertex.iter().all(|v| v.abs() <= 1.0)).then_some(vertex)
}

/// On the 3 x 3 grid the polynomials x, y, xy, x² - 2/3, y² - 2/3 are orthogonal, so each
/// coefficient is a single sum.
fn gaussian2d(value: &impl Fn(isize, isize) -> f64) -> Option<[f64; 2]> {
    let mut coefficients = [0.0; 5];
    for j in -1..=1 {
        for i in -1..=1 {
            let c = value(i, j);
            if c <= 0.0 {
                return None;
            }
            let (x, y, log) = (i as f64, j as f64, c.ln());
            let terms = [
                x / 6.0,
                y / 6.0,
                x * y / 4.0,
                (x * x - 2.0 / 3.0) / 2.0,
                (y * y - 2.0 / 3.0) / 2.0,
            ];
            for (sum, term) in coefficients.iter_mut().zip(terms) {
                *sum += term * log;
            }
        }
    }
    vertex(coefficients)
}

fn gaussian2d5(value: &impl Fn(isize, isize) -> f64) -> Option<[f64; 2]> {
    let top = value(0, 0);
    let mut normal = Normal::new();
    for j in -2..=2 {
        for i in -2..=2 {
            let c = value(i, j) / top;
            if c <= 0.0 {
                continue;
            }
            let (x, y, weight) = (i as f64, j as f64, c * c);
            normal.add([1.0, x, y, x * y, x * x, y * y], c.ln(), weight);
        }
    }
    let [_, b, c, d, e, f] = normal.solve()?;
    vertex([b, c, d, e, f])
}
