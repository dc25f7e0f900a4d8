//! The correlation peaks and their positions between the pixels.

use std::ops::Range;

use multiversion::multiversion;

use super::plane::{MARGIN, Plane};
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
const NEIGHBOURHOOD_PX: usize = 2;

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
    PeakSearch::default().find(plane)
}

/// Finds the peaks of planes, one after another, as [`find_peaks`] does.
#[derive(Default)]
pub(crate) struct PeakSearch {
    /// The greatest value of each column of the search range that may yet be a peak, and beyond the
    /// last column anything.
    greatest: Vec<f32>,
}

/// Columns that are gone through side by side in a wide plane, and in one narrower than that. (Loops
/// over 16 would be unrolled before the compiler looks for what can be done side by side.)
const LANES: usize = 32;
const FEW_LANES: usize = 8;

impl PeakSearch {
    /// The highest peak, and the highest one outside its neighbourhood.
    pub fn find(&mut self, plane: &Plane) -> [Option<Peak>; 2] {
        let [columns, rows] = plane.limit().map(|limit| 2 * limit + 1);
        let searched = Searched { plane, columns, rows };
        let [first, second] = two_highest(&searched, &mut self.greatest);
        [first, second].map(|place| Some(searched.peak(place?)))
    }
}

/// Where the two peaks are.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn two_highest(searched: &Searched, greatest: &mut Vec<f32>) -> [Option<[usize; 2]>; 2] {
    searched.greatest_of_columns(greatest);
    let Some([x, y]) = searched.highest(greatest, |_| true) else {
        return [None; 2];
    };
    let near = |place: usize, places: usize| {
        place.saturating_sub(NEIGHBOURHOOD_PX)..(place + NEIGHBOURHOOD_PX + 1).min(places)
    };
    let (columns, rows) = (near(x, searched.columns), near(y, searched.rows));
    searched.greatest_beside(&columns, &rows, greatest);
    let beside = |[x, y]: [usize; 2]| !(columns.contains(&x) && rows.contains(&y));
    [Some([x, y]), searched.highest(greatest, beside)]
}

/// The search range of a plane.
struct Searched<'a> {
    plane: &'a Plane,
    columns: usize,
    rows: usize,
}

impl Searched<'_> {
    /// The values from a place on.
    #[inline(always)]
    fn from(&self, [x, y]: [usize; 2]) -> &[f32] {
        &self.plane.search_range()[y * self.plane.width() + x..]
    }

    fn peak(&self, [x, y]: [usize; 2]) -> Peak {
        let [limit_x, limit_y] = self.plane.limit().map(|limit| limit as isize);
        Peak {
            lag: [x as isize - limit_x, y as isize - limit_y],
            height: self.from([x, y])[0],
        }
    }

    #[inline(always)]
    fn greatest_of_columns(&self, greatest: &mut Vec<f32>) {
        let (from, width) = (self.from([0, 0]), self.plane.width());
        greatest.resize(self.columns.next_multiple_of(LANES), 0.0);
        if self.columns < LANES / 2 {
            let filled = self.columns.div_ceil(FEW_LANES);
            let lanes = greatest.as_chunks_mut::<FEW_LANES>().0.iter_mut();
            for (n, greatest) in lanes.take(filled).enumerate() {
                *greatest = greatest_of(&from[FEW_LANES * n..], width, self.rows);
            }
        } else {
            for (n, greatest) in greatest.as_chunks_mut::<LANES>().0.iter_mut().enumerate() {
                *greatest = greatest_of(&from[LANES * n..], width, self.rows);
            }
        }
    }

    /// Of the columns near a peak the greatest value outside the rows near it.
    #[inline(always)]
    fn greatest_beside(&self, columns: &Range<usize>, rows: &Range<usize>, greatest: &mut [f32]) {
        let width = self.plane.width();
        let above = greatest_of::<FEW_LANES>(self.from([columns.start, 0]), width, rows.start);
        let below =
            greatest_of::<FEW_LANES>(self.from([columns.start, rows.end]), width, self.rows - rows.end);
        for (n, greatest) in greatest[columns.clone()].iter_mut().enumerate() {
            *greatest = greater(above[n], below[n]);
        }
    }

    /// The highest admitted peak, the first of them row by row if several are as high. `greatest` has
    /// the greatest admitted value of each column, or its highest peak.
    #[inline(always)]
    fn highest(&self, greatest: &mut [f32], admitted: impl Fn([usize; 2]) -> bool) -> Option<[usize; 2]> {
        let greatest = &mut greatest[..self.columns];
        loop {
            // Values above zero are in the order of their bits, which are compared side by side.
            let top = greatest
                .iter()
                .fold(0, |top, value| top.max(value.to_bits() as i32));
            if top == 0 {
                return None;
            }
            let top = f32::from_bits(top as u32);
            let mut first: Option<[usize; 2]> = None;
            for (x, greatest) in greatest.iter_mut().enumerate() {
                if *greatest != top {
                    continue;
                }
                let is_peak = |y: usize| admitted([x, y]) && self.is_local_maximum([x, y]);
                let column = self.from([x, 0]);
                let value = |y: usize| column[y * self.plane.width()];
                match (0..self.rows).find(|&y| value(y) == top && is_peak(y)) {
                    Some(y) if first.is_none_or(|first| y < first[1]) => first = Some([x, y]),
                    Some(_) => {}
                    None => {
                        // It lies on the slope of a higher peak.
                        let higher_peak = |height: f32, y: usize| match value(y) > height && is_peak(y) {
                            true => value(y),
                            false => height,
                        };
                        *greatest = (0..self.rows).fold(0.0, higher_peak);
                    }
                }
            }
            if first.is_some() {
                return first;
            }
        }
    }

    #[inline(always)]
    fn is_local_maximum(&self, [x, y]: [usize; 2]) -> bool {
        let width = self.plane.width();
        // The margin is wide enough.
        let above_left = (y + MARGIN - 1) * width + x + MARGIN - 1;
        let row = |k: usize| &self.plane.values()[above_left + k * width..][..3];
        let (above, beside, below) = (row(0), row(1), row(2));
        let not_below = |values: &[f32]| values.iter().fold(true, |all, &v| all & (v <= beside[1]));
        not_below(above) & not_below(beside) & not_below(below)
    }
}

/// The greatest values of L columns of so many rows, `-inf` of none.
#[inline(always)]
fn greatest_of<const L: usize>(values: &[f32], width: usize, rows: usize) -> [f32; L] {
    assert!(
        rows == 0 || values.len() >= (rows - 1) * width + L,
        "a margin below"
    );
    let mut greatest = [f32::NEG_INFINITY; L];
    for row in 0..rows {
        // Always; asked like this the values stay in registers.
        if let Some(row) = values.get(row * width..).and_then(<[f32]>::first_chunk::<L>) {
            for x in 0..L {
                greatest[x] = greater(row[x], greatest[x]);
            }
        }
    }
    greatest
}

#[inline(always)]
fn greater(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
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
