//! One window of a pass: where it lies, and the displacement that its correlation gives.

use crate::correlation::{Corners, LowValues, Peak, PeakFit, PeakSearch, Plane};
use crate::deform::Predictor;
use crate::validation::WindowPeaks;
use crate::window::Grid;

/// What is known of a window before its correlation.
pub(super) struct WindowPlace {
    /// Displacement by the predictor at the window's centre, px.
    predicted: [f64; 2],
    /// The part of it by which the frames or the windows have been displaced.
    applied: [f64; 2],
    /// The windows to be correlated.
    pub corners: Corners,
    /// The windows of the original frames that contain the same particles, to the pixel.
    pub moved: Corners,
}

impl WindowPlace {
    pub fn new(grid: &Grid, [column, row]: [usize; 2], predictor: Option<&Predictor>, deform: bool) -> Self {
        let [x, y] = grid.centre(column, row);
        let predicted = predictor.map_or([0.0; 2], |predictor| predictor.at(x, y));
        let corner = grid.corner(column, row).map(|c| c as isize);
        let shift = predicted.map(|p| p.round() as isize);
        let a = [0, 1].map(|k| corner[k] - shift[k] / 2);
        let moved = Corners {
            a,
            b: [0, 1].map(|k| a[k] + shift[k]),
        };
        if deform {
            Self {
                predicted,
                applied: predicted,
                corners: Corners { a: corner, b: corner },
                moved,
            }
        } else {
            Self {
                predicted,
                applied: shift.map(|s| s as f64),
                corners: moved,
                moved,
            }
        }
    }

    /// What the correlation `plane` of the window gives; where its second-highest peak lies only if
    /// `second` is asked for.
    pub fn measure(
        &self,
        plane: Option<&Plane>,
        search: &mut PeakSearch,
        peak_fit: PeakFit,
        low: LowValues,
        second: bool,
    ) -> WindowPeaks {
        let found = plane.map_or([None; 2], |plane| search.find(plane));
        let place = |peak: Option<Peak>| {
            let residual = peak_fit.locate(low, plane?, peak?);
            Some([0, 1].map(|k| self.applied[k] + residual[k]))
        };
        let peaks = [place(found[0]), place(found[1].filter(|_| second))];
        let peak_ratio = match found {
            [None, _] => 0.0,
            [Some(_), None] => f64::INFINITY,
            [Some(first), Some(second)] => f64::from(first.height) / f64::from(second.height),
        };
        WindowPeaks {
            predicted: self.predicted,
            peaks,
            peak_ratio,
        }
    }
}
