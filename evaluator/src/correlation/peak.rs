//! The correlation peaks and their positions between the pixels.

use std::ops::Range;

use multiversion::multiversion;

use super::plane::Plane;
use crate::aligned::Aligned;
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
    /// The greatest value of each column of the search range that may yet be a peak.
    greatest: Aligned,
}

/// Columns that are gone through side by side in a wide plane, and in one narrower than that. (Loops
/// over 16 would be unrolled before the compiler looks for what can be done side by side.)
const LANES: usize = 32;
const FEW_LANES: usize = 8;

impl PeakSearch {
    /// The highest peak, and the highest one outside its neighbourhood.
    pub fn find(&mut self, plane: &Plane) -> [Option<Peak>; 2] {
        let peak = |lag: [isize; 2]| Peak {
            lag,
            height: plane.at(lag[0], lag[1]),
        };
        let found = two_highest(&SearchRange::of(plane), &mut self.greatest);
        found.map(|lag| lag.map(peak))
    }
}

/// The lags of the two peaks.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn two_highest(range: &SearchRange, greatest: &mut Aligned) -> [Option<[isize; 2]>; 2] {
    range.greatest_of_columns(greatest);
    let Some(peak) = range.highest(greatest, |_| true) else {
        return [None; 2];
    };
    range.greatest_beside(peak, greatest);
    let beside = |lag: [isize; 2]| (0..2).any(|k| lag[k].abs_diff(peak[k]) > NEIGHBOURHOOD_PX);
    [Some(peak), range.highest(greatest, beside)]
}

/// The search range of a plane, in the columns and rows that are kept of it.
struct SearchRange<'a> {
    plane: &'a Plane,
    /// The columns to look at, and those of them that are beyond the limit.
    columns: Range<usize>,
    beyond: Range<usize>,
    /// The rows in the order of their lags.
    rows: [Range<usize>; 2],
}

impl<'a> SearchRange<'a> {
    fn of(plane: &'a Plane) -> Self {
        let [limit_x, limit_y] = plane.limit().map(|limit| limit as isize);
        let [before, after] = plane.columns(-limit_x..limit_x + 1);
        let (columns, beyond) = match before.is_empty() {
            true => (after, 0..0),
            false => (0..before.end, after.end..before.start),
        };
        Self {
            plane,
            columns,
            beyond,
            rows: plane.rows(-limit_y..limit_y + 1),
        }
    }

    #[inline(always)]
    fn value(&self, [column, row]: [usize; 2]) -> f32 {
        self.plane.kept()[row * self.plane.period()[0] + column]
    }

    /// Everything kept from this column of the first row on, and how far rows are apart.
    #[inline(always)]
    fn from(&self, column: usize) -> (&[f32], usize) {
        (&self.plane.kept()[column..], self.plane.period()[0])
    }

    /// Of each column; `-inf` of one beyond the limit.
    #[inline(always)]
    fn greatest_of_columns(&self, greatest: &mut Aligned) {
        let Range { start, end } = self.columns.clone();
        greatest.resize((end - start).next_multiple_of(LANES));
        if self.plane.period()[0] < LANES {
            for few in (start..end).step_by(FEW_LANES) {
                self.greatest_of_few(few..end.min(few + FEW_LANES), &self.rows, greatest);
            }
        } else {
            for (n, greatest) in greatest.as_chunks_mut::<LANES>().0.iter_mut().enumerate() {
                *greatest = greatest_of(self.from(start + LANES * n), &self.rows);
            }
        }
        greatest[self.beyond.clone()].fill(f32::NEG_INFINITY);
    }

    /// Of the columns near a peak the greatest value outside the rows near it.
    #[inline(always)]
    fn greatest_beside(&self, [x, y]: [isize; 2], greatest: &mut [f32]) {
        let [limit_x, limit_y] = self.plane.limit().map(|limit| limit as isize);
        let near = NEIGHBOURHOOD_PX as isize;
        let [p, q] = self.plane.rows(-limit_y..y - near);
        let [r, s] = self.plane.rows(y + near + 1..limit_y + 1);
        for columns in self
            .plane
            .columns((x - near).max(-limit_x)..(x + near).min(limit_x) + 1)
        {
            if !columns.is_empty() {
                self.greatest_of_few(columns, &[p.clone(), q.clone(), r.clone(), s.clone()], greatest);
            }
        }
    }

    /// Of up to [`FEW_LANES`] columns the greatest value of some rows.
    #[inline(always)]
    fn greatest_of_few(&self, columns: Range<usize>, rows: &[Range<usize>], greatest: &mut [f32]) {
        let greatest = &mut greatest[columns.start - self.columns.start..][..columns.len()];
        match self.plane.period()[0].checked_sub(FEW_LANES) {
            Some(last) => {
                let from = columns.start.min(last);
                let found = greatest_of::<FEW_LANES>(self.from(from), rows);
                greatest.copy_from_slice(&found[columns.start - from..][..columns.len()]);
            }
            None => {
                for (column, greatest) in columns.zip(greatest) {
                    [*greatest] = greatest_of(self.from(column), rows);
                }
            }
        }
    }

    /// The highest admitted peak, the first of them row by row if several are as high. `greatest` has
    /// the greatest admitted value of each column, or its highest peak.
    #[inline(always)]
    fn highest(&self, greatest: &mut [f32], admitted: impl Fn([isize; 2]) -> bool) -> Option<[isize; 2]> {
        let greatest = &mut greatest[..self.columns.len()];
        loop {
            // Values above zero are in the order of their bits, which are compared side by side.
            let top = greatest
                .iter()
                .fold(0, |top, value| top.max(value.to_bits() as i32));
            if top == 0 {
                return None;
            }
            let top = f32::from_bits(top as u32);
            let mut first: Option<[isize; 2]> = None;
            for (column, greatest) in self.columns.clone().zip(&mut *greatest) {
                if *greatest != top {
                    continue;
                }
                let lag = |row: usize| self.plane.lag([column, row]);
                let is_peak = |row: usize| admitted(lag(row)) && self.is_local_maximum([column, row]);
                let value = |row: usize| self.value([column, row]);
                match self.row_of(top, column, is_peak).map(lag) {
                    Some(lag) if first.is_none_or(|first| [lag[1], lag[0]] < [first[1], first[0]]) => {
                        first = Some(lag)
                    }
                    Some(_) => {}
                    None => {
                        // It lies on the slope of a higher peak.
                        let higher_peak = |height: f32, row: usize| match value(row) > height && is_peak(row)
                        {
                            true => value(row),
                            false => height,
                        };
                        *greatest = self.rows.iter().cloned().flatten().fold(0.0, higher_peak);
                    }
                }
            }
            if first.is_some() {
                return first;
            }
        }
    }

    /// The first row of a column that has this value and passes a test.
    #[inline(always)]
    fn row_of(&self, value: f32, column: usize, passes: impl Fn(usize) -> bool) -> Option<usize> {
        let (values, width) = self.from(column);
        for rows in &self.rows {
            let values = values.iter().step_by(width).skip(rows.start);
            for (row, found) in rows.clone().zip(values) {
                if *found == value && passes(row) {
                    return Some(row);
                }
            }
        }
        None
    }

    /// Whether none of the eight values around is greater. The margin is wide enough, or the plane
    /// begins again beyond its border.
    #[inline(always)]
    fn is_local_maximum(&self, [column, row]: [usize; 2]) -> bool {
        let [columns, rows] = self.plane.period();
        let around = |place: usize, period: usize| {
            let before = if place == 0 { period } else { place } - 1;
            [before, place, if place + 1 == period { 0 } else { place + 1 }]
        };
        let (columns, rows) = (around(column, columns), around(row, rows));
        let height = self.value([column, row]);
        // Plain loops: closures of arrays are not compiled for the instruction set of the caller.
        let mut is_highest = true;
        for row in rows {
            for column in columns {
                is_highest &= self.value([column, row]) <= height;
            }
        }
        is_highest
    }
}

/// The greatest values of L columns of some rows that are `width` apart, `-inf` of none; the values
/// begin at the first of the columns.
#[inline(always)]
fn greatest_of<const L: usize>((values, width): (&[f32], usize), rows: &[Range<usize>]) -> [f32; L] {
    let mut greatest = [f32::NEG_INFINITY; L];
    for rows in rows.iter().filter(|rows| !rows.is_empty()) {
        // The last row may end where the values do.
        let (before, last) = values[rows.start * width..].split_at((rows.len() - 1) * width);
        let last: &[f32; L] = last.first_chunk().expect("lanes beyond the last row");
        for row in before.chunks_exact(width) {
            // Always; asked like this the values stay in registers.
            if let Some(row) = row.first_chunk::<L>() {
                for x in 0..L {
                    greatest[x] = greater(row[x], greatest[x]);
                }
            }
        }
        for x in 0..L {
            greatest[x] = greater(last[x], greatest[x]);
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
                let least = f64::from(plane.kept().iter().copied().fold(f32::INFINITY, f32::min));
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

#[cfg(test)]
mod tests {
    use super::*;

    /// The peaks of a plane that wraps round are those of a copy with margins, which a test holds
    /// against the definition: also across the place where it wraps, at the limits, and among many
    /// values that are alike or lie on a slope.
    #[test]
    fn a_plane_that_wraps_round_has_the_peaks_of_its_copy() {
        let mut number = 1u32;
        let mut below = |n: u32| {
            number = number.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (number >> 8) % n
        };
        for side in [32, 64] {
            for round in 0..300 {
                let mut plane = Plane::circular([side, side]);
                let few = 2 + round % 5;
                plane.kept_mut().iter_mut().for_each(|v| *v = below(few) as f32);
                // A high peak anywhere, with slopes or without, and one as high far away or just
                // beside it.
                let [x, y] = [0, 1].map(|_| below(side as u32) as usize);
                let reach = if round % 2 == 0 { side as u32 } else { 9 };
                let [beside, under] = [0, 1].map(|_| below(reach) as usize + side - 4);
                for [x, y] in [[x, y], [x + beside, y + under]] {
                    let slopes = [(0, 9.0), (1, 7.0), (2, 6.0), (3, 5.0)];
                    for (k, height) in slopes.into_iter().take(if round % 3 == 0 { 1 } else { 4 }) {
                        for row in [y + k, y + side - k] {
                            plane.kept_mut()[row % side * side + x % side] = height;
                        }
                    }
                }
                let copy = Plane::from_fn([side, side], |i, j| plane.at(i, j));
                assert_eq!(plane, copy);
                assert_eq!(find_peaks(&plane), find_peaks(&copy), "{side}, {round}");
            }
        }
    }
}
