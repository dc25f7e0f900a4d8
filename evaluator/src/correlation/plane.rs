//! The correlation plane: one value per lag.

use std::ops::Range;

use crate::aligned::Aligned;

/// Pixels kept around the search range for the neighbours that the peak fits need.
pub(super) const MARGIN: usize = 2;

/// Correlation values over the lags of the search range and a margin of 2 px around it.
///
/// The search range is |lag| <= (D - 1)/2 (whole pixels) along each axis, with D the side of the
/// window. That is less than half a window: beyond it a circular correlation cannot tell the sign,
/// and a linear one uses less than half the pixels.
///
/// ```
/// use motefield_evaluator::correlation::Plane;
///
/// let plane = Plane::from_fn([8, 8], |i, j| (10 * j + i) as f32);
/// assert_eq!((plane.limit(), plane.reach()), ([3, 3], [5, 5]));
/// assert_eq!(plane.at(-2, 1), 8.0);
/// ```
#[derive(Clone, Debug)]
pub struct Plane {
    limit: [usize; 2],
    /// Where along each axis the value at lag zero is kept, and after how many lags the values are
    /// the same again: rows and columns in which those of negative lags may follow the others.
    zero: [usize; 2],
    period: [usize; 2],
    values: Aligned,
}

impl Plane {
    /// A plane of zeros for the search range of a window of at least 1 x 1 px (width, height).
    pub fn new(window: [usize; 2]) -> Self {
        let limit = window.map(|side| (side - 1) / 2);
        let zero = limit.map(|l| l + MARGIN);
        Self::of(limit, zero, zero.map(|reach| 2 * reach + 1))
    }

    /// A plane of zeros of a circular correlation, that is kept as its transform gives it: lags from
    /// zero on, which are the same again after a window.
    pub(super) fn circular(window: [usize; 2]) -> Self {
        Self::of(window.map(|side| (side - 1) / 2), [0, 0], window)
    }

    fn of(limit: [usize; 2], zero: [usize; 2], period: [usize; 2]) -> Self {
        Self {
            limit,
            zero,
            period,
            values: Aligned::zeros(period[0] * period[1]),
        }
    }

    /// A plane of the values given by a function of the lag along x and y, px.
    pub fn from_fn(window: [usize; 2], value: impl Fn(isize, isize) -> f32) -> Self {
        let mut plane = Self::new(window);
        for (lag_y, row) in plane.rows_mut() {
            for (lag_x, v) in row {
                *v = value(lag_x, lag_y);
            }
        }
        plane
    }

    /// Greatest lag in the search range along x and y, px.
    pub fn limit(&self) -> [usize; 2] {
        self.limit
    }

    /// Greatest lag stored along x and y, px: the search range and the margin.
    pub fn reach(&self) -> [isize; 2] {
        self.limit.map(|l| (l + MARGIN) as isize)
    }

    /// The value at a lag of at most [`Plane::reach`] along each axis.
    ///
    /// # Panics
    /// If the lag is outside the plane.
    pub fn at(&self, lag_x: isize, lag_y: isize) -> f32 {
        let [reach_x, reach_y] = self.reach();
        assert!(lag_x.abs() <= reach_x && lag_y.abs() <= reach_y);
        self.values[self.row(lag_y) * self.period[0] + self.column(lag_x)]
    }

    /// All values, row by row, starting at the lag (-reach, -reach).
    pub fn values(&self) -> impl Iterator<Item = f32> {
        let [reach_x, reach_y] = self.reach();
        (-reach_y..=reach_y).flat_map(move |j| (-reach_x..=reach_x).map(move |i| self.at(i, j)))
    }

    /// Adds the values of a plane of the same windows.
    pub(crate) fn add(&mut self, other: &Plane) {
        assert_eq!((self.zero, self.period), (other.zero, other.period));
        self.values
            .iter_mut()
            .zip(&other.values[..])
            .for_each(|(sum, value)| *sum += value);
    }

    /// The values as they are kept.
    pub(super) fn kept(&self) -> &[f32] {
        &self.values
    }

    pub(super) fn kept_mut(&mut self) -> &mut [f32] {
        &mut self.values
    }

    /// Values kept of a row, and rows.
    pub(super) fn period(&self) -> [usize; 2] {
        self.period
    }

    /// The column that is kept for a lag along x.
    #[inline(always)]
    pub(super) fn column(&self, lag: isize) -> usize {
        wrapped(lag, self.zero[0], self.period[0])
    }

    /// The row that is kept for a lag along y.
    #[inline(always)]
    pub(super) fn row(&self, lag: isize) -> usize {
        wrapped(lag, self.zero[1], self.period[1])
    }

    /// The columns that are kept for some lags along x, in their order.
    pub(super) fn columns(&self, lags: Range<isize>) -> [Range<usize>; 2] {
        places(lags, self.zero[0], self.period[0])
    }

    /// The rows that are kept for some lags along y, in their order.
    pub(super) fn rows(&self, lags: Range<isize>) -> [Range<usize>; 2] {
        places(lags, self.zero[1], self.period[1])
    }

    /// The lag of a column and row that are kept.
    #[inline(always)]
    pub(super) fn lag(&self, [column, row]: [usize; 2]) -> [isize; 2] {
        let of_axis = |k: usize| lag_of(self.limit[k], self.zero[k], self.period[k]);
        [of_axis(0)(column), of_axis(1)(row)]
    }

    /// Rows with their lag along y, each with its values and their lag along x.
    pub(crate) fn rows_mut(
        &mut self,
    ) -> impl Iterator<Item = (isize, impl Iterator<Item = (isize, &mut f32)>)> {
        let of_axis = |k: usize| lag_of(self.limit[k], self.zero[k], self.period[k]);
        let (of_column, of_row) = (of_axis(0), of_axis(1));
        let rows = self.values.chunks_exact_mut(self.period[0]).enumerate();
        rows.map(move |(row, values)| {
            let values = values.iter_mut().enumerate();
            (
                of_row(row),
                values.map(move |(column, value)| (of_column(column), value)),
            )
        })
    }
}

/// Planes are alike if their values are, however they are kept.
impl PartialEq for Plane {
    fn eq(&self, other: &Plane) -> bool {
        self.limit == other.limit && self.values().eq(other.values())
    }
}

/// From places along an axis to their lags, which are negative beyond the limit where the plane wraps
/// round.
#[inline(always)]
fn lag_of(limit: usize, zero: usize, period: usize) -> impl Fn(usize) -> isize + Copy {
    move |place| {
        let lag = place as isize - zero as isize;
        match zero < limit && lag > limit as isize {
            true => lag - period as isize,
            false => lag,
        }
    }
}

/// The place of a lag that is less than a period from those that are kept.
#[inline(always)]
fn wrapped(lag: isize, zero: usize, period: usize) -> usize {
    let (place, period) = (lag + zero as isize, period as isize);
    let place = if place < 0 { place + period } else { place };
    (if place >= period { place - period } else { place }) as usize
}

/// The places of lags in their order: those before the border, and those after it.
fn places(lags: Range<isize>, zero: usize, period: usize) -> [Range<usize>; 2] {
    let border = (-(zero as isize)).clamp(lags.start, lags.end.max(lags.start));
    let place = |lag: isize| (lag + zero as isize) as usize;
    let before = |lag: isize| (lag + (zero + period) as isize) as usize;
    [
        before(lags.start)..before(border),
        place(border)..place(lags.end.max(border)),
    ]
}
