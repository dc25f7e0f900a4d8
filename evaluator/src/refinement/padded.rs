//! Values at the pixels of a rectangle, with room around it for images that it cuts.

use super::particle_image::{LANES, Lanes, UnitImage, UnitImages};

/// One value per pixel, zero at first, also in a border as wide as an image.
#[derive(Clone, Default)]
pub(crate) struct Padded {
    /// Where the rectangle begins in the frame.
    corner: [isize; 2],
    size: [usize; 2],
    border: [usize; 2],
    stride: usize,
    values: Vec<f64>,
}

impl Padded {
    /// All zero, for a whole frame of `size` pixels and images made by `images`; the memory is used
    /// again.
    pub fn clear(&mut self, size: [usize; 2], images: &UnitImages) {
        self.clear_part([0; 2], size, images);
    }

    /// The same for a rectangle of `size` pixels that begins at `corner` in the frame.
    pub fn clear_part(&mut self, corner: [isize; 2], size: [usize; 2], images: &UnitImages) {
        self.corner = corner;
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

    /// Row `y` of the rectangle, and what the last chunk has beyond it.
    #[inline(always)]
    pub fn row(&self, y: usize) -> &[Lanes] {
        let length = self.size[0].next_multiple_of(LANES);
        self.values[self.start(y as isize)..][..length].as_chunks().0
    }

    /// The same, to be changed.
    #[inline(always)]
    pub fn row_mut(&mut self, y: usize) -> &mut [Lanes] {
        let (start, length) = (self.start(y as isize), self.size[0].next_multiple_of(LANES));
        self.values[start..][..length].as_chunks_mut().0
    }

    /// Copies the pixels under an image, row by row and chunk by chunk.
    #[inline(always)]
    pub fn copy_under(&self, image: &UnitImage, chunks: usize, to: &mut Vec<Lanes>) {
        let start = self.under_start(image, 0, 0);
        to.resize(image.parts[0].len(), [0.0; LANES]);
        copy_rows(&self.values[start..], self.stride, chunks, to);
    }

    #[inline(always)]
    fn under_start(&self, image: &UnitImage, y: usize, chunk: usize) -> usize {
        let [first_x, first_y] = [0, 1].map(|k| image.first[k] - self.corner[k]);
        let row = self.start(first_y + y as isize) + chunk * LANES;
        row.wrapping_add_signed(first_x)
    }

    /// Adds part `part` of the values of an image, times `light`.
    #[inline(always)]
    pub fn add_part(&mut self, image: &UnitImage, chunks: usize, part: usize, light: f64) {
        for (y, row) in image.parts[part].chunks_exact(chunks).enumerate() {
            for (chunk, values) in row.iter().enumerate() {
                let start = self.under_start(image, y, chunk);
                let under = &mut self.values[start..].as_chunks_mut::<LANES>().0[0];
                // All is read before any is written, so that lanes can be written at once.
                let (before, values) = (*under, *values);
                *under = std::array::from_fn(|lane| before[lane] + light * values[lane]);
            }
        }
    }
}

/// The sum of lanes.
#[inline(always)]
pub(crate) fn across([a, b, c, d, e, f, g, h]: Lanes) -> f64 {
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

/// Sum of products of lanes. One sum at a time, as the compiler puts several side by side in the
/// registers, and not the lanes.
#[inline(always)]
pub(crate) fn dot(a: &[Lanes], b: &[Lanes]) -> f64 {
    let mut sums = [0.0; LANES];
    for (a, b) in a.iter().zip(b) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    across(sums)
}

/// Copies rows of chunks that begin `stride` values apart to where they follow each other.
#[inline(always)]
pub(crate) fn copy_rows(from: &[f64], stride: usize, chunks: usize, to: &mut [Lanes]) {
    let mut start = 0;
    for row in to.chunks_exact_mut(chunks) {
        for (chunk, to) in row.iter_mut().enumerate() {
            *to = from[start + chunk * LANES..].as_chunks::<LANES>().0[0];
        }
        start += stride;
    }
}
