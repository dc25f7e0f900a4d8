//! The frames of a pair, checked once and then read as plain rows of pixels.

use std::borrow::Cow;

use ndarray::ArrayView2;

use crate::error::ProcessingError;

/// Two frames of one size with finite pixels.
pub(crate) struct Frames<'a> {
    pub size: [usize; 2],
    pixels: [Cow<'a, [f32]>; 2],
}

impl<'a> Frames<'a> {
    /// The frames as they are.
    ///
    /// # Errors
    /// When they differ in size, or hold pixels that are not finite.
    pub fn new(a: ArrayView2<'a, f32>, b: ArrayView2<'a, f32>) -> Result<Self, ProcessingError> {
        let size = |frame: &ArrayView2<f32>| [frame.ncols(), frame.nrows()];
        if size(&a) != size(&b) {
            return Err(ProcessingError::FrameSizes {
                a: size(&a),
                b: size(&b),
            });
        }
        let size = size(&a);
        let pixels = [('A', a), ('B', b)].map(|(frame, array)| {
            let pixels = match array.to_slice() {
                Some(slice) => Cow::Borrowed(slice),
                None => Cow::Owned(array.iter().copied().collect()),
            };
            // Without an early end, so that the compiler looks at many at once.
            let finite = pixels.iter().fold(true, |all, p| all & p.is_finite());
            let first = || pixels.iter().position(|p| !p.is_finite());
            match (!finite).then(first).flatten() {
                None => Ok(pixels),
                Some(n) => Err(ProcessingError::NotFinite {
                    frame,
                    x: n % size[0],
                    y: n / size[0],
                    value: pixels[n].to_string(),
                }),
            }
        });
        let [a, b] = pixels;
        Ok(Self {
            size,
            pixels: [a?, b?],
        })
    }

    pub fn views(&self) -> [FrameView<'_>; 2] {
        [0, 1].map(|k| FrameView {
            pixels: &self.pixels[k],
            size: self.size,
        })
    }
}

/// The pixels of a frame, row by row, `size` being width and height.
#[derive(Clone, Copy)]
pub(crate) struct FrameView<'a> {
    pub pixels: &'a [f32],
    pub size: [usize; 2],
}

impl<'a> FrameView<'a> {
    /// The pixels from the window's first one on, in rows as long as the frame's; `None` where the
    /// window reaches beyond the border.
    pub fn from(&self, corner: [isize; 2], size: [usize; 2]) -> Option<&'a [f32]> {
        let inside = (0..2).all(|k| corner[k] >= 0 && corner[k] as usize + size[k] <= self.size[k]);
        let [x, y] = corner.map(|c| c as usize);
        inside.then(|| &self.pixels[y * self.size[0] + x..])
    }

    /// Whether all pixels of the window are equal, to the precision of their numbers: there is
    /// nothing to correlate.
    pub fn is_uniform(&self, corner: [isize; 2], size: [usize; 2]) -> bool {
        let [width, height] = self.size;
        let row = |y: usize| {
            let y = mirror(corner[1] + y as isize, height);
            &self.pixels[y * width..][..width]
        };
        let first = row(0)[mirror(corner[0], width)];
        let alike = |pixel: f32| (pixel - first).abs() <= 1e-6 * first.abs();
        // Ends at the first pixel that differs, which in most windows is among the first few.
        if corner[0] >= 0 && corner[0] as usize + size[0] <= width {
            let columns = corner[0] as usize..corner[0] as usize + size[0];
            return (0..size[1]).all(|y| row(y)[columns.clone()].iter().all(|pixel| alike(*pixel)));
        }
        (0..size[1]).all(|y| (0..size[0]).all(|x| alike(row(y)[mirror(corner[0] + x as isize, width)])))
    }

    /// Copies the window with its upper-left pixel at `corner`; beyond the border the frame is
    /// mirrored at its edge pixels.
    pub fn window(&self, corner: [isize; 2], size: [usize; 2], out: &mut [f32]) {
        let [width, height] = self.size;
        let rows = out.chunks_exact_mut(size[0]);
        if let Some(pixels) = self.from(corner, size) {
            for (row, pixels) in rows.zip(pixels.chunks(width)) {
                row.copy_from_slice(&pixels[..size[0]]);
            }
            return;
        }
        for (j, row) in rows.enumerate() {
            let pixels = &self.pixels[mirror(corner[1] + j as isize, height) * width..][..width];
            for (i, value) in row.iter_mut().enumerate() {
                *value = pixels[mirror(corner[0] + i as isize, width)];
            }
        }
    }
}

/// The index in 0..length that `index` corresponds to when the axis is mirrored at its first and
/// last sample.
pub(crate) fn mirror(index: isize, length: usize) -> usize {
    if (0..length as isize).contains(&index) {
        return index as usize;
    }
    let period = (2 * length as isize - 2).max(1);
    let folded = index.rem_euclid(period);
    folded.min(period - folded).min(length as isize - 1) as usize
}
