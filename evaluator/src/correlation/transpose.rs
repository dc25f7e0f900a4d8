//! Transposition of arrays of complex numbers.

use std::ops::Range;

use multiversion::multiversion;
use rustfft::num_complex::Complex;

/// Side of the tiles by which an array is transposed, so that what is read and written stays in the
/// registers.
const TILE: usize = 4;

/// Transposes rows of `row` values each, of which those after the first `rows` count as zero. Of the
/// transposed rows those in `wanted` are made, others hold anything.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
pub(super) fn transpose(
    from: &[Complex<f32>],
    to: &mut [Complex<f32>],
    [row, column]: [usize; 2],
    rows: usize,
    wanted: [Range<usize>; 2],
) {
    // Usual lengths; the compiler then knows that all places are inside.
    match [row, column] {
        [24, 24] => transpose_square::<24>(from, to, rows, wanted),
        [48, 48] => transpose_square::<48>(from, to, rows, wanted),
        [96, 96] => transpose_square::<96>(from, to, rows, wanted),
        [128, 128] => transpose_square::<128>(from, to, rows, wanted),
        _ => transpose_any(from, to, [row, column], rows),
    }
}

/// Side of the blocks that are transposed tile by tile: whole lines of the cache are written.
const BLOCK: usize = 2 * TILE;

/// N is a multiple of [`BLOCK`].
#[inline(always)]
fn transpose_square<const N: usize>(
    from: &[Complex<f32>],
    to: &mut [Complex<f32>],
    rows: usize,
    wanted: [Range<usize>; 2],
) {
    let from: &[[Complex<f32>; N]; N] = from.as_chunks().0.first_chunk().expect("N rows");
    let to: &mut [[Complex<f32>; N]; N] = to.as_chunks_mut().0.first_chunk_mut().expect("N rows");
    if rows >= N && wanted[0] == (0..N) {
        // So that the compiler knows where it ends.
        return transpose_blocks(from, to, N, 0..N);
    }
    let whole = rows - rows % BLOCK;
    for columns in wanted.into_iter().filter(|columns| !columns.is_empty()) {
        let columns = columns.start - columns.start % BLOCK..columns.end.next_multiple_of(BLOCK).min(N);
        transpose_blocks(from, to, whole, columns.clone());
        for (x, row) in columns.clone().zip(&mut to[columns]) {
            for (value, from) in row[whole..rows].iter_mut().zip(&from[whole..rows]) {
                *value = from[x];
            }
            row[rows..].fill(Complex::default());
        }
    }
}

/// Transposes columns of the first rows, of either a whole number of blocks.
#[inline(always)]
fn transpose_blocks<const N: usize>(
    from: &[[Complex<f32>; N]; N],
    to: &mut [[Complex<f32>; N]; N],
    rows: usize,
    columns: Range<usize>,
) {
    for x in columns.step_by(BLOCK) {
        for y in (0..rows).step_by(BLOCK) {
            for (x, y) in [(x, y), (x, y + TILE), (x + TILE, y), (x + TILE, y + TILE)] {
                let [p, q, r, s] = turned([
                    flat(&from[y].as_chunks().0[x / TILE]),
                    flat(&from[y + 1].as_chunks().0[x / TILE]),
                    flat(&from[y + 2].as_chunks().0[x / TILE]),
                    flat(&from[y + 3].as_chunks().0[x / TILE]),
                ]);
                to[x].as_chunks_mut().0[y / TILE] = p;
                to[x + 1].as_chunks_mut().0[y / TILE] = q;
                to[x + 2].as_chunks_mut().0[y / TILE] = r;
                to[x + 3].as_chunks_mut().0[y / TILE] = s;
            }
        }
    }
}

#[inline(always)]
fn transpose_any(from: &[Complex<f32>], to: &mut [Complex<f32>], [row, column]: [usize; 2], rows: usize) {
    let tiles = [row, rows].map(|length| length - length % TILE);
    for (n, rows) in from[..rows * row].chunks_exact(TILE * row).enumerate() {
        let (upper, lower) = rows.split_at(2 * row);
        let ((a, b), (c, d)) = (upper.split_at(row), lower.split_at(row));
        let (ab, cd) = (
            a.as_chunks().0.iter().zip(b.as_chunks().0),
            c.as_chunks().0.iter().zip(d.as_chunks().0),
        );
        for (((a, b), (c, d)), tile) in ab.zip(cd).zip(to[n * TILE..].chunks_mut(TILE * column)) {
            let [p, q, r, s] = turned([flat(a), flat(b), flat(c), flat(d)]);
            tile.as_chunks_mut().0[0] = p;
            tile[column..].as_chunks_mut().0[0] = q;
            tile[2 * column..].as_chunks_mut().0[0] = r;
            tile[3 * column..].as_chunks_mut().0[0] = s;
        }
    }
    // What is left of lengths that are no multiples of a tile's.
    for y in 0..rows {
        for x in if y < tiles[1] { tiles[0] } else { 0 }..row {
            to[x * column + y] = from[y * row + x];
        }
    }
    for to in to.chunks_exact_mut(column) {
        to[rows..].fill(Complex::default());
    }
}

/// Four complex numbers side by side, as a vector register holds them.
type Line = [f32; 2 * TILE];

#[inline(always)]
fn flat([a, b, c, d]: &[Complex<f32>; TILE]) -> Line {
    [a.re, a.im, b.re, b.im, c.re, c.im, d.re, d.im]
}

/// A tile transposed, in the two steps that the compiler makes shuffles of whole registers: pairs
/// of neighbours change places, then the halves do.
#[inline(always)]
fn turned([a, b, c, d]: [Line; TILE]) -> [[Complex<f32>; TILE]; TILE] {
    let even = |a: Line, b: Line| [a[0], a[1], b[0], b[1], a[4], a[5], b[4], b[5]];
    let odd = |a: Line, b: Line| [a[2], a[3], b[2], b[3], a[6], a[7], b[6], b[7]];
    let first = |a: Line, b: Line| [a[0], a[1], a[2], a[3], b[0], b[1], b[2], b[3]];
    let second = |a: Line, b: Line| [a[4], a[5], a[6], a[7], b[4], b[5], b[6], b[7]];
    let [p, q, r, s] = [even(a, b), odd(a, b), even(c, d), odd(c, d)];
    let pairs = |[a, b, c, d, e, f, g, h]: Line| {
        [
            Complex::new(a, b),
            Complex::new(c, d),
            Complex::new(e, f),
            Complex::new(g, h),
        ]
    };
    [
        pairs(first(p, r)),
        pairs(first(q, s)),
        pairs(second(p, r)),
        pairs(second(q, s)),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Value (x, y) goes to (y, x), in arrays of whole tiles and of others; rows that count as zero
    /// are zero, and what is not wanted may hold anything.
    #[test]
    fn transposing_exchanges_rows_and_columns() {
        let usual = [16, 24, 32, 48, 64, 96, 128].map(|side| (side, side));
        let sizes = (1..=13).flat_map(|row| (1..=13).map(move |column| (row, column)));
        for (row, column) in sizes.chain(usual) {
            let value = |x: usize, y: usize| Complex::new(x as f32, -(y as f32));
            let places =
                |wide: usize, high: usize| (0..high).flat_map(move |y| (0..wide).map(move |x| (x, y)));
            let from: Vec<_> = places(row, column).map(|(x, y)| value(x, y)).collect();
            for rows in [column, column.div_ceil(2), column / 3 + 1] {
                for reach in [row, row / 3, row / 5] {
                    let wanted = [0..reach, row - reach / 2..row];
                    let mut to = vec![Complex::new(f32::NAN, f32::NAN); row * column];
                    transpose(&from, &mut to, [row, column], rows, wanted.clone());
                    for x in wanted.into_iter().flatten() {
                        let expected: Vec<_> = (0..column)
                            .map(|y| if y < rows { value(x, y) } else { Complex::default() })
                            .collect();
                        let found = &to[x * column..(x + 1) * column];
                        assert_eq!(found, expected, "{row} x {column}, {rows}, {reach}: {x}");
                    }
                }
            }
        }
    }
}
