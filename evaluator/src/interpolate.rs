//! Interpolation of frames between the pixels.
//!
//! A frame is represented by coefficients c(i, j) and a kernel h with a support of at most 8
//! samples along each axis: f(x, y) = sum of c(i, j) h(x - i) h(y - j). The coefficients of
//! B-splines come from a recursive filter (Unser, Aldroubi & Eden 1993), so that f passes through
//! the pixels; for the other kernels the coefficients are the pixels. Beyond their border frames
//! are mirrored at the outermost pixels.

mod kernel;

use multiversion::multiversion;
use multiversion::target::match_target;

use crate::aligned::Aligned;
use crate::frames::{FrameView, mirror};
use crate::named::named;
use crate::squares;
use kernel::{HALF, Kernel, TAPS};

named! {
    /// How frames are interpolated for deformation.
    pub enum Interpolator {
        /// Linear along each axis, 2 x 2 pixels.
        Bilinear = "bilinear",
        /// Cubic B-spline through the pixels.
        Cubic = "cubic",
        /// Quintic B-spline through the pixels.
        Quintic = "quintic",
        /// B-spline of degree 7 through the pixels.
        Septic = "septic",
        /// Lanczos-windowed sinc on 6 x 6 pixels, its weights divided by their sum.
        Lanczos3 = "lanczos3",
        /// Lanczos-windowed sinc on 8 x 8 pixels, its weights divided by their sum.
        Lanczos4 = "lanczos4",
    }
}

/// Rows of coefficients kept beyond each border.
const BEYOND: usize = TAPS / 2;

/// Coefficients kept to the left of a row, at least [`BEYOND`]: a line of the cache.
const PAD: usize = Aligned::LINE;

/// Number of lines filtered side by side.
const LANES: usize = 32;

/// A frame that can be sampled anywhere.
pub(crate) struct Interpolated {
    size: [usize; 2],
    stride: usize,
    coefficients: Aligned,
    kernel: Kernel,
    poles: Vec<f64>,
    /// Rows in columns of their own.
    columns: Aligned,
}

impl Interpolated {
    /// Memory for frames of `size` (width, height).
    pub fn new(size: [usize; 2], interpolator: Interpolator) -> Self {
        // The weights of the last sample of a row extend TAPS beyond it. Rows begin at a line of the
        // cache, as their first pixels do, and are an odd number of lines apart: so that those of one
        // column do not share a set of the cache.
        let lines = (PAD + size[0] + TAPS).div_ceil(Aligned::LINE);
        let stride = (lines | 1) * Aligned::LINE;
        let poles = interpolator.poles();
        let longest = if poles.is_empty() { 0 } else { size[0].max(size[1]) };
        let longest = longest.next_multiple_of(Aligned::LINE);
        Self {
            size,
            stride,
            coefficients: Aligned::zeros(stride * (BEYOND + size[1] + BEYOND)),
            kernel: interpolator.kernel(),
            poles,
            columns: Aligned::zeros(LANES * longest),
        }
    }

    /// Takes over a frame of the size this was made for.
    pub fn load(&mut self, frame: FrameView) {
        let Self {
            size: [width, height],
            stride,
            coefficients,
            poles,
            columns,
            ..
        } = self;
        let (width, height, stride) = (*width, *height, *stride);
        for (row, pixels) in coefficients[BEYOND * stride..]
            .chunks_exact_mut(stride)
            .zip(frame.pixels.chunks_exact(width))
        {
            row[PAD..PAD + width].copy_from_slice(pixels);
        }
        if !poles.is_empty() {
            // Rows are filtered in columns of their own.
            for y in (0..height).step_by(LANES) {
                let rows = &mut coefficients[(BEYOND + y) * stride + PAD..];
                let lanes = LANES.min(height - y);
                rows_to_columns(rows, stride, width, lanes, columns);
                prefilter(&mut columns[..LANES * width], LANES, poles);
                columns_to_rows(columns, stride, width, lanes, rows);
            }
            for x in (0..width).step_by(LANES) {
                let columns_here =
                    &mut coefficients[BEYOND * stride + PAD + x..][..(height - 1) * stride + LANES];
                if x + LANES <= width {
                    prefilter(columns_here, stride, poles);
                    continue;
                }
                // The last ones alone: beyond them begins the next row.
                let lanes = width - x;
                for (column, row) in columns.chunks_exact_mut(LANES).zip(columns_here.chunks(stride)) {
                    column[..lanes].copy_from_slice(&row[..lanes]);
                }
                prefilter(&mut columns[..LANES * height], LANES, poles);
                for (column, row) in columns.chunks_exact(LANES).zip(columns_here.chunks_mut(stride)) {
                    row[..lanes].copy_from_slice(&column[..lanes]);
                }
            }
        }
        for row in coefficients[BEYOND * stride..][..height * stride].chunks_exact_mut(stride) {
            for x in (PAD - BEYOND..PAD).chain(PAD + width..PAD + width + TAPS) {
                row[x] = row[PAD + mirror(x as isize - PAD as isize, width)];
            }
        }
        for y in (0..BEYOND).chain(BEYOND + height..BEYOND + height + BEYOND) {
            let from = (BEYOND + mirror(y as isize - BEYOND as isize, height)) * stride;
            coefficients.copy_within(from..from + stride, y * stride);
        }
    }

    /// Samples row y at x + factor · dx(x), y + factor · dy(x) for every pixel x of `out`, the
    /// first of which is the pixel (x, y) of `from`.
    pub fn sample_row(&self, from: [usize; 2], factor: f32, [dx, dy]: [&[f32]; 2], out: &mut [f32]) {
        sample_row(self, from, factor, dx, dy, out);
    }
}

/// Splits `base + shift` into a sample index in 0..length and the fraction beyond it, mirroring at
/// the outermost samples.
#[inline(always)]
fn split(base: usize, shift: f32, length: usize) -> (usize, f32) {
    let floor = shift.floor();
    let (index, fraction) = (base as isize + floor as isize, shift - floor);
    if (0..length as isize).contains(&index) {
        (index as usize, fraction)
    } else if fraction == 0.0 {
        (mirror(index, length), 0.0)
    } else if mirror(index + 1, length) > mirror(index, length) {
        (mirror(index, length), fraction)
    } else {
        (mirror(index + 1, length), 1.0 - fraction)
    }
}

/// Pixels of a row that are sampled side by side, and a value at each of them.
const SIDE: usize = 8;
type PixelLanes = [f32; SIDE];

#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn sample_row(
    image: &Interpolated,
    [x, y]: [usize; 2],
    factor: f32,
    dx: &[f32],
    dy: &[f32],
    out: &mut [f32],
) {
    // So that the compiler knows how many samples there are.
    match image.kernel.support {
        2 => sample_chunks::<2>(image, [x, y], factor, [dx, dy], out),
        4 => sample_chunks::<4>(image, [x, y], factor, [dx, dy], out),
        6 => sample_chunks::<6>(image, [x, y], factor, [dx, dy], out),
        _ => sample_chunks::<TAPS>(image, [x, y], factor, [dx, dy], out),
    }
}

/// Samples a row, [`SIDE`] pixels at a time and the rest of it pixel by pixel.
#[inline(always)]
fn sample_chunks<const SUPPORT: usize>(
    image: &Interpolated,
    [x, y]: [usize; 2],
    factor: f32,
    [dx, dy]: [&[f32]; 2],
    out: &mut [f32],
) {
    let (chunks_x, rest_x) = dx.as_chunks::<SIDE>();
    let (chunks_y, rest_y) = dy.as_chunks::<SIDE>();
    let (chunks, rest) = out.as_chunks_mut::<SIDE>();
    for (n, ((dx, dy), out)) in chunks_x.iter().zip(chunks_y).zip(chunks).enumerate() {
        together::<SUPPORT>(image, [x + n * SIDE, y], factor, [dx, dy], out);
    }
    let x = x + dx.len() - rest.len();
    for (k, value) in rest.iter_mut().enumerate() {
        *value = sample(image, [x + k, y], [factor * rest_x[k], factor * rest_y[k]]);
    }
}

/// Samples [`SIDE`] pixels of a row: those at once whose displacements have the same whole part, as
/// their samples follow each other too, and alone those whose samples may lie outside the frame.
/// Each pixel is computed in the same order as alone.
#[inline(always)]
fn together<const SUPPORT: usize>(
    image: &Interpolated,
    at: [usize; 2],
    factor: f32,
    [dx, dy]: [&PixelLanes; 2],
    out: &mut PixelLanes,
) {
    // Plain loops: closures of arrays are not compiled for the instruction set of the caller.
    let (mut floor_x, mut floor_y, mut tx, mut ty) = ([0.0; SIDE], [0.0; SIDE], [0.0; SIDE], [0.0; SIDE]);
    for lane in 0..SIDE {
        let (shift_x, shift_y) = (factor * dx[lane], factor * dy[lane]);
        (floor_x[lane], floor_y[lane]) = (shift_x.floor(), shift_y.floor());
        (tx[lane], ty[lane]) = (shift_x - floor_x[lane], shift_y - floor_y[lane]);
    }
    let terms = &image.kernel.terms;
    let (along_x, along_y) = (
        weights_of::<SUPPORT>(terms, &tx),
        weights_of::<SUPPORT>(terms, &ty),
    );
    let [width, height] = image.size.map(|side| side as isize);
    // Bit n is set when pixel n is done.
    let (mut done, mut found) = (0u32, [0.0f32; SIDE]);
    while done != (1 << SIDE) - 1 {
        let first = (!done).trailing_zeros() as usize;
        let (whole_x, whole_y) = (floor_x[first], floor_y[first]);
        let (left, top) = (
            at[0] as isize + whole_x as isize,
            at[1] as isize + whole_y as isize,
        );
        if left < 0 || left + SIDE as isize > width || !(0..height).contains(&top) {
            found[first] = sample(
                image,
                [at[0] + first, at[1]],
                [factor * dx[first], factor * dy[first]],
            );
            done |= 1 << first;
            continue;
        }
        let values = side_by_side(image, [left as usize, top as usize], [&along_x, &along_y]);
        let mut alike = [0u32; SIDE];
        for lane in 0..SIDE {
            // By their bits, so that one that is not a number is like itself too.
            let same_x = floor_x[lane].to_bits() == whole_x.to_bits();
            let same_y = floor_y[lane].to_bits() == whole_y.to_bits();
            alike[lane] = if same_x & same_y { u32::MAX } else { 0 };
        }
        if alike == [u32::MAX; SIDE] {
            *out = values;
            return;
        }
        for lane in 0..SIDE {
            let bits = (values[lane].to_bits() & alike[lane]) | (found[lane].to_bits() & !alike[lane]);
            found[lane] = f32::from_bits(bits);
        }
        for (lane, alike) in alike.iter().enumerate() {
            done |= alike & (1 << lane);
        }
    }
    *out = found;
}

/// Weighted sums of the samples about [`SIDE`] pixels that follow each other, the first of which
/// has the sample `left`, `top` before it.
#[inline(always)]
fn side_by_side<const SUPPORT: usize>(
    image: &Interpolated,
    [left, top]: [usize; 2],
    [along_x, along_y]: [&[PixelLanes; SUPPORT]; 2],
) -> PixelLanes {
    let lead = SUPPORT / 2 - 1;
    let start = (BEYOND + top - lead) * image.stride + PAD + left - lead;
    // As long as the samples of any kernel are, so that no place in a row has to be checked.
    let mut rows = [&[0.0; SIDE + TAPS]; SUPPORT];
    for (n, row) in rows.iter_mut().enumerate() {
        *row = &image.coefficients[start + n * image.stride..].as_chunks().0[0];
    }
    let mut sums = [[0.0; SIDE]; TAPS];
    for tap in 0..SUPPORT {
        let mut sum = [0.0; SIDE];
        for (row, weight) in rows.iter().zip(along_y) {
            for lane in 0..SIDE {
                sum[lane] += weight[lane] * row[tap + lane];
            }
        }
        for lane in 0..SIDE {
            sums[tap][lane] = sum[lane] * along_x[tap][lane];
        }
    }
    let [a, b, c, d, e, f, g, h] = sums;
    let mut values = [0.0; SIDE];
    for lane in 0..SIDE {
        values[lane] =
            ((a[lane] + e[lane]) + (c[lane] + g[lane])) + ((b[lane] + f[lane]) + (d[lane] + h[lane]));
    }
    values
}

/// Weights of the samples along an axis for points at the fractions `t` of a pixel.
#[inline(always)]
fn weights_of<const SUPPORT: usize>(terms: &[[[f32; HALF]; 2]], t: &PixelLanes) -> [PixelLanes; SUPPORT] {
    let (mut u, mut square) = ([0.0; SIDE], [0.0; SIDE]);
    for lane in 0..SIDE {
        u[lane] = t[lane] - 0.5;
        square[lane] = u[lane] * u[lane];
    }
    let mut weights = [[0.0; SIDE]; SUPPORT];
    for tap in 0..SUPPORT / 2 {
        let (mut even, mut odd) = ([0.0; SIDE], [0.0; SIDE]);
        for [of_even, of_odd] in terms.iter().rev() {
            for lane in 0..SIDE {
                even[lane] = even[lane] * square[lane] + of_even[tap];
                odd[lane] = odd[lane] * square[lane] + of_odd[tap];
            }
        }
        for lane in 0..SIDE {
            let odd = u[lane] * odd[lane];
            weights[tap][lane] = even[lane] + odd;
            weights[SUPPORT - 1 - tap][lane] = even[lane] - odd;
        }
    }
    weights
}

/// Samples at a displacement from a pixel.
#[inline(always)]
fn sample(image: &Interpolated, [x, y]: [usize; 2], [shift_x, shift_y]: [f32; 2]) -> f32 {
    let [width, height] = image.size;
    let Kernel { support, terms } = &image.kernel;
    let weights = |t: f32| {
        let u = t - 0.5;
        let square = u * u;
        let (mut even, mut odd) = ([0.0f32; HALF], [0.0f32; HALF]);
        for [of_even, of_odd] in terms.iter().rev() {
            for k in 0..HALF {
                even[k] = even[k] * square + of_even[k];
                odd[k] = odd[k] * square + of_odd[k];
            }
        }
        let mut weights = [0.0f32; TAPS];
        for k in 0..support / 2 {
            let odd = u * odd[k];
            weights[k] = even[k] + odd;
            weights[support - 1 - k] = even[k] - odd;
        }
        weights
    };
    let (column, tx) = split(x, shift_x, width);
    let (row, ty) = split(y, shift_y, height);
    let (along_x, along_y) = (weights(tx), weights(ty));
    // From the sample left of the point to the first one that has a weight.
    let lead = support / 2 - 1;
    let mut start = (BEYOND + row - lead) * image.stride + PAD + column - lead;
    let mut sums = [0.0f32; TAPS];
    for weight in &along_y[..*support] {
        let samples = &image.coefficients[start..start + TAPS];
        for k in 0..TAPS {
            sums[k] += weight * samples[k];
        }
        start += image.stride;
    }
    for k in 0..TAPS {
        sums[k] *= along_x[k];
    }
    let [a, b, c, d, e, f, g, h] = sums;
    ((a + e) + (c + g)) + ((b + f) + (d + h))
}

/// The pixels of up to [`LANES`] rows as columns, side by side. Rows go on as far as whole lines of
/// the cache.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn rows_to_columns(rows: &[f32], stride: usize, width: usize, lanes: usize, columns: &mut [f32]) {
    let turned = match_target! {
        "x86_64+avx512f+avx512vl+avx512dq+avx512bw" => |square| squares::sixteen(square),
        "x86_64+avx2" => |square| squares::eight(square),
        _ => squares::four,
    };
    squares::transpose(
        [width.next_multiple_of(Aligned::LINE), LANES],
        turned,
        // The last row once more in place of those that are not there.
        |x, y| {
            *rows[y.min(lanes - 1) * stride + x..]
                .first_chunk()
                .expect("a line")
        },
        |x, y, column| *columns[x * LANES + y..].first_chunk_mut().expect("a line") = column,
    );
}

/// [`rows_to_columns`] back again.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn columns_to_rows(columns: &[f32], stride: usize, width: usize, lanes: usize, rows: &mut [f32]) {
    let turned = match_target! {
        "x86_64+avx512f+avx512vl+avx512dq+avx512bw" => |square| squares::sixteen(square),
        "x86_64+avx2" => |square| squares::eight(square),
        _ => squares::four,
    };
    squares::transpose(
        [LANES, width.next_multiple_of(Aligned::LINE)],
        turned,
        |y, x| *columns[x * LANES + y..].first_chunk().expect("a line"),
        |y, x, row| {
            if y < lanes {
                *rows[y * stride + x..].first_chunk_mut().expect("a line") = row;
            }
        },
    );
}

/// Turns samples into B-spline coefficients, in place, for [`LANES`] lines at once: the samples of a
/// place stand side by side, `stride` after those of the place before.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn prefilter(values: &mut [f32], stride: usize, poles: &[f64]) {
    let length = (values.len() + stride - LANES) / stride;
    // A single sample is a constant and its own coefficient.
    if length < 2 {
        return;
    }
    let last = length - 1;
    for &pole in poles {
        let z = pole as f32;
        let gain = ((1.0 - pole) * (1.0 - 1.0 / pole)) as f32;
        // The past of the mirrored signal, up to where its contribution falls below single
        // precision.
        let horizon = (1e-9f64.ln() / pole.abs().ln()).ceil() as isize;
        let mut past = [0.0; LANES];
        for k in (0..=horizon).rev() {
            let line: &[f32; LANES] = values[mirror(k, length) * stride..].first_chunk().expect("lanes");
            for lane in 0..LANES {
                past[lane] = past[lane] * z + line[lane];
            }
        }
        values[..LANES].copy_from_slice(&past);
        let mut before = past;
        for n in 1..length {
            let line: &mut [f32; LANES] = values[n * stride..].first_chunk_mut().expect("lanes");
            for lane in 0..LANES {
                before[lane] = line[lane] + z * before[lane];
                line[lane] = before[lane];
            }
        }
        let factor = (pole / (pole * pole - 1.0)) as f32 * gain;
        let mut after = [0.0; LANES];
        after.copy_from_slice(&values[(last - 1) * stride..][..LANES]);
        let end: &mut [f32; LANES] = values[last * stride..].first_chunk_mut().expect("lanes");
        for lane in 0..LANES {
            after[lane] = factor * (end[lane] + z * after[lane]);
            end[lane] = after[lane];
        }
        for n in (0..last).rev() {
            let line: &mut [f32; LANES] = values[n * stride..].first_chunk_mut().expect("lanes");
            for lane in 0..LANES {
                after[lane] = z * (after[lane] - gain * line[lane]);
                line[lane] = after[lane];
            }
        }
    }
}

#[cfg(test)]
mod tests;
