//! Fourier transforms along columns, many columns side by side.
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

/// exp(-2πi n'' k'/N), real and imaginary part, by n'' and k', for columns of N = P Q values.
pub(super) fn factors([p, q]: [usize; 2]) -> Vec<[f32; 2]> {
    let factor = |n: usize, k: usize| {
        let angle = -TAU * (n * k) as f64 / (p * q) as f64;
        [angle.cos() as f32, angle.sin() as f32]
    };
    (0..q).flat_map(|n| (0..p).map(move |k| factor(n, k))).collect()
}

/// Transforms L columns of N = P Q complex values, not scaled: `load` gives the value of a row and
/// column, `store` takes that of a wavenumber and column.
#[inline(always)]
pub(super) fn transform<const N: usize, const P: usize, const Q: usize, const L: usize>(
    factors: &[[f32; 2]],
    between: &mut [f32],
    load: impl Fn(usize, usize) -> [f32; 2],
    mut store: impl FnMut(usize, usize, [f32; 2]),
) {
    let factors: &[[[f32; 2]; P]; Q] = factors.as_chunks().0.first_chunk().expect("N factors");
    let [re, im] = rows_of_mut::<N, L>(between);
    for n in 0..Q {
        let factors = &factors[n];
        for x in 0..L {
            let mut values = [[0.0; 2]; P];
            for (p, value) in values.iter_mut().enumerate() {
                *value = load(Q * p + n, x);
            }
            values = short(values);
            // The first factor is 1.
            [re[P * n][x], im[P * n][x]] = values[0];
            for k in 1..P {
                [re[P * n + k][x], im[P * n + k][x]] = times(values[k], factors[k]);
            }
        }
    }
    for k in 0..P {
        for x in 0..L {
            let mut values = [[0.0; 2]; Q];
            for n in 0..Q {
                values[n] = [re[P * n + k][x], im[P * n + k][x]];
            }
            values = short(values);
            for (q, value) in values.into_iter().enumerate() {
                store(k + P * q, x, value);
            }
        }
    }
}

/// Real parts of N rows of L values, and imaginary parts.
#[inline(always)]
pub(super) fn rows_of<const N: usize, const L: usize>(values: &[f32]) -> &[[[f32; L]; N]; 2] {
    let rows = values.as_chunks().0.as_chunks().0;
    rows.first_chunk().expect("2 N L values")
}

/// [`rows_of`] that can be changed.
#[inline(always)]
pub(super) fn rows_of_mut<const N: usize, const L: usize>(values: &mut [f32]) -> &mut [[[f32; L]; N]; 2] {
    let rows = values.as_chunks_mut().0.as_chunks_mut().0;
    rows.first_chunk_mut().expect("2 N L values")
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

    /// Slow plain reference: the sum that defines the transform, in double precision. Tolerance 2e-6
    /// of the root of the mean square: six levels of additions and factors of 6e-8 each, and a few
    /// times that in the worst of thousands of values.
    #[test]
    fn columns_are_the_sums_that_define_them() {
        the_sums::<32, 4, 8, 16>();
        the_sums::<64, 8, 8, 32>();
    }

    fn the_sums<const N: usize, const P: usize, const Q: usize, const L: usize>() {
        // Numbers without pattern.
        let number = |k: usize| ((k * k * 31 + k * 17) % 1009) as f32 / 504.0 - 1.0;
        let value = |n: usize, x: usize| [number(n * L + x), number(n * L + x + 5)];
        for (sign, inverse) in [(-1.0, false), (1.0, true)] {
            let exchanged = |[re, im]: [f32; 2]| if inverse { [im, re] } else { [re, im] };
            let mut found = vec![[0.0; 2]; N * L];
            let (factors, mut between) = (factors([P, Q]), vec![0.0; 2 * N * L]);
            transform::<N, P, Q, L>(
                &factors,
                &mut between,
                |n, x| exchanged(value(n, x)),
                |k, x, sum| found[k * L + x] = exchanged(sum),
            );
            let square: f32 = found.iter().flatten().map(|v| v * v).sum();
            let tolerance = 2e-6 * f64::from(square / found.len() as f32).sqrt();
            for (at, [re, im]) in found.into_iter().enumerate() {
                let (k, x) = (at / L, at % L);
                let sum = (0..N).fold([0.0, 0.0], |[re, im], n| {
                    let (sin, cos) = (sign * TAU * ((n * k) % N) as f64 / N as f64).sin_cos();
                    let [a, b] = value(n, x).map(f64::from);
                    [re + a * cos - b * sin, im + a * sin + b * cos]
                });
                let error = (f64::from(re) - sum[0]).hypot(f64::from(im) - sum[1]);
                assert!(error < tolerance, "{N}, {sign}, {at}: {error} of {tolerance}");
            }
        }
    }
}
