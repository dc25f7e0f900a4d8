//! The planes of two correlations at once, from what was transformed back along x.
//!
//! A correlation is real, so half of its wavenumbers along y tell all. One correlation and i times
//! the other have one spectrum, which is transformed back as a whole.

use multiversion::multiversion;
use multiversion::target::match_target;

use super::columns::{rows_of, rows_of_mut, transform};
use super::strip::AT_ONCE;
use crate::aligned::Aligned;
use crate::squares;

/// Room for what lies between the steps, of some columns.
pub(super) struct LagBuffers {
    /// Between the two steps of a transform.
    between: Aligned,
    /// Half the wavenumbers of either correlation.
    turned: Aligned,
    /// All those of both together.
    packed: Aligned,
}

impl LagBuffers {
    pub fn new(side: usize) -> Self {
        let of_columns = || Aligned::zeros(2 * side * AT_ONCE);
        Self {
            between: of_columns(),
            turned: of_columns(),
            packed: of_columns(),
        }
    }
}

/// All lags, from zero on, of two correlations that have been transformed back along x: real parts
/// of N rows of lags, half the wavenumbers each, then imaginary parts.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
pub(super) fn correlations(
    side: usize,
    rows: [&[f32]; 2],
    factors: &[[f32; 2]],
    work: &mut LagBuffers,
    lags: [&mut [f32]; 2],
) {
    let turned = match_target! {
        "x86_64+avx512f+avx512vl+avx512dq+avx512bw" => |square| squares::sixteen(square),
        "x86_64+avx2" => |square| squares::eight(square),
        _ => squares::four,
    };
    match side {
        32 => correlations_of::<32, 4, 8, 16, _>(rows, factors, work, lags, turned),
        _ => correlations_of::<64, 8, 8, 32, _>(rows, factors, work, lags, turned),
    }
}

/// So many columns at once that they stay in the first-level cache.
#[inline(always)]
fn correlations_of<const N: usize, const P: usize, const Q: usize, const H: usize, const SIDE: usize>(
    rows: [&[f32]; 2],
    factors: &[[f32; 2]],
    LagBuffers {
        between,
        packed,
        turned,
    }: &mut LagBuffers,
    lags: [&mut [f32]; 2],
    turn: impl Fn([[f32; SIDE]; SIDE]) -> [[f32; SIDE]; SIDE] + Copy,
) {
    let rows = rows.map(rows_of::<N, H>);
    let [one, two] = lags;
    let (one, two): (&mut [[f32; N]; N], &mut [[f32; N]; N]) = (
        one.as_chunks_mut().0.first_chunk_mut().expect("N rows"),
        two.as_chunks_mut().0.first_chunk_mut().expect("N rows"),
    );
    let turned: &mut [[[[f32; AT_ONCE]; H]; 2]; 2] = turned
        .as_chunks_mut()
        .0
        .as_chunks_mut()
        .0
        .as_chunks_mut()
        .0
        .first_chunk_mut()
        .expect("two halves");
    let packed = rows_of_mut(packed);
    for x in (0..N).step_by(AT_ONCE) {
        for (rows, turned) in rows.iter().zip(&mut *turned) {
            for (rows, turned) in rows.iter().zip(turned) {
                squares::transpose_array(rows[x..].first_chunk().expect("columns"), turned, turn);
            }
        }
        pack(turned, packed);
        match x {
            0 => lags_of_both::<N, P, Q, 0>(factors, between, packed, one, two),
            _ => lags_of_both::<N, P, Q, AT_ONCE>(factors, between, packed, one, two),
        }
    }
}

/// The spectrum, along y, of one correlation and i times another, from half of either.
#[inline(always)]
fn pack<const N: usize, const H: usize>(
    [[one_re, one_im], [two_re, two_im]]: &[[[[f32; AT_ONCE]; H]; 2]; 2],
    [re, im]: &mut [[[f32; AT_ONCE]; N]; 2],
) {
    for x in 0..AT_ONCE {
        (re[0][x], re[H][x]) = (one_re[0][x], one_im[0][x]);
        (im[0][x], im[H][x]) = (two_re[0][x], two_im[0][x]);
    }
    for k in 1..H {
        for x in 0..AT_ONCE {
            (re[k][x], im[k][x]) = (one_re[k][x] - two_im[k][x], one_im[k][x] + two_re[k][x]);
            (re[N - k][x], im[N - k][x]) = (one_re[k][x] + two_im[k][x], two_re[k][x] - one_im[k][x]);
        }
    }
}

/// Transforms that spectrum back: one correlation, and the other, at the columns from X on.
#[inline(always)]
fn lags_of_both<const N: usize, const P: usize, const Q: usize, const X: usize>(
    factors: &[[f32; 2]],
    between: &mut [f32],
    [re, im]: &[[[f32; AT_ONCE]; N]; 2],
    one: &mut [[f32; N]; N],
    two: &mut [[f32; N]; N],
) {
    let scale = 1.0 / (4 * N * N) as f32;
    transform::<N, P, Q, AT_ONCE>(
        factors,
        between,
        |k, x| [im[k][x], re[k][x]],
        |lag, x, [second, first]| (one[lag][X + x], two[lag][X + x]) = (scale * first, scale * second),
    );
}
