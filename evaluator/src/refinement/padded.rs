//! Values at the pixels of a rectangle, with room around it for images that it cuts.

use super::particle_image::{LANES, Lanes, UnitImage, UnitImages};

/// One value per pixel, zero at first, also in a border as wide as an image.
#[derive(Clone, Default)]
pub(crate) struct Padded {
    size: [usize; 2],
    border: [usize; 2],
    stride: usize,
    values: Vec<f64>,
}

impl Padded {
    /// All zero, for a rectangle of `size` pixels and images made by `images`; the memory is used
    /// again.
    pub fn clear(&mut self, size: [usize; 2], images: &UnitImages) {
        self.size = size;
        self.border = [images.columns(), images.rows];
        self.stride = size[0].next_multiple_of(LANES) + 2 * self.border[0];
        self.values.clear();
        self.values
            .resize(self.stride * (size[1] + 2 * self.border[1]), 0.0);
    }

    /// Width and height of the rectangle.
    #[inline(always)]
    pub fn size(&self) -> [usize; 2] {
        self.size
    }

    /// Index of the first pixel of a row.
    #[inline(always)]
    fn start(&self, y: isize) -> usize {
        (y + self.border[1] as isize) as usize * self.stride + self.border[0]
    }

    /// Row `y` of the rectangle.
    #[inline(always)]
    pub fn row(&self, y: usize) -> &[f64] {
        &self.values[self.start(y as isize)..][..self.size[0]]
    }

    /// The same, to be changed.
    #[inline(always)]
    pub fn row_mut(&mut self, y: usize) -> &mut [f64] {
        let start = self.start(y as isize);
        &mut self.values[start..][..self.size[0]]
    }

    #[inline(always)]
    pub fn at(&self, x: usize, y: usize) -> f64 {
        self.values[self.start(y as isize) + x]
    }

    /// The pixels at which row `y`, chunk `chunk` of an image lies.
    #[inline(always)]
    pub fn under(&self, image: &UnitImage, y: usize, chunk: usize) -> &Lanes {
        let start = self.under_start(image, y, chunk);
        lanes(&self.values[start..])
    }

    #[inline(always)]
    fn under_start(&self, image: &UnitImage, y: usize, chunk: usize) -> usize {
        let row = self.start(image.first[1] + y as isize) + chunk * LANES;
        row.wrapping_add_signed(image.first[0])
    }

    /// Adds part `part` of the values of an image, times `light`.
    #[inline(always)]
    pub fn add_part(&mut self, image: &UnitImage, chunks: usize, part: usize, light: f64) {
        for (y, pixels) in image.pixels.chunks_exact(chunks).enumerate() {
            for (chunk, values) in pixels.iter().enumerate() {
                let start = self.under_start(image, y, chunk);
                let under = &mut self.values[start..][..LANES];
                for lane in 0..LANES {
                    under[lane] += light * values[part][lane];
                }
            }
        }
    }
}

/// The first values of a slice.
#[inline(always)]
pub(crate) fn lanes(values: &[f64]) -> &Lanes {
    let (chunks, _) = values[..LANES].as_chunks::<LANES>();
    &chunks[0]
}

/// The sums of lanes.
#[inline(always)]
pub(crate) fn across<const K: usize>(sums: [Lanes; K]) -> [f64; K] {
    sums.map(|[a, b, c, d, e, f, g, h]| ((a + e) + (c + g)) + ((b + f) + (d + h)))
}
