//! Fourier transforms along the columns of an array of complex numbers, many columns side by side.
//!
//! What a transform along rows needs shuffles for inside a register, or a transposition of the
//! array, is here the same operation in every lane. A length N = P Q is split once (Cooley and Tukey
//! 1965, from memory): with n = Q n' + n'' and k = k' + P k'',
//!
//! X(k) = Σ over n'' of exp(-2πi n'' k''/Q) exp(-2πi n'' k'/N) Σ over n' of exp(-2πi n' k'/P) x(n),
//!
//! so there are Q transforms of length P, factors, and P transforms of length Q; either length is 4
//! or 8. The inverse transform is the forward one with real and imaginary parts exchanged, before
//! and after. Plain loops over the columns, which the compiler makes operations on whole registers.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use multiversion::multiversion;
use rustfft::num_complex::Complex;

/// Transforms the columns of square arrays of one size.
pub(super) struct ColumnTransform {
    side: usize,
    /// exp(-2πi n'' k'/N), real and imaginary part, by n'' and k'.
    factors: Vec<[f32; 2]>,
    /// Rows after the first transforms: real parts, then imaginary ones.
    between: Vec<f32>,
}

impl ColumnTransform {
    /// For arrays of so many columns and rows; `None` where this is not made for them.
    pub fn new([width, height]: [usize; 2]) -> Option<Self> {
        let [first, second] = match height {
            16 => [4, 4],
            32 => [4, 8],
            64 => [8, 8],
            _ => return None,
        };
        let factor = |n: usize, k: usize| {
            let angle = -TAU * (n * k) as f64 / height as f64;
            [angle.cos() as f32, angle.sin() as f32]
        };
        let factors = (0..second).flat_map(|n| (0..first).map(move |k| factor(n, k)));
        (width == height).then(|| Self {
            side: height,
            factors: factors.collect(),
            between: vec![0.0; 2 * width * height],
        })
    }

    /// Replaces each column by its transform; not scaled.
    pub fn forward(&mut self, data: &mut [Complex<f32>]) {
        transform(data, &mut self.between, self.side, &self.factors, false);
    }

    /// Replaces each column by its inverse transform; not scaled.
    pub fn inverse(&mut self, data: &mut [Complex<f32>]) {
        transform(data, &mut self.between, self.side, &self.factors, true);
    }
}

#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn transform(
    data: &mut [Complex<f32>],
    between: &mut [f32],
    side: usize,
    factors: &[[f32; 2]],
    inverse: bool,
) {
    match (side, inverse) {
        (16, false) => of_length::<16, 4, 4, false>(data, between, factors),
        (16, true) => of_length::<16, 4, 4, true>(data, between, factors),
        (32, false) => of_length::<32, 4, 8, false>(data, between, factors),
        (32, true) => of_length::<32, 4, 8, true>(data, between, factors),
        (_, false) => of_length::<64, 8, 8, false>(data, between, factors),
        (_, true) => of_length::<64, 8, 8, true>(data, between, factors),
    }
}

/// The transforms of length N = P Q.
#[inline(always)]
fn of_length<const N: usize, const P: usize, const Q: usize, const INVERSE: bool>(
    data: &mut [Complex<f32>],
    between: &mut [f32],
    factors: &[[f32; 2]],
) {
    let data: &mut [[Complex<f32>; N]; N] = data.as_chunks_mut().0.first_chunk_mut().expect("N rows");
    let [re, im]: &mut [[[f32; N]; N]; 2] = between
        .as_chunks_mut()
        .0
        .as_chunks_mut()
        .0
        .first_chunk_mut()
        .expect("2 N rows");
    let factors: &[[[f32; 2]; P]; Q] = factors.as_chunks().0.first_chunk().expect("N factors");
    for n in 0..Q {
        let factors = &factors[n];
        for x in 0..N {
            let mut values = [[0.0; 2]; P];
            for p in 0..P {
                let value = data[Q * p + n][x];
                values[p] = if INVERSE {
                    [value.im, value.re]
                } else {
                    [value.re, value.im]
                };
            }
            values = short(values);
            for k in 0..P {
                [re[P * n + k][x], im[P * n + k][x]] = times(values[k], factors[k]);
            }
        }
    }
    for k in 0..P {
        for x in 0..N {
            let mut values = [[0.0; 2]; Q];
            for n in 0..Q {
                values[n] = [re[P * n + k][x], im[P * n + k][x]];
            }
            values = short(values);
            for q in 0..Q {
                let [re, im] = values[q];
                data[k + P * q][x] = if INVERSE {
                    Complex::new(im, re)
                } else {
                    Complex::new(re, im)
                };
            }
        }
    }
}

#[inline(always)]
fn times([re, im]: [f32; 2], [cos, sin]: [f32; 2]) -> [f32; 2] {
    [re * cos - im * sin, im * cos + re * sin]
}

/// a + b and a - b.
#[inline(always)]
fn both(a: [f32; 2], b: [f32; 2]) -> [[f32; 2]; 2] {
    [[a[0] + b[0], a[1] + b[1]], [a[0] - b[0], a[1] - b[1]]]
}

/// -i times a value.
#[inline(always)]
fn turned([re, im]: [f32; 2]) -> [f32; 2] {
    [im, -re]
}

/// The transform of 4 or 8 values.
#[inline(always)]
fn short<const N: usize>(values: [[f32; 2]; N]) -> [[f32; 2]; N] {
    let mut transformed = values;
    if N == 4 {
        [transformed[0], transformed[1], transformed[2], transformed[3]] =
            four(values[0], values[1], values[2], values[3]);
    } else {
        let even = four(values[0], values[2], values[4], values[6]);
        let [p, q, r, s] = four(values[1], values[3], values[5], values[7]);
        let root = FRAC_1_SQRT_2 as f32;
        [transformed[0], transformed[4]] = both(even[0], p);
        [transformed[1], transformed[5]] = both(even[1], [root * (q[0] + q[1]), root * (q[1] - q[0])]);
        [transformed[2], transformed[6]] = both(even[2], turned(r));
        [transformed[3], transformed[7]] = both(even[3], [root * (s[1] - s[0]), -root * (s[0] + s[1])]);
    }
    transformed
}

#[inline(always)]
fn four(a: [f32; 2], b: [f32; 2], c: [f32; 2], d: [f32; 2]) -> [[f32; 2]; 4] {
    let ([p, q], [r, s]) = (both(a, c), both(b, d));
    let ([first, third], [second, fourth]) = (both(p, r), both(q, turned(s)));
    [first, second, third, fourth]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers without pattern.
    fn array(side: usize) -> Vec<Complex<f32>> {
        let number = |k: usize| ((k * k * 31 + k * 17) % 1009) as f32 / 504.0 - 1.0;
        (0..side * side)
            .map(|k| Complex::new(number(k), number(k + 5)))
            .collect()
    }

    /// Slow plain reference: the sum that defines the transform, in double precision. Tolerance 2e-6
    /// of the root of the mean square: six levels of additions and factors of 6e-8 each, and a few
    /// times that in the worst of thousands of values.
    #[test]
    fn columns_are_the_sums_that_define_them() {
        for side in [16, 32, 64] {
            let values = array(side);
            let sum = |x: usize, k: usize, sign: f64| {
                (0..side).fold([0.0, 0.0], |[re, im], n| {
                    let (sin, cos) = (sign * TAU * ((n * k) % side) as f64 / side as f64).sin_cos();
                    let value = values[n * side + x];
                    let [a, b] = [value.re, value.im].map(f64::from);
                    [re + a * cos - b * sin, im + a * sin + b * cos]
                })
            };
            let mut columns = ColumnTransform::new([side, side]).unwrap();
            for (sign, inverse) in [(-1.0, false), (1.0, true)] {
                let mut found = values.clone();
                match inverse {
                    false => columns.forward(&mut found),
                    true => columns.inverse(&mut found),
                }
                let square: f32 = found.iter().map(|value| value.norm_sqr()).sum();
                let tolerance = 2e-6 * f64::from(square / found.len() as f32).sqrt();
                for (at, value) in found.iter().enumerate() {
                    let [re, im] = sum(at % side, at / side, sign);
                    let error = (f64::from(value.re) - re).hypot(f64::from(value.im) - im);
                    assert!(error < tolerance, "{side}, {sign}, {at}: {error} of {tolerance}");
                }
            }
        }
    }

    /// Sizes without a kernel, and arrays that are not square, are left to others.
    #[test]
    fn other_sizes_are_left_to_others() {
        for size in [[8, 8], [24, 24], [32, 16], [128, 128]] {
            assert!(ColumnTransform::new(size).is_none(), "{size:?}");
        }
    }
}
