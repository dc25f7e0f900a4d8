//! Pixels while light is drawn on them.

use ndarray::Array2;

/// Pixels of a picture or of some of its rows, photo-electrons.
///
/// Rows stand an odd number of cache lines apart. In a picture whose width is a power of two the
/// rows of a particle image would otherwise share one set of the cache, and each write would wait
/// for the one above it.
#[derive(Debug)]
pub(crate) struct Raster {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Pixels from one row to the next.
    pub(crate) stride: usize,
    pub(crate) light: Vec<f32>,
}

/// Pixels of a cache line.
const LINE: usize = 16;

impl Raster {
    /// Dark pixels, in the memory of an earlier raster.
    pub(crate) fn dark([width, height]: [usize; 2], mut memory: Vec<f32>) -> Raster {
        let stride = (width.div_ceil(LINE) | 1) * LINE;
        memory.clear();
        memory.resize(stride * height, 0.0);
        Raster {
            width,
            height,
            stride,
            light: memory,
        }
    }

    /// The rows from number `first` on.
    pub(crate) fn rows(&self, first: usize) -> impl Iterator<Item = &[f32]> {
        let rows = self.light.chunks_exact(self.stride).skip(first);
        rows.map(|row| &row[..self.width])
    }

    /// As a picture, height × width.
    pub(crate) fn picture(&self) -> Array2<f32> {
        Array2::from_shape_fn((self.height, self.width), |(y, x)| {
            self.light[y * self.stride + x]
        })
    }
}
