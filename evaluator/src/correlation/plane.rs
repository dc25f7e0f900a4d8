//! The correlation plane: one value per lag.

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
#[derive(Clone, Debug, PartialEq)]
pub struct Plane {
    limit: [usize; 2],
    values: Vec<f32>,
}

impl Plane {
    /// A plane of zeros for the search range of a window of at least 1 x 1 px (width, height).
    pub fn new(window: [usize; 2]) -> Self {
        let limit = window.map(|side| (side - 1) / 2);
        let [width, height] = limit.map(|l| 2 * (l + MARGIN) + 1);
        Self {
            limit,
            values: vec![0.0; width * height],
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
        self.values[(lag_y + reach_y) as usize * self.width() + (lag_x + reach_x) as usize]
    }

    /// All values, row by row, starting at the lag (-reach, -reach).
    pub fn values(&self) -> &[f32] {
        &self.values
    }

    /// Adds the values of a plane of the same size.
    pub(crate) fn add(&mut self, other: &Plane) {
        self.values
            .iter_mut()
            .zip(&other.values)
            .for_each(|(sum, value)| *sum += value);
    }

    pub(crate) fn values_mut(&mut self) -> &mut [f32] {
        &mut self.values
    }

    /// Values of a row.
    pub(crate) fn width(&self) -> usize {
        2 * (self.limit[0] + MARGIN) + 1
    }

    /// The values from the first lag of the search range on, margins between its rows and below
    /// them as well.
    pub(crate) fn search_range(&self) -> &[f32] {
        &self.values[MARGIN * self.width() + MARGIN..]
    }

    /// Rows with their lag along y, each with its values and their lag along x.
    pub(crate) fn rows_mut(
        &mut self,
    ) -> impl Iterator<Item = (isize, impl Iterator<Item = (isize, &mut f32)>)> {
        let [reach_x, reach_y] = self.reach();
        (-reach_y..).zip(
            self.values
                .chunks_exact_mut((2 * reach_x + 1) as usize)
                .map(move |row| (-reach_x..).zip(row)),
        )
    }
}
