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
        let [left, top] = grid.corner(column, row);
        let (left, top) = (left as isize, top as isize);
        let shift = [predicted[0].round() as isize, predicted[1].round() as isize];
        let a = [left - shift[0] / 2, top - shift[1] / 2];
        let moved = Corners {
            a,
            b: [a[0] + shift[0], a[1] + shift[1]],
        };
        let (applied, corners) = match deform {
            true => {
                let corner = [left, top];
                (predicted, Corners { a: corner, b: corner })
            }
            false => ([shift[0] as f64, shift[1] as f64], moved),
        };
        Self {
            predicted,
            applied,
            corners,
            moved,
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
            Some([self.applied[0] + residual[0], self.applied[1] + residual[1]])
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
