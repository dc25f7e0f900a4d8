//! Fourier transforms of interrogation windows, two real windows per complex transform.

use std::ops::Range;
use std::sync::Arc;

use multiversion::multiversion;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

use super::transpose::transpose;

/// Which arithmetic the Fourier transforms use on this machine, such as `x86_64-linux-avx2`:
/// rustfft chooses among instruction sets, which round differently, so that displacements differ by
/// some 1e-5 px from one to the other (and not between machines with the same one). The operating
/// system stands with it because its mathematical library computes the powers and exponentials.
pub fn kernel() -> String {
    #[cfg(target_arch = "x86_64")]
    let avx = is_x86_feature_detected!("avx") && is_x86_feature_detected!("fma");
    #[cfg(target_arch = "x86_64")]
    let instructions = match () {
        () if avx && is_x86_feature_detected!("avx2") => "avx2",
        () if avx => "avx",
        () if is_x86_feature_detected!("sse4.1") => "sse4.1",
        () => "scalar",
    };
    #[cfg(target_arch = "aarch64")]
    let instructions = "neon";
    #[cfg(not(any(target_arch = "x86_64", target_arch = "aarch64")))]
    let instructions = "scalar";
    format!(
        "{}-{}-{instructions}",
        std::env::consts::ARCH,
        std::env::consts::OS
    )
}

/// About as many values are packed and then transformed at once, in whole rows.
const AT_ONCE: usize = 256;

/// Two-dimensional FFT of packed windows: rows, then transposition and rows, so that spectra stay
/// transposed.
pub(crate) struct Transform {
    pub size: [usize; 2],
    /// Forward along x, forward along y, inverse along y, inverse along x.
    plans: [Arc<dyn Fft<f32>>; 4],
    turned: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl Transform {
    pub fn new(size: [usize; 2]) -> Self {
        let mut planner = FftPlanner::new();
        let [x, y] = size;
        let plans = [
            planner.plan_fft_forward(x),
            planner.plan_fft_forward(y),
            planner.plan_fft_inverse(y),
            planner.plan_fft_inverse(x),
        ];
        let scratch = plans
            .iter()
            .map(|plan| plan.get_inplace_scratch_len())
            .max()
            .unwrap_or(0);
        Self {
            size,
            plans,
            turned: vec![Complex::default(); x * y],
            scratch: vec![Complex::default(); scratch],
        }
    }

    pub fn len(&self) -> usize {
        self.size[0] * self.size[1]
    }

    /// Of windows whose rows after the first `rows` are zero. `pack` packs the others, a few at a
    /// time, which are transformed while they are in the cache.
    pub fn forward(
        &mut self,
        data: &mut Vec<Complex<f32>>,
        rows: usize,
        mut pack: impl FnMut(Range<usize>, &mut [Complex<f32>]),
    ) {
        let width = self.size[0];
        let [along_x, along_y, ..] = &self.plans;
        let few = (AT_ONCE / width).max(1);
        for y in (0..rows).step_by(few) {
            let part = y..(y + few).min(rows);
            let packed = &mut data[part.start * width..part.end * width];
            pack(part, packed);
            along_x.process_with_scratch(packed, &mut self.scratch);
        }
        transpose(data, &mut self.turned, self.size, rows, [0..width, width..width]);
        along_y.process_with_scratch(&mut self.turned, &mut self.scratch);
        std::mem::swap(data, &mut self.turned);
    }

    /// At lags of at most `reach` along y; rows of other lags hold anything. Not scaled:
    /// [`Transform::cross_spectra`] includes the factor.
    pub fn inverse(&mut self, data: &mut Vec<Complex<f32>>, reach: usize) {
        let [width, height] = self.size;
        let [.., along_y, along_x] = &self.plans;
        let lags = match 2 * reach + 1 < height {
            true => [0..reach + 1, height - reach..height],
            false => [0..height, height..height],
        };
        along_y.process_with_scratch(data, &mut self.scratch);
        transpose(data, &mut self.turned, [height, width], width, lags.clone());
        std::mem::swap(data, &mut self.turned);
        for lags in lags.into_iter().filter(|lags| !lags.is_empty()) {
            let rows = &mut data[lags.start * width..lags.end * width];
            along_x.process_with_scratch(rows, &mut self.scratch);
        }
    }

    /// The cross-spectra conj(A)·B of two packed spectra Z = A + iB, packed again so that the
    /// inverse transform has the first correlation as real part and the second as imaginary part.
    ///
    /// The factor 1 / (width · height) of the inverse transform is included. With Z' = Z(-k): A =
    /// (Z + conj Z')/2 and B = (Z - conj Z')/2i give conj(A)·B = Im(Z Z')/2 - i (|Z|² - |Z'|²)/4.
    pub fn cross_spectra(&self, one: &[Complex<f32>], two: &[Complex<f32>], product: &mut [Complex<f32>]) {
        let [rows, length] = self.size;
        let scale = 1.0 / self.len() as f32;
        let row = |k: usize| k * length..(k + 1) * length;
        for k in 0..=rows / 2 {
            let opposite = (rows - k) % rows;
            let spectra = [
                &one[row(k)],
                &one[row(opposite)],
                &two[row(k)],
                &two[row(opposite)],
            ];
            let (before, after) = product.split_at_mut(k.max(opposite) * length);
            match k == opposite {
                true => cross_row(spectra, scale, &mut after[..length]),
                // The row of wavenumber 0 is its own opposite, so that this one is the later.
                false => cross_rows(spectra, scale, [&mut before[row(k)], &mut after[..length]]),
            }
        }
    }
}

/// Wavenumbers that are computed side by side.
const LANES: usize = 8;

/// The row of the packed cross-spectra that is its own opposite, from that row of two spectra, each
/// twice.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn cross_row(spectra: [&[Complex<f32>]; 4], scale: f32, product: &mut [Complex<f32>]) {
    let length = product.len();
    for k in 0..=length / 2 {
        let both = cross_at(spectra, k, scale);
        product[(length - k) % length] = both[1];
        product[k % length] = both[0];
    }
}

/// Two rows of the packed cross-spectra at opposite wavenumbers, from those rows of two spectra.
/// The windows are real, so that the cross-spectra at opposite wavenumbers are conjugate, and both
/// rows follow from one computation.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn cross_rows(spectra: [&[Complex<f32>]; 4], scale: f32, [product, beyond]: [&mut [Complex<f32>]; 2]) {
    let length = product.len();
    let [one, one_opposite, two, two_opposite] = spectra;
    // The first wavenumber is its own opposite; those of the last lanes may have been computed
    // before.
    let last = length.saturating_sub(LANES);
    for k in (1..last).step_by(LANES).chain([last]).filter(|_| last > 0) {
        let opposite = length - k - LANES + 1;
        let p = cross(
            parts(lanes(one, k)),
            parts_reversed(lanes(one_opposite, opposite)),
            scale,
        );
        let q = cross(
            parts(lanes(two, k)),
            parts_reversed(lanes(two_opposite, opposite)),
            scale,
        );
        let [mut here, mut there] = [[[0.0; LANES]; 2]; 2];
        for lane in 0..LANES {
            here[0][lane] = p[0][lane] - q[1][lane];
            here[1][lane] = p[1][lane] + q[0][lane];
            there[0][lane] = p[0][lane] + q[1][lane];
            there[1][lane] = q[0][lane] - p[1][lane];
        }
        product[k..k + LANES].as_chunks_mut().0[0] = together(here);
        beyond[opposite..opposite + LANES].as_chunks_mut().0[0] = together_reversed(there);
    }
    for k in 0..if last > 0 { 1 } else { length } {
        let both = cross_at(spectra, k, scale);
        product[k] = both[0];
        beyond[(length - k) % length] = both[1];
    }
}

/// The packed cross-spectra at one wavenumber and at the opposite one.
#[inline(always)]
fn cross_at(spectra: [&[Complex<f32>]; 4], k: usize, scale: f32) -> [Complex<f32>; 2] {
    let [one, one_opposite, two, two_opposite] = spectra;
    let opposite = (one.len() - k) % one.len();
    let alone = |value: Complex<f32>| [[value.re], [value.im]];
    let [[[p_re], [p_im]], [[q_re], [q_im]]] = [
        cross(alone(one[k]), alone(one_opposite[opposite]), scale),
        cross(alone(two[k]), alone(two_opposite[opposite]), scale),
    ];
    [
        Complex::new(p_re - q_im, p_im + q_re),
        Complex::new(p_re + q_im, q_re - p_im),
    ]
}

/// Values side by side.
type ComplexLanes = [Complex<f32>; LANES];

/// Those of a row from place `k` on.
#[inline(always)]
fn lanes(row: &[Complex<f32>], k: usize) -> &ComplexLanes {
    &row[k..k + LANES].as_chunks().0[0]
}

/// Real and imaginary parts, in the order that takes one shuffle of two registers each: 0, 1, 4, 5,
/// 2, 3, 6, 7.
#[inline(always)]
fn parts([a, b, c, d, e, f, g, h]: &ComplexLanes) -> [[f32; LANES]; 2] {
    [
        [a.re, b.re, e.re, f.re, c.re, d.re, g.re, h.re],
        [a.im, b.im, e.im, f.im, c.im, d.im, g.im, h.im],
    ]
}

/// [`parts`] of the values in reverse.
#[inline(always)]
fn parts_reversed([a, b, c, d, e, f, g, h]: &ComplexLanes) -> [[f32; LANES]; 2] {
    [
        [h.re, g.re, d.re, c.re, f.re, e.re, b.re, a.re],
        [h.im, g.im, d.im, c.im, f.im, e.im, b.im, a.im],
    ]
}

/// The values whose [`parts`] these are.
#[inline(always)]
fn together([re, im]: [[f32; LANES]; 2]) -> ComplexLanes {
    let value = |k: usize| Complex::new(re[k], im[k]);
    let [a, b, e, f] = [value(0), value(1), value(2), value(3)];
    let [c, d, g, h] = [value(4), value(5), value(6), value(7)];
    [a, b, c, d, e, f, g, h]
}

/// The values whose [`parts_reversed`] these are.
#[inline(always)]
fn together_reversed(parts: [[f32; LANES]; 2]) -> ComplexLanes {
    let [a, b, c, d, e, f, g, h] = together(parts);
    [h, g, f, e, d, c, b, a]
}

/// Real and imaginary parts of the cross-spectra that are packed in values of a spectrum, z, and
/// those at the opposite wavenumbers, w.
#[inline(always)]
fn cross<const N: usize>(z: [[f32; N]; 2], w: [[f32; N]; 2], scale: f32) -> [[f32; N]; 2] {
    let (half, quarter) = (0.5 * scale, 0.25 * scale);
    let mut both = [[0.0; N]; 2];
    for lane in 0..N {
        let square = |v: &[[f32; N]; 2]| v[0][lane] * v[0][lane] + v[1][lane] * v[1][lane];
        both[0][lane] = half * (z[0][lane] * w[1][lane] + z[1][lane] * w[0][lane]);
        both[1][lane] = quarter * (square(&w) - square(&z));
    }
    both
}

#[cfg(test)]
mod tests {
    use rustfft::{FftPlannerAvx, FftPlannerNeon, FftPlannerSse};

    /// The kernel is called what rustfft's own planners say they can do here; it takes the first
    /// that can, in this order.
    #[test]
    fn the_kernel_is_the_one_that_rustfft_chooses() {
        let kernel = super::kernel();
        let chosen = match () {
            () if FftPlannerAvx::<f32>::new().is_ok() => "avx",
            () if FftPlannerSse::<f32>::new().is_ok() => "sse4.1",
            () if FftPlannerNeon::<f32>::new().is_ok() => "neon",
            () => "scalar",
        };
        assert!(
            kernel.split('-').next_back().unwrap().starts_with(chosen),
            "{kernel}"
        );
        assert!(kernel.starts_with(std::env::consts::ARCH), "{kernel}");
    }
}
