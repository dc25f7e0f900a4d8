//! Uncertainty of what is computed from vectors: mean, variance, shear stress and vorticity (Sciacchitano & Wieneke 2016, Meas.
//! Sci. Technol. 27, 084006; formulas from memory).
//!
//! All uncertainties are standard ones (one standard deviation) in the unit of the figure: with displacements in px, of a mean in px, of a
//! variance or shear stress in px², of a vorticity in px/px.

use crate::statistics::{Confidence, Estimate, GridValues, bootstrap, student};

/// How many independent values tell as much of the mean as the values of a `series` taken at equal steps: N/(2τ), at most N, with the
/// integral time scale τ = ½ + Σρ in steps.
///
/// The autocorrelation ρ is summed to the first lag that is at least five times τ so far (Madras & Sokal 1988, J. Stat. Phys. 50, 109;
/// memory), and τ then has the relative standard error √(2 (2M + 1)/N) with the last lag M, from which the interval is. Assumes a
/// stationary series much longer than τ; unknown for fewer than ten values or without scatter.
pub fn effective_number(series: &[f64], confidence: Confidence) -> Estimate {
    let n = series.len();
    let unknown = Estimate::unknown(1.0, n.max(1) as f64);
    let mean = series.iter().sum::<f64>() / n as f64;
    let centred: Vec<f64> = series.iter().map(|v| v - mean).collect();
    let product = |lag: usize| {
        centred
            .iter()
            .zip(&centred[lag..])
            .map(|(a, b)| a * b)
            .sum::<f64>()
            / (n - lag) as f64
    };
    if n < 10 || !mean.is_finite() {
        return unknown;
    }
    let square = product(0);
    if square <= 0.0 {
        return unknown;
    }
    let (mut time, mut last) = (0.5, 0);
    while (last as f64) < 5.0 * time && last + 1 < n / 2 {
        last += 1;
        time += product(last) / square;
    }
    // Taking the series' own mean off lowers each ρ by about 2τ/n (Wolff 2004, Comput. Phys. Commun. 156, 143; memory).
    let time = (time * (1.0 + (2 * last + 1) as f64 / n as f64)).max(0.5);
    let spread = (student(f64::INFINITY, confidence) * (2.0 * (2 * last + 1) as f64 / n as f64).sqrt()).exp();
    let value = n as f64 / (2.0 * time);
    Estimate {
        value,
        lo: value / spread,
        hi: value * spread,
    }
    .clamped(1.0, n as f64)
}

/// Of a mean: σ/√N, N the effective number of values ([`effective_number`]). `deviation` is the standard deviation of the measured values, which
/// holds both the flow's fluctuation and the random error; in a steady flow the root mean square uncertainty of the vectors serves.
pub fn of_mean(deviation: f64, effective: f64) -> f64 {
    deviation / effective.sqrt()
}

/// Of a variance: σ²√(2/(N - 1)), for normal values; N the effective number of the *squared* deviations, larger than that of the values
/// themselves, for their autocorrelation is the square of the values'. (The random error's own variance is part of the measured
/// variance: a bias of its mean squared uncertainty, which is to be subtracted first.)
pub fn of_variance(variance: f64, effective: f64) -> f64 {
    variance * (2.0 / (effective - 1.0)).sqrt()
}

/// Of a shear stress, the mean product of two fluctuations: σ_u σ_v √((1 + ρ²)/(N - 1)), for normal values with the standard `deviations` and the
/// `correlation` ρ; N the effective number of the *products*.
pub fn of_shear_stress(deviations: [f64; 2], correlation: f64, effective: f64) -> f64 {
    deviations[0] * deviations[1] * ((1.0 + correlation * correlation) / (effective - 1.0)).sqrt()
}

/// Of a vorticity by central differences, ∂v/∂x - ∂u/∂y, on a grid of `spacing`.
///
/// `along_x` are the uncertainties of v at the two neighbours in x, `along_y` those of u at the two neighbours in y; `correlation` that of
/// the errors of vectors two grid steps apart, of v along x and of u along y ([`overlap_correlation`] or [`error_correlation`]).
/// With all uncertainties U and correlations ρ the same this is U/d √(1 - ρ). Assumes that errors of u and of v are independent.
pub fn of_vorticity(along_x: [f64; 2], along_y: [f64; 2], spacing: [f64; 2], correlation: [f64; 2]) -> f64 {
    let difference = |[a, b]: [f64; 2], rho: f64| (a * a + b * b - 2.0 * rho * a * b).max(0.0).sqrt();
    let x = difference(along_x, correlation[0]) / (2.0 * spacing[0]);
    let y = difference(along_y, correlation[1]) / (2.0 * spacing[1]);
    x.hypot(y)
}

/// Correlation of the errors of two windows `shift_px` apart along a side on which they average with `weights` (see
/// [`window_weights`](crate::window_weights)): Σ wᵢ wᵢ₊ₛ / Σ wᵢ², the share they overlap in a top-hat window. Derived for
/// errors that come from each pixel independently, as of one pass over noise. Of correlated particle images the errors of overlapping
/// top-hat windows are less alike (0.33 to 0.45 where they share half), and the vorticity's uncertainty comes out 7 to 10 % low; with
/// Gaussian weighting it is right to 2 %.
pub fn overlap_correlation(weights: &[f64], shift_px: usize) -> f64 {
    let shifted = weights.get(shift_px..).unwrap_or_default();
    let product: f64 = weights.iter().zip(shifted).map(|(a, b)| a * b).sum();
    product / weights.iter().map(|w| w * w).sum::<f64>()
}

/// Seed of the resamples.
const SEED: u64 = 2;

/// Correlation, as measured, of the errors of vectors `lag` grid steps apart along x and y: Σ a b / Σ (a² + b²)/2 over all such vectors and pairs. What
/// repeats at a position in every pair is a property of the flow and is taken off; so this needs two pairs.
///
/// The interval is the [`bootstrap`] over pairs; unknown with fewer than five.
pub fn error_correlation(errors: &GridValues, lag: [usize; 2], confidence: Confidence) -> Estimate {
    let columns = errors.columns;
    let size = errors.pairs.first().map_or(0, |pair| pair.len());
    // A position seen once would have no residual, whatever the scatter.
    let centre = |(sum, n): (f64, f64)| if n < 2.0 { f64::NAN } else { sum / n };
    let centres: Vec<f64> = errors.position_sums().into_iter().map(centre).collect();
    let sums: Vec<[f64; 2]> = errors
        .pairs
        .iter()
        .map(|pair| {
            (0..size)
                .map(|k| (k, k + lag[1] * columns + lag[0]))
                .filter(|(k, other)| k % columns + lag[0] < columns && *other < size)
                .map(|(k, other)| (pair[k] - centres[k], pair[other] - centres[other]))
                .filter(|(a, b)| a.is_finite() && b.is_finite())
                .fold([0.0; 2], |[product, square], (a, b)| {
                    [product + a * b, square + 0.5 * (a * a + b * b)]
                })
        })
        .collect();
    bootstrap(sums.len(), SEED, confidence, |times| {
        let sum = |of: usize| {
            sums.iter()
                .zip(times)
                .map(|(s, t)| s[of] * f64::from(*t))
                .sum::<f64>()
        };
        sum(0) / sum(1)
    })
    .clamped(-1.0, 1.0)
}
