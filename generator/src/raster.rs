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
    stride: usize,
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

    /// Width and height, pixels from one row to the next, and the pixels.
    #[inline(always)]
    pub(crate) fn parts(&mut self) -> ([usize; 2], usize, &mut [f32]) {
        ([self.width, self.height], self.stride, &mut self.light)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows keep to the width whatever lies between them, memory that was used before is dark
    /// again, and no two rows of a particle image share a set of a cache of 64 lines.
    #[test]
    fn rows_stand_apart() {
        for width in [1, 15, 16, 17, 512, 1024] {
            let mut raster = Raster::dark([width, 9], vec![7.0; 3]);
            assert!(raster.light.iter().all(|e| *e == 0.0));
            for y in 0..9 {
                raster.light[y * raster.stride + width - 1] = y as f32;
            }
            let ends: Vec<f32> = raster.rows(2).map(|row| row[width - 1]).collect();
            assert_eq!(ends, [2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]);
            assert_eq!(raster.picture()[[4, width - 1]], 4.0);
            let sets: std::collections::BTreeSet<usize> =
                (0..9).map(|y| y * raster.stride / LINE % 64).collect();
            assert_eq!(sets.len(), 9, "{width}");
        }
    }
}
