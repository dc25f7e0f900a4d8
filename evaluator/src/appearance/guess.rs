//! A recording's figures in closed form, as a first guess.
//!
//! Let particle images of light E_p lie at independent places with a density ρ per pixel, and let
//! h be the light of one of them in the pixels, Σh = 1. Campbell's theorem gives for the grey
//! levels above the floor the mean ρ⟨E⟩, the covariance at a lag ρ⟨E²⟩ Σ h(x) h(x + lag) and the
//! third cumulant ρ⟨E³⟩ Σh³. A Gaussian sheet of peak light E₀, exp(−8u²) over its e⁻² thickness,
//! has ρ⟨Eⁿ⟩ = ρ E₀ⁿ √(π/(8n)) with ρ the density inside that thickness.
//!
//! Of a Gaussian image of d_τ = 4σ that pixels integrate, the covariance separates, and along one
//! axis it is g(l) = H(l + 1) − 2 H(l) + H(l − 1) with H'' the Gaussian of standard deviation σ√2,
//! H(x) = x Φ(x/(σ√2)) + σ√2 φ(x/(σ√2)). The ratio g(2)/g(1) rises with σ and yields it. Noise,
//! independent from pixel to pixel, adds to the covariance at lag 0 alone.

use libm::{erf, exp};
use ndarray::{Array2, ArrayView2};
use std::f64::consts::{FRAC_1_SQRT_2, PI};

use super::{binomial, covariance, noise_parts};
use crate::prepare::without_local_mean;

/// First guess at what frames show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Guess {
    /// Particle image diameter along x and along y, px; 4 σ.
    pub diameter_px: [f64; 2],
    /// Particles per pixel inside the e⁻² thickness of a Gaussian sheet.
    pub seeding_density_ppp: f64,
    /// Light of a particle in the middle of the sheet, grey levels summed over its image.
    pub light_dn: f64,
    /// Grey level without particles.
    pub floor_dn: f64,
    /// Standard deviation of the noise there, grey levels.
    pub noise_dn: f64,
    /// Variance of the noise per grey level above the floor.
    pub gain_dn: f64,
}

/// Covariance of the pixels of a Gaussian image of standard deviation `sigma_px` along one axis.
pub fn axis_covariance(lag: f64, sigma_px: f64) -> f64 {
    let s = sigma_px * std::f64::consts::SQRT_2;
    let h = |x: f64| {
        let u = x / s;
        0.5 * x * (1.0 + erf(u * FRAC_1_SQRT_2)) + s * exp(-0.5 * u * u) / (2.0 * PI).sqrt()
    };
    h(lag + 1.0) - 2.0 * h(lag) + h(lag - 1.0)
}

/// Standard deviations between which images are looked for, px.
const SIGMAS: [f64; 2] = [0.15, 8.0];

/// The standard deviation at which the covariances at lags 2 and 1 have this ratio.
fn sigma(ratio: f64) -> f64 {
    let [mut low, mut high] = SIGMAS;
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        match axis_covariance(2.0, middle) / axis_covariance(1.0, middle) < ratio {
            true => low = middle,
            false => high = middle,
        }
    }
    0.5 * (low + high)
}

/// Σb³ along one axis, b being the pixels of a Gaussian image smoothed by the binomial filter,
/// averaged over the places of the image between two pixels.
fn smooth_cubes(sigma_px: f64) -> f64 {
    const PLACES: i32 = 16;
    let integral = |x: f64| 0.5 * (1.0 + erf(x / sigma_px * FRAC_1_SQRT_2));
    let reach = (5.0 * sigma_px).ceil() as i32 + 2;
    let at = |place: i32, pixel: i32| {
        let x = f64::from(pixel) - (f64::from(place) + 0.5) / f64::from(PLACES);
        // Weights 1, 2, 1 over 4 of three neighbouring differences.
        0.25 * (integral(x + 1.5) + integral(x + 0.5) - integral(x - 0.5) - integral(x - 1.5))
    };
    let places = (0..PLACES).flat_map(|place| (-reach..=reach).map(move |pixel| at(place, pixel)));
    places.map(|b| b * b * b).sum::<f64>() / f64::from(PLACES)
}

/// The guess from some frames of a recording, each height × width.
pub fn guess(frames: &[ArrayView2<f32>]) -> Guess {
    let guesses: Vec<Guess> = frames
        .iter()
        .map(|frame| of_frame(&frame.mapv(f64::from)))
        .collect();
    let mean = |of: &dyn Fn(&Guess) -> f64| guesses.iter().map(of).sum::<f64>() / guesses.len() as f64;
    Guess {
        diameter_px: [0, 1].map(|k| mean(&|g| g.diameter_px[k])),
        seeding_density_ppp: mean(&|g| g.seeding_density_ppp),
        light_dn: mean(&|g| g.light_dn),
        floor_dn: mean(&|g| g.floor_dn),
        noise_dn: mean(&|g| g.noise_dn),
        gain_dn: mean(&|g| g.gain_dn),
    }
}

fn of_frame(frame: &Array2<f64>) -> Guess {
    let level = without_local_mean(frame, 32);
    let c = |x, y| covariance(&level, [x, y]);
    let (cx, cy) = (c(1, 0).max(1e-12), c(0, 1).max(1e-12));
    let sigmas = [sigma(c(2, 0) / cx), sigma(c(0, 2) / cy)];
    let g = |lag: f64, axis: usize| axis_covariance(lag, sigmas[axis]);
    // ρ⟨E²⟩ from both neighbours, whose covariances separate.
    let second = 0.5 * (cx / (g(1.0, 0) * g(0.0, 1)) + cy / (g(0.0, 0) * g(1.0, 1)));
    // The third cumulant of the frame smoothed by the binomial filter, which quiets the noise.
    let smooth = without_local_mean(&binomial(frame), 32);
    let third = smooth.iter().map(|v| v * v * v).sum::<f64>() / smooth.len() as f64;
    let third = third.max(1e-12) / (smooth_cubes(sigmas[0]) * smooth_cubes(sigmas[1]));
    let over = |n: f64| (PI / (8.0 * n)).sqrt();
    let light_dn = third / over(3.0) / (second / over(2.0));
    let seeding_density_ppp = second / over(2.0) / (light_dn * light_dn);
    let mean = frame.sum() / frame.len() as f64;
    let floor_dn = mean - seeding_density_ppp * light_dn * over(1.0);
    // What particle images leave in the corner residual: their covariance under the filter's own.
    let left = |axis: usize| {
        let lags = [70.0, -112.0, 56.0, -16.0, 2.0].iter().enumerate();
        lags.map(|(lag, weight)| weight * g(lag as f64, axis))
            .sum::<f64>()
            / 70.0
    };
    let [darkest, all] = [
        noise_parts(frame, &[0.0, 0.3])[0],
        noise_parts(frame, &[0.0, 1.0])[0],
    ];
    let noise = all.variance - second * left(0) * left(1);
    let gain_dn = (noise - darkest.variance) / (all.mean - darkest.mean).max(1e-12);
    Guess {
        diameter_px: sigmas.map(|s| 4.0 * s),
        seeding_density_ppp,
        light_dn,
        floor_dn,
        noise_dn: darkest.variance.sqrt(),
        gain_dn,
    }
}
