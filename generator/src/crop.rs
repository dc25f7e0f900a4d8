//! A part of a picture.

use crate::scene::Scene;

/// A rectangle of pixels of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crop {
    /// Its first column and row of pixels.
    pub origin: [usize; 2],
    /// Its width and height, px.
    pub size: [usize; 2],
}

impl Crop {
    /// All of a scene's picture.
    pub(crate) fn whole(scene: &Scene) -> Crop {
        Crop {
            origin: [0; 2],
            size: scene.size,
        }
    }

    /// The first column (axis 0) or row (axis 1) behind it.
    pub fn end(&self, axis: usize) -> usize {
        self.origin[axis] + self.size[axis]
    }

    /// The same with `by` more pixels on each side, as far as a picture of this width and height
    /// goes.
    pub(crate) fn widened(&self, by: usize, size: [usize; 2]) -> Crop {
        let origin = self.origin.map(|first| first.saturating_sub(by));
        let end = [0, 1].map(|k| (self.end(k) + by).min(size[k]));
        Crop {
            origin,
            size: [0, 1].map(|k| end[k] - origin[k]),
        }
    }
}
