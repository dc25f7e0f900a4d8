//! The multi-pass schedule: from two frames to a field of vectors.
//!
//! 1. The windows of the first pass are correlated in the frames as they are.
//! 2. Vectors that fail the tests are replaced, for the predictor only, by the second-highest peak if it passes them, else by the
//!    median of their trusted neighbours.
//! 3. The predictor, a smooth displacement field over all pixels, is laid through the vectors (`PredictorFilter`).
//! 4. Both frames are deformed by half the predictor, A backward and B forward, so that a vector belongs to the window's centre
//!    midway in time, and the windows of the next pass are correlated; each finds the residual displacement, which is added
//!    to the predictor at its centre. On with 2.
//!
//! In the last pass vectors that fail keep what was measured and carry the reason as their [`Status`].

use ndarray::ArrayView2;

use crate::correlation::{Corners, WindowCorrelator};
use crate::deform::Predictor;
use crate::error::Error;
use crate::field::{Status, Vector, VectorField};
use crate::frames::{Frame, Frames};
use crate::interpolate::Interpolated;
use crate::outlier::Neighbourhood;
use crate::peak;
use crate::processing::Processing;
use crate::window::Grid;

/// Measures the displacement field from frame `a` to frame `b`, arrays of the same shape (height, width).
///
/// Grey values may have any offset and scale. The result is a function of the arguments alone, bit for bit on a given machine;
/// the work is done on the calling thread, so that callers can correlate many pairs side by side. For many pairs
/// of one size a [`Correlator`] saves setting up.
///
/// # Errors
/// If the frames differ in size or hold values that are not finite, or [`Processing::validate`] fails.
pub fn correlate(
    a: ArrayView2<f32>,
    b: ArrayView2<f32>,
    processing: &Processing,
) -> Result<VectorField, Error> {
    let (height, width) = a.dim();
    Correlator::new(width, height, processing)?.correlate(a, b)
}

/// Correlates pairs of one size, one after another, with plans, weights and buffers made once.
pub struct Correlator {
    size: [usize; 2],
    processing: Processing,
    stages: Vec<(Grid, WindowCorrelator)>,
    interpolated: [Interpolated; 2],
    deformed: [Vec<f32>; 2],
}

/// What the correlation plane of a window says.
#[derive(Clone, Copy)]
struct Measured {
    /// Displacement before the correlation, px.
    predicted: [f64; 2],
    /// Displacements by the highest and the second-highest peak, px.
    peaks: [Option<[f64; 2]>; 2],
    peak_ratio: f64,
}

impl Measured {
    fn displacement(&self) -> [f64; 2] {
        self.peaks[0].unwrap_or(self.predicted)
    }
}

impl Correlator {
    /// A correlator for pairs of `width` x `height` px.
    ///
    /// # Errors
    /// If [`Processing::validate`] fails.
    pub fn new(width: usize, height: usize, processing: &Processing) -> Result<Self, Error> {
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
            deformed: [(); 2].map(|()| vec![0.0; width * height]),
            processing: processing.clone(),
        })
    }

    /// Measures the displacement field of a pair, as [`correlate`] does.
    ///
    /// # Errors
    /// If the frames are not of the size this was made for or hold values that are not finite.
    pub fn correlate(&mut self, a: ArrayView2<f32>, b: ArrayView2<f32>) -> Result<VectorField, Error> {
        self.run(a, b, None)
    }

    /// Measures starting from a known approximate field, such as that of the pair before: the first pass is a later pass already.
    ///
    /// # Errors
    /// As [`Correlator::correlate`], or if `predictor` is not a whole grid of finite displacements.
    pub fn correlate_from(
        &mut self,
        a: ArrayView2<f32>,
        b: ArrayView2<f32>,
        predictor: &VectorField,
    ) -> Result<VectorField, Error> {
        let predictor = Predictor::from_field(predictor, self.processing.predictor_filter)?;
        self.run(a, b, Some(predictor))
    }

    fn run(
        &mut self,
        a: ArrayView2<f32>,
        b: ArrayView2<f32>,
        mut predictor: Option<Predictor>,
    ) -> Result<VectorField, Error> {
        let frames = Frames::new(a, b)?;
        if frames.size != self.size {
            return Err(Error::CorrelatorSize {
                found: frames.size,
                expected: self.size,
            });
        }
        let passes = self.stages.len();
        if self.processing.deform && (passes > 1 || predictor.is_some()) {
            for (interpolated, frame) in self.interpolated.iter_mut().zip(frames.views()) {
                interpolated.load(frame);
            }
        }
        for pass in 0..passes - 1 {
            let measured = self.measure(&frames, pass, predictor.as_ref());
            let grid = &self.stages[pass].0;
            let displacements = replace_untrusted(grid, &measured, &self.processing);
            predictor = Some(Predictor::new(
                grid.centre(0, 0),
                grid.spacing,
                [grid.columns, grid.rows],
                displacements,
                self.processing.predictor_filter,
            ));
        }
        let measured = self.measure(&frames, passes - 1, predictor.as_ref());
        Ok(field(&self.stages[passes - 1].0, &measured, &self.processing))
    }

    /// Correlates all windows of a pass.
    fn measure(&mut self, frames: &Frames, pass: usize, predictor: Option<&Predictor>) -> Vec<Measured> {
        let Self {
            size,
            processing,
            stages,
            interpolated,
            deformed,
            ..
        } = self;
        let (grid, correlator) = &mut stages[pass];
        let places = (0..grid.len()).map(|n| (n % grid.columns, n / grid.columns));
        let predicted: Vec<[f64; 2]> = places
            .clone()
            .map(|(column, row)| {
                let [x, y] = grid.centre(column, row);
                predictor.map_or([0.0; 2], |predictor| predictor.at(x, y))
            })
            .collect();
        // Windows of both frames, moved by the predicted displacement to the whole pixel.
        let moved: Vec<([isize; 2], Corners)> = places
            .zip(&predicted)
            .map(|((column, row), predicted)| {
                let corner = grid.corner(column, row).map(|c| c as isize);
                let shift = predicted.map(|p| p.round() as isize);
                let a = [0, 1].map(|k| corner[k] - shift[k] / 2);
                (
                    shift,
                    Corners {
                        a,
                        b: [0, 1].map(|k| a[k] + shift[k]),
                    },
                )
            })
            .collect();
        let original = frames.views();
        let uniform = |Corners { a, b }| {
            original[0].is_uniform(a, grid.window) || original[1].is_uniform(b, grid.window)
        };
        let corners: Vec<Corners> = if processing.deform {
            let at = |n: usize| {
                grid.corner(n % grid.columns, n / grid.columns)
                    .map(|c| c as isize)
            };
            (0..grid.len()).map(|n| Corners { a: at(n), b: at(n) }).collect()
        } else {
            moved.iter().map(|(_, corners)| *corners).collect()
        };
        let views = match predictor {
            Some(predictor) if processing.deform => {
                let [a, b] = &mut *deformed;
                predictor.deform([&interpolated[0], &interpolated[1]], *size, [a, b]);
                [0, 1].map(|k| Frame {
                    pixels: &deformed[k],
                    size: *size,
                })
            }
            _ => original,
        };
        let mut measured = Vec::with_capacity(corners.len());
        correlator.correlate(views, &corners, |n, plane| {
            let (shift, place) = moved[n];
            let start = if processing.deform {
                predicted[n]
            } else {
                shift.map(|s| s as f64)
            };
            let found = if uniform(place) {
                [None; 2]
            } else {
                peak::find(plane)
            };
            let peaks = found.map(|peak| {
                let residual = processing.peak_fit.locate(plane, peak?);
                Some([start[0] + residual[0], start[1] + residual[1]])
            });
            let peak_ratio = match found {
                [None, _] => 0.0,
                [Some(_), None] => f64::INFINITY,
                [Some(first), Some(second)] => f64::from(first.height) / f64::from(second.height),
            };
            measured.push(Measured {
                predicted: predicted[n],
                peaks,
                peak_ratio,
            });
        });
        measured
    }
}

/// What the vector says for itself, before its neighbours are asked.
fn own_status(measured: &Measured, displacement: Option<[f64; 2]>, processing: &Processing) -> Status {
    let Some([dx, dy]) = displacement else {
        return Status::NoPeak;
    };
    if processing
        .max_displacement_px
        .is_some_and(|longest| dx.hypot(dy) > longest)
    {
        Status::OutOfRange
    } else if processing
        .min_peak_ratio
        .is_some_and(|least| measured.peak_ratio < least)
    {
        Status::LowPeakRatio
    } else {
        Status::Valid
    }
}

fn statuses(grid: &Grid, measured: &[Measured], processing: &Processing) -> Vec<Status> {
    let mut statuses: Vec<Status> = measured
        .iter()
        .map(|m| own_status(m, m.peaks[0], processing))
        .collect();
    let displacements: Vec<[f64; 2]> = measured.iter().map(Measured::displacement).collect();
    let trusted: Vec<bool> = statuses.iter().map(|&s| s == Status::Valid).collect();
    let all = Neighbourhood {
        columns: grid.columns,
        displacements: &displacements,
        trusted: &trusted,
    };
    for (n, status) in statuses
        .iter_mut()
        .enumerate()
        .filter(|(_, s)| **s == Status::Valid)
    {
        let residual = all.residual(n, displacements[n], processing.outlier_epsilon_px);
        if residual.is_some_and(|residual| residual > processing.outlier_threshold) {
            *status = Status::Outlier;
        }
    }
    statuses
}

/// The displacements of a pass with those that fail a test replaced: by the second-highest peak if it passes, else by the median
/// of the trusted neighbours, else (nothing trusted anywhere near) by what was predicted.
fn replace_untrusted(grid: &Grid, measured: &[Measured], processing: &Processing) -> Vec<[f64; 2]> {
    let statuses = statuses(grid, measured, processing);
    let mut displacements: Vec<[f64; 2]> = measured.iter().map(Measured::displacement).collect();
    let mut trusted: Vec<bool> = statuses.iter().map(|&s| s == Status::Valid).collect();
    // Where a whole patch fails, each round fills its rim from the vectors around.
    loop {
        let known = Neighbourhood {
            columns: grid.columns,
            displacements: &displacements,
            trusted: &trusted,
        };
        let filled: Vec<(usize, [f64; 2])> = (0..measured.len())
            .filter(|&n| !trusted[n])
            .filter_map(|n| {
                let median = known.median(n)?;
                let second = measured[n].peaks[1].filter(|&second| {
                    let residual = known.residual(n, second, processing.outlier_epsilon_px);
                    own_status(&measured[n], Some(second), processing) != Status::OutOfRange
                        && residual.is_some_and(|residual| residual <= processing.outlier_threshold)
                });
                Some((n, second.unwrap_or(median)))
            })
            .collect();
        if filled.is_empty() {
            break;
        }
        for (n, displacement) in filled {
            (displacements[n], trusted[n]) = (displacement, true);
        }
    }
    for (n, displacement) in displacements.iter_mut().enumerate().filter(|(n, _)| !trusted[*n]) {
        *displacement = measured[n].predicted;
    }
    displacements
}

fn field(grid: &Grid, measured: &[Measured], processing: &Processing) -> VectorField {
    let statuses = statuses(grid, measured, processing);
    let vectors = measured
        .iter()
        .zip(statuses)
        .enumerate()
        .map(|(n, (measured, status))| {
            let [x_px, y_px] = grid.centre(n % grid.columns, n / grid.columns);
            let [dx_px, dy_px] = measured.displacement();
            Vector {
                x_px,
                y_px,
                dx_px,
                dy_px,
                peak_ratio: measured.peak_ratio,
                status,
            }
        });
    VectorField {
        columns: grid.columns,
        rows: grid.rows,
        window: grid.window,
        spacing: grid.spacing,
        vectors: vectors.collect(),
    }
}
