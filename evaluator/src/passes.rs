//! The multi-pass schedule: from two frames to a field of vectors.
//!
//! The frames are prepared first, if requested ([`crate::prepare`]); then
//!
//! 1. The windows of the first pass are correlated in the frames as they are.
//! 2. Vectors that fail the tests are replaced, for the predictor only, by the second-highest peak
//!    if that passes them, else by the median of their trusted neighbours.
//! 3. The predictor, a smooth displacement field over all pixels, is fitted to the vectors
//!    (`PredictorFilter`).
//! 4. Both frames are deformed by half the predictor, A backward and B forward, so that a vector
//!    belongs to the window's centre midway in time. The windows of the next pass are correlated;
//!    each finds the residual displacement, which is added to the predictor at its centre. Then on
//!    with step 2.
//!
//! In the last pass vectors that fail keep what was measured, with the reason as their
//! `VectorStatus`; the others may be refined (`Refinement`), in frames deformed once more.

mod place;
mod refine;

use std::ops::Range;

use ndarray::ArrayView2;

use crate::correlation::{Corners, WindowCorrelator};
use crate::correlation::{PeakSearch, Plane};
use crate::deform::Predictor;
use crate::error::ProcessingError;
use crate::field::VectorField;
use crate::frames::{FrameView, Frames};
use crate::interpolate::Interpolated;
use crate::processing::Processing;
use crate::refinement::Refinement;
use crate::validation::{self, WindowPeaks};
use crate::window::Grid;
use place::WindowPlace;

/// Measures the displacement field from frame `a` to frame `b`, arrays of the same shape (height,
/// width).
///
/// Grey values may have any offset and scale. The result is a function of the arguments alone, bit
/// for bit on a given machine. The work is done on the calling thread, so that callers can
/// correlate many pairs in parallel. For many pairs of one size a [`Correlator`] saves the setup.
///
/// # Errors
/// If the frames differ in size or contain values that are not finite, or [`Processing::validate`]
/// fails.
///
/// ```
/// use motefield_evaluator::{Pass, Processing, VectorStatus, correlate};
/// use ndarray::Array2;
///
/// // Four particle images per frame, displaced by (2, 1) px.
/// let places = [(7.0, 9.0), (20.0, 6.0), (11.0, 22.0), (23.0, 19.0)];
/// let frame = |dx: f32, dy: f32| {
///     Array2::from_shape_fn((32, 32), |(j, i)| {
///         let light = |(x, y): (f32, f32)| {
///             (-((i as f32 - x - dx).powi(2) + (j as f32 - y - dy).powi(2)) / 2.0).exp()
///         };
///         places.map(light).iter().sum::<f32>()
///     })
/// };
/// let processing = Processing {
///     passes: vec![Pass::square(32, 0.0)],
///     ..Processing::default()
/// };
/// let (a, b) = (frame(0.0, 0.0), frame(2.0, 1.0));
/// let field = correlate(a.view(), b.view(), &processing)?;
/// let vector = field.vectors[0];
/// assert_eq!(vector.status, VectorStatus::Valid);
/// assert!((vector.dx_px - 2.0).hypot(vector.dy_px - 1.0) < 0.05);
/// # Ok::<(), motefield_evaluator::ProcessingError>(())
/// ```
pub fn correlate(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    processing: &Processing,
) -> Result<VectorField, ProcessingError> {
    let (height, width) = a.dim();
    Correlator::new(width, height, processing)?.correlate(a, b)
}

/// Measures one displacement field from many pairs of a steady flow: the correlation planes of all
/// pairs are added window by window before the peaks are located (Meinhart, Wereley & Santiago
/// 2000), which finds displacements where a single pair is too dim or too sparse. The planes are
/// not normalised before, so brighter pairs count more.
///
/// All frames have the same shape (height, width).
///
/// # Errors
/// As [`correlate`], or if there is no pair.
///
/// ```
/// use motefield_evaluator::{Pass, Processing, ProcessingError, correlate_ensemble};
/// use ndarray::Array2;
///
/// // Each pair shows one particle image, displaced by (1, 0) px.
/// let frame = |x: f32, y: f32| {
///     Array2::from_shape_fn((16, 16), |(j, i)| {
///         (-((i as f32 - x).powi(2) + (j as f32 - y).powi(2)) / 2.0).exp()
///     })
/// };
/// let frames = [(5.0, 6.0), (9.0, 4.0), (8.0, 10.0)].map(|(x, y)| [frame(x, y), frame(x + 1.0, y)]);
/// let pairs = frames.each_ref().map(|[a, b]| [a.view(), b.view()]);
/// let processing = Processing {
///     passes: vec![Pass::square(16, 0.0)],
///     ..Processing::default()
/// };
/// let field = correlate_ensemble(&pairs, &processing)?;
/// assert!((field.vectors[0].dx_px - 1.0).abs() < 0.1);
/// assert_eq!(correlate_ensemble(&[], &processing), Err(ProcessingError::NoPairs));
/// # Ok::<(), ProcessingError>(())
/// ```
pub fn correlate_ensemble(
    pairs: &[[ArrayView2<f32>; 2]],
    processing: &Processing,
) -> Result<VectorField, ProcessingError> {
    let [first, _] = pairs.first().ok_or(ProcessingError::NoPairs)?;
    Correlator::new(first.ncols(), first.nrows(), processing)?.correlate_ensemble(pairs)
}

/// Correlates pairs of one size, one after another; plans, weights and buffers are made once.
///
/// ```
/// use motefield_evaluator::{Correlator, Pass, Processing};
/// use ndarray::Array2;
///
/// let processing = Processing {
///     passes: vec![Pass::square(16, 0.5)],
///     ..Processing::default()
/// };
/// let mut correlator = Correlator::new(32, 32, &processing)?;
/// let frame = Array2::from_shape_fn((32, 32), |(y, x)| ((3 * x + 5 * y * y) % 17) as f32);
/// for _ in 0..2 {
///     let field = correlator.correlate(frame.view(), frame.view())?;
///     assert_eq!((field.columns, field.rows), (3, 3));
///     assert!(field.vectors.iter().all(|v| v.dx_px.abs() < 1e-6 && v.dy_px.abs() < 1e-6));
/// }
/// # Ok::<(), motefield_evaluator::ProcessingError>(())
/// ```
pub struct Correlator {
    size: [usize; 2],
    processing: Processing,
    stages: Vec<(Grid, WindowCorrelator)>,
    interpolated: [Interpolated; 2],
    /// Index of the pair that is in `interpolated`.
    loaded: Option<usize>,
    deformed: [Vec<f32>; 2],
    /// Columns and rows of the last pass's windows that are measured; `None` for all.
    part: Option<[Range<usize>; 2]>,
}

impl Correlator {
    /// A correlator for pairs of `width` x `height` px.
    ///
    /// # Errors
    /// If [`Processing::validate`] fails.
    pub fn new(width: usize, height: usize, processing: &Processing) -> Result<Self, ProcessingError> {
        processing.validate(width, height)?;
        let size = [width, height];
        let stages = processing.passes.iter().map(|pass| {
            let Processing {
                weighting,
                correlation,
                normalise,
                ..
            } = *processing;
            let correlator = WindowCorrelator::new(pass.window, weighting, correlation, normalise);
            (Grid::new(width, height, pass.window, pass.overlap), correlator)
        });
        Ok(Self {
            size,
            stages: stages.collect(),
            interpolated: [(); 2].map(|()| Interpolated::new(size, processing.interpolator)),
            loaded: None,
            deformed: [(); 2].map(|()| vec![0.0; width * height]),
            processing: processing.clone(),
            part: None,
        })
    }

    /// The same, measuring no more windows of the last pass than those in these columns and rows of
    /// its grid: the others have no vector, and those beside them fewer neighbours for the median
    /// test. Of the passes before those windows are measured on which the predictor under these
    /// depends, but for less than a hundredth of it. All are measured whole where the last pass is
    /// refined, which takes the vectors around.
    ///
    /// ```
    /// use motefield_evaluator::{Correlator, Pass, Processing, VectorStatus};
    /// use ndarray::Array2;
    ///
    /// let processing = Processing { passes: vec![Pass::square(16, 0.5)], ..Processing::default() };
    /// let mut correlator = Correlator::new(32, 32, &processing)?.measuring([0..2, 0..1]);
    /// let frame = Array2::from_shape_fn((32, 32), |(y, x)| ((3 * x + 5 * y * y) % 17) as f32);
    /// let field = correlator.correlate(frame.view(), frame.view())?;
    /// let measured = field.vectors.iter().filter(|v| v.status != VectorStatus::NoPeak);
    /// assert_eq!((field.columns, field.rows, measured.count()), (3, 3, 2));
    /// # Ok::<(), motefield_evaluator::ProcessingError>(())
    /// ```
    pub fn measuring(mut self, part: [Range<usize>; 2]) -> Self {
        if self.processing.refinement != Refinement::None {
            return self;
        }
        self.part = Some(part);
        let beyond = AROUND_A_PLACE + self.processing.predictor_filter.reach() + 1;
        for pass in (0..self.stages.len() - 1).rev() {
            let under = self.pixels_of(pass + 1);
            let grid = &mut self.stages[pass].0;
            *grid = around(grid, under, beyond);
        }
        self
    }

    /// Columns and rows of the windows of a pass that are measured.
    fn wanted(&self, pass: usize) -> [Range<usize>; 2] {
        let grid = &self.stages[pass].0;
        match &self.part {
            Some([columns, rows]) if pass + 1 == self.stages.len() => [
                columns.start..columns.end.min(grid.columns),
                rows.start..rows.end.min(grid.rows),
            ],
            _ => [0..grid.columns, 0..grid.rows],
        }
    }

    /// Columns and rows of pixels that the windows of a pass cover.
    fn pixels_of(&self, pass: usize) -> [Range<usize>; 2] {
        let (grid, wanted) = (&self.stages[pass].0, self.wanted(pass));
        [0, 1].map(|k| match wanted[k].is_empty() {
            true => 0..0,
            false => {
                let corner = |n: usize| grid.origin[k] + n * grid.spacing[k];
                corner(wanted[k].start)..corner(wanted[k].end - 1) + grid.window[k]
            }
        })
    }

    /// Measures the displacement field of a pair, as [`correlate`] does.
    ///
    /// # Errors
    /// If the frames are not of the size this was made for or contain values that are not finite.
    pub fn correlate(
        &mut self,
        a: ArrayView2<f32>,
        b: ArrayView2<f32>,
    ) -> Result<VectorField, ProcessingError> {
        self.run(&[[a, b]], None)
    }

    /// Measures starting from a known approximate field, such as that of the previous pair: already
    /// the first pass uses a predictor.
    ///
    /// # Errors
    /// As [`Correlator::correlate`], or if `predictor` is not a complete grid of finite
    /// displacements.
    pub fn correlate_from(
        &mut self,
        a: ArrayView2<f32>,
        b: ArrayView2<f32>,
        predictor: &VectorField,
    ) -> Result<VectorField, ProcessingError> {
        let predictor = Predictor::from_field(predictor, self.processing.predictor_filter)?;
        self.run(&[[a, b]], Some(predictor))
    }

    /// Measures one field from many pairs of a steady flow, as [`correlate_ensemble`] does.
    ///
    /// # Errors
    /// As [`Correlator::correlate`], or if there is no pair.
    pub fn correlate_ensemble(
        &mut self,
        pairs: &[[ArrayView2<f32>; 2]],
    ) -> Result<VectorField, ProcessingError> {
        self.run(pairs, None)
    }

    fn run(
        &mut self,
        pairs: &[[ArrayView2<f32>; 2]],
        mut predictor: Option<Predictor>,
    ) -> Result<VectorField, ProcessingError> {
        let raw = pairs
            .iter()
            .map(|[a, b]| Frames::new(*a, *b))
            .collect::<Result<Vec<_>, _>>()?;
        let prepared = self.processing.preparation.apply(pairs)?;
        let pairs = match &prepared {
            None => raw,
            Some(prepared) => prepared
                .iter()
                .map(|[a, b]| Frames::new(a.view(), b.view()))
                .collect::<Result<Vec<_>, _>>()?,
        };
        if pairs.is_empty() {
            return Err(ProcessingError::NoPairs);
        }
        if let Some(frames) = pairs.iter().find(|frames| frames.size != self.size) {
            return Err(ProcessingError::CorrelatorSize {
                found: frames.size,
                expected: self.size,
            });
        }
        self.loaded = None;
        let last = self.stages.len() - 1;
        for pass in 0..last {
            let measured = self.measure(&pairs, pass, predictor.as_ref());
            predictor = Some(self.predictor(pass, &measured));
        }
        let measured = self.measure(&pairs, last, predictor.as_ref());
        let field = validation::field(&self.stages[last].0, &measured, &self.processing);
        Ok(self.refine(&pairs, &measured, field))
    }

    /// The predictor from the vectors of a pass.
    fn predictor(&self, pass: usize, measured: &[WindowPeaks]) -> Predictor {
        let grid = &self.stages[pass].0;
        self.predictor_through(
            pass,
            validation::replace_untrusted(grid, measured, &self.processing),
        )
    }

    /// The predictor from displacements on the grid of a pass.
    fn predictor_through(&self, pass: usize, displacements: Vec<[f64; 2]>) -> Predictor {
        let grid = &self.stages[pass].0;
        Predictor::new(
            grid.centre(0, 0),
            grid.spacing,
            [grid.columns, grid.rows],
            displacements,
            self.processing.predictor_filter,
        )
    }

    /// Deforms these columns and rows of the frames of a pair into `deformed`.
    fn deform(
        &mut self,
        number: usize,
        frames: [FrameView; 2],
        predictor: &Predictor,
        part: [Range<usize>; 2],
    ) {
        if self.loaded.replace(number) != Some(number) {
            for (interpolated, frame) in self.interpolated.iter_mut().zip(frames) {
                interpolated.load(frame);
            }
        }
        let [a, b] = &mut self.deformed;
        let frames = [&self.interpolated[0], &self.interpolated[1]];
        predictor.deform(frames, self.size[0], part, [a, b]);
    }

    /// Correlates the windows of a pass; the planes of all pairs are added.
    fn measure(&mut self, pairs: &[Frames], pass: usize, predictor: Option<&Predictor>) -> Vec<WindowPeaks> {
        let grid = self.stages[pass].0.clone();
        let [columns, rows] = self.wanted(pass);
        let (peak_fit, low, deform) = (
            self.processing.peak_fit,
            self.processing.low_values,
            self.processing.deform,
        );
        // Second-highest peaks are located where a vector may be replaced by them.
        let second = pass + 1 < self.stages.len() || self.processing.refinement != Refinement::None;
        let mut search = PeakSearch::default();
        let mut measure = |place: &WindowPlace, plane: Option<&Plane>| {
            place.measure(plane, &mut search, peak_fit, low, second)
        };
        let place = |column: usize, row: usize| WindowPlace::new(&grid, [column, row], predictor, deform);
        let places = |rows: Range<usize>| -> Vec<WindowPlace> {
            rows.flat_map(|row| columns.clone().map(move |column| place(column, row)))
                .collect()
        };
        let mut measured = Vec::with_capacity(columns.len() * rows.len());
        if let [pair] = pairs {
            self.prepare(0, pair, pass, predictor);
            // Few at a time, as long as they are in the cache; an even number, so that the same two
            // are transformed together as if all were there.
            for first in rows.clone().step_by(2) {
                let places = places(first..rows.end.min(first + 2));
                self.planes(pair, pass, predictor, &places, |n, plane| {
                    measured.push(measure(&places[n], plane))
                });
            }
        } else {
            let places = places(rows.clone());
            let mut sums: Vec<Option<Plane>> = vec![None; places.len()];
            for (number, pair) in pairs.iter().enumerate() {
                self.prepare(number, pair, pass, predictor);
                self.planes(pair, pass, predictor, &places, |n, plane| {
                    match (&mut sums[n], plane) {
                        (Some(sum), Some(plane)) => sum.add(plane),
                        (sum @ None, Some(plane)) => *sum = Some(plane.clone()),
                        (_, None) => {}
                    }
                });
            }
            let all = places.iter().zip(&sums);
            measured.extend(all.map(|(place, sum)| measure(place, sum.as_ref())));
        }
        if measured.len() == grid.len() {
            return measured;
        }
        let mut all = vec![WindowPeaks::NONE; grid.len()];
        let wanted = rows.flat_map(|row| columns.clone().map(move |column| row * grid.columns + column));
        for (n, peaks) in wanted.zip(measured) {
            all[n] = peaks;
        }
        all
    }

    /// Deforms the frames of a pair as far as the windows of a pass lie, where the predictor is to do
    /// that.
    fn prepare(&mut self, number: usize, pair: &Frames, pass: usize, predictor: Option<&Predictor>) {
        if let Some(predictor) = predictor.filter(|_| self.processing.deform) {
            self.deform(number, pair.views(), predictor, self.pixels_of(pass));
        }
    }

    /// Correlates windows of a pair that is prepared and passes the planes to `take` in order: `None`
    /// where a window is uniform.
    fn planes(
        &mut self,
        pair: &Frames,
        pass: usize,
        predictor: Option<&Predictor>,
        places: &[WindowPlace],
        mut take: impl FnMut(usize, Option<&Plane>),
    ) {
        let original = pair.views();
        let frames = match predictor.filter(|_| self.processing.deform) {
            Some(_) => [0, 1].map(|k| FrameView {
                pixels: &self.deformed[k],
                size: self.size,
            }),
            None => original,
        };
        let (grid, correlator) = &mut self.stages[pass];
        let corners: Vec<Corners> = places.iter().map(|place| place.corners).collect();
        correlator.correlate(frames, &corners, |n, plane| {
            // Decided on the frames as they are: interpolation leaves rounding errors where nothing
            // is.
            let Corners { a, b } = places[n].moved;
            let uniform = original[0].is_uniform(a, grid.window) || original[1].is_uniform(b, grid.window);
            take(n, (!uniform).then_some(plane));
        });
    }
}

/// Vectors on either side of a place between which a cubic spline runs there.
const AROUND_A_PLACE: usize = 2;

/// The part of a grid that reaches so many windows beyond pixels on every side, as far as there
/// are.
fn around(grid: &Grid, pixels: [Range<usize>; 2], beyond: usize) -> Grid {
    let all = [grid.columns, grid.rows];
    let [columns, rows] = [0, 1].map(|k| {
        let (centre, spacing) = (grid.origin[k] + grid.window[k] / 2, grid.spacing[k]);
        let before = |pixel: usize| pixel.saturating_sub(centre) / spacing;
        let first = (before(pixels[k].start) + 1).saturating_sub(beyond);
        let end = before(pixels[k].end) + 1 + beyond;
        first.min(all[k])..end.min(all[k])
    });
    Grid {
        columns: columns.len(),
        rows: rows.len(),
        origin: grid.corner(columns.start, rows.start),
        ..grid.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Windows of 32 px every 8 px from column 4 have their centres at 20, 28, 36 …: by hand, those
    /// around the pixels 45 to 61, two on either side, are those at 36 to 76; at the border as many
    /// as there are.
    #[test]
    fn the_part_of_a_grid_around_pixels() {
        let grid = Grid {
            columns: 12,
            rows: 12,
            window: [32, 32],
            spacing: [8, 8],
            origin: [4, 4],
        };
        let part = around(&grid, [45..61, 0..30], 2);
        assert_eq!((part.columns, part.origin[0]), (6, 20));
        assert_eq!((part.rows, part.origin[1]), (4, 4));
        let end = around(&grid, [90..200, 130..140], 3);
        assert_eq!((end.columns, end.origin[0]), (6, 52));
        assert_eq!((end.rows, end.origin[1]), (1, 92));
    }
}
