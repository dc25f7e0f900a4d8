//! Transposition of arrays by squares whose rows are registers: a square is turned by shuffles,
//! without a way through the memory.
//!
//! How long a register is, and so what a square is turned by, is for the caller to say, in code
//! that is compiled for several instruction sets:
//!
//! ```text
//! let turned = match_target! {
//!     "x86_64+avx512f+avx512vl+avx512dq+avx512bw" => |square| squares::sixteen(square),
//!     "x86_64+avx2" => |square| squares::eight(square),
//!     _ => squares::four,
//! };
//! ```
//!
//! The compiler finds these shuffles by itself in squares of 4 only; of larger ones it makes loads
//! and stores of single numbers.

#[cfg(target_arch = "x86_64")]
pub(crate) use x86::{eight, sixteen};

/// Transposes rows of so many columns; both are multiples of the square's side. `load` gives the
/// numbers of a row (the second argument) from a column on, `store` takes those of a column from a
/// row on.
#[inline(always)]
pub(crate) fn transpose<const SIDE: usize>(
    [columns, rows]: [usize; 2],
    turned: impl Fn([[f32; SIDE]; SIDE]) -> [[f32; SIDE]; SIDE],
    load: impl Fn(usize, usize) -> [f32; SIDE],
    mut store: impl FnMut(usize, usize, [f32; SIDE]),
) {
    for x in (0..columns).step_by(SIDE) {
        for y in (0..rows).step_by(SIDE) {
            let mut square = [[0.0; SIDE]; SIDE];
            for (n, row) in square.iter_mut().enumerate() {
                *row = load(x, y + n);
            }
            for (n, column) in turned(square).into_iter().enumerate() {
                store(x + n, y, column);
            }
        }
    }
}

/// [`transpose`] of M rows of N numbers.
#[inline(always)]
pub(crate) fn transpose_array<const SIDE: usize, const N: usize, const M: usize>(
    from: &[[f32; N]; M],
    to: &mut [[f32; M]; N],
    turned: impl Fn([[f32; SIDE]; SIDE]) -> [[f32; SIDE]; SIDE],
) {
    transpose(
        [N, M],
        turned,
        |x, y| from[y].as_chunks().0[x / SIDE],
        |x, y, column| to[x].as_chunks_mut().0[y / SIDE] = column,
    );
}

/// A square of 4 turned.
#[inline(always)]
pub(crate) fn four([a, b, c, d]: [[f32; 4]; 4]) -> [[f32; 4]; 4] {
    [
        [a[0], b[0], c[0], d[0]],
        [a[1], b[1], c[1], d[1]],
        [a[2], b[2], c[2], d[2]],
        [a[3], b[3], c[3], d[3]],
    ]
}

#[cfg(target_arch = "x86_64")]
mod x86 {
    use std::arch::x86_64::*;

    use bytemuck::cast;

    /// A square of 8 turned: numbers of neighbouring rows change places, then pairs, then halves.
    #[target_feature(enable = "avx2")]
    #[inline]
    pub(crate) fn eight(rows: [[f32; 8]; 8]) -> [[f32; 8]; 8] {
        let r: [__m256; 8] = cast(rows);
        let mut pairs = r;
        for n in [0, 2, 4, 6] {
            pairs[n] = _mm256_unpacklo_ps(r[n], r[n + 1]);
            pairs[n + 1] = _mm256_unpackhi_ps(r[n], r[n + 1]);
        }
        let mut fours = r;
        for n in [0, 4] {
            let [a, b] = [pairs[n], pairs[n + 2]];
            fours[n] = _mm256_shuffle_ps::<0x44>(a, b);
            fours[n + 1] = _mm256_shuffle_ps::<0xee>(a, b);
            let [a, b] = [pairs[n + 1], pairs[n + 3]];
            fours[n + 2] = _mm256_shuffle_ps::<0x44>(a, b);
            fours[n + 3] = _mm256_shuffle_ps::<0xee>(a, b);
        }
        let mut turned = r;
        for n in 0..4 {
            turned[n] = _mm256_permute2f128_ps::<0x20>(fours[n], fours[n + 4]);
            turned[n + 4] = _mm256_permute2f128_ps::<0x31>(fours[n], fours[n + 4]);
        }
        cast(turned)
    }

    /// A square of 16 turned: numbers of neighbouring rows change places, then pairs; then quarters,
    /// twice.
    #[target_feature(enable = "avx512f")]
    #[inline]
    pub(crate) fn sixteen(rows: [[f32; 16]; 16]) -> [[f32; 16]; 16] {
        let r: [__m512; 16] = cast(rows);
        let mut pairs = r;
        for n in [0, 2, 4, 6, 8, 10, 12, 14] {
            pairs[n] = _mm512_unpacklo_ps(r[n], r[n + 1]);
            pairs[n + 1] = _mm512_unpackhi_ps(r[n], r[n + 1]);
        }
        // Row 4 i + j: of rows 4 i to 4 i + 3, the columns j, j + 4, j + 8 and j + 12.
        let mut fours = r;
        for n in [0, 4, 8, 12] {
            let [a, b] = [pairs[n], pairs[n + 2]];
            fours[n] = _mm512_shuffle_ps::<0x44>(a, b);
            fours[n + 1] = _mm512_shuffle_ps::<0xee>(a, b);
            let [a, b] = [pairs[n + 1], pairs[n + 3]];
            fours[n + 2] = _mm512_shuffle_ps::<0x44>(a, b);
            fours[n + 3] = _mm512_shuffle_ps::<0xee>(a, b);
        }
        let mut turned = r;
        for n in 0..4 {
            let [a, b, c, d] = [fours[n], fours[n + 4], fours[n + 8], fours[n + 12]];
            let [even, odd] = [
                _mm512_shuffle_f32x4::<0x88>(a, b),
                _mm512_shuffle_f32x4::<0xdd>(a, b),
            ];
            let [later_even, later_odd] = [
                _mm512_shuffle_f32x4::<0x88>(c, d),
                _mm512_shuffle_f32x4::<0xdd>(c, d),
            ];
            turned[n] = _mm512_shuffle_f32x4::<0x88>(even, later_even);
            turned[n + 4] = _mm512_shuffle_f32x4::<0x88>(odd, later_odd);
            turned[n + 8] = _mm512_shuffle_f32x4::<0xdd>(even, later_even);
            turned[n + 12] = _mm512_shuffle_f32x4::<0xdd>(odd, later_odd);
        }
        cast(turned)
    }
}

#[cfg(test)]
mod tests {
    use multiversion::multiversion;
    use multiversion::target::match_target;

    use super::*;

    type Rows = [[f32; 32]; 48];
    type Turned = [[f32; 48]; 32];

    #[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw"))]
    fn by_sixteen(from: &Rows, to: &mut Turned) {
        let turned = match_target! {
            "x86_64+avx512f+avx512vl+avx512dq+avx512bw" => |square| sixteen(square),
            _ => four,
        };
        transpose_array(from, to, turned);
    }

    #[multiversion(targets("x86_64+avx2"))]
    fn by_eight(from: &Rows, to: &mut Turned) {
        let turned = match_target! {
            "x86_64+avx2" => |square| eight(square),
            _ => four,
        };
        transpose_array(from, to, turned);
    }

    fn by_four(from: &Rows, to: &mut Turned) {
        transpose_array(from, to, four);
    }

    /// Number (x, y) goes to (y, x), by the squares of each instruction set that there is here.
    #[test]
    fn transposing_exchanges_rows_and_columns() {
        let from: Rows = std::array::from_fn(|y| std::array::from_fn(|x| (100 * y + x) as f32));
        for way in [by_sixteen, by_eight, by_four] {
            let mut to = [[f32::NAN; 48]; 32];
            way(&from, &mut to);
            for (x, row) in to.iter().enumerate() {
                for (y, value) in row.iter().enumerate() {
                    assert_eq!(*value, (100 * y + x) as f32, "{x}, {y}");
                }
            }
        }
    }
}
