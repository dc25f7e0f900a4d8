//! Arrays that begin where a line of the cache does: what a vector register takes from them or puts
//! there is then never a part of two lines, which takes twice as long.

use std::ops::{Deref, DerefMut};

use bytemuck::{Pod, Zeroable};

#[derive(Clone, Copy, Debug, PartialEq, Pod, Zeroable)]
#[repr(C, align(64))]
struct CacheLine([f32; Aligned::LINE]);

/// A slice of values, the first of which begins a line.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Aligned {
    lines: Vec<CacheLine>,
    length: usize,
}

impl Aligned {
    /// Values of a line.
    pub const LINE: usize = 16;

    pub fn zeros(length: usize) -> Self {
        let mut zeros = Self::default();
        zeros.resize(length);
        zeros
    }

    /// Values beyond the former length are zero, or what they were when it was longer.
    pub fn resize(&mut self, length: usize) {
        let lines = length.div_ceil(Self::LINE);
        if lines > self.lines.len() {
            self.lines.resize(lines, CacheLine::zeroed());
        }
        self.length = length;
    }
}

impl Deref for Aligned {
    type Target = [f32];

    fn deref(&self) -> &[f32] {
        &bytemuck::cast_slice(&self.lines)[..self.length]
    }
}

impl DerefMut for Aligned {
    fn deref_mut(&mut self) -> &mut [f32] {
        &mut bytemuck::cast_slice_mut(&mut self.lines)[..self.length]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_begin_a_line_and_keep_their_number() {
        for length in [0, 1, 15, 16, 17, 1000] {
            let mut values = Aligned::zeros(length);
            assert_eq!(&values[..], vec![0.0; length]);
            assert!(values.as_ptr().addr().is_multiple_of(64), "{length}");
            values.fill(2.0);
            values.resize(length + 40);
            assert_eq!(&values[..length], vec![2.0; length]);
            assert_eq!((values.len(), values[length + 39]), (length + 40, 0.0));
        }
    }
}
