//! Fourier transforms of interrogation windows, two real windows in one complex transform.

use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

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

    pub fn forward(&mut self, data: &mut [Complex<f32>]) {
        self.along_both(0, data, self.size);
    }

    /// Not scaled: [`Transform::cross_spectra`] has the factor.
    pub fn inverse(&mut self, data: &mut [Complex<f32>]) {
        self.along_both(2, data, [self.size[1], self.size[0]]);
    }

    fn along_both(&mut self, plan: usize, data: &mut [Complex<f32>], [row, column]: [usize; 2]) {
        self.plans[plan].process_with_scratch(data, &mut self.scratch);
        transpose(data, &mut self.turned, [row, column]);
        self.plans[plan + 1].process_with_scratch(&mut self.turned, &mut self.scratch);
        data.copy_from_slice(&self.turned);
    }

    /// The cross-spectra conj(A)·B of two packed spectra Z = A + iB, packed again so that the inverse transform has the first
    /// correlation as real part and the second as imaginary part.
    ///
    /// The factor 1 / (width · height) of the inverse transform is included. With Z' = Z(-k): A = (Z + conj Z')/2 and B = (Z - conj Z')/2i give conj(A)·B = Im(Z Z')/2 - i (|Z|² - |Z'|²)/4.
    pub fn cross_spectra(&self, one: &[Complex<f32>], two: &[Complex<f32>], product: &mut [Complex<f32>]) {
        let [width, height] = self.size;
        let scale = 1.0 / self.len() as f32;
        let (half, quarter) = (0.5 * scale, 0.25 * scale);
        for kx in 0..width {
            let row = kx * height;
            let opposite = (width - kx) % width * height;
            for ky in 0..height {
                let (k, m) = (row + ky, opposite + (height - ky) % height);
                let [p, q] = [(one[k], one[m]), (two[k], two[m])].map(|(z, w)| {
                    Complex::new(
                        half * (z.re * w.im + z.im * w.re),
                        quarter * (w.norm_sqr() - z.norm_sqr()),
                    )
                });
                product[k] = Complex::new(p.re - q.im, p.im + q.re);
            }
        }
    }
}

fn transpose(from: &[Complex<f32>], to: &mut [Complex<f32>], [row, column]: [usize; 2]) {
    for (i, to) in to.chunks_exact_mut(column).enumerate() {
        for (value, from) in to.iter_mut().zip(from.chunks_exact(row)) {
            *value = from[i];
        }
    }
}
