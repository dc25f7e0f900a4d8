//! Correlates the windows of a grid, in the way that suits their size.

use super::any_windows::AnyWindows;
use super::overlapping::OverlappingWindows;
use super::plane::Plane;
use super::{Correlation, Normalise};
use crate::frames::FrameView;
use crate::window::Weighting;

/// Upper-left pixels (x, y) of the two windows of one vector in frame A and frame B.
#[derive(Clone, Copy)]
pub(crate) struct Corners {
    pub a: [isize; 2],
    pub b: [isize; 2],
}

/// Correlates windows of one size; all plans, weights and buffers are made once.
pub(crate) enum WindowCorrelator {
    Overlapping(Box<OverlappingWindows>),
    Any(Box<AnyWindows>),
}

impl WindowCorrelator {
    pub fn new(
        window: [usize; 2],
        weighting: Weighting,
        correlation: Correlation,
        normalise: Normalise,
    ) -> Self {
        // A circular correlation is not normalised.
        match OverlappingWindows::new(window, weighting) {
            Some(windows) if correlation == Correlation::Circular => Self::Overlapping(Box::new(windows)),
            _ => Self::Any(Box::new(AnyWindows::new(
                window,
                weighting,
                correlation,
                normalise,
            ))),
        }
    }

    /// Correlates the windows at each of `corners` and passes their planes to `take` in order.
    pub fn correlate(
        &mut self,
        frames: [FrameView; 2],
        corners: &[Corners],
        take: impl FnMut(usize, &Plane),
    ) {
        match self {
            Self::Overlapping(windows) => windows.correlate(frames, corners, take),
            Self::Any(windows) => windows.correlate(frames, corners, take),
        }
    }

    /// The plane of the windows that two frames of their size are, whatever was correlated before.
    pub fn alone(&mut self, frames: [FrameView; 2]) -> Plane {
        let corners = [Corners { a: [0, 0], b: [0, 0] }];
        if let Self::Any(windows) = self {
            windows.forget();
        }
        let mut found = None;
        self.correlate(frames, &corners, |_, plane| found = Some(plane.clone()));
        found.expect("one window has one plane")
    }
}
