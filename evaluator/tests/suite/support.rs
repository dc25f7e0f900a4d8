//! Small slow renderer of particle images for the tests, independent of all other code of the
//! project: Gaussian images integrated over square pixels through `libm::erf` in double precision,
//! and the noise of a camera.

#![allow(dead_code)] // each test file uses its part

use ndarray::Array2;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, Poisson};

pub type Frame = Array2<f32>;

#[derive(Clone, Copy)]
pub struct TestParticle {
    pub x: f64,
    pub y: f64,
    pub electrons: f64,
}

/// Adds particle images of e^-2 diameter `d` (4 standard deviations), each pixel the integral over
/// ±1/2 px.
pub fn render(width: usize, height: usize, d: f64, particles: &[TestParticle]) -> Array2<f64> {
    let sigma = d / 4.0;
    // The integral beyond 6 standard deviations is 1e-9 of the whole.
    let reach = 6.0 * sigma + 1.0;
    let mut image = Array2::zeros((height, width));
    let edges = |centre: f64, length: usize| {
        let first = (centre - reach).ceil().max(0.0) as usize;
        let last = (centre + reach).floor().min(length as f64 - 1.0);
        let shares = if last < 0.0 {
            0
        } else {
            (last as usize + 1).saturating_sub(first)
        };
        let cumulated = |edge: f64| 0.5 * libm::erf((edge - centre) / (sigma * std::f64::consts::SQRT_2));
        let shares: Vec<f64> = (0..shares)
            .map(|i| (first + i) as f64)
            .map(|pixel| cumulated(pixel + 0.5) - cumulated(pixel - 0.5))
            .collect();
        (first, shares)
    };
    for p in particles {
        let (x0, along_x) = edges(p.x, width);
        let (y0, along_y) = edges(p.y, height);
        for (j, sy) in along_y.iter().enumerate() {
            for (i, sx) in along_x.iter().enumerate() {
                image[[y0 + j, x0 + i]] += p.electrons * sx * sy;
            }
        }
    }
    image
}

/// A pair: particles at random positions midway in time, a Poisson number of them, displaced by
/// minus and plus half.
pub struct TestScene {
    pub width: usize,
    pub height: usize,
    /// Particles per pixel.
    pub ppp: f64,
    /// Particle image diameter, px.
    pub d: f64,
    /// Electrons of a particle at the centre of the sheet.
    pub electrons: f64,
    /// Brightness exp(-8 u²), u uniform in ±1.2 and the density counted within ±0.5; otherwise all
    /// equal.
    pub gaussian_sheet: bool,
    /// Motion through the Gaussian sheet from frame A to frame B, in units of its e^-2 thickness.
    pub out_of_plane: f64,
}

impl TestScene {
    pub const fn new(width: usize, height: usize, ppp: f64, d: f64) -> Self {
        Self {
            width,
            height,
            ppp,
            d,
            electrons: 1000.0,
            gaussian_sheet: false,
            out_of_plane: 0.0,
        }
    }

    /// Noise-free frames. `at(x, y)` gives the positions in frame A and frame B of the particle
    /// that is at (x, y) midway.
    pub fn frames(&self, seed: u64, at: impl Fn(f64, f64) -> [[f64; 2]; 2]) -> [Array2<f64>; 2] {
        const MARGIN: f64 = 20.0;
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (width, height) = (
            self.width as f64 + 2.0 * MARGIN,
            self.height as f64 + 2.0 * MARGIN,
        );
        let density = self.ppp * if self.gaussian_sheet { 2.4 } else { 1.0 };
        let number = Poisson::new(density * width * height).unwrap().sample(&mut rng) as usize;
        let mut frames = [Vec::with_capacity(number), Vec::with_capacity(number)];
        for _ in 0..number {
            let x = rng.random::<f64>() * width - MARGIN - 0.5;
            let y = rng.random::<f64>() * height - MARGIN - 0.5;
            let u = (rng.random::<f64>() - 0.5) * 2.4;
            for ((frame, [x, y]), half) in frames.iter_mut().zip(at(x, y)).zip([-0.5, 0.5]) {
                let depth = u + half * self.out_of_plane;
                let electrons = self.electrons
                    * if self.gaussian_sheet {
                        (-8.0 * depth * depth).exp()
                    } else {
                        1.0
                    };
                frame.push(TestParticle { x, y, electrons });
            }
        }
        frames.map(|particles| render(self.width, self.height, self.d, &particles))
    }

    /// Noise-free frames displaced uniformly.
    pub fn uniform(&self, seed: u64, [dx, dy]: [f64; 2]) -> [Frame; 2] {
        self.frames(seed, |x, y| {
            [[x - dx / 2.0, y - dy / 2.0], [x + dx / 2.0, y + dy / 2.0]]
        })
        .map(|frame| frame.mapv(|v| v as f32))
    }
}

/// Shot noise on signal and background, dark noise, whole electrons.
pub fn camera(seed: u64, electrons: &Array2<f64>, background: f64, dark_noise: f64) -> Frame {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let dark = Normal::new(0.0, dark_noise).unwrap();
    electrons.mapv(|e| {
        let shot: f64 = Poisson::new(e + background).unwrap().sample(&mut rng);
        (shot + dark.sample(&mut rng)).round() as f32
    })
}

/// Mean and standard deviation.
pub fn moments(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (
        mean,
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt(),
    )
}
