//! The planes of two correlations at once, from what was transformed back along x.
//!
//! A correlation is real, so half of its wavenumbers along y tell all. One correlation and i times
//! the other have one spectrum, which is transformed back as a whole.

use multiversion::multiversion;

use super::columns::{rows_of_mut, transform};
use super::overlapping::WindowBuffers;
use super::plane::Plane;
use super::strip::AT_ONCE;
use super::transpose::transpose_blocks;

/// The planes of two correlations that have been transformed back along x.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
pub(super) fn correlations(
    rows: [&[[f32; 2]]; 2],
    factors: &[[f32; 2]],
    work: &mut WindowBuffers,
    planes: &mut [Plane; 2],
) {
    match planes[0].limit()[0] {
        15 => correlations_of::<32, 4, 8, 16>(rows, factors, work, planes),
        _ => correlations_of::<64, 8, 8, 32>(rows, factors, work, planes),
    }
}

#[inline(always)]
fn correlations_of<const N: usize, const P: usize, const Q: usize, const H: usize>(
    rows: [&[[f32; 2]]; 2],
    factors: &[[f32; 2]],
    WindowBuffers {
        between,
        values,
        turned,
    }: &mut WindowBuffers,
    planes: &mut [Plane; 2],
) {
    for (rows, turned) in rows.into_iter().zip(&mut *turned) {
        let rows: &[[[f32; 2]; H]; N] = rows.as_chunks().0.first_chunk().expect("N rows");
        let turned = turned.as_chunks_mut().0.first_chunk_mut().expect("N / 2 rows");
        transpose_blocks(rows, turned, N, 0..H);
    }
    let [one, two] = turned
        .each_ref()
        .map(|turned| turned.as_chunks().0.first_chunk().expect("N / 2 rows"));
    let [packed, lags] = values;
    let (packed, lags) = (rows_of_mut(packed), rows_of_mut(lags));
    some_columns::<N, P, Q, H, 0>(factors, between, one, two, packed, lags);
    if N > AT_ONCE {
        some_columns::<N, P, Q, H, AT_ONCE>(factors, between, one, two, packed, lags);
    }
    for (lags, plane) in lags.iter().zip(planes) {
        unpack::<N, H>(lags, plane);
    }
}

/// Transforms the columns from `X` on along y: so few that they stay in the first-level cache.
#[inline(always)]
fn some_columns<const N: usize, const P: usize, const Q: usize, const H: usize, const X: usize>(
    factors: &[[f32; 2]],
    between: &mut [f32],
    one: &[[[f32; 2]; N]; H],
    two: &[[[f32; 2]; N]; H],
    packed: &mut [[[f32; AT_ONCE]; N]; 2],
    lags: &mut [[[f32; N]; N]; 2],
) {
    pack::<N, H, X>(one, two, packed);
    lags_of_both::<N, P, Q, X>(factors, between, packed, lags);
}

/// The spectrum, along y, of one correlation and i times another, from half of either.
#[inline(always)]
fn pack<const N: usize, const H: usize, const X: usize>(
    one: &[[[f32; 2]; N]; H],
    two: &[[[f32; 2]; N]; H],
    [re, im]: &mut [[[f32; AT_ONCE]; N]; 2],
) {
    for x in 0..AT_ONCE {
        ([re[0][x], re[H][x]], [im[0][x], im[H][x]]) = (one[0][X + x], two[0][X + x]);
    }
    for k in 1..H {
        for x in 0..AT_ONCE {
            let ([one_re, one_im], [two_re, two_im]) = (one[k][X + x], two[k][X + x]);
            (re[k][x], im[k][x]) = (one_re - two_im, one_im + two_re);
            (re[N - k][x], im[N - k][x]) = (one_re + two_im, two_re - one_im);
        }
    }
}

/// Transforms that spectrum back: one correlation, and the other.
#[inline(always)]
fn lags_of_both<const N: usize, const P: usize, const Q: usize, const X: usize>(
    factors: &[[f32; 2]],
    between: &mut [f32],
    [re, im]: &[[[f32; AT_ONCE]; N]; 2],
    [one, two]: &mut [[[f32; N]; N]; 2],
) {
    let scale = 1.0 / (4 * N * N) as f32;
    transform::<N, P, Q, AT_ONCE>(
        factors,
        between,
        |k, x| [im[k][x], re[k][x]],
        |lag, x, [second, first]| [one[lag][X + x], two[lag][X + x]] = [scale * first, scale * second],
    );
}

/// A plane out of an array of all lags that begins at zero and wraps round.
#[inline(always)]
fn unpack<const N: usize, const H: usize>(lags: &[[f32; N]; N], plane: &mut Plane) {
    // From lag -reach to reach, with a reach of H + 1: in parts of H, whose length the compiler
    // knows, and what is left over.
    for (y, row) in plane.values_mut().chunks_exact_mut(2 * H + 3).enumerate() {
        let lags = &lags[(y + H - 1) % N];
        let (before, after) = row.split_at_mut(H + 1);
        *before.first_chunk_mut::<H>().expect("lags") = *lags[H - 1..].first_chunk().expect("lags");
        before[H] = lags[N - 1];
        *after.first_chunk_mut::<H>().expect("lags") = *lags.first_chunk().expect("lags");
        (after[H], after[H + 1]) = (lags[H], lags[H + 1]);
    }
}
