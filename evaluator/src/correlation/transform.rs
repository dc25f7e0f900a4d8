//! Fourier transforms of interrogation windows, two real windows per complex transform.

use std::sync::Arc;

use multiversion::multiversion;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

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

/// Two-dimensional FFT of packed windows: rows, transposition, rows. Spectra stay transposed.
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

    pub fn forward(&mut self, data: &mut Vec<Complex<f32>>) {
        self.along_both(0, data, self.size);
    }

    /// Not scaled: [`Transform::cross_spectra`] includes the factor.
    pub fn inverse(&mut self, data: &mut Vec<Complex<f32>>) {
        self.along_both(2, data, [self.size[1], self.size[0]]);
    }

    fn along_both(&mut self, plan: usize, data: &mut Vec<Complex<f32>>, [row, column]: [usize; 2]) {
        self.plans[plan].process_with_scratch(data, &mut self.scratch);
        transpose(data, &mut self.turned, [row, column]);
        self.plans[plan + 1].process_with_scratch(&mut self.turned, &mut self.scratch);
        std::mem::swap(data, &mut self.turned);
    }

    /// The cross-spectra conj(A)·B of two packed spectra Z = A + iB, packed again so that the
    /// inverse transform has the first correlation as real part and the second as imaginary part.
    ///
    /// The factor 1 / (width · height) of the inverse transform is included. With Z' = Z(-k): A =
    /// (Z + conj Z')/2 and B = (Z - conj Z')/2i give conj(A)·B = Im(Z Z')/2 - i (|Z|² - |Z'|²)/4.
    pub fn cross_spectra(&self, one: &[Complex<f32>], two: &[Complex<f32>], product: &mut [Complex<f32>]) {
        let [width, height] = self.size;
        let scale = 1.0 / self.len() as f32;
        for (kx, product) in product.chunks_exact_mut(height).enumerate() {
            let here = kx * height..(kx + 1) * height;
            let start = (width - kx) % width * height;
            let opposite = start..start + height;
            let spectra = [
                &one[here.clone()],
                &one[opposite.clone()],
                &two[here],
                &two[opposite],
            ];
            cross_row(spectra, scale, product);
        }
    }
}

/// One row of the packed cross-spectra, from that row of two spectra and the rows of the opposite
/// wavenumber.
#[multiversion(targets("x86_64+avx2", "x86_64+sse4.1"))]
fn cross_row(spectra: [&[Complex<f32>]; 4], scale: f32, product: &mut [Complex<f32>]) {
    let (half, quarter) = (0.5 * scale, 0.25 * scale);
    let cross = |z: Complex<f32>, w: Complex<f32>| {
        let difference = (w.re * w.re + w.im * w.im) - (z.re * z.re + z.im * z.im);
        Complex::new(half * (z.re * w.im + z.im * w.re), quarter * difference)
    };
    let pack = |[z, w, u, v]: [Complex<f32>; 4]| {
        let (p, q) = (cross(z, w), cross(u, v));
        Complex::new(p.re - q.im, p.im + q.re)
    };
    let [one, one_opposite, two, two_opposite] = spectra;
    product[0] = pack([one[0], one_opposite[0], two[0], two_opposite[0]]);
    let rows = one[1..].iter().zip(one_opposite[1..].iter().rev());
    let rows = rows.zip(two[1..].iter().zip(two_opposite[1..].iter().rev()));
    for (product, ((&z, &w), (&u, &v))) in product[1..].iter_mut().zip(rows) {
        *product = pack([z, w, u, v]);
    }
}

fn transpose(from: &[Complex<f32>], to: &mut [Complex<f32>], [row, column]: [usize; 2]) {
    // In tiles, so that what is read and written stays in the fastest memory.
    const TILE: usize = 8;
    for top in (0..column).step_by(TILE) {
        let bottom = (top + TILE).min(column);
        for (x, to) in to.chunks_exact_mut(column).enumerate() {
            for (value, from) in to[top..bottom]
                .iter_mut()
                .zip(from[top * row..].chunks_exact(row))
            {
                *value = from[x];
            }
        }
    }
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
