//! Interpolation of frames between the pixels.
//!
//! A frame is represented by coefficients c(i, j) and a kernel h with a support of at most 8
//! samples along each axis: f(x, y) = sum of c(i, j) h(x - i) h(y - j). The coefficients of
//! B-splines come from a recursive filter (Unser, Aldroubi & Eden 1993), so that f passes through
//! the pixels; for the other kernels the coefficients are the pixels. Beyond their border frames
//! are mirrored at the outermost pixels.

mod kernel;

use multiversion::multiversion;

use crate::frames::{FrameView, mirror};
use crate::named::named;
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

/// Coefficients kept beyond each border, at least half of [`TAPS`].
const PAD: usize = TAPS / 2;

/// Number of lines filtered side by side.
const LANES: usize = 16;

/// A frame that can be sampled anywhere.
pub(crate) struct Interpolated {
    size: [usize; 2],
    stride: usize,
    coefficients: Vec<f32>,
    kernel: Kernel,
    poles: Vec<f64>,
}

impl Interpolated {
    /// Memory for frames of `size` (width, height).
    pub fn new(size: [usize; 2], interpolator: Interpolator) -> Self {
        // The weights of the last sample of a row extend TAPS beyond it.
        let stride = PAD + size[0] + TAPS;
        Self {
            size,
            stride,
            coefficients: vec![0.0; stride * (PAD + size[1] + PAD)],
            kernel: interpolator.kernel(),
            poles: interpolator.poles(),
        }
    }

    /// Takes over a frame of the size this was made for.
    pub fn load(&mut self, frame: FrameView) {
        let Self {
            size: [width, height],
            stride,
            coefficients,
            poles,
            ..
        } = self;
        let (width, height, stride) = (*width, *height, *stride);
        for (row, pixels) in coefficients[PAD * stride..]
            .chunks_exact_mut(stride)
            .zip(frame.pixels.chunks_exact(width))
        {
            row[PAD..PAD + width].copy_from_slice(pixels);
        }
        if !poles.is_empty() {
            let mut lines = vec![[0.0; LANES]; width.max(height)];
            for y in (0..height).step_by(LANES) {
                let lanes = LANES.min(height - y);
                let start = |lane: usize| (PAD + y + lane) * stride + PAD;
                for lane in 0..lanes {
                    for (line, value) in lines.iter_mut().zip(&coefficients[start(lane)..][..width]) {
                        line[lane] = *value;
                    }
                }
                prefilter(&mut lines[..width], poles);
                for lane in 0..lanes {
                    for (line, value) in lines.iter().zip(&mut coefficients[start(lane)..][..width]) {
                        *value = line[lane];
                    }
                }
            }
            for x in (0..width).step_by(LANES) {
                let lanes = LANES.min(width - x);
                let start = |y: usize| (PAD + y) * stride + PAD + x;
                for (y, line) in lines[..height].iter_mut().enumerate() {
                    line[..lanes].copy_from_slice(&coefficients[start(y)..][..lanes]);
                }
                prefilter(&mut lines[..height], poles);
                for (y, line) in lines[..height].iter().enumerate() {
                    coefficients[start(y)..][..lanes].copy_from_slice(&line[..lanes]);
                }
            }
        }
        for row in coefficients[PAD * stride..][..height * stride].chunks_exact_mut(stride) {
            for x in (0..PAD).chain(PAD + width..stride) {
                row[x] = row[PAD + mirror(x as isize - PAD as isize, width)];
            }
        }
        for y in (0..PAD).chain(PAD + height..PAD + height + PAD) {
            let from = (PAD + mirror(y as isize - PAD as isize, height)) * stride;
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
    let (dx, out) = (dx.chunks(SIDE), out.chunks_mut(SIDE));
    for (n, ((dx, dy), out)) in dx.zip(dy.chunks(SIDE)).zip(out).enumerate() {
        let at = [x + n * SIDE, y];
        // So that the compiler knows how many samples there are.
        let together = match image.kernel.support {
            2 => together::<2>(image, at, factor, [dx, dy], out),
            4 => together::<4>(image, at, factor, [dx, dy], out),
            6 => together::<6>(image, at, factor, [dx, dy], out),
            _ => together::<TAPS>(image, at, factor, [dx, dy], out),
        };
        if !together {
            for (k, value) in out.iter_mut().enumerate() {
                *value = sample(image, [at[0] + k, y], [factor * dx[k], factor * dy[k]]);
            }
        }
    }
}

/// Samples [`SIDE`] pixels of a row whose displacements have the same whole part and stay inside
/// the frame, so that their samples follow each other too; false, with nothing done, where that is
/// not so. Each pixel is computed in the same order as alone.
#[inline(always)]
fn together<const SUPPORT: usize>(
    image: &Interpolated,
    at: [usize; 2],
    factor: f32,
    shifts: [&[f32]; 2],
    out: &mut [f32],
) -> bool {
    let (Ok(dx), Ok(dy), Ok(out)) = (
        <&PixelLanes>::try_from(shifts[0]),
        <&PixelLanes>::try_from(shifts[1]),
        <&mut PixelLanes>::try_from(out),
    ) else {
        return false;
    };
    // Plain loops: closures of arrays are not compiled for the instruction set of the caller.
    let (mut floor_x, mut floor_y, mut tx, mut ty) = ([0.0; SIDE], [0.0; SIDE], [0.0; SIDE], [0.0; SIDE]);
    let mut alike = true;
    for lane in 0..SIDE {
        let (shift_x, shift_y) = (factor * dx[lane], factor * dy[lane]);
        (floor_x[lane], floor_y[lane]) = (shift_x.floor(), shift_y.floor());
        (tx[lane], ty[lane]) = (shift_x - floor_x[lane], shift_y - floor_y[lane]);
        alike &= floor_x[lane] == floor_x[0] && floor_y[lane] == floor_y[0];
    }
    let (left, top) = (
        at[0] as isize + floor_x[0] as isize,
        at[1] as isize + floor_y[0] as isize,
    );
    let [width, height] = image.size.map(|side| side as isize);
    if !(alike && left >= 0 && left + SIDE as isize <= width && (0..height).contains(&top)) {
        return false;
    }
    let terms = &image.kernel.terms;
    let (along_x, along_y) = (
        weights_of::<SUPPORT>(terms, &tx),
        weights_of::<SUPPORT>(terms, &ty),
    );
    let lead = SUPPORT / 2 - 1;
    let start = (PAD + top as usize - lead) * image.stride + PAD + left as usize - lead;
    let mut sums = [[0.0; SIDE]; TAPS];
    for (tap, weighted) in sums.iter_mut().enumerate().take(SUPPORT) {
        let mut start = start + tap;
        let mut sum = [0.0; SIDE];
        for weight in &along_y {
            let samples = &image.coefficients[start..].as_chunks::<SIDE>().0[0];
            for lane in 0..SIDE {
                sum[lane] += weight[lane] * samples[lane];
            }
            start += image.stride;
        }
        for lane in 0..SIDE {
            weighted[lane] = sum[lane] * along_x[tap][lane];
        }
    }
    let [a, b, c, d, e, f, g, h] = sums;
    for lane in 0..SIDE {
        out[lane] = ((a[lane] + e[lane]) + (c[lane] + g[lane])) + ((b[lane] + f[lane]) + (d[lane] + h[lane]));
    }
    true
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
    let mut start = (PAD + row - lead) * image.stride + PAD + column - lead;
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

/// Turns samples into B-spline coefficients, in place, for [`LANES`] lines at once.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+avx512bw", "x86_64+avx2", "x86_64+sse4.1"))]
fn prefilter(lines: &mut [[f32; LANES]], poles: &[f64]) {
    // A single sample is a constant and its own coefficient.
    let Some(last) = lines.len().checked_sub(1).filter(|&last| last > 0) else {
        return;
    };
    for &pole in poles {
        let z = pole as f32;
        let gain = ((1.0 - pole) * (1.0 - 1.0 / pole)) as f32;
        // The past of the mirrored signal, up to where its contribution falls below single
        // precision.
        let horizon = (1e-9f64.ln() / pole.abs().ln()).ceil() as isize;
        let mut past = [0.0; LANES];
        for k in (0..=horizon).rev() {
            let line = &lines[mirror(k, last + 1)];
            for lane in 0..LANES {
                past[lane] = past[lane] * z + line[lane];
            }
        }
        lines[0] = past;
        for n in 1..=last {
            let before = lines[n - 1];
            for lane in 0..LANES {
                lines[n][lane] += z * before[lane];
            }
        }
        let (end, before) = (lines[last], lines[last - 1]);
        let factor = (pole / (pole * pole - 1.0)) as f32 * gain;
        for lane in 0..LANES {
            lines[last][lane] = factor * (end[lane] + z * before[lane]);
        }
        for n in (0..last).rev() {
            let after = lines[n + 1];
            for lane in 0..LANES {
                lines[n][lane] = z * (after[lane] - gain * lines[n][lane]);
            }
        }
    }
}
